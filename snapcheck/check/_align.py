"""How a build lies against its plan: shifted or turned as a whole. Found by a vote of all cubes."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, replace

from snapcheck.board import TURNS, Board, Cell, Cube, Lead, LeadEnd, Seam, SocketEnd, TapEnd
from snapcheck.kit import Kit

Move = Callable[[Cell], Cell]

#: share of the plan's cubes that must stand as planned for no other shift or turn to be tried
_OBVIOUS = 0.9
#: shifts looked at closely for each turn
_FINALISTS = 4


@dataclass(frozen=True)
class Alignment:
    """Turn the plan clockwise by `turn` degrees, then move it `columns` right and `rows` down.

    Attributes:
        turn, columns, rows: of the plan, to lie on the build.
        score: share of cubes that then stand as planned, 0 to 1.
        plan_columns, plan_rows: size of the plan's plate before turning.
    """

    turn: int
    columns: int
    rows: int
    score: float
    plan_columns: int
    plan_rows: int

    @property
    def moved(self) -> bool:
        """True when the build is shifted or turned as a whole."""
        return (self.turn, self.columns, self.rows) != (0, 0, 0)

    def to_built(self, cell: Cell) -> Cell:
        """Where a cell of the plan lies on the build (maybe off the plate)."""
        turned = _turn_cell(cell, self.turn, self.plan_columns, self.plan_rows)
        return Cell(turned.row + self.rows, turned.column + self.columns)

    def to_plan(self, cell: Cell) -> Cell:
        """Where a cell of the build lies on the plan (maybe off the plate)."""
        turned = Cell(cell.row - self.rows, cell.column - self.columns)
        swapped = self.turn % 180 == 90
        columns, rows = (
            (self.plan_rows, self.plan_columns) if swapped else (self.plan_columns, self.plan_rows)
        )
        return _turn_cell(turned, -self.turn, columns, rows)


def _turn_cell(cell: Cell, turn: int, columns: int, rows: int) -> Cell:
    match turn % 360:
        case 90:
            return Cell(cell.column, rows - 1 - cell.row)
        case 180:
            return Cell(rows - 1 - cell.row, columns - 1 - cell.column)
        case 270:
            return Cell(columns - 1 - cell.column, cell.row)
        case _:
            return cell


def align(plan: Board, built: Board, kit: Kit) -> Alignment:
    """The shift and turn under which most cubes stand as planned; none where that does as well."""
    stay = Alignment(0, 0, 0, 0.0, plan.columns, plan.rows)
    if not plan.cubes or not built.cubes:
        return stay
    most = max(len(plan.cubes), len(built.cubes))
    best = replace(stay, score=_score(plan, built, stay, kit) / most)
    if best.score >= _OBVIOUS:
        return best
    for turn in TURNS:
        for columns, rows in _candidates(plan, built, turn, kit):
            other = Alignment(turn, columns, rows, 0.0, plan.columns, plan.rows)
            if not _fits_a_board(plan, built, other):
                continue
            score = _score(plan, built, other, kit) / most
            if score > best.score + 1e-9:
                best = replace(other, score=score)
    return best


def _key(cube: Cube, kit: Kit, turn: int) -> tuple[str, int]:
    return cube.kind, (cube.turn + turn) % kit[cube.kind].symmetry


def _candidates(plan: Board, built: Board, turn: int, kit: Kit) -> list[tuple[int, int]]:
    """Shifts that most cubes vote for; rare cubes have the louder voice."""
    where: dict[tuple[str, int], list[Cell]] = defaultdict(list)
    for cell, cube in built.cubes.items():
        where[_key(cube, kit, 0)].append(cell)
    mine: dict[tuple[str, int], list[Cell]] = defaultdict(list)
    for cell, cube in plan.cubes.items():
        key = _key(cube, kit, turn)
        if key in where:
            mine[key].append(_turn_cell(cell, turn, plan.columns, plan.rows))
    votes: dict[tuple[int, int], float] = defaultdict(float)
    for key, cells in mine.items():
        weight = 1.0 / min(len(cells), len(where[key]))
        for a in cells:
            for b in where[key]:
                votes[b.column - a.column, b.row - a.row] += weight
    return heapq.nlargest(_FINALISTS, votes, key=lambda shift: votes[shift])


def _score(plan: Board, built: Board, alignment: Alignment, kit: Kit) -> float:
    """Cubes that stand as planned, with part of a point for the right kind."""
    score = 0.0
    for cell, cube in plan.cubes.items():
        other = built.cubes.get(alignment.to_built(cell))
        if other is None or other.kind != cube.kind:
            continue
        score += 0.4
        if kit[cube.kind].same_turn(cube.turn + alignment.turn, other.turn):
            score += 0.4 if other.value != cube.value else 0.6
    return score


def _fits_a_board(plan: Board, built: Board, alignment: Alignment) -> bool:
    cells = [alignment.to_built(c) for c in plan.cubes]
    columns = max(built.columns, *(c.column + 1 for c in cells)) - min(0, *(c.column for c in cells), 0)
    rows = max(built.rows, *(c.row + 1 for c in cells)) - min(0, *(c.row for c in cells), 0)
    return columns <= 52 and rows <= 99


@dataclass(frozen=True)
class Frame:
    """Plan and build on one plate, cell upon cell.

    Attributes:
        plan, built: both with the same plate size.
        columns, rows: what to take off a cell of this frame to get the build's own cell.
        alignment: how the plan was laid on the build.
    """

    plan: Board
    built: Board
    columns: int
    rows: int
    alignment: Alignment

    def built_cell(self, cell: Cell) -> Cell:
        """The build's own name for a cell of the frame (negative off the plate)."""
        return Cell(cell.row - self.rows, cell.column - self.columns)

    def plan_cell(self, cell: Cell) -> Cell:
        """The plan's own name for a cell of the frame."""
        return self.alignment.to_plan(self.built_cell(cell))

    def of_built(self, cell: Cell) -> Cell:
        """The frame's cell for a cell of the build."""
        return Cell(cell.row + self.rows, cell.column + self.columns)


def lay_together(plan: Board, built: Board, alignment: Alignment) -> Frame:
    """Put plan and build on one plate that is large enough for both."""
    if not alignment.moved and (plan.columns, plan.rows) == (built.columns, built.rows):
        return Frame(plan, built, 0, 0, alignment)
    touched = [alignment.to_built(c) for c in _cells_of(plan)]
    left = -min([0, *(c.column for c in touched)])
    top = -min([0, *(c.row for c in touched)])
    columns = left + max([built.columns, *(c.column + 1 for c in touched)])
    rows = top + max([built.rows, *(c.row + 1 for c in touched)])

    def plan_to_frame(cell: Cell) -> Cell:
        c = alignment.to_built(cell)
        return Cell(c.row + top, c.column + left)

    def built_to_frame(cell: Cell) -> Cell:
        return Cell(cell.row + top, cell.column + left)

    def placed(board: Board, move: Move, turn: int) -> Board:
        return Board(
            columns,
            rows,
            {move(c): replace(q, turn=(q.turn + turn) % 360) for c, q in board.cubes.items()},
            frozenset(Seam.between(move(s.first), move(s.second)) for s in board.taps),
            tuple(Lead(_end(x.start, move), _end(x.end, move)) for x in board.leads),
        )

    return Frame(
        placed(plan, plan_to_frame, alignment.turn), placed(built, built_to_frame, 0), left, top, alignment
    )


def _end(end: LeadEnd, move: Move) -> LeadEnd:
    if isinstance(end, TapEnd):
        return TapEnd(Seam.between(move(end.seam.first), move(end.seam.second)))
    return SocketEnd(move(end.cell), end.side)


def _cells_of(board: Board) -> list[Cell]:
    cells = list(board.cubes)
    for seam in board.taps:
        cells += [seam.first, seam.second]
    for lead in board.leads:
        for end in lead.ends:
            cells += [end.seam.first, end.seam.second] if isinstance(end, TapEnd) else [end.cell]
    return cells
