"""From places and wires to a board: which cube lies where, and leads where a wire found no way."""

from __future__ import annotations

from collections.abc import Sequence

from snapcheck.board import Board, Cell, Cube
from snapcheck.kit import Kind, Kit
from snapcheck.place._anneal import Laid
from snapcheck.place._cubes import Conductors, chosen_cubes, wire_legs
from snapcheck.place._list import Item
from snapcheck.place._plugs import plug
from snapcheck.place._route import Grid, Route, route
from snapcheck.place._stand import Piece


def cube_of(item: Item, kind: Kind, turn: int = 0) -> Cube:
    """The cube of an item."""
    return Cube(item.kind, turn, item.value, item.printed, item.unit, kind.size)


def board_of(laid: Laid, pieces: Sequence[Piece], grid: Grid, kit: Kit, joins: Conductors) -> Board:
    """The board of a search's result.

    Raises:
        InputError: a lead is needed where none can be plugged in.
    """
    cubes: dict[Cell, Cube] = {}
    for piece, stand in zip(pieces, laid.stands, strict=True):
        cubes[Cell(stand.row, stand.column)] = cube_of(piece.item, kit[piece.item.kind], stand.turn)
        for cell, side in stand.grounds:
            assert joins.ground is not None  # a part that needs one has no way to stand without
            kind, up = joins.ground
            cubes[grid.cell(cell)] = Cube(kind, (up + 90 * int(side)) % 360)
    faces = {face for stand in laid.stands for face in stand.faces}
    routes = list(laid.routes)
    while True:
        chosen, lacking = chosen_cubes(wire_legs(routes), faces, grid, joins)
        if not lacking:
            break
        _unwire(routes, lacking, laid, grid)
    for cell, way in chosen.items():
        cubes[grid.cell(cell)] = Cube(*way)
    plugged = plug(routes, laid, grid, cubes.keys(), joins)
    return Board(
        grid.columns, grid.rows, {**cubes, **plugged.sockets}, frozenset(plugged.taps), tuple(plugged.leads)
    )


def _unwire(routes: list[Route], lacking: Sequence[int], laid: Laid, grid: Grid) -> None:
    """Take away the wires of the net that lacks most cubes, so that leads join it."""
    wants = [sum(r.mask >> cell & 1 for cell in lacking) for r in routes]
    net = max(range(len(routes)), key=lambda n: (wants[n], -routes[n].mask.bit_count()))
    pins = [pin for stand in laid.stands for pin in stand.pins.get(net, ())]
    routes[net] = route(grid, pins, 0, 0, 0)
