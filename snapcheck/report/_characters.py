"""The board in characters: small enough for a terminal, true enough to find one's way."""

from __future__ import annotations

from collections.abc import Mapping

from snapcheck.board import Board, Cell, Cube, column_letters, legs_of
from snapcheck.findings import Finding
from snapcheck.kit import Kit, Side

#: box-drawing lines by the sides they reach
_LINES = {
    "": "·", "E": "╶", "W": "╴", "N": "╵", "S": "╷", "EW": "─", "NS": "│", "ES": "┌", "SW": "┐", "EN": "└",
    "NW": "┘", "ENS": "├", "NSW": "┤", "ESW": "┬", "ENW": "┴", "ENSW": "┼",
}  # fmt: skip


def board_lines(
    board: Board, kit: Kit, marks: Mapping[Cell, str], ghosts: Mapping[Cell, Cube] | None = None
) -> list[list[tuple[str, str]]]:
    """Rows of (text, role) pieces; a cell is three characters wide.

    Args:
        board, kit: what to draw.
        marks: a finding's number by cell.
        ghosts: cubes that should stand in empty cells.

    Roles are ``address``, ``wire``, ``part``, ``empty``, ``mark`` and ``ghost``.
    """
    head = [("   ", "address")]
    head += [(f"{column_letters(c):^3}", "address") for c in range(board.columns)]
    rows = [head]
    for row in range(board.rows):
        line = [(f"{row + 1:>2} ", "address")]
        for column in range(board.columns):
            line.append(_cell(board, kit, Cell(row, column), marks, ghosts or {}))
        rows.append(line)
    return rows


def _cell(
    board: Board, kit: Kit, cell: Cell, marks: Mapping[Cell, str], ghosts: Mapping[Cell, Cube]
) -> tuple[str, str]:
    mark = marks.get(cell)
    anchor, cube = board.anchor_at(cell), board.cube_at(cell)
    if mark is not None:
        return f"[{mark}]" if len(mark) == 1 else f"{mark:^3}", "mark"
    if anchor is None or cube is None:
        return (" · ", "empty") if cell not in ghosts else (" ○ ", "ghost")
    kind = kit[cube.kind]
    sides = {leg.side for leg in legs_of(anchor, cube, kind) if leg.cell == cell}
    left = "─" if Side.W in sides else " "
    right = "─" if Side.E in sides else " "
    if kind.wire:
        if cube.kind == "crossover":
            return f"{left}╫{right}", "wire"
        return f"{left}{_LINES[''.join(sorted(s.name for s in sides))]}{right}", "wire"
    if cell != anchor:  # the rest of a cube of several cells
        return f"{left}▒{right}", "part"
    letter = kind.device.letter or kind.prefix[:1] or "?"
    return f"{left}{letter}{right}", "part"


def marks_of(findings: list[tuple[int, Finding]]) -> dict[Cell, str]:
    """The number shown in each cell: that of the gravest finding there."""
    marks: dict[Cell, str] = {}
    for number, finding in findings:
        for cell in finding.cells[:2]:
            marks.setdefault(cell, str(number))
    return marks
