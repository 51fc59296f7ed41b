"""The legs of the cubes on a board: the one place where kinds, turns and places come together."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from snapcheck.board._board import Board, Cube
from snapcheck.board._place import Cell, Seam
from snapcheck.kit import Kind, Kit, Side


class Leg(NamedTuple):
    """One contact of a cube as it stands on the board.

    Attributes:
        anchor: the cell under which the board has the cube.
        cell, side: the cell on whose edge the contact lies, and the edge.
        terminal: the terminal it belongs to.
    """

    anchor: Cell
    cell: Cell
    side: Side
    terminal: str


def legs(board: Board, kit: Kit) -> Iterator[Leg]:
    """Every contact of every cube, cube by cube."""
    for anchor, cube in board.cubes.items():
        yield from legs_of(anchor, cube, kit[cube.kind])


def legs_of(anchor: Cell, cube: Cube, kind: Kind) -> Iterator[Leg]:
    """Every contact of one cube."""
    for side, terminal, row, column in kind.contacts_at[cube.turn]:
        yield Leg(anchor, anchor.beside(row, column), side, terminal)


def leg_at(board: Board, kit: Kit, cell: Cell, side: Side) -> Leg | None:
    """The contact on one edge of a cell, None for a blank edge or an empty cell."""
    anchor, cube = board.anchor_at(cell), board.cube_at(cell)
    if anchor is None or cube is None:
        return None
    within = cell.row - anchor.row, cell.column - anchor.column
    terminal = kit[cube.kind].terminal_at(side, cube.turn, *within)
    return None if terminal is None else Leg(anchor, cell, side, terminal)


def legs_at_seam(board: Board, kit: Kit, seam: Seam) -> tuple[Leg, ...]:
    """The contacts that meet at a seam, two at most."""
    places = zip((seam.first, seam.second), seam.sides, strict=True)
    found = (leg_at(board, kit, cell, side) for cell, side in places)
    return tuple(leg for leg in found if leg is not None)
