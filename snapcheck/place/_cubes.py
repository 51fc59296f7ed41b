"""The cubes that only join: which one lies in a cell of wire, and whether there are enough of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from snapcheck.kit import Kind, Kit, Side
from snapcheck.place._route import LEVEL, UPRIGHT, Grid, Route

#: legs of the crossing without joint: all four, in two pairs
CROSSOVER = 16
_TURNS = (0, 90, 180, 270)
#: more than any plate has cells
_PLENTY = 10_000
_NONE: Mapping[str, int] = {}
#: the legs that a wire may need
_JOINING = (3, 5, 6, 7, 9, 10, 11, 12, 13, 14, 15)


@dataclass(frozen=True)
class Conductors:
    """The cubes that only join.

    Attributes:
        shapes: legs as bits of sides (or `CROSSOVER`) to each (kind, turn) that has just these.
        ground: kind and the turn at which its stem points up; None where there is none.
        socket: kind, the turn at which its contact points up, and the hole of this contact, or None.
        sockets: how many socket cubes leads may be plugged into.
        most: kind to how many there are, for those that are counted.
    """

    shapes: Mapping[int, tuple[tuple[str, int], ...]]
    ground: tuple[str, int] | None
    socket: tuple[str, int, Side] | None
    sockets: int
    most: Mapping[str, int]

    @property
    def crossover(self) -> bool:
        """Whether there is a crossing without joint."""
        return CROSSOVER in self.shapes

    @cached_property
    def usual(self) -> Mapping[int, str]:
        """Legs to the kind that is taken for them."""
        return {legs: ways[0][0] for legs, ways in self.shapes.items()}

    @cached_property
    def scarce(self) -> bool:
        """Whether a wire may want a cube that is not there."""
        return bool(self.most) or any(legs not in self.shapes for legs in _JOINING)

    def short(self, legs: Iterable[int]) -> int:
        """How many cubes too few there are for wires with these legs."""
        wanted = Counter(self.usual.get(shape, "") for shape in legs)
        return sum(max(0, n - self.most.get(kind, n if kind else 0)) for kind, n in wanted.items())


def conductors(
    kit: Kit, counts: Mapping[str, int] | None = None, open_sockets: Mapping[str, int] = _NONE
) -> Conductors:
    """What there is for wires and grounds.

    Args:
        kit: the kinds.
        counts: how many of each kind there are, 0 for those not named; None: as many as the kit says.
        open_sockets: how many of each kind are wanted for something else.
    """
    shapes: dict[int, list[tuple[str, int]]] = {}
    most: dict[str, int] = {}
    ground: tuple[str, int] | None = None
    socket: tuple[str, int, Side] | None = None
    sockets = 0
    for name, kind in kit.kinds.items():
        count = kind.count if counts is None else counts.get(name, 0)
        if kind.size != (1, 1) or count == 0:
            continue
        if kind.device.grounds and len(kind.contacts) == 1 and ground is None:
            ground = name, -90 * int(kind.contacts[0].side) % 360
        if socket is None and kind.device.access and len(kind.contacts) == 1:
            side, terminal = kind.contacts[0].side, kind.contacts[0].terminal
            holes = [hole for hole, inside in kind.sockets.items() if inside == terminal]
            socket = (name, -90 * int(side) % 360, holes[0]) if holes else None
            sockets = (_PLENTY if count is None else count) - open_sockets.get(name, 0)
        if not kind.wire:
            continue
        if count is not None:
            most[name] = count
        for turn in _TURNS:
            legs = _legs(kind, turn)
            if legs and all(known != name for known, _ in shapes.get(legs, ())):
                shapes.setdefault(legs, []).append((name, turn))
    joined = {legs: tuple(ways) for legs, ways in shapes.items()}
    return Conductors(joined, ground, socket, sockets, most)


def _legs(kind: Kind, turn: int) -> int:
    """The sides with legs, `CROSSOVER` for two straight wires, 0 for anything else."""
    by_terminal: dict[str, int] = {}
    for contact in kind.contacts_at[turn]:
        by_terminal[contact.terminal] = by_terminal.get(contact.terminal, 0) | 1 << contact.side
    if len(by_terminal) == 1:
        return next(iter(by_terminal.values()))
    return CROSSOVER if sorted(by_terminal.values()) == [UPRIGHT, LEVEL] else 0


def wire_legs(routes: Sequence[Route]) -> dict[int, int]:
    """Cell to the legs that its wire needs."""
    found: dict[int, int] = {}
    for r in routes:
        for cell, legs in (*r.legs.items(), *r.crossings.items()):
            found[cell] = CROSSOVER if cell in found else legs
    return found


def chosen_cubes(
    wires: Mapping[int, int], faces: set[int], grid: Grid, joins: Conductors
) -> tuple[dict[int, tuple[str, int]], list[int]]:
    """A cube for each cell of wire, and the cells for which there is none.

    Where the right ones run out, one is taken with a leg more that touches nothing.
    """
    left = Counter(joins.most)
    busy = {*faces, *(4 * cell + side for cell, legs in wires.items() for side in Side if _has(legs, side))}
    chosen: dict[int, tuple[str, int]] = {}
    scarce: list[int] = []
    for cell, legs in wires.items():
        way = _first(joins.shapes.get(legs, ()), joins, left)
        if way is None:
            scarce.append(cell)
        else:
            chosen[cell] = way
    lacking = []
    for cell in scarce:
        found = _instead(cell, wires[cell], busy, left, grid, joins)
        if found is None:
            lacking.append(cell)
        else:
            chosen[cell], extra = found
            busy |= {4 * cell + side for side in extra}
    return chosen, lacking


def _instead(
    cell: int, legs: int, busy: set[int], left: Counter[str], grid: Grid, joins: Conductors
) -> tuple[tuple[str, int], list[Side]] | None:
    """A cube with more legs than are needed, all of which touch nothing; and these legs."""
    for more, ways in sorted(joins.shapes.items(), key=lambda shape: shape[0].bit_count()):
        if CROSSOVER in (more, legs) or more & legs != legs:
            continue
        extra = [side for side in Side if _has(more, side) and not _has(legs, side)]
        if all(4 * (cell + grid.steps[side]) + side.opposite not in busy for side in extra):
            way = _first(ways, joins, left)
            if way is not None:
                return way, extra
    return None


def _first(ways: Sequence[tuple[str, int]], joins: Conductors, left: Counter[str]) -> tuple[str, int] | None:
    """The first of some cubes that is still there; it is taken."""
    for kind, turn in ways:
        if kind not in joins.most:
            return kind, turn
        if left[kind] > 0:
            left[kind] -= 1
            return kind, turn
    return None


def _has(legs: int, side: int) -> bool:
    return legs == CROSSOVER or bool(legs >> side & 1)
