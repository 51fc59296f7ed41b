"""Where the ends of leads can be on a board, and where such a place lies in a drawing."""

from __future__ import annotations

from collections.abc import Iterator

from snapcheck.board._board import Board, LeadEnd, SocketEnd, TapEnd
from snapcheck.board._draw import MARGIN, end_point
from snapcheck.board._layout_write import end_text
from snapcheck.board._place import Cell, Seam
from snapcheck.board._shapes import Point
from snapcheck.kit import Kit


def places_of_ends(board: Board, kit: Kit) -> Iterator[tuple[str, LeadEnd, Point]]:
    """Every seam beside a cube where a tap sits or could sit, and every socket: as a lead's line writes it,
    the end, and its place in a drawing of `draw_svg` without a title."""
    ends: list[LeadEnd] = [TapEnd(seam) for seam in sorted(_seams(board))]
    ends += [SocketEnd(cell, side) for cell, cube in board.cubes.items() for side in kit[cube.kind].sockets]
    for end in ends:
        x, y = end_point(end, board)
        yield end_text(end, board, kit), end, (x + MARGIN, y + MARGIN)


def _seams(board: Board) -> Iterator[Seam]:
    for cell in board.cells():
        for other in (Cell(cell.row, cell.column + 1), Cell(cell.row + 1, cell.column)):
            if other.column >= board.columns or other.row >= board.rows:
                continue
            around = {board.anchor_at(cell), board.anchor_at(other)}
            if around != {None} and len(around) == 2:
                yield Seam(cell, other)
