"""From a fault to a circuit that can be calculated; faults that make the same circuit share one."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from snapcheck.board import Cell, Conditions, Cube, Side
from snapcheck.circuit import Circuit, Part, circuit_of_parts, is_closed
from snapcheck.devices import Setting
from snapcheck.diagnose._faults import Change
from snapcheck.diagnose._wiring import PLATE_POINT, Wiring
from snapcheck.kit import Contact, Kind, ValueForm

#: of metal that no part reaches
NOWHERE = -1
#: insulation of a supply that has lost the plate, ohm
_INSULATION_OHM = 1e10
#: resistances below this count as a firm hold when it is asked where a meter's own resistance matters, ohm
_FIRM_OHM = 2e4

_CONTACT = Kind(
    "contact-resistance",
    "contact",
    (Contact(Side.W, "a"), Contact(Side.E, "b")),
    symmetry=180,
    value_form=ValueForm.OHMS,
    model="resistor",
)


class Extra(NamedTuple):
    """A resistance between two nets that no cube makes."""

    first: int
    second: int
    ohm: float


@dataclass(frozen=True, eq=False)
class Variant:
    """A board with something wrong, as a circuit.

    Attributes:
        circuit: its parts and nets (numbered anew; 0 is the plate).
        net_of: net of each point of the wiring, `NOWHERE` for metal that no part reaches.
        scales: part name to a factor on its value or gain.
        signature: equal for variants that behave the same.
    """

    circuit: Circuit
    net_of: tuple[int, ...]
    scales: Mapping[str, float]
    signature: tuple[object, ...] = field(repr=False)

    def loosely_held(self, conditions: Conditions) -> frozenset[int]:
        """Nets whose voltage a meter may pull down: nothing firm joins them to the plate."""
        parent = list(range(self.circuit.net_count))

        def find(net: int) -> int:
            while parent[net] != net:
                net = parent[net]
            return net

        for part in self.circuit.parts:
            if _firm(part, conditions, self.scales.get(part.name, 1.0)):
                first, *others = part.nets.values()
                for other in others:
                    a, b = find(first), find(other)
                    parent[max(a, b)] = min(a, b)
        return frozenset(net for net in range(1, len(parent)) if find(net) != 0)


def _firm(part: Part, conditions: Conditions, scale: float) -> bool:
    device, value = part.device, part.cube.value
    if device.ohmic and not device.sense:
        return isinstance(value, int | float) and value * scale < _FIRM_OHM
    if device.setting is Setting.SWITCH:
        return is_closed(part, conditions)
    return device.firm


def variant(wiring: Wiring, change: Change) -> Variant:
    """The circuit of a board after a change."""
    points = wiring.net_of_points(joint for joint, _ in change.cut)
    swapped = {(part, a): b for part, a, b in change.swaps} | {(part, b): a for part, a, b in change.swaps}
    number: dict[int, int] = {points[PLATE_POINT]: 0}
    nets: dict[str, dict[str, int]] = {}
    for part in wiring.circuit.parts:
        own = nets[part.name] = {}
        for terminal in part.nets:
            pin = part.name, swapped.get((part.name, terminal), terminal)
            own[terminal] = number.setdefault(points[wiring.pins[pin]], len(number))
    between = [
        (points[wiring.joints[j].first], points[wiring.joints[j].second], ohm)
        for j, ohm in change.cut
        if math.isfinite(ohm)
    ]
    between += [(points[a], points[b], ohm) for a, b, ohm in change.bridges]
    extras = []
    for a, b, ohm in between:
        if a in number and b in number:
            one, other = sorted((number[a], number[b]))
            if one != other:
                extras.append(Extra(one, other, ohm))
        elif a in number or b in number:  # a tail without parts has the voltage of what it hangs on
            number[a] = number[b] = number[a] if a in number else number[b]
    for part in wiring.circuit.parts:
        # the low side of a supply or an input must not be left without any hold
        if part.device.feeds and (low := nets[part.name][part.pair[1]]):
            extras.append(Extra(0, low, _INSULATION_OHM))
    scales: dict[str, float] = {}
    for name, factor in change.scales:
        scales[name] = scales.get(name, 1.0) * factor
    parts = [Part(p.cell, p.cube, p.kind, p.name, nets[p.name]) for p in wiring.circuit.parts]
    for index, extra in enumerate(sorted(extras)):
        cube = Cube(_CONTACT.name, value=extra.ohm)
        ends = {"a": extra.first, "b": extra.second}
        parts.append(Part(Cell(0, 0), cube, _CONTACT, f"contact{index}", ends))
    signature = (
        # a photo that leaves a print open has boards beside it that differ in a value alone
        tuple((p.cube, tuple(nets[p.name].values())) for p in wiring.circuit.parts),
        tuple(sorted(extras)),
        tuple(sorted(scales.items())),
    )
    circuit = circuit_of_parts(parts, wiring.board, wiring.kit)
    return Variant(circuit, tuple(number.get(net, NOWHERE) for net in points), scales, signature)
