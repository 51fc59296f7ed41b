"""The build with one thing mended: the plan's circuit as this build lays it out.

A layout of its own cannot be held against the plan cell by cell. But where one thing is wrong with it,
mending that gives the plan's circuit; and against the build so mended it can be told cell by cell.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from snapcheck.board import STEP, TURNS, Board, Cell, Cube, Lead, LeadEnd, Side, SocketEnd, TapEnd
from snapcheck.circuit import (
    Circuit,
    Equivalence,
    NormalForm,
    Part,
    build_circuit,
    equivalence,
    is_part,
    normal_form,
    same_value,
)
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit

#: effort of the search, in mends times cubes: some tenths of a second whatever the size of the build
EFFORT = 60_000
#: nets that two cubes can change: four contacts each, before and after
_MOST_NETS = 16

#: what a cell is given, None for nothing
_Cubes = Mapping[Cell, Cube | None]


@dataclass(frozen=True)
class Mended:
    """A mended build, and what corresponds between the plan's circuit and its."""

    board: Board
    circuit: Circuit
    same: Equivalence


def mended(
    plan: Circuit, built: Circuit, keep: Sequence[int] = (), step_limit: int = 20_000
) -> Mended | None:
    """The build with the one likeliest mend that makes it the plan's circuit, None where no single one does.

    Args:
        plan: the circuit as intended, wherever its parts stand.
        built: the circuit as built.
        keep: nets of the plan that are measured.
        step_limit: of each comparison.
    """
    if sum(((_nets(plan) - _nets(built)) + (_nets(built) - _nets(plan))).values()) > _MOST_NETS:
        return None
    wanted = _signature(normal_form(plan))
    search = _Search(plan, built)
    for board in itertools.islice(search.boards(), EFFORT // max(len(built.board.cubes), 1)):
        circuit = build_circuit(board, built.kit)
        if _signature(normal_form(circuit)) != wanted:
            continue
        same = equivalence(plan, circuit, keep=keep, step_limit=step_limit)
        if same:
            return Mended(board, circuit, same)
    return None


def _nets(circuit: Circuit) -> Counter[tuple[str, ...]]:
    """Nets by the kinds and legs on them."""
    at: dict[int, list[str]] = {}
    for part in circuit.parts:
        for terminal, net in part.nets.items():
            at.setdefault(net, []).append(f"{part.kind.name} {part.kind.leg_labels[terminal]}")
    return Counter(tuple(sorted(legs)) for legs in at.values())


def _signature(form: NormalForm) -> Counter[tuple[object, ...]]:
    """What two forms must have in common to be the same, cheaper than a comparison: kinds net by net."""
    at: dict[int, list[str]] = {}
    for element in form.elements:
        word = "+".join(sorted(kind for kind, _, _ in element.links))
        for label, node in element.legs:
            at.setdefault(node, []).append(f"{word} {label if len(element.legs) > 2 else ''}")
    return Counter(tuple(sorted(words)) for words in at.values())


@dataclass
class _Search:
    plan: Circuit
    built: Circuit

    def __post_init__(self) -> None:
        self.board: Board = self.built.board
        self.kit: Kit = self.built.kit
        self.lack = _left_over(self.plan.parts, self.built.parts)
        self.surplus = _left_over(self.built.parts, self.plan.parts)
        #: cells that may hold a part too many: any part of that kind and value
        self.too_many = [
            p.cell
            for p in self.built.parts
            if any(p.kind.name == s.kind.name and same_value(p, s) for s in self.surplus)
        ]

    def boards(self) -> Iterator[Board]:
        """Mended builds, the likeliest mend first: as mistakes are made on a bench."""
        if len(self.lack) > 1 or len(self.surplus) > 1:
            return
        if not self.lack and not self.surplus:
            yield from self._leads()
        for cubes in self._cubes():
            try:
                board = _with(self.board, cubes)
            except InputError:  # a cube of several cells has no room there
                continue
            yield board

    def _cubes(self) -> Iterator[_Cubes]:
        bare = [c for c in self.board.cubes if c not in self.built.part_at]
        loose = [c for c in bare if not self._sides(self.board.cubes[c]) <= self._facing(c)]
        if not self.lack and not self.surplus:
            yield from self._turned()
            yield from self._other_wires(loose)
            yield from self._added(self.wires)
            yield from self._moved()
            yield from ({c: None} for c in bare)
            yield from self._swapped()
            yield from self._other_wires(bare)
        elif not self.surplus:
            wanted = [replace(self.lack[0].cube, turn=t) for t in self._turns(self.lack[0].kind)]
            yield from ({c: q} for c in loose for q in wanted)
            yield from self._added(wanted)
            yield from ({c: q} for c in bare for q in wanted)
        elif self.lack:
            there = self.lack[0]
            for cell in self.too_many:
                here = self.board.cubes[cell].turn
                for turn in sorted(self._turns(there.kind), key=lambda t, h=here: t != h):  # type: ignore[misc]
                    yield {cell: replace(there.cube, turn=turn)}
        else:
            yield from ({c: None} for c in self.too_many)
            yield from self._other_wires(self.too_many)

    # -------------------------------------------------------- cubes

    @cached_property
    def wires(self) -> list[Cube]:
        """Every wire and ground, every way round; a socket cube where the build has too few."""
        sockets = len(self.plan.socket_nets) > len(self.built.socket_nets)
        kinds = [k for k in map(self.kit.__getitem__, self.kit.kinds) if not is_part(k)]
        return [
            Cube(k.name, turn) for k in kinds if sockets or not k.device.access for turn in self._turns(k)
        ]

    def _turns(self, kind: Kind) -> list[int]:
        found: list[int] = []
        for turn in TURNS:
            if not any(kind.same_turn(turn, other) for other in found):
                found.append(turn)
        return found

    def _sides(self, cube: Cube) -> frozenset[Side]:
        return frozenset(c.side for c in self.kit[cube.kind].contacts_at[cube.turn])

    def _facing(self, cell: Cell) -> frozenset[Side]:
        """Sides on which a neighbour's contact points into the cell."""
        return frozenset(
            side
            for side in STEP
            if (other := self.board.cubes.get(cell.neighbour(side))) is not None
            and side.opposite in self._sides(other)
        )

    @cached_property
    def _gaps(self) -> list[tuple[Cell, frozenset[Side]]]:
        """Empty cells into which a contact points."""
        empty = [c for c in self.board.cells() if c not in self.board.cubes]
        return [(c, facing) for c in empty if (facing := self._facing(c))]

    def _added(self, cubes: Sequence[Cube]) -> Iterator[_Cubes]:
        """A cube put where contacts point, so that none of its own is left over; several before few."""
        for cell, facing in sorted(self._gaps, key=lambda gap: -len(gap[1])):
            for cube in cubes:
                if self._sides(cube) <= facing:
                    yield {cell: cube}
        for cell, facing in self._gaps:
            for cube in cubes:
                if (
                    is_part(self.kit[cube.kind])
                    and self._sides(cube) & facing
                    and not (self._sides(cube) <= facing)
                ):
                    yield {cell: cube}

    def _turned(self) -> Iterator[_Cubes]:
        """Half turns first; parts before wires."""
        cubes = sorted(self.board.cubes, key=lambda c: c not in self.built.part_at)
        for step in (180, 90, 270):
            for cell in cubes:
                cube = self.board.cubes[cell]
                turn = (cube.turn + step) % 360
                if not self.kit[cube.kind].same_turn(cube.turn, turn):
                    yield {cell: replace(cube, turn=turn)}

    def _moved(self) -> Iterator[_Cubes]:
        for cell, cube in self.board.cubes.items():
            for side in STEP:
                there = cell.neighbour(side)
                if there not in self.board.cubes and self._on_plate(there):
                    yield {cell: None, there: cube}

    def _on_plate(self, cell: Cell) -> bool:
        return 0 <= cell.row < self.board.rows and 0 <= cell.column < self.board.columns

    def _swapped(self) -> Iterator[_Cubes]:
        """Neighbours first, wires only as neighbours."""
        cubes, parts = self.board.cubes, [part.cell for part in self.built.parts]
        near = [(a, a.neighbour(s)) for a in cubes for s in (Side.E, Side.S) if a.neighbour(s) in cubes]
        far = [(a, b) for a, b in itertools.combinations(parts, 2) if (a, b) not in near]
        for a, b in (*near, *far):
            one, two = cubes[a], cubes[b]
            if (one.kind, one.turn, one.value, one.unit) != (two.kind, two.turn, two.value, two.unit):
                yield {a: two, b: one}

    def _other_wires(self, cells: Sequence[Cell]) -> Iterator[_Cubes]:
        """Another wire in its place, every contact of which meets one."""
        for cell in cells:
            facing = self._facing(cell)
            for cube in self.wires:
                if cube.kind != self.board.cubes[cell].kind and self._sides(cube) <= facing:
                    yield {cell: cube}

    # -------------------------------------------------------- leads

    def _leads(self) -> Iterator[Board]:
        board, leads = self.board, self.board.leads
        ends: list[LeadEnd] = [TapEnd(s) for s in sorted(board.taps)]
        for cell, cube in board.cubes.items():
            ends += [SocketEnd(cell, side) for side in self.kit[cube.kind].sockets]
        plugged = {e for x in leads for e in x.ends}
        if len(plugged) < len(ends):
            for a, b in itertools.combinations(sorted(ends, key=lambda e: e in plugged), 2):
                if a not in plugged or b not in plugged:
                    yield replace(board, leads=(*leads, Lead(a, b)))
        for lead in leads:
            rest = tuple(x for x in leads if x is not lead)
            yield replace(board, leads=rest)
            for kept, end in itertools.product((lead.start, lead.end), ends):
                if end not in lead.ends:
                    yield replace(board, leads=(*rest, Lead(kept, end)))


def _with(board: Board, cubes: _Cubes) -> Board:
    changed = {c: q for c, q in board.cubes.items() if c not in cubes}
    return replace(board, cubes=changed | {c: q for c, q in cubes.items() if q is not None})


def _left_over(parts: Sequence[Part], others: Sequence[Part]) -> list[Part]:
    """Parts that find no partner of their kind and value; the closest values go together first."""
    left = list(others)
    over = []
    for part in sorted(parts, key=lambda p: not any(p.cube.value == q.cube.value for q in others)):
        alike = [q for q in left if q.kind.name == part.kind.name and same_value(part, q)]
        best = next((q for q in alike if q.cube.value == part.cube.value), next(iter(alike), None))
        if best is None:
            over.append(part)
        else:
            left.remove(best)
    return over
