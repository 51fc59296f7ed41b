"""Leads where no wire found a way, and what they are plugged into: taps between cubes, sockets elsewhere."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from snapcheck.board import Cell, Cube, Lead, LeadEnd, Seam, Side, SocketEnd, TapEnd
from snapcheck.errors import InputError
from snapcheck.place._anneal import Laid
from snapcheck.place._cubes import Conductors
from snapcheck.place._route import Grid, Route
from snapcheck.words import tr

#: rather a lead so much longer, in cells, than two leads in one tap, or a tap beside an empty cell
_FULL, _SHAKY = 100, 20


@dataclass
class Plugs:
    """Taps, leads, and the socket cubes that some of them are plugged into."""

    taps: set[Seam] = field(default_factory=set)
    leads: list[Lead] = field(default_factory=list)
    sockets: dict[Cell, Cube] = field(default_factory=dict)


class _Place(NamedTuple):
    """Where a lead may end: the seam before a contact, and the cell beyond it where that is empty."""

    seam: Seam
    beyond: Cell
    side: Side
    empty: bool


def plug(
    routes: Sequence[Route], laid: Laid, grid: Grid, taken: Collection[Cell], joins: Conductors
) -> Plugs:
    """Leads for what no wire joins, each as short as it can be.

    Args:
        routes: of each net.
        laid: where the parts stand.
        grid: the plate.
        taken: cells that hold the upper left of a cube.
        joins: what there is for joining.

    Raises:
        InputError: a lead is needed where it can be plugged into nothing.
    """
    found = Plugs()
    covered = {grid.cell(cell) for stand in laid.stands for cell in grid.cells_of(stand.mask)} | set(taken)
    for net, r in enumerate(routes):
        if r.open:
            pieces = [sorted(piece) for piece in _pieces(net, r, laid, grid, covered)]
            if not all(pieces):
                raise InputError(tr("a lead is needed at a contact where no tap can be set."))
            _join(found, pieces, joins)
    return found


def _pieces(net: int, r: Route, laid: Laid, grid: Grid, covered: set[Cell]) -> list[set[_Place]]:
    """For each piece of a net, the places at which a lead may join it."""
    pieces = [set(_at_wires(grid, r)), *(set() for _ in r.pieces[1:])]
    number = {group: n for n, group in enumerate(r.pieces)}
    for pin in (pin for stand in laid.stands for pin in stand.pins.get(net, ())):
        if pin.group in number and pin.access >= 0:
            beyond = grid.cell(pin.access)
            seam = Seam.between(grid.cell(pin.cell), beyond)
            pieces[number[pin.group]].add(_Place(seam, beyond, Side(pin.side), beyond not in covered))
    return pieces


def _at_wires(grid: Grid, r: Route) -> Iterator[_Place]:
    for cell, legs in r.legs.items():
        for side in Side:
            if legs >> side & 1:
                beyond = grid.cell(cell + grid.steps[side])
                yield _Place(Seam.between(grid.cell(cell), beyond), beyond, side, False)


def _join(found: Plugs, pieces: list[list[_Place]], joins: Conductors) -> None:
    """Join the pieces of one net, the nearest first."""
    done = pieces.pop(0)
    while pieces:
        _, number, start, end = min(
            (_apart(one, two) + _bad(found, one, joins) + _bad(found, two, joins), number, one, two)
            for number, piece in enumerate(pieces)
            for one in done
            for two in piece
        )
        found.leads.append(Lead(_end(found, start, joins), _end(found, end, joins)))
        done += pieces.pop(number)


def _apart(one: _Place, two: _Place) -> int:
    return abs(one.beyond.row - two.beyond.row) + abs(one.beyond.column - two.beyond.column)


def _bad(found: Plugs, place: _Place, joins: Conductors) -> int:
    """What speaks against a place."""
    if place.seam in found.taps or place.beyond in found.sockets:
        return _FULL
    return _SHAKY if place.empty and not _may_stand(found, joins) else 0


def _may_stand(found: Plugs, joins: Conductors) -> bool:
    """Whether there is another socket cube."""
    return joins.socket is not None and len(found.sockets) < joins.sockets


def _end(found: Plugs, place: _Place, joins: Conductors) -> LeadEnd:
    """The end of a lead: a socket cube in an empty cell, else a tap."""
    if place.empty and place.beyond not in found.sockets and _may_stand(found, joins):
        assert joins.socket is not None
        kind, up, hole = joins.socket
        found.sockets[place.beyond] = Cube(kind, (up + 90 * int(place.side.opposite)) % 360)
        return SocketEnd(place.beyond, hole)
    found.taps.add(place.seam)
    return TapEnd(place.seam)
