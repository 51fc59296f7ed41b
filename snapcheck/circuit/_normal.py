"""The normal form of a circuit: what is left when everything that makes no difference is taken away.

Parts with all terminals on one net and parts that hang by one net go. Resistors, capacitors and coils in
series or in parallel become one. Parts in series become a chain, whose order does not count. What remains
are elements between nodes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

from snapcheck.circuit._circuit import Circuit, Part
from snapcheck.circuit._topology import drives
from snapcheck.kit import usual_spelling

#: one link of a chain: (kind name, value, True when it points from the chain's first node to its second,
#: None where it has no direction)
Link = tuple[str, float | str | None, bool | None]

_ADDING = ("resistor", "capacitor", "inductor")


@dataclass(frozen=True, eq=False)
class Element:
    """Something between nodes.

    Attributes:
        links: one for a plain part, several for a chain of parts in series.
        legs: (label, node); legs with one label may be exchanged.
        members: the parts it stands for.
    """

    links: tuple[Link, ...]
    legs: tuple[tuple[str, int], ...]
    members: tuple[Part, ...]

    @property
    def two_legged(self) -> bool:
        return len(self.legs) == 2

    @cached_property
    def nodes(self) -> tuple[int, ...]:
        return tuple(node for _, node in self.legs)


@dataclass(frozen=True)
class NormalForm:
    """Elements, and the nodes that a socket gives access to."""

    elements: tuple[Element, ...]
    ports: frozenset[int]

    @property
    def nodes(self) -> frozenset[int]:
        return frozenset(n for e in self.elements for n in e.nodes)


def value_of(part: Part) -> float | str | None:
    """The value as it counts in a comparison; a meter's unit is part of it."""
    value = part.cube.value
    if isinstance(value, str):
        return usual_spelling(value, part.kind.value_form)
    return f"{value:g} {part.cube.unit}" if part.cube.unit and value is not None else value


def normal_form(circuit: Circuit, keep: Iterable[int] = (), leave_out: Iterable[Part] = ()) -> NormalForm:
    """The normal form of a circuit.

    Args:
        circuit: to reduce.
        keep: nets that must stay nodes (a design's measuring places).
        leave_out: parts that are taken away first.
    """
    left_out, kept = frozenset(p.at for p in leave_out), frozenset(keep)
    key = ("normal form", kept, left_out)
    if key not in circuit.notes:
        elements = [element_of(part) for part in circuit.parts if part.at not in left_out]
        circuit.notes[key] = reduce_elements(elements, circuit.open_sockets, kept)
    form: NormalForm = circuit.notes[key]
    return form


def element_of(part: Part) -> Element:
    """A part by itself."""
    kind = part.kind
    labels = kind.leg_labels
    legs = tuple((labels[t], n) for t, n in part.nets.items())
    direction = None
    if len(legs) == 2 and legs[0][0] != legs[1][0]:
        direction = True
        legs = (("head", legs[0][1]), ("tail", legs[1][1]))
    elif len(legs) == 2:
        legs = (("end", legs[0][1]), ("end", legs[1][1]))
    return Element(((kind.name, value_of(part), direction),), legs, (part,))


def reduce_elements(elements: list[Element], ports: frozenset[int], keep: frozenset[int]) -> NormalForm:
    """Apply all reductions until nothing changes."""
    fixed = ports | keep
    changed = True
    while changed:
        changed = False
        elements, dropped = _without_idle(elements, fixed)
        elements, chained = _chain(elements, fixed)
        elements, merged = _parallel(elements)
        changed = dropped or chained or merged
    return NormalForm(tuple(elements), ports)


def _incidence(elements: list[Element]) -> dict[int, list[int]]:
    at: dict[int, list[int]] = {}
    for index, element in enumerate(elements):
        for node in element.nodes:
            at.setdefault(node, []).append(index)
    return at


def _without_idle(elements: list[Element], fixed: frozenset[int]) -> tuple[list[Element], bool]:
    """Without elements that no current can flow through."""
    idle: set[int] = set()
    at = _incidence(elements)
    degree = {node: len(indices) for node, indices in at.items()}
    queue = [i for i, e in enumerate(elements) if _is_idle(e, degree, fixed)]
    while queue:
        index = queue.pop()
        if index in idle:
            continue
        idle.add(index)
        for node in elements[index].nodes:
            degree[node] -= 1
            queue += [i for i in at[node] if i not in idle and _is_idle(elements[i], degree, fixed)]
    return [e for i, e in enumerate(elements) if i not in idle], bool(idle)


def _is_idle(element: Element, degree: dict[int, int], fixed: frozenset[int]) -> bool:
    nodes = element.nodes
    if len(set(nodes)) == 1:
        # a ring of parts with a source is a circuit of its own, and a shorted source is not idle
        return not any(drives(part) for part in element.members)
    return element.two_legged and any(degree[n] == 1 and n not in fixed for n in nodes)


def _chain(elements: list[Element], fixed: frozenset[int]) -> tuple[list[Element], bool]:
    """Elements in series joined into chains."""
    at = _incidence(elements)
    alive: dict[int, Element] = dict(enumerate(elements))
    changed = False
    for node, indices in at.items():
        if node in fixed or len(indices) != 2 or indices[0] == indices[1]:
            continue
        one, two = (alive[i] for i in indices)
        if not (one.two_legged and two.two_legged):
            continue
        joined = _join(one, two, node)
        first, second = indices
        del alive[second]
        alive[first] = joined
        for other in joined.nodes:
            at[other] = [first if i == second else i for i in at[other]]
        changed = True
    return list(alive.values()), changed


def _join(one: Element, two: Element, node: int) -> Element:
    """Two elements that meet at `node` as one chain from the far end of `one` to that of `two`."""
    links_one, start = _pointing(one, away_from=None, towards=node)
    links_two, end = _pointing(two, away_from=node, towards=None)
    return _tidy((*links_one, *links_two), start, end, one.members + two.members)


def _pointing(element: Element, away_from: int | None, towards: int | None) -> tuple[tuple[Link, ...], int]:
    """Links as seen along the chain, and the far node."""
    (_, first), (_, second) = element.legs
    if towards is not None:
        return (element.links, first) if second == towards else (_flip(element.links), second)
    return (element.links, second) if first == away_from else (_flip(element.links), first)


def _flip(links: tuple[Link, ...]) -> tuple[Link, ...]:
    return tuple((k, v, None if d is None else not d) for k, v, d in reversed(links))


def _tidy(links: tuple[Link, ...], first: int, second: int, members: tuple[Part, ...]) -> Element:
    """A chain in its normal order and direction."""
    summed = _sorted(_sum_series(links))
    turned = _sorted(_flip(summed))
    if summed == turned:
        return Element(summed, (("end", first), ("end", second)), members)
    if _key(turned) < _key(summed):
        return Element(turned, (("head", second), ("tail", first)), members)
    return Element(summed, (("head", first), ("tail", second)), members)


def _key(links: tuple[Link, ...]) -> list[str]:
    # values within tolerance count as equal later, so they must not decide the direction
    return [f"{k} {d}" for k, v, d in links] + [str(v) for _, v, d in links if isinstance(v, str)]


def _sorted(links: tuple[Link, ...]) -> tuple[Link, ...]:
    def order(link: Link) -> tuple[str, str, bool, float, str]:
        kind, value, direction = link
        number = float(value) if isinstance(value, float | int) else 0.0
        return kind, str(direction), isinstance(value, str), number, str(value)

    return tuple(sorted(links, key=order))


def _sum_series(links: tuple[Link, ...]) -> tuple[Link, ...]:
    """Resistances and inductances add, reciprocals of capacitances add."""
    rest: list[Link] = []
    sums: dict[str, float] = {}
    for kind, value, direction in links:
        if kind in _ADDING and direction is None and isinstance(value, float | int) and value > 0:
            add = 1 / value if kind == "capacitor" else value
            sums[kind] = sums.get(kind, 0.0) + add
        else:
            rest.append((kind, value, direction))
    rest += [(kind, 1 / total if kind == "capacitor" else total, None) for kind, total in sums.items()]
    return tuple(rest)


def _parallel(elements: list[Element]) -> tuple[list[Element], bool]:
    """Single resistors, capacitors and coils between the same two nodes joined into one."""
    groups: dict[tuple[str, tuple[tuple[str, int], ...]], list[Element]] = {}
    rest: list[Element] = []
    for element in elements:
        kind, value, _ = element.links[0]
        adds = kind in (*_ADDING, "electrolytic") and isinstance(value, float | int) and value > 0
        if len(element.links) == 1 and element.two_legged and adds and len(set(element.nodes)) == 2:
            legs = tuple(sorted(element.legs, key=lambda leg: (leg[0], leg[1])))
            groups.setdefault((kind, legs), []).append(element)
        else:
            rest.append(element)
    changed = False
    for (kind, _), group in groups.items():
        if len(group) == 1:
            rest.append(group[0])
            continue
        changed = True
        values = [float(e.links[0][1]) for e in group if not isinstance(e.links[0][1], str | None)]
        total = sum(values) if kind in ("capacitor", "electrolytic") else 1 / sum(1 / v for v in values)
        links: tuple[Link, ...] = ((kind, total, group[0].links[0][2]),)
        members = tuple(p for e in group for p in e.members)
        rest.append(replace(group[0], links=links, members=members))
    return rest, changed
