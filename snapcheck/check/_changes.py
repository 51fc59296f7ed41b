"""Cell by cell: what was changed between plan and build, each change with one cause."""

from __future__ import annotations

import enum
import itertools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace

from snapcheck.board import STEP, Board, Cell, Cube, Lead, LeadEnd, Seam, Side, SocketEnd, TapEnd
from snapcheck.circuit import same_number
from snapcheck.kit import Kind, Kit, usual_spelling


class Change(enum.StrEnum):
    """The sort of change."""

    MISSING = "cube-missing"
    EXTRA = "cube-extra"
    WRONG_KIND = "wrong-kind"
    WRONG_VALUE = "wrong-value"
    TURNED = "turned"
    REVERSED = "reversed"
    SWAPPED = "swapped"
    MOVED = "moved"
    TAP_MISSING = "tap-missing"
    TAP_EXTRA = "tap-extra"
    LEAD_MISSING = "lead-missing"
    LEAD_EXTRA = "lead-extra"
    LEAD_WRONG = "lead-wrong"


class Nearness(enum.IntEnum):
    """How far a value is from the planned one."""

    SAME = 0
    WITHIN = 1  #: within the tolerance of its kind
    NEAR = 2
    FAR = 3
    OUTRAGEOUS = 4


@dataclass(frozen=True)
class CellChange:
    """One change, in cells of both; applying it to the plan gives a plan with this one fault.

    Attributes:
        change: the sort.
        cells: cells concerned, most important first (for a moved cube: where it should stand, then where
            it stands).
        cubes: cell to what the build has there, None for nothing.
        taps_out, taps_in, leads_out, leads_in: taken from, and added to, the plan.
        step: for moved cubes, (columns, rows) from where they belong to where they stand.
        area: every cell that the cubes concerned cover, planned or found; nothing where these are `cells`.
    """

    change: Change
    cells: tuple[Cell, ...]
    cubes: Mapping[Cell, Cube | None] = field(default_factory=dict)
    taps_out: frozenset[Seam] = frozenset()
    taps_in: frozenset[Seam] = frozenset()
    leads_out: tuple[Lead, ...] = ()
    leads_in: tuple[Lead, ...] = ()
    step: tuple[int, int] = (0, 0)
    area: frozenset[Cell] = frozenset()

    def __hash__(self) -> int:
        return hash((self.change, self.cells))


def apply(plan: Board, changes: Iterable[CellChange]) -> Board:
    """The plan with some changes made to it."""
    taps, leads, made = set(plan.taps), list(plan.leads), list(changes)
    for change in made:
        taps = (taps - change.taps_out) | change.taps_in
        for lead in change.leads_out:
            if lead in leads:
                leads.remove(lead)
        leads += change.leads_in
    cubes = plan.standing(change.cubes for change in made)
    return replace(plan, cubes=cubes, taps=frozenset(taps), leads=tuple(leads))


def nearness(kind: Kind, planned: Cube, found: Cube, near_ratio: float, far_ratio: float) -> Nearness:
    """How far the value of `found` is from that of `planned`, both of one kind."""
    a, b = planned.value, found.value
    if a == b and planned.unit == found.unit:
        return Nearness.SAME
    if not isinstance(a, float | int) or not isinstance(b, float | int) or planned.unit != found.unit:
        return Nearness.FAR
    if same_number(a, b, 0.001):
        return Nearness.SAME
    if same_number(a, b, kind.tolerance):
        return Nearness.WITHIN
    if a <= 0 or b <= 0:
        return Nearness.OUTRAGEOUS if 0 in (a, b) else Nearness.FAR
    ratio = max(a, b) / min(a, b)
    return (
        Nearness.NEAR if ratio <= near_ratio else Nearness.FAR if ratio < far_ratio else Nearness.OUTRAGEOUS
    )


def find_changes(plan: Board, built: Board, kit: Kit) -> list[CellChange]:
    """Everything that differs between two boards on one plate; harmless turns are no difference."""
    return _Finder(plan, built, kit).changes()


@dataclass
class _Finder:
    plan: Board
    built: Board
    kit: Kit
    found: list[CellChange] = field(default_factory=list)

    def changes(self) -> list[CellChange]:
        plan, built = self.plan.cubes, self.built.cubes
        #: cells that differ and are not yet explained
        self.open: set[Cell] = {c for c in {**plan, **built} if not self._same(plan.get(c), built.get(c))}
        self._moved_together()
        self._swapped()
        self._moved()
        for cell in sorted(self.open):
            self.found.append(self._single(cell, plan.get(cell), built.get(cell)))
        self._leads_and_taps()
        if self.plan.plain and self.built.plain:
            return self.found
        return [replace(change, area=self._area(change)) for change in self.found]

    def _area(self, change: CellChange) -> frozenset[Cell]:
        boards = (self.plan, self.built)
        standing = [(c, cube) for c in change.cells for board in boards if (cube := board.cubes.get(c))]
        return frozenset([*change.cells, *(cell for c, cube in standing for cell in cube.cells(c))])

    def _same(self, a: Cube | None, b: Cube | None) -> bool:
        if a is None or b is None:
            return a is b
        return (
            a.kind == b.kind
            and self._same_value(a, b)
            and (a.turn == b.turn or self.kit[a.kind].same_turn(a.turn, b.turn))
        )

    def _same_value(self, a: Cube, b: Cube) -> bool:
        """`a` is the planned cube; a plan that names no value takes any."""
        if a.value is None or (a.value == b.value and a.unit == b.unit):
            return True
        if isinstance(a.value, str) and isinstance(b.value, str):
            form = self.kit[a.kind].value_form
            return usual_spelling(a.value, form) == usual_spelling(b.value, form)
        return (
            isinstance(a.value, float | int)
            and isinstance(b.value, float | int)
            and a.unit == b.unit
            and same_number(a.value, b.value, 0.001)
        )

    def _alike(self, a: Cube | None, b: Cube | None) -> bool:
        """The same cube, whichever way it stands."""
        return a is not None and b is not None and a.kind == b.kind and self._same_value(a, b)

    # -------------------------------------------------------- moved and swapped

    def _moved_together(self) -> None:
        """Two or more cubes that all stand one cell off in the same direction."""
        while True:
            groups = [self._group(STEP[side]) for side in Side]
            step, cells = max(groups, key=lambda g: len(g[1]))
            if len(cells) < 2:
                return
            self._record_move(sorted(cells), step)

    def _group(self, step: tuple[int, int]) -> tuple[tuple[int, int], set[Cell]]:
        """The largest set of cubes that, moved by `step`, explains all the cells it touches."""
        plan, built = self.plan.cubes, self.built.cubes
        cells = {
            c
            for c in self.open
            if c in plan
            and _beyond(c, step) in self.open
            and self._same(plan[c], built.get(_beyond(c, step)))
        }
        back = (-step[0], -step[1])
        while True:
            kept = {
                c
                for c in cells
                # what stands here now came from the group, and what was planned beyond moved on with it
                if (c not in built or _beyond(c, back) in cells)
                and (_beyond(c, step) not in plan or _beyond(c, step) in cells)
            }
            if kept == cells:
                return step, cells
            cells = kept

    def _record_move(self, cells: list[Cell], step: tuple[int, int]) -> None:
        targets = [_beyond(c, step) for c in cells]
        touched = dict.fromkeys([*cells, *targets])
        self.found.append(
            CellChange(
                Change.MOVED,
                (*cells, *(t for t in targets if t not in cells)),
                {c: self.built.cubes.get(c) for c in touched},
                step=step,
            )
        )
        self.open -= set(touched)

    def _swapped(self) -> None:
        """Two cubes that stand in each other's place; neighbours first, wires only as neighbours."""
        plan, built = self.plan.cubes, self.built.cubes
        full = sorted(c for c in self.open if c in plan and c in built)
        pairs = [
            (_distance(a, b), a, b)
            for i, a in enumerate(full)
            for b in full[i + 1 :]
            if self._alike(plan[a], built[b])
            and self._alike(plan[b], built[a])
            and not self._alike(plan[a], plan[b])
            and (_distance(a, b) == 1 or not (self._wire(plan[a]) and self._wire(plan[b])))
        ]
        for _, a, b in sorted(pairs):
            if a in self.open and b in self.open:
                self.found.append(CellChange(Change.SWAPPED, (a, b), {a: built[a], b: built[b]}))
                self.open -= {a, b}
        self._swapped_sizes()

    def _swapped_sizes(self) -> None:
        """Two neighbours of different size that share their cells the other way round."""
        plan, built = self.plan.cubes, self.built.cubes
        large = [c for c in sorted(self.open) if c in plan and plan[c].large]
        for a, b in itertools.product(large, sorted(c for c in self.open if c in plan)):
            if plan[a].lies == plan[b].lies or not {a, b} <= self.open:
                continue
            room = {*plan[a].cells(a), *plan[b].cells(b)}
            there = [c for c in sorted(self.open & room) if c in built]
            for x, y in itertools.permutations(there, 2):
                if (
                    (a, b) != (x, y)
                    and self._alike(plan[a], built[x])
                    and self._alike(plan[b], built[y])
                    and room == {*built[x].cells(x), *built[y].cells(y)}
                ):
                    cells = tuple(dict.fromkeys((a, b, x, y)))
                    self.found.append(CellChange(Change.SWAPPED, cells, {c: built.get(c) for c in cells}))
                    self.open -= set(cells)
                    break

    def _moved(self) -> None:
        """One cube that stands in an empty cell instead of its own; wires only one cell away."""
        plan, built = self.plan.cubes, self.built.cubes
        gone = sorted(c for c in self.open if c in plan and c not in built)
        new = sorted(c for c in self.open if c in built and c not in plan)
        pairs = [
            (not self._same(plan[a], built[b]), _distance(a, b), a, b)
            for a in gone
            for b in new
            if self._alike(plan[a], built[b])
            and (_distance(a, b) == 1 or not self._wire(plan[a]))
            and (self._same(plan[a], built[b]) or _distance(a, b) <= 2)
        ]
        for _, _, a, b in sorted(pairs):
            if a in self.open and b in self.open:
                step = (b.column - a.column, b.row - a.row)
                self.found.append(CellChange(Change.MOVED, (a, b), {a: None, b: built[b]}, step=step))
                self.open -= {a, b}

    def _wire(self, cube: Cube) -> bool:
        return self.kit[cube.kind].device.family == "wire"

    # -------------------------------------------------------- one cell

    def _single(self, cell: Cell, planned: Cube | None, found: Cube | None) -> CellChange:
        cubes = {cell: found}
        if planned is None:
            return CellChange(Change.EXTRA, (cell,), cubes)
        if found is None:
            return CellChange(Change.MISSING, (cell,), cubes)
        if planned.kind != found.kind:
            return CellChange(Change.WRONG_KIND, (cell,), cubes)
        kind = self.kit[planned.kind]
        if not self._same_value(planned, found):
            return CellChange(Change.WRONG_VALUE, (cell,), cubes)
        half = (planned.turn - found.turn) % 360 == 180
        polar = len(kind.contacts) == 2 and len({c.terminal for c in kind.contacts}) == 2
        polar = polar and kind.edges(180) == kind.edges(0)  # its two ends have changed places
        return CellChange(Change.REVERSED if half and polar else Change.TURNED, (cell,), cubes)

    # -------------------------------------------------------- leads and taps

    def _leads_and_taps(self) -> None:
        plan, built = list(self.plan.leads), list(self.built.leads)
        for lead in list(plan):
            if lead in built:
                plan.remove(lead)
                built.remove(lead)
        moved = {a: _beyond(a, c.step) for c in self.found if c.change is Change.MOVED for a in c.cells
                 if self.plan.cubes.get(a) is not None}  # fmt: skip
        self._follow_moved(plan, built, moved)
        taps_out = self.plan.taps - self.built.taps
        taps_in = self.built.taps - self.plan.taps
        pairs = [(x, y) for x in plan for y in built if x.ends & y.ends]
        for x, y in pairs:  # one end in the right place
            if x in plan and y in built:
                self._lead(Change.LEAD_WRONG, (x,), (y,), taps_out, taps_in)
                plan.remove(x)
                built.remove(y)
        for x in plan:
            self._lead(Change.LEAD_MISSING, (x,), (), taps_out, taps_in)
        for y in built:
            self._lead(Change.LEAD_EXTRA, (), (y,), taps_out, taps_in)
        told_out = frozenset(s for c in self.found for s in c.taps_out)
        told_in = frozenset(s for c in self.found for s in c.taps_in)
        for seam in sorted(taps_out - told_out):
            self.found.append(
                CellChange(Change.TAP_MISSING, (seam.first, seam.second), taps_out=frozenset({seam}))
            )
        for seam in sorted(taps_in - told_in):
            self.found.append(
                CellChange(Change.TAP_EXTRA, (seam.first, seam.second), taps_in=frozenset({seam}))
            )

    def _follow_moved(self, plan: list[Lead], built: list[Lead], moved: Mapping[Cell, Cell]) -> None:
        """A lead that follows a moved socket cube belongs to that change."""
        for index, change in enumerate(self.found):
            if change.change is not Change.MOVED:
                continue
            for lead in list(plan):
                follows = _with_ends(lead, lambda end: _moved_end(end, moved))
                if follows in built and any(_end_cell(e) in change.cells for e in lead.ends):
                    plan.remove(lead)
                    built.remove(follows)
                    self.found[index] = replace(
                        self.found[index],
                        leads_out=(*self.found[index].leads_out, lead),
                        leads_in=(*self.found[index].leads_in, follows),
                    )

    def _lead(
        self,
        change: Change,
        out: tuple[Lead, ...],
        new: tuple[Lead, ...],
        taps_out: frozenset[Seam],
        taps_in: frozenset[Seam],
    ) -> None:
        """A change of leads, with the taps that came or went along with their ends."""
        cells = dict.fromkeys(
            c for lead in (*new, *out) for end in sorted(lead.ends, key=str) for c in _end_cells(end)
        )
        self.found.append(
            CellChange(
                change,
                tuple(cells),
                taps_out=frozenset(s for s in taps_out if any(TapEnd(s) in x.ends for x in out)),
                taps_in=frozenset(s for s in taps_in if any(TapEnd(s) in x.ends for x in new)),
                leads_out=out,
                leads_in=new,
            )
        )


def _beyond(cell: Cell, step: tuple[int, int]) -> Cell:
    return Cell(cell.row + step[1], cell.column + step[0])


def _distance(a: Cell, b: Cell) -> int:
    return abs(a.row - b.row) + abs(a.column - b.column)


def _end_cells(end: LeadEnd) -> tuple[Cell, ...]:
    return (end.seam.first, end.seam.second) if isinstance(end, TapEnd) else (end.cell,)


def _end_cell(end: LeadEnd) -> Cell | None:
    return end.cell if isinstance(end, SocketEnd) else None


def _moved_end(end: LeadEnd, moved: Mapping[Cell, Cell]) -> LeadEnd:
    return SocketEnd(moved.get(end.cell, end.cell), end.side) if isinstance(end, SocketEnd) else end


def _with_ends(lead: Lead, change: Callable[[LeadEnd], LeadEnd]) -> Lead:
    return Lead(change(lead.start), change(lead.end))
