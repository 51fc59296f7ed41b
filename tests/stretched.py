"""A plan's circuit in layouts of its own: stretched by wires, shifted or mirrored in part; with one fault.

``python tests/stretched.py [FAULTS]`` holds every layout of every sample design, with FAULTS faults of each
sort (2 if not said), against its design; it prints how many are told as one finding, and lost dangers.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from boardmaker import FAULTS, inject

from snapcheck.board import Board, Cell, Cube, Lead, LeadEnd, Seam, Side, SocketEnd, TapEnd
from snapcheck.check import compare
from snapcheck.check._align import _mirror_cube, is_handed
from snapcheck.circuit import build_circuit, equivalence
from snapcheck.findings import Severity
from snapcheck.kit import Kit, bundled_kit

KIT = bundled_kit()
WAYS = ("stretched", "shifted", "mirrored")


@dataclass(frozen=True)
class Layout:
    """A layout of a design's own circuit, and how it came about."""

    name: str
    board: Board


def layouts(plan: Board, kit: Kit = KIT) -> Iterator[Layout]:
    """Every way of stretching, shifting or mirroring the part beyond one seam of the plan."""
    for turn in (0, 90):
        board = plan.turned(turn)
        across = "columns" if turn == 0 else "rows"
        for at in range(1, board.columns):
            for way in WAYS:
                made = {"stretched": _stretched, "shifted": _shifted, "mirrored": _mirrored}[way](
                    board, at, kit
                )
                if made is not None and _still_the_same(plan, made, kit):
                    yield Layout(f"{way}, {across} {at}", made.turned(360 - turn))


def _still_the_same(plan: Board, made: Board, kit: Kit) -> bool:
    return bool(equivalence(build_circuit(plan, kit), build_circuit(made, kit)))


def _meet(board: Board, left: Cell, kit: Kit) -> bool:
    """Whether a cube's right contact touches its neighbour's left one."""
    right = left.neighbour(Side.E)
    ends = ((left, Side.E), (right, Side.W))
    return all(
        cell in board.cubes
        and kit[board.cubes[cell].kind].terminal_at(side, board.cubes[cell].turn) is not None
        for cell, side in ends
    )


def _crossings(board: Board, at: int, kit: Kit) -> list[int]:
    """Rows in which metal crosses the seam left of column `at`."""
    return [r for r in range(board.rows) if _meet(board, Cell(r, at - 1), kit)]


def _moved(board: Board, at: int, columns: int, rows: int, size: tuple[int, int]) -> Board:
    """What stands from column `at` on moved; taps on that seam stay at its left side."""

    def move(cell: Cell) -> Cell:
        return Cell(cell.row + rows, cell.column + columns) if cell.column >= at else cell

    def seam(s: Seam) -> Seam:
        if s.vertical and s.second.column == at:
            return Seam.between(s.first, s.first.neighbour(Side.E))
        return Seam.between(move(s.first), move(s.second))

    def end(e: LeadEnd) -> LeadEnd:
        return TapEnd(seam(e.seam)) if isinstance(e, TapEnd) else SocketEnd(move(e.cell), e.side)

    return Board(
        *size,
        {move(c): q for c, q in board.cubes.items()},
        frozenset(seam(s) for s in board.taps),
        tuple(Lead(end(x.start), end(x.end)) for x in board.leads),
    )


def _with_wires(board: Board, wires: dict[Cell, Cube]) -> Board:
    return replace(board, cubes={**board.cubes, **wires})


def _stretched(board: Board, at: int, kit: Kit) -> Board | None:
    """One more column, straight wires where metal crosses it."""
    made = _moved(board, at, 1, 0, (board.columns + 1, board.rows))
    return _with_wires(made, {Cell(r, at): Cube("straight", 0) for r in _crossings(board, at, kit)})


def _shifted(board: Board, at: int, kit: Kit) -> Board | None:
    """What lies right of a seam one row lower, joined by a flight of corners."""
    crossing = _crossings(board, at, kit)
    run = longest = 0
    step: dict[int, int] = {}  # row to the column of its downward step: the lower one steps first
    for row in reversed(range(board.rows)):
        run = run + 1 if row in crossing else 0
        longest = max(longest, run)
        step[row] = run - 1
    if not longest or longest > 4:
        return None
    wires: dict[Cell, Cube] = {}
    for row in crossing:
        for column in range(longest):
            if column < step[row]:
                wires[Cell(row, at + column)] = Cube("straight", 0)
            elif column > step[row]:
                wires[Cell(row + 1, at + column)] = Cube("straight", 0)
        wires[Cell(row, at + step[row])] = _corner(Side.W, Side.S, kit)
        wires[Cell(row + 1, at + step[row])] = _corner(Side.N, Side.E, kit)
    return _with_wires(_moved(board, at, longest, 1, (board.columns + longest, board.rows + 1)), wires)


def _corner(one: Side, two: Side, kit: Kit) -> Cube:
    sides = {c.side for c in kit["corner"].contacts}
    return Cube("corner", next(t for t in (0, 90, 180, 270) if {s.turned(t) for s in sides} == {one, two}))


def _mirrored(board: Board, at: int, kit: Kit) -> Board | None:
    """What lies right of a seam that one wire crosses, upside down; None where parts cannot be mirrored."""
    crossing = _crossings(board, at, kit)
    part = {c: q for c, q in board.cubes.items() if c.column >= at}
    if len(crossing) != 1 or len(part) < 2 or any(is_handed(kit[q.kind]) for q in part.values()):
        return None
    row = crossing[0]
    if board.leads or board.taps or any(_meet(board, Cell(r, at - 1), kit) for r in crossing if r != row):
        return None
    top = min(2 * row - c.row for c in part)
    down = max(0, -top)
    rows = max(board.rows, 2 * row - min(c.row for c in part) + 1, board.rows) + down
    cubes = {Cell(c.row + down, c.column): q for c, q in board.cubes.items() if c.column < at}
    cubes |= {Cell(2 * row - c.row + down, c.column): _upside_down(q, kit) for c, q in part.items()}
    return Board(board.columns, rows, cubes)


def _upside_down(cube: Cube, kit: Kit) -> Cube:
    """Mirrored top to bottom: left to right, and half a turn."""
    mirrored = _mirror_cube(cube, kit)
    return replace(mirrored, turn=(mirrored.turn + 180) % 360)


# ---------------------------------------------------------------- one fault in each


@dataclass(frozen=True)
class Trial:
    """A layout with one fault that makes it another circuit, or a danger."""

    name: str
    plan: Board
    layout: Board
    built: Board
    sort: str
    cells: frozenset[Cell]
    danger: bool


def trials(
    name: str, plan: Board, rng: random.Random, each: int, some: int | None = None, kit: Kit = KIT
) -> Iterator[Trial]:
    """`each` faults of every sort in every layout of a plan (in `some` of each way, where that is given).

    Faults that make no difference are left out.
    """
    circuit = build_circuit(plan, kit)
    chosen = list(layouts(plan, kit))
    if some is not None:
        rng.shuffle(chosen)
        chosen = [x for way in WAYS for x in [x for x in chosen if x.name.startswith(way)][:some]]
    for layout in chosen:
        for sort in FAULTS:
            for _ in range(each):
                fault = inject(layout.board, sort, rng, kit)
                if fault is None or equivalence(circuit, build_circuit(fault.board, kit)):
                    continue
                # held against its own layout, cell by cell, there is one story that everybody can see
                truth = compare(layout.board, fault.board, kit)
                if sum(f.severity < Severity.NOTE for f in truth.findings) != 1:
                    continue
                danger = any(f.severity is Severity.DANGER for f in truth.findings)
                title = f"{name}, {layout.name}: {sort} {' '.join(sorted(map(str, fault.cells)))}"
                yield Trial(title, plan, layout.board, fault.board, sort, fault.cells, danger)


@dataclass(frozen=True)
class Told:
    """What is told of a trial: serious findings, whether danger is told, whether the place is named."""

    count: int
    danger: bool
    place: bool


def told(trial: Trial, kit: Kit = KIT) -> Told:
    """The trial held against its plan."""
    serious = [f for f in compare(trial.plan, trial.built, kit).findings if f.severity < Severity.NOTE]
    cells = {c for f in serious for c in f.cells}
    danger = any(f.severity is Severity.DANGER for f in serious)
    return Told(len(serious), danger, bool(cells & trial.cells) or not trial.cells)


def main() -> None:
    from samples import designs

    each = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    rng = random.Random(12)
    seen, one, placed, lost = Counter[str](), Counter[str](), Counter[str](), []
    for file, design in designs():
        for trial in trials(file.stem, design.board, rng, each):
            answer = told(trial)
            seen[trial.sort] += 1
            one[trial.sort] += answer.count == 1
            placed[trial.sort] += answer.place
            if trial.danger and not answer.danger:
                lost.append(trial.name)
            if "-v" in sys.argv and answer.count != 1:
                print(f"{answer.count}  {trial.name}")
    for sort in seen:
        print(f"{sort:14} {one[sort]:5} of {seen[sort]:5} as one finding, place named in {placed[sort]}")
    total = sum(seen.values())
    share = 100 * sum(one.values()) / total
    print(f"all: {sum(one.values())} of {total} ({share:.1f} %), lost dangers: {len(lost)}")
    for name in lost:
        print("lost:", name)


if __name__ == "__main__":
    main()
