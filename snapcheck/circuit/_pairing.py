"""Which part of one circuit corresponds to which of another, and which nets, as far as they do.

Colours of neighbourhoods decide first, then the nets that two parts share, then what stands in a part's
place.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping

from snapcheck.board import Spot
from snapcheck.circuit._circuit import Circuit, Part
from snapcheck.circuit._equivalence import SAME_RATIO, Colours, same_number
from snapcheck.circuit._normal import Element, NormalForm, value_of


def _raw_form(circuit: Circuit) -> NormalForm:
    """The circuit as elements without any reduction."""
    elements = []
    for part in circuit.parts:
        legs = tuple((part.kind.leg_labels[t], n) for t, n in part.nets.items())
        elements.append(Element(((part.kind.name, value_of(part), None),), legs, (part,)))
    return NormalForm(tuple(elements), circuit.open_sockets)


def pair_parts(first: Circuit, second: Circuit) -> dict[Spot, Spot]:
    """Corresponding parts of two circuits that are laid out differently and need not be the same.

    Colours of far-reaching neighbourhoods pair first; where a difference has disturbed them, ever nearer
    neighbourhoods decide, then kind and value, then the kind alone.
    """
    colours = Colours(first.kit, [_raw_form(first), _raw_form(second)])
    pairs: dict[Spot, Spot] = {}
    taken: set[Spot] = set()
    for left, right in reversed(colours.rounds()):
        _pair_unique(first, second, dict(left), dict(right), pairs, taken)
    _pair_by_nets(first, second, pairs, taken, exact=True)
    _pair_by_nets(first, second, pairs, taken, exact=False)
    _pair_other_kinds(first, second, pairs, taken)
    return pairs


def _pair_other_kinds(first: Circuit, second: Circuit, pairs: dict[Spot, Spot], taken: set[Spot]) -> None:
    """A part of another kind between the very same nets stands for the one that is missing there."""
    nets = majority(overlap_of(first, second, pairs))
    for one in first.parts:
        if one.at in pairs:
            continue
        places = sorted(nets.get(n, -1) for n in one.nets.values())
        for two in second.parts:
            if two.at not in taken and sorted(two.nets.values()) == places:
                pairs[one.at] = two.at
                taken.add(two.at)
                break


def _pair_unique(
    first: Circuit,
    second: Circuit,
    left: Mapping[Spot, int],
    right: Mapping[Spot, int],
    pairs: dict[Spot, Spot],
    taken: set[Spot],
) -> None:
    here, there = defaultdict(list), defaultdict(list)
    for part in first.parts:
        if part.at not in pairs:
            here[left[part.at]].append(part.at)
    for part in second.parts:
        if part.at not in taken:
            there[right[part.at]].append(part.at)
    for colour, cells in here.items():
        if len(cells) == len(there[colour]) == 1:
            pairs[cells[0]] = there[colour][0]
            taken.add(there[colour][0])


def _pair_by_nets(
    first: Circuit, second: Circuit, pairs: dict[Spot, Spot], taken: set[Spot], *, exact: bool
) -> None:
    """Pair what is left by kind (and value), preferring parts that share most nets already paired."""
    of_kind: dict[str, list[Part]] = defaultdict(list)
    for two in second.parts:
        if two.at not in taken:
            of_kind[two.kind.name].append(two)
    left = {
        one.at: (one, [two for two in of_kind[one.kind.name] if not exact or same_value(one, two)])
        for one in first.parts
        if one.at not in pairs
    }
    overlap, nets = overlap_of(first, second, pairs), dict[int, int]()
    ranks: dict[Spot, list[tuple[int, Spot]]] = {}
    while True:
        before, nets = nets, majority(overlap)
        changed = {net for net, _ in before.items() ^ nets.items()}
        best: tuple[int, Spot, Spot] | None = None
        for at, (one, fitting) in left.items():
            if at not in ranks or not changed.isdisjoint(one.nets.values()):
                ranks[at] = [(_rank(one, two, nets), two.at) for two in fitting if two.at not in taken]
            for rank, there in ranks[at]:
                if there not in taken and (best is None or rank > best[0]):
                    best = (rank, at, there)
        if best is None:
            return
        _, at, there = best
        pairs[at] = there
        taken.add(there)
        del left[at]
        _add_overlap(overlap, first.part_at[at], second.part_at[there])


def _rank(one: Part, two: Part, nets: Mapping[int, int]) -> int:
    """How many nets two parts share, counted more at the same terminals."""
    theirs = two.nets.values()
    return sum(
        (2 * (nets[net] == two.nets.get(terminal)) + (nets[net] in theirs))
        for terminal, net in one.nets.items()
        if net in nets
    )


def same_value(one: Part, two: Part) -> bool:
    """True when the values of two parts of one kind count as the same."""
    a, b = value_of(one), value_of(two)
    if isinstance(a, float | int) and isinstance(b, float | int):
        return same_number(a, b, max(one.kind.tolerance, SAME_RATIO))
    return a == b


def overlap_of(first: Circuit, second: Circuit, pairs: Mapping[Spot, Spot]) -> Counter[tuple[int, int]]:
    overlap: Counter[tuple[int, int]] = Counter({(0, 0): 1})
    for one, two in pairs.items():
        _add_overlap(overlap, first.part_at[one], second.part_at[two])
    return overlap


def _add_overlap(overlap: Counter[tuple[int, int]], one: Part, two: Part) -> None:
    for terminal, net in one.nets.items():
        if terminal in two.nets and one.kind.leg_labels[terminal] == terminal:
            overlap[net, two.nets[terminal]] += 2
        elif terminal in two.nets:  # an exchangeable terminal says less
            for other in two.nets.values():
                overlap[net, other] += 1


def majority(overlap: Counter[tuple[int, int]]) -> dict[int, int]:
    """One-to-one pairs of nets, those with most common terminals first."""
    nets: dict[int, int] = {}
    used: set[int] = set()
    for (a, b), _ in sorted(overlap.items(), key=lambda item: (-item[1], item[0])):
        if a not in nets and b not in used:
            nets[a] = b
            used.add(b)
    return nets
