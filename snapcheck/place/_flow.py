"""Where a teacher would put each part: signal from left to right, supply above, ground below.

Two numbers for every net, found as the voltages of a network of like resistors between fixed ends (the
harmonic function on the circuit's graph): its height, 1 at the supply and 0 at the plate, and its distance
along the signal's way, 0 at the input and 1 at the output.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from snapcheck.devices import Device, Store
from snapcheck.kit import Kit
from snapcheck.place._list import Item, PartsAndNets

#: how little a capacitor says of the height of its ends, against a part that direct current passes
_WEAK = 0.05
#: the middle, for what hangs by nothing
_MIDDLE = 0.5


@dataclass(frozen=True)
class Flow:
    """Height and distance of every net.

    Attributes:
        height, along: net to its numbers.
        rails: the nets of supplies.
        everywhere: nets of which the distance says nothing.
    """

    height: Mapping[str, float]
    along: Mapping[str, float]
    rails: frozenset[str]
    everywhere: frozenset[str]


def flow_of(wanted: PartsAndNets, kit: Kit) -> Flow:
    """Height and distance of every net of a list, both from 0 to 1; the plate's among them."""
    nets = list(dict.fromkeys([wanted.plate, *(n for i in wanted.items for n in i.nets.values() if n)]))
    devices = {item.name: kit[item.kind].device for item in wanted.items}
    rails = frozenset(
        n
        for item in wanted.items
        if devices[item.name].supplies and (n := item.nets.get("plus")) and n != wanted.plate
    )
    low = {
        n: 0.0
        for item in wanted.items
        if devices[item.name].supplies and (n := item.nets.get("minus")) and n not in rails
    }
    weights = {item.name: _WEAK if devices[item.name].store is Store.CHARGE else 1.0 for item in wanted.items}
    parts = [i for i in wanted.items if not devices[i.name].supplies]
    starts = _starts(wanted, parts, devices)
    if rails:
        height = _harmonic(parts, nets, {**low, **dict.fromkeys(rails, 1.0), wanted.plate: 0.0}, weights)
    else:  # a filter, say: the signal's way lies above the plate, and no part of it above another
        height = {net: float(net != wanted.plate) for net in nets}
    fixed = dict.fromkeys(_ends(wanted, devices), 1.0) | dict.fromkeys(starts or rails, 0.0)
    stiff = rails | {wanted.plate}
    loose = stiff if starts else {wanted.plate}
    between = [Item(i.name, i.kind, {t: n for t, n in i.nets.items() if n not in loose}) for i in parts]
    along = _harmonic(between, nets, {n: x for n, x in fixed.items() if n not in loose}, {})
    return Flow(height, {**along, **dict.fromkeys(stiff, _MIDDLE)}, rails, frozenset(stiff))


def _starts(wanted: PartsAndNets, parts: Sequence[Item], devices: Mapping[str, Device]) -> set[str]:
    found = {n for i in parts if devices[i.name].signals for n in i.nets.values() if n}
    if wanted.input is not None:
        found.add(wanted.named(wanted.input[0]).nets.get(wanted.input[1]) or "")
    return found - {wanted.plate, ""}


def _ends(wanted: PartsAndNets, devices: Mapping[str, Device]) -> set[str]:
    found = {
        n
        for i in wanted.items
        if (devices[i.name].access or devices[i.name].sounds) and i.name != (wanted.input or ("",))[0]
        for n in i.nets.values()
        if n
    }
    if wanted.output is not None:
        found.add(wanted.named(wanted.output[0]).nets.get(wanted.output[1]) or "")
    return found - {wanted.plate, ""} - _starts(wanted, wanted.items, devices)


def _harmonic(
    items: Sequence[Item], nets: Sequence[str], fixed: Mapping[str, float], weights: Mapping[str, float]
) -> dict[str, float]:
    """For each net the mean of its neighbours, where it is not fixed."""
    number = {net: n for n, net in enumerate(nets)}
    size = len(nets)
    matrix = np.zeros((size, size))
    right = np.zeros(size)
    for item in items:
        ends = [number[n] for n in item.nets.values() if n]
        weight = weights.get(item.name, 1.0)
        for i, a in enumerate(ends):
            for b in ends[i + 1 :]:
                if a != b:
                    matrix[a, a] += weight
                    matrix[b, b] += weight
                    matrix[a, b] -= weight
                    matrix[b, a] -= weight
    matrix += 1e-3 * np.eye(size)  # what hangs by nothing stays in the middle
    right += 1e-3 * _MIDDLE
    for net, value in fixed.items():
        n = number[net]
        matrix[n] = 0.0
        matrix[n, n], right[n] = 1.0, value
    solved = np.linalg.solve(matrix, right)
    return {net: float(x) for net, x in zip(nets, solved, strict=True)}
