"""One edit that turns one circuit into the other, wherever their parts stand on the plate.

Tried on normal forms, so that the order of parts in series, parts in parallel and idle parts do not count.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from snapcheck.circuit._circuit import Circuit, Part
from snapcheck.circuit._difference import Difference, What
from snapcheck.circuit._equivalence import SAME_RATIO, compare_forms, same_number
from snapcheck.circuit._normal import Element, NormalForm, element_of, reduce_elements, value_of

#: effort of the search, in edits times parts: about half a second whatever the size of the circuit
EFFORT = 6000
_STEPS_EACH = 2_000


@dataclass(frozen=True)
class _Edit:
    """What the built circuit would be like without the difference, and the plan for comparison."""

    difference: Difference
    plan: NormalForm
    built: NormalForm


def single_difference(first: Circuit, second: Circuit, limit: int | None = None) -> Difference | None:
    """The one difference that explains why two circuits are not the same, or None.

    Args:
        first: as intended.
        second: as built.
        limit: how many edits to try; None for what the size of the circuit allows.
    """
    if limit is None:
        limit = EFFORT // max(len(first.parts), len(second.parts), 1)
    for edit in itertools.islice(_edits(first, second), limit):
        if compare_forms(edit.plan, edit.built, first.kit, step_limit=_STEPS_EACH):
            return edit.difference
    return None


def _form(circuit: Circuit, elements: list[Element]) -> NormalForm:
    return reduce_elements(elements, circuit.open_sockets, frozenset())


def _edits(first: Circuit, second: Circuit) -> Iterator[_Edit]:
    """Edits in the order in which they are made on a bench: the likeliest first."""
    plan, built = [element_of(p) for p in first.parts], [element_of(p) for p in second.parts]
    plan_form, built_form = _form(first, plan), _form(second, built)
    surplus, lack = _surplus(second, first), _surplus(first, second)
    if not surplus and not lack:
        for index, part in enumerate(second.parts):
            for nets in _other_ways(part):
                turned = [*built[:index], element_of(replace(part, nets=nets)), *built[index + 1 :]]
                yield _Edit(Difference(What.LEGS, built_part=part), plan_form, _form(second, turned))
    if len(lack) == 1 and len(surplus) <= 1:
        for there, here in itertools.product(lack[0], surplus[0] if surplus else [None]):
            if here is None:
                rest = [e for e in plan if e.members[0] is not there]
                yield _Edit(Difference(What.MISSING, there), _form(first, rest), built_form)
            elif len(here.nets) == len(there.nets):
                what = What.VALUE if here.kind.name == there.kind.name else What.KIND
                nets = dict(zip(there.nets, here.nets.values(), strict=True))
                swapped = [
                    element_of(replace(there, nets=nets)) if e.members[0] is here else e for e in built
                ]
                yield _Edit(Difference(what, there, here), plan_form, _form(second, swapped))
    if len(surplus) == 1 and not lack:
        for here in surplus[0]:
            rest = [e for e in built if e.members[0] is not here]
            yield _Edit(Difference(What.EXTRA, built_part=here), plan_form, _form(second, rest))
    if not surplus and not lack:
        for a, b in itertools.combinations(sorted({n for e in plan for n in e.nodes}), 2):
            yield _Edit(Difference(What.JOINED, nets=(a, b)), _form(first, _merged(plan, a, b)), built_form)
            # one net of the plan in two pieces: the pieces are nets of the build
        for a, b in itertools.combinations(sorted({n for e in built for n in e.nodes}), 2):
            yield _Edit(
                Difference(What.APART, built_nets=(a, b)), plan_form, _form(second, _merged(built, a, b))
            )


def _merged(elements: list[Element], a: int, b: int) -> list[Element]:
    return [
        replace(e, legs=tuple((label, a if n == b else n) for label, n in e.legs)) if b in e.nodes else e
        for e in elements
    ]


def _surplus(one: Circuit, two: Circuit) -> list[list[Part]]:
    """Kinds and values of which the first circuit has more parts: for each, the parts it may be."""
    classes = _classes(one, two)
    groups: dict[object, list[Part]] = {}
    for part in one.parts:
        groups.setdefault(classes[part.kind.name, value_of(part)], []).append(part)
    there = Counter(classes[part.kind.name, value_of(part)] for part in two.parts)
    return [parts for key, parts in groups.items() for _ in range(len(parts) - there[key])]


def _classes(one: Circuit, two: Circuit) -> dict[object, object]:
    """(kind, value) to the kind and the value it counts as: the smallest within its tolerance."""
    values: dict[str, set[float]] = {}
    classes: dict[object, object] = {}
    tolerances: dict[str, float] = {}
    for part in (*one.parts, *two.parts):
        value = value_of(part)
        classes[part.kind.name, value] = (part.kind.name, value)
        if isinstance(value, float | int):
            values.setdefault(part.kind.name, set()).add(value)
            tolerances[part.kind.name] = max(part.kind.tolerance, SAME_RATIO)
    for kind, numbers in values.items():
        for value in numbers:
            alike = (v for v in numbers if same_number(v, value, tolerances[kind]))
            classes[kind, value] = (kind, min(alike))
    return classes


def _other_ways(part: Part) -> Iterator[dict[str, int]]:
    """Other ways of connecting a part's terminals to the nets it is on: two exchanged, or all moved round.

    With up to three terminals these are all ways there are.
    """
    names, nets = list(part.nets), list(part.nets.values())
    seen = {frozenset(Counter(element_of(part).legs).items())}
    for order in _orders(nets):
        changed = dict(zip(names, order, strict=True))
        legs = frozenset(Counter(element_of(replace(part, nets=changed)).legs).items())
        if legs not in seen:
            seen.add(legs)
            yield changed


def _orders(nets: list[int]) -> list[list[int]]:
    places = list(range(len(nets)))
    orders = [places[n:] + places[:n] for n in places[1:]]
    for a, b in itertools.combinations(places, 2):
        exchanged = list(places)
        exchanged[a], exchanged[b] = b, a
        orders.append(exchanged)
    return [[nets[place] for place in order] for order in sorted(orders)]
