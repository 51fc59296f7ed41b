"""Are two circuits the same circuit, however they are built? Graph isomorphism on their normal forms.

Colour refinement (1-dimensional Weisfeiler-Leman) either proves that two graphs differ or leaves few
candidates; networkx's VF2 then finds the correspondence, within a limit of steps.
"""

from __future__ import annotations

import enum
import itertools
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from snapcheck.board import Cell, Spot
from snapcheck.circuit._circuit import Circuit
from snapcheck.circuit._normal import Element, NormalForm, normal_form
from snapcheck.kit import Kit

#: two printed values this close (as a ratio) are one value whatever the kind's tolerance
SAME_RATIO = 0.02

#: how many candidate pairs are looked at before giving up; about a tenth of a second
STEP_LIMIT = 20_000

#: how many choices of counterparts for measured nets inside chains are tried
KEEP_LIMIT = 40

Colour = int
Graph = Any  # networkx.Graph, imported only when needed


class Sameness(enum.StrEnum):
    """The answer."""

    SAME = "same"
    DIFFERENT = "different"
    GAVE_UP = "gave-up"  #: too regular to decide within the limit of steps


@dataclass(frozen=True)
class Equivalence:
    """Whether two circuits are the same, and what corresponds.

    Attributes:
        sameness: the answer.
        nets: net of the first circuit to the net of the second (where the circuits are the same; nets
            inside chains of parts in series are left out, they need not correspond).
        parts: cell in the first to cell in the second, for parts that correspond one to one.
        steps: candidate pairs looked at.
        reason: why they differ or why it was given up, for people who look closer.
    """

    sameness: Sameness
    nets: Mapping[int, int] = field(default_factory=dict)
    parts: Mapping[Spot, Spot] = field(default_factory=dict)
    steps: int = 0
    reason: str = ""

    def __bool__(self) -> bool:
        return self.sameness is Sameness.SAME

    @property
    def cells(self) -> dict[Cell, Cell]:
        """`parts` of two circuits on plates."""
        return on_plate(self.parts)


def on_plate(parts: Mapping[Spot, Spot]) -> dict[Cell, Cell]:
    """Those of corresponding parts that stand on plates, by their cells."""
    return {a: b for a, b in parts.items() if isinstance(a, Cell) and isinstance(b, Cell)}


def equivalence(
    first: Circuit, second: Circuit, *, keep: Iterable[int] = (), step_limit: int = STEP_LIMIT
) -> Equivalence:
    """Compare two circuits by structure and values.

    Values count as the same within the tolerance of their kind. A socket of the first circuit must be
    matched by one of the second; further sockets of the second do not count.

    Args:
        first: the circuit as intended.
        second: the circuit as built.
        keep: nets of the first that are measured (against the plate) and so must have a counterpart.
        step_limit: how many candidate pairs to look at before giving up.
    """
    kept = tuple(keep)
    if kept and 0 not in kept and first.nets[0].terminals:
        kept = (0, *kept)  # what is measured is measured against the plate
    one = normal_form(first, kept)
    answer = compare_forms(one, normal_form(second), first.kit, step_limit=step_limit)
    hidden = [n for n in kept if n in one.nodes and len(first.nets[n].terminals) == 2]
    if answer.sameness is not Sameness.DIFFERENT or not hidden:
        return answer
    # a measured net inside a chain: some net inside a chain of the second must be its counterpart
    inside = [n.number for n in second.nets if len(n.terminals) == 2]
    for chosen in itertools.islice(itertools.permutations(inside, len(hidden)), KEEP_LIMIT):
        answer = compare_forms(one, normal_form(second, chosen), first.kit, step_limit=step_limit)
        if answer.sameness is not Sameness.DIFFERENT:
            return answer
    return answer


def compare_forms(one: NormalForm, two: NormalForm, kit: Kit, *, step_limit: int = STEP_LIMIT) -> Equivalence:
    """The same for normal forms already made."""
    colours = Colours(kit, [one, two])
    left, right = colours.refined()
    if left.histogram != right.histogram:
        return Equivalence(Sameness.DIFFERENT, reason="the parts or their connections differ")
    try:
        mapping, steps = _match(one, two, left, right, step_limit, kit)
    except _GaveUp as limit:
        return Equivalence(Sameness.GAVE_UP, steps=limit.steps, reason=f"undecided after {limit.steps} steps")
    if mapping is None:
        return Equivalence(Sameness.DIFFERENT, steps=steps, reason="the connections differ")
    nets = {n: mapping[n] for n in one.nodes}
    parts: dict[Spot, Spot] = {}
    for index, element in enumerate(one.elements):
        parts.update(_members(element, two.elements[_key(mapping[_key(index)])]))
    return Equivalence(Sameness.SAME, nets, parts, steps)


def _key(index: int) -> int:
    """What an element is called among nodes, which count from 0; of such a name, its index.

    A number, since the order of a set of words, or of tuples with words in them, changes from run to run, and
    with it which of several possible pairings is found.
    """
    return -1 - index


def _members(one: Element, two: Element) -> dict[Spot, Spot]:
    """Parts of corresponding elements, paired by kind and value."""
    pairs: dict[Spot, Spot] = {}
    left = list(two.members)
    for part in one.members:
        same = [p for p in left if p.kind.name == part.kind.name]
        exact = [p for p in same if p.cube.value == part.cube.value]
        best = next(iter(exact or same), None)
        if best is not None:
            left.remove(best)
            pairs[part.at] = best.at
    return pairs


@dataclass(frozen=True)
class Refined:
    """Stable colours of one graph: by node, by element index, and how often each occurs."""

    nodes: Mapping[int, Colour]
    elements: tuple[Colour, ...]
    histogram: Mapping[Colour, int]


class Colours:
    """Colour refinement of several normal forms side by side, so that colours mean the same in all."""

    def __init__(self, kit: Kit, forms: list[NormalForm]) -> None:
        self.kit = kit
        self.forms = forms
        self.names: dict[object, Colour] = {}
        self.classes = value_classes(kit, forms)

    def name(self, key: object) -> Colour:
        return self.names.setdefault(key, len(self.names))

    def signature(self, element: Element) -> Colour:
        links = []
        for kind, value, direction in element.links:
            shown = self.classes[kind, value] if isinstance(value, float | int) else value
            links.append((kind, shown, direction))
        links.sort(key=str)
        return self.name((tuple(links), tuple(sorted(label for label, _ in element.legs))))

    def _refine(self) -> Iterator[tuple[list[dict[int, Colour]], list[tuple[Colour, ...]]]]:
        """Colours of nodes and elements of every form, round by round, until no round tells more."""
        base = [tuple(self.signature(e) for e in form.elements) for form in self.forms]
        nodes = [dict.fromkeys(form.nodes, self.name("node")) for form in self.forms]
        elements = list(base)
        before = -1
        for _ in range(max((len(f.elements) for f in self.forms), default=0) + 2):
            for index, form in enumerate(self.forms):
                here = nodes[index]
                elements[index] = tuple(
                    self.name((sig, tuple(sorted((label, here[n]) for label, n in e.legs))))
                    for sig, e in zip(base[index], form.elements, strict=True)
                )
                around: dict[int, list[tuple[str, Colour]]] = {n: [] for n in here}
                for colour, e in zip(elements[index], form.elements, strict=True):
                    for label, n in e.legs:
                        around[n].append((label, colour))
                nodes[index] = {n: self.name((here[n], tuple(sorted(legs)))) for n, legs in around.items()}
            yield list(nodes), list(elements)
            count = len({c for form_nodes in nodes for c in form_nodes.values()})
            if count == before:
                return
            before = count

    def refined(self) -> list[Refined]:
        """The stable colours of every form, or the first ones that tell two forms apart."""
        found = [Refined({}, (), {}) for _ in self.forms]
        for nodes, elements in self._refine():
            found = [Refined(n, e, Counter([*n.values(), *e])) for n, e in zip(nodes, elements, strict=True)]
            if any(other.histogram != found[0].histogram for other in found[1:]):
                break  # no further round can make them the same
        return found

    def rounds(self) -> list[list[dict[Spot, Colour]]]:
        """Round by round, for every form: the colour of each part (forms of plain parts only)."""
        return [
            [
                {e.members[0].at: colour for e, colour in zip(form.elements, colours, strict=True)}
                for form, colours in zip(self.forms, elements, strict=True)
            ]
            for _, elements in self._refine()
        ]


def value_classes(kit: Kit, forms: Iterable[NormalForm]) -> dict[tuple[str, float | str | None], int]:
    """Classes of numeric values that count as the same: neighbours within the kind's tolerance."""
    found: dict[str, set[float]] = {}
    for form in forms:
        for element in form.elements:
            for kind, value, _ in element.links:
                if isinstance(value, float | int):
                    found.setdefault(kind, set()).add(value)
    classes: dict[tuple[str, float | str | None], int] = {}
    for kind, values in found.items():
        number, before = 0, None
        for value in sorted(values):
            if before is not None and not same_number(before, value, tolerance_of(kit, kind)):
                number += 1
            classes[kind, value] = number
            before = value
    return classes


def tolerance_of(kit: Kit, kind: str) -> float:
    """Relative tolerance within which two values of a kind count as the same."""
    return max(kit[kind].tolerance if kind in kit else 0.0, SAME_RATIO)


def same_number(a: float, b: float, tolerance: float) -> bool:
    """True when the larger of two positive numbers is within `tolerance` of the smaller."""
    low, high = sorted((abs(a), abs(b)))
    return a == b or ((a > 0) == (b > 0) and high <= low * (1 + tolerance) * (1 + 1e-9))


class _GaveUp(Exception):
    def __init__(self, steps: int) -> None:
        super().__init__()
        self.steps = steps


def _match(
    one: NormalForm, two: NormalForm, left: Refined, right: Refined, limit: int, kit: Kit
) -> tuple[dict[Any, Any] | None, int]:
    """Correspondence of nodes and elements of two graphs with equal colour histograms."""
    if max(left.histogram.values(), default=1) == 1:
        return _forced(one, two, left, right, kit), 0
    import networkx as nx  # type: ignore[import-untyped]
    from networkx.algorithms.isomorphism import GraphMatcher  # type: ignore[import-untyped]

    class Matcher(GraphMatcher):  # type: ignore[misc]
        steps = 0

        def syntactic_feasibility(self, a: object, b: object) -> bool:
            Matcher.steps += 1
            if Matcher.steps > limit:
                raise _GaveUp(Matcher.steps)
            return bool(super().syntactic_feasibility(a, b))

    def same_node(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
        if a["colour"] != b["colour"] or a["port"] > b["port"]:
            return False
        return a["element"] is None or _same_values(a["element"], b["element"], kit)

    def same_edge(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
        return bool(a["labels"] == b["labels"])

    matcher = Matcher(_graph(nx, one, left), _graph(nx, two, right), same_node, same_edge)
    found = matcher.is_isomorphic()
    return (dict(matcher.mapping) if found else None), Matcher.steps


def _same_values(one: Element, two: Element, kit: Kit) -> bool:
    """True when the values of two elements of one colour are within tolerance of each other.

    Colours take neighbours within tolerance for one value; the ends of a chain of neighbours are far apart.
    """

    def numbers(element: Element) -> list[tuple[str, str, float]]:
        links = [(k, str(d), float(v)) for k, v, d in element.links if isinstance(v, float | int)]
        return sorted(links)

    pairs = zip(numbers(one), numbers(two), strict=True)
    return all(same_number(a, b, tolerance_of(kit, kind)) for (kind, _, a), (_, _, b) in pairs)


def _forced(
    one: NormalForm, two: NormalForm, left: Refined, right: Refined, kit: Kit
) -> dict[Any, Any] | None:
    """The one correspondence there can be where no two nodes or elements look alike; None if it fails."""
    node_there = {colour: node for node, colour in right.nodes.items()}
    element_there = {colour: index for index, colour in enumerate(right.elements)}
    mapping: dict[Any, Any] = {node: node_there[colour] for node, colour in left.nodes.items()}
    if any(node in one.ports and other not in two.ports for node, other in mapping.items()):
        return None
    for index, (element, colour) in enumerate(zip(one.elements, left.elements, strict=True)):
        other = element_there[colour]
        legs = sorted((label, mapping[node]) for label, node in element.legs)
        if legs != sorted(two.elements[other].legs) or not _same_values(element, two.elements[other], kit):
            return None
        mapping[_key(index)] = _key(other)
    return mapping


def _graph(nx: Any, form: NormalForm, refined: Refined) -> Graph:
    graph = nx.Graph()
    for node, colour in refined.nodes.items():
        graph.add_node(node, colour=colour, port=node in form.ports, element=None)
    for index, (element, colour) in enumerate(zip(form.elements, refined.elements, strict=True)):
        graph.add_node(_key(index), colour=colour, port=False, element=element)
        labels: dict[int, list[str]] = {}
        for label, node in element.legs:
            labels.setdefault(node, []).append(label)
        for node, names in labels.items():
            graph.add_edge(_key(index), node, labels=tuple(sorted(names)))
    return graph
