"""From places and wires to a board: which cube lies where, and leads where a wire found no way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from snapcheck.board import Board, Cell, Cube, Lead, Seam, Side, TapEnd
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit
from snapcheck.place._anneal import Laid
from snapcheck.place._cubes import Conductors, chosen_cubes, wire_legs
from snapcheck.place._list import Item
from snapcheck.place._route import Grid, Route, route
from snapcheck.place._stand import Piece
from snapcheck.words import tr


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
            cubes[_cell(grid, cell)] = Cube(kind, (up + 90 * int(side)) % 360)
    faces = {face for stand in laid.stands for face in stand.faces}
    routes = list(laid.routes)
    while True:
        chosen, lacking = chosen_cubes(wire_legs(routes), faces, grid, joins)
        if not lacking:
            break
        _unwire(routes, lacking, laid, grid)
    for cell, way in chosen.items():
        cubes[_cell(grid, cell)] = Cube(*way)
    taps, leads = _leads(routes, laid, grid)
    return Board(grid.columns, grid.rows, cubes, frozenset(taps), tuple(leads))


def _cell(grid: Grid, index: int) -> Cell:
    return Cell(*divmod(index, grid.width))


def _unwire(routes: list[Route], lacking: Sequence[int], laid: Laid, grid: Grid) -> None:
    """Take away the wires of the net that lacks most cubes, so that leads join it."""
    wants = [sum(r.mask >> cell & 1 for cell in lacking) for r in routes]
    net = max(range(len(routes)), key=lambda n: (wants[n], -routes[n].mask.bit_count()))
    pins = [pin for stand in laid.stands for pin in stand.pins.get(net, ())]
    routes[net] = route(grid, pins, 0, 0, 0)


def _leads(routes: Sequence[Route], laid: Laid, grid: Grid) -> tuple[set[Seam], list[Lead]]:
    """Taps and leads for what no wire joins, each as short as it can be."""
    taps: set[Seam] = set()
    leads: list[Lead] = []
    for net, r in enumerate(routes):
        if not r.open:
            continue
        pins = [pin for stand in laid.stands for pin in stand.pins.get(net, ())]
        joined = [{Seam.between(*pair) for pair in _wired(grid, r)}]
        joined += [set() for _ in r.pieces[1:]]
        place = {group: n for n, group in enumerate(r.pieces)}
        for pin in pins:
            if pin.group in place and pin.access >= 0:
                seam = Seam.between(_cell(grid, pin.cell), _cell(grid, pin.access))
                joined[place[pin.group]].add(seam)
        if not all(joined):
            raise InputError(tr("a lead is needed at a contact where no tap can be set."))
        done = joined.pop(0)
        while joined:
            used = Counter(taps)
            _, number, start, end = min(
                (_apart(one, two) + 100 * (used[one] + used[two]), number, one, two)
                for number, piece in enumerate(joined)
                for one in done
                for two in piece
            )
            taps |= {start, end}
            leads.append(Lead(TapEnd(start), TapEnd(end)))
            done |= joined.pop(number)
    return taps, leads


def _wired(grid: Grid, r: Route) -> Iterator[tuple[Cell, Cell]]:
    """The seams at the legs of a net's wires."""
    for cell, legs in r.legs.items():
        for side in Side:
            if legs >> side & 1:
                yield _cell(grid, cell), _cell(grid, cell + grid.steps[side])


def _apart(one: Seam, two: Seam) -> int:
    a, b = one.first, two.first
    return abs(a.row - b.row) + abs(a.column - b.column)
