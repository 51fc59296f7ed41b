"""Boards to be laid once, so that a kit can be learnt from their photos.

Every kind in two turns, mixed so that a slip in laying shows: like cubes lie apart, and no other way round,
nor a row or column too far, looks alike.
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Iterable, Sequence

from snapcheck.board import Board, Cell, Cube
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit
from snapcheck.words import tr

#: how often every kind is laid, where the kit has so many
TIMES = 2
#: cells left free on each board, at least: they tell how the plate lies
_FREE = 3
_TRIES = 60


def primer(kit: Kit, columns: int, rows: int, kinds: Iterable[str] = ()) -> tuple[Board, ...]:
    """Boards that show every kind in two turns, the same each time for the same kinds and plate.

    Args:
        columns, rows: of the plate.
        kinds: those to show, none: all.

    Raises:
        InputError: a kind is none of the kit, or does not fit on the plate.
    """
    wanted = sorted(set(kinds) or kit.kinds)
    for name in wanted:
        if name not in kit:
            raise InputError(
                tr("the kit has no kind '{name}'.", name=name),
                way_out=tr("Accepted: {names}.", names=", ".join(kit.kinds)),
            )
    rng = random.Random(zlib.crc32(" ".join([*wanted, f"{columns}x{rows}"]).encode()))
    lots = _lots([kit[name] for name in wanted], columns * rows - _FREE, rng)
    return tuple(_laid(lot, columns, rows, rng) for lot in lots)


def _lots(kinds: Sequence[Kind], room: int, rng: random.Random) -> list[list[Cube]]:
    """Cubes for each board: as few boards as will do, and never more of a kind on one than the kit has."""
    cubes: list[tuple[int, Kind, Cube]] = []
    for kind in kinds:
        first = rng.choice((0, 90, 180, 270))
        # a quarter or half turn further, whichever the kind can tell apart
        further = rng.choice([t for t in (90, 180, 270) if t % kind.symmetry] or [90, 180, 270])
        for n in range(TIMES):
            cube = Cube(kind.name, (first + n * further) % 360, size=kind.size)
            cubes.append((n, kind, cube))
    cubes.sort(key=lambda c: (-c[2].size[0] * c[2].size[1], c[0]))
    whole = sum(c.size[0] * c.size[1] for _, _, c in cubes)
    few = any(kind.count is not None and kind.count < TIMES for kind in kinds)
    lots: list[list[Cube]] = [[] for _ in range(max(-(-whole // max(room, 1)), TIMES if few else 1))]
    for _, kind, cube in cubes:
        once = kind.count is not None and kind.count < TIMES
        order = sorted(lots, key=lambda lot: sum(c.size[0] * c.size[1] for c in lot))
        mine = [lot for lot in order if not once or all(c.kind != kind.name for c in lot)] or order
        mine[0].append(cube)
    return lots


def _laid(lot: list[Cube], columns: int, rows: int, rng: random.Random) -> Board:
    """The best of some boards of these cubes laid at random."""
    best: tuple[float, Board] | None = None
    for _ in range(_TRIES):
        board = _at_random(lot, columns, rows, rng)
        if board is None:
            continue
        alike = likeness(board)
        if best is None or alike < best[0]:
            best = alike, board
    if best is None:
        raise InputError(
            tr("the cubes do not fit on a plate of {columns} by {rows}.", columns=columns, rows=rows),
            way_out=tr("Take a larger plate, or fewer kinds with --only."),
        )
    return best[1]


def _at_random(lot: list[Cube], columns: int, rows: int, rng: random.Random) -> Board | None:
    cubes: dict[Cell, Cube] = {}
    free = {Cell(r, c) for r in range(rows) for c in range(columns)}
    for cube in lot:
        places = sorted(c for c in free if not cube.large or free.issuperset(cube.cells(c)))
        like = [a for a, other in cubes.items() if other.kind == cube.kind]
        apart = [c for c in places if not any(_near(a, c) for a in like)]
        if not places:
            return None
        anchor = rng.choice(apart or places)
        cubes[anchor] = cube
        free.difference_update(cube.cells(anchor))
    return Board(columns, rows, dict(sorted(cubes.items())))


def _near(a: Cell, b: Cell) -> bool:
    return abs(a.row - b.row) <= 2 and abs(a.column - b.column) <= 2


def likeness(board: Board) -> float:
    """How much of a board can be taken for it turned round or laid a row or column too far: the largest
    share of cells that show the same then (0..1)."""
    number = {name: n for n, name in enumerate(sorted({q.kind for q in board.cubes.values()}), 1)}
    import numpy as np  # not before a board is compared: listing a box waits for no library

    shown = np.zeros((board.rows, board.columns), int)
    for anchor, cube in board.cubes.items():
        for cell in cube.cells(anchor):
            shown[cell.row, cell.column] = number[cube.kind]
    most = 0.0
    for quarter in range(4) if board.columns == board.rows else (0, 2):
        around = np.pad(np.rot90(shown, quarter), 1)
        for down in range(3):
            for right in range(3):
                if (quarter, down, right) != (0, 1, 1):
                    laid = around[down : down + board.rows, right : right + board.columns]
                    most = max(most, float((laid == shown).mean()))
    return most
