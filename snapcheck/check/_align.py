"""How a build lies against its plan: shifted, turned or mirrored as a whole. Found by a vote of all cubes."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace

from snapcheck.board import TURNS, Board, Cell, Cube, TapEnd
from snapcheck.kit import Contact, Kind, Kit, Side

#: share of the plan's cubes that must stand as planned for no other shift or turn to be tried
_OBVIOUS = 0.9
#: shifts looked at closely for each turn
_FINALISTS = 4
#: share of cubes that must fit the plan's mirror image, and how many more than fit the plan itself
_MIRRORED, _RATHER_MIRRORED = 0.6, 0.2


@dataclass(frozen=True)
class Alignment:
    """Turn the plan clockwise by `turn` degrees, then move it `columns` right and `rows` down.

    Attributes:
        turn, columns, rows: of the plan, to lie on the build.
        score: share of cubes that then stand as planned, 0 to 1.
        plan_columns, plan_rows: size of the plan's plate before turning.
        mirrored: left and right of the plan are exchanged first.
    """

    turn: int
    columns: int
    rows: int
    score: float
    plan_columns: int
    plan_rows: int
    mirrored: bool = False

    @property
    def moved(self) -> bool:
        """True when the build is shifted, turned or mirrored as a whole."""
        return self.mirrored or (self.turn, self.columns, self.rows) != (0, 0, 0)

    def to_built(self, cell: Cell) -> Cell:
        """Where a cell of the plan lies on the build (maybe off the plate)."""
        if self.mirrored:
            cell = Cell(cell.row, self.plan_columns - 1 - cell.column)
        turned = _turn_cell(cell, self.turn, self.plan_columns, self.plan_rows)
        return Cell(turned.row + self.rows, turned.column + self.columns)

    def to_plan(self, cell: Cell) -> Cell:
        """Where a cell of the build lies on the plan (maybe off the plate)."""
        turned = Cell(cell.row - self.rows, cell.column - self.columns)
        swapped = self.turn % 180 == 90
        columns, rows = (
            (self.plan_rows, self.plan_columns) if swapped else (self.plan_columns, self.plan_rows)
        )
        cell = _turn_cell(turned, -self.turn, columns, rows)
        return Cell(cell.row, self.plan_columns - 1 - cell.column) if self.mirrored else cell

    def cube_on_built(self, cube: Cube, kit: Kit) -> Cube:
        """A cube of the plan as it should stand on the build."""
        if self.mirrored:
            cube = _mirror_cube(cube, kit)
        return cube if self.turn == 0 else replace(cube, turn=(cube.turn + self.turn) % 360)


def unmoved(plan: Board, score: float = 1.0) -> Alignment:
    """The plan where it is."""
    return Alignment(0, 0, 0, score, plan.columns, plan.rows)


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


def _mirror_cube(cube: Cube, kit: Kit) -> Cube:
    """The cube as one puts it down who sees the plan in a mirror.

    A kind that has a mirror image of its own (a transistor) stands with its mark on the mirrored side; two
    of its terminals are then exchanged.
    """
    kind = kit[cube.kind]
    seen = _mirrored_contacts(kind, cube.turn)
    like = [t for t in TURNS if kind.lies(t) == cube.lies]  # covers as much across and down
    for turn in like:
        if set(kind.contacts_at[turn]) == seen:
            return replace(cube, turn=turn)
    if kind.marked:
        mark = _mirror_side(kind.faces[kind.marked].turned(cube.turn))
        return replace(cube, turn=next(t for t in TURNS if kind.faces[kind.marked].turned(t) == mark))
    edges = {contact.edge for contact in seen}
    turns = [t for t in like if kind.edges(t) == edges]
    return replace(cube, turn=turns[0]) if turns else cube


def is_handed(kind: Kind) -> bool:
    """True for a kind that no turn brings onto its mirror image, such as a transistor."""
    seen = _mirrored_contacts(kind, 0)
    return all(set(kind.contacts_at[t]) != seen for t in TURNS if kind.lies(t) == kind.size)


def _mirrored_contacts(kind: Kind, turn: int) -> set[Contact]:
    """Where the contacts of a kind lie in a mirror that exchanges left and right."""
    last = kind.lies(turn)[0] - 1
    return {c._replace(side=_mirror_side(c.side), column=last - c.column) for c in kind.contacts_at[turn]}


def _mirror_side(side: Side) -> Side:
    return side.opposite if side in (Side.E, Side.W) else side


def _mirror_image(plan: Board, kit: Kit) -> Board:
    """The plan with left and right exchanged (cubes only: they decide how a build lies)."""
    turns: dict[tuple[str, int], int] = {}

    def mirrored(cube: Cube) -> Cube:
        known = cube.kind, cube.turn
        if known not in turns:
            turns[known] = _mirror_cube(cube, kit).turn
        return cube if turns[known] == cube.turn else replace(cube, turn=turns[known])

    return Board(plan.columns, plan.rows, plan.cubes).moved(
        (plan.columns, plan.rows),
        lambda c: Cell(c.row, plan.columns - 1 - c.column),
        mirrored,
    )


def align(plan: Board, built: Board, kit: Kit) -> Alignment:
    """The shift and turn under which most cubes stand as planned; none where that does as well.

    Where the plan fits badly and its mirror image much better, the build was made mirrored.
    """
    plain = _align(plan, built, kit)
    if plain.score + _RATHER_MIRRORED >= 1:
        return plain
    other = _align(_mirror_image(plan, kit), built, kit)
    if other.score < max(_MIRRORED, plain.score + _RATHER_MIRRORED):
        return plain
    return replace(other, mirrored=True)


def _align(plan: Board, built: Board, kit: Kit) -> Alignment:
    stay = unmoved(plan, 0.0)
    if not plan.cubes or not built.cubes:
        return stay
    most = max(len(plan.cubes), len(built.cubes))
    there: _Cubes = {(cell.row, cell.column): cube for cell, cube in built.cubes.items()}
    best = replace(stay, score=_score(_turned(plan, 0), there, 0, (0, 0), kit) / most)
    if best.score >= _OBVIOUS:
        return best
    where: dict[tuple[str, int], list[tuple[int, int]]] = defaultdict(list)
    for at, cube in there.items():
        where[_key(cube, kit, 0)].append(at)
    for turn in TURNS:
        mine = _turned(plan, turn)
        for shift in _candidates(mine, where, turn, kit):
            score = _score(mine, there, turn, shift, kit) / most
            other = Alignment(turn, *shift, score, plan.columns, plan.rows)
            if score > best.score + 1e-9 and _fits_a_board(plan, built, other):
                best = other
    return best


#: (row, column) of an anchor to its cube
_Cubes = dict[tuple[int, int], Cube]


def _turned(plan: Board, turn: int) -> _Cubes:
    """The plan's cubes where they lie once its plate is turned; the cubes themselves as they were."""
    place = plan.anchors_after(lambda cell: _turn_cell(cell, turn, plan.columns, plan.rows))
    return {(at.row, at.column): cube for at, cube in ((place(c), cube) for c, cube in plan.cubes.items())}


def _key(cube: Cube, kit: Kit, turn: int) -> tuple[str, int]:
    return cube.kind, (cube.turn + turn) % kit[cube.kind].symmetry


def _candidates(
    mine: _Cubes, where: Mapping[tuple[str, int], list[tuple[int, int]]], turn: int, kit: Kit
) -> list[tuple[int, int]]:
    """Shifts (columns, rows) that most cubes vote for; rare cubes have the louder voice."""
    alike: dict[tuple[str, int], list[tuple[int, int]]] = defaultdict(list)
    for at, cube in mine.items():
        key = _key(cube, kit, turn)
        if key in where:
            alike[key].append(at)
    votes: dict[tuple[int, int], float] = defaultdict(float)
    for key, places in alike.items():
        weight = 1.0 / min(len(places), len(where[key]))
        for row, column in places:
            for there, across in where[key]:
                votes[across - column, there - row] += weight
    return heapq.nlargest(_FINALISTS, votes, key=votes.__getitem__)


def _score(mine: _Cubes, there: _Cubes, turn: int, shift: tuple[int, int], kit: Kit) -> float:
    """Cubes that stand as planned after a shift (columns, rows), with part of a point for the right kind."""
    score, (columns, rows) = 0.0, shift
    for (row, column), cube in mine.items():
        other = there.get((row + rows, column + columns))
        if other is None or other.kind != cube.kind:
            continue
        score += 0.4
        if kit[cube.kind].same_turn(cube.turn + turn, other.turn):
            score += 0.4 if other.value != cube.value else 0.6
    return score


def _fits_a_board(plan: Board, built: Board, alignment: Alignment) -> bool:
    cells = [alignment.to_built(c) for c in plan.occupied]
    columns = max(built.columns, *(c.column + 1 for c in cells)) - min(0, *(c.column for c in cells), 0)
    rows = max(built.rows, *(c.row + 1 for c in cells)) - min(0, *(c.row for c in cells), 0)
    return columns <= 52 and rows <= 99


@dataclass(frozen=True)
class Both:
    """Plan and build on one plate, cell upon cell.

    Attributes:
        plan, built: both with the same plate size.
        columns, rows: what to take off a cell of these two to get the build's own cell.
        alignment: how the plan was laid on the build.
    """

    plan: Board
    built: Board
    columns: int
    rows: int
    alignment: Alignment

    def built_cell(self, cell: Cell) -> Cell:
        """The build's own name for a cell of both (negative off the plate)."""
        return Cell(cell.row - self.rows, cell.column - self.columns)

    def plan_cell(self, cell: Cell) -> Cell:
        """The plan's own name for a cell of both; for an anchor, the anchor of the cube on the plan."""
        cube = self.plan.cubes.get(cell) or self.built.cubes.get(cell)

        def own(some: Cell) -> Cell:
            return self.alignment.to_plan(self.built_cell(some))

        return own(cell) if cube is None else cube.anchor_after(cell, own)

    def of_built(self, cell: Cell) -> Cell:
        """What a cell of the build is called in both."""
        return Cell(cell.row + self.rows, cell.column + self.columns)


def lay_together(plan: Board, built: Board, alignment: Alignment, kit: Kit) -> Both:
    """Put plan and build on one plate that is large enough for both."""
    if not alignment.moved and (plan.columns, plan.rows) == (built.columns, built.rows):
        return Both(plan, built, 0, 0, alignment)
    touched = [alignment.to_built(c) for c in _cells_of(plan)]
    left = -min([0, *(c.column for c in touched)])
    top = -min([0, *(c.row for c in touched)])
    columns = left + max([built.columns, *(c.column + 1 for c in touched)])
    rows = top + max([built.rows, *(c.row + 1 for c in touched)])

    stay = replace(alignment, turn=0, columns=0, rows=0, mirrored=False)
    return Both(
        _placed(plan, alignment, kit, (columns, rows), (left, top)),
        _placed(built, stay, kit, (columns, rows), (left, top)),
        left,
        top,
        alignment,
    )


def _placed(
    board: Board, alignment: Alignment, kit: Kit, size: tuple[int, int], corner: tuple[int, int]
) -> Board:
    def move(cell: Cell) -> Cell:
        c = alignment.to_built(cell)
        return Cell(c.row + corner[1], c.column + corner[0])

    return board.moved(size, move, lambda cube: alignment.cube_on_built(cube, kit))


def _cells_of(board: Board) -> list[Cell]:
    cells = list(board.occupied)
    for seam in board.taps:
        cells += [seam.first, seam.second]
    for lead in board.leads:
        for end in lead.ends:
            cells += [end.seam.first, end.seam.second] if isinstance(end, TapEnd) else [end.cell]
    return cells
