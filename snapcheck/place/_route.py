"""Wires on a plate: one net at a time, around what stands there already, by wave fronts over sets of cells.

A set of cells is one whole number, a bit for a cell, so that a front of the wave moves on with four shifts.
The idea of the wave is Lee's (C. Y. Lee, "An algorithm for path connections and its applications", IRE
Transactions on Electronic Computers, 1961).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from snapcheck.board import Cell

#: what a crossing without joint costs, in cells of wire: as much detour is taken rather than cross
CROSSING = 3
#: sides of a cell as bits: 1 up, 2 right, 4 down, 8 left
UPRIGHT, LEVEL = 0b0101, 0b1010
_CORNERS = frozenset((0b0011, 0b0110, 0b1100, 0b1001))


class Grid:
    """Numbers for the cells of a plate, row by row, with an empty column behind the last one.

    Attributes:
        columns, rows: of the plate.
        width: from a cell to the one below it.
        cells: the set of all cells.
        steps: by side, how far on the neighbour lies.
    """

    def __init__(self, columns: int, rows: int) -> None:
        self.columns, self.rows = columns, rows
        self.width = columns + 1
        self.cells = sum(((1 << columns) - 1) << (row * self.width) for row in range(rows))
        self.steps = (-self.width, 1, self.width, -1)

    def index(self, row: int, column: int) -> int:
        """The number of a cell, -1 where the plate has none."""
        if 0 <= row < self.rows and 0 <= column < self.columns:
            return row * self.width + column
        return -1

    def cell(self, index: int) -> Cell:
        """The cell of a number."""
        return Cell(*divmod(index, self.width))

    def cells_of(self, mask: int) -> Iterator[int]:
        """The numbers in a set of cells."""
        while mask:
            yield (mask & -mask).bit_length() - 1
            mask &= mask - 1

    def beyond(self, index: int, side: int) -> int:
        """The neighbour of a cell, -1 where the plate ends."""
        other = index + self.steps[side]
        return other if other >= 0 and self.cells >> other & 1 else -1


class Pin(NamedTuple):
    """A contact of a part as it stands.

    Attributes:
        net: its net.
        group: contacts of one group are joined inside the part.
        cell, side: the cell on whose edge it lies, and the edge.
        access: the cell beyond, -1 for none.
    """

    net: int
    group: int
    cell: int
    side: int
    access: int


@dataclass(slots=True)
class Route:
    """The wires of one net.

    Attributes:
        mask: the cells they take, crossings among them.
        legs: cell to the sides where the wire has a leg; crossings are not among them.
        crossings: cells passed straight through above another net's wire: LEVEL or UPRIGHT.
        open: how many more connections are missing.
        bends: corners.
        upright, level: cells where the wire is straight, so that another one may cross it.
        pieces: for a net in several pieces, a group of each; the wires belong to the first.
    """

    mask: int = 0
    legs: dict[int, int] = field(default_factory=dict)
    crossings: dict[int, int] = field(default_factory=dict)
    open: int = 0
    bends: int = 0
    upright: int = 0
    level: int = 0
    pieces: tuple[int, ...] = ()

    def close(self) -> Route:
        """With masks and bends worked out from the legs."""
        mask = upright = level = bends = 0
        for cell, legs in self.legs.items():
            bit = 1 << cell
            mask |= bit
            if legs == UPRIGHT:
                upright |= bit
            elif legs == LEVEL:
                level |= bit
            elif legs in _CORNERS:
                bends += 1
        for cell, way in self.crossings.items():
            bit = 1 << cell
            mask |= bit
            if way == UPRIGHT:
                upright |= bit
            else:
                level |= bit
        self.mask, self.upright, self.level, self.bends = mask, upright, level, bends
        return self


class _Port(NamedTuple):
    """Where the wire may begin at a part.

    Attributes:
        cell, leg: the cell, and the leg there that looks to the part.
        crossed: cells passed straight through between them.
        way: the side of the part, and so the way that the wire goes on first.
    """

    cell: int
    leg: int
    crossed: tuple[int, ...]
    way: int


#: the ports of each piece of a net
_Pieces = list[list[_Port]]


def route(grid: Grid, pins: Sequence[Pin], free: int, upright: int, level: int, first: int = 0) -> Route:
    """Wires that join the pins of a net.

    Args:
        grid: the plate.
        pins: the contacts of the net.
        free: cells that hold nothing.
        upright, level: cells with a straight wire of one other net, which may be crossed.
        first: which of the pieces to begin at.
    """
    if len(pins) == 2 and pins[0].group != pins[1].group:
        return _between(grid, pins[0], pins[1], free, upright, level)
    pieces, names = _pieces(grid, pins, free, upright, level)
    found = Route()
    if len(pieces) < 2:
        return found
    order = [n for n, ports in enumerate(pieces) if ports]
    apart = [n for n, ports in enumerate(pieces) if not ports]
    if order:
        first %= len(order)
        order = order[first:] + order[:first]
        apart += _grow(grid, found, pieces, order, free, upright, level)
        apart.insert(0, order[0])
    found.open = len(apart) - 1
    found.pieces = tuple(names[n] for n in apart) if found.open else ()
    return found.close()


def _between(grid: Grid, one: Pin, two: Pin, free: int, upright: int, level: int) -> Route:
    """The same for two contacts, as most nets have."""
    found = Route()
    if one.access == two.cell and two.access == one.cell and (one.side + 2) % 4 == two.side:
        return found
    start = _port(grid, one, free, upright, level)
    end = _port(grid, two, free, upright, level) if start is not None else None
    if start is not None and end is not None:
        path = _wave(grid, 1 << start.cell, 1 << end.cell, free, upright, level, {end.cell: end.way})
        if path is not None:
            _begin(found, start)
            _lead_through(grid, found, *path)
            _begin(found, end)
            return found.close()
    found.open, found.pieces = 1, (one.group, two.group)
    return found


def _port(grid: Grid, pin: Pin, free: int, upright: int, level: int) -> _Port | None:
    """Where the wire may begin at a contact: before it, or beyond wires that it crosses straight."""
    cell, side = pin.access, pin.side
    if cell < 0:
        return None
    if free >> cell & 1:
        return _Port(cell, 1 << (side + 2) % 4, (), side)
    over = level if side % 2 == 0 else upright
    crossed = []
    while cell >= 0 and over >> cell & 1:
        crossed.append(cell)
        cell = grid.beyond(cell, side)
    if crossed and cell >= 0 and free >> cell & 1:
        return _Port(cell, 1 << (side + 2) % 4, tuple(crossed), side)
    return None


def _pieces(
    grid: Grid, pins: Sequence[Pin], free: int, upright: int, level: int
) -> tuple[_Pieces, list[int]]:
    """The ports of each piece of a net: parts that touch are one piece. And a group of each."""
    faces = {4 * pin.cell + pin.side: pin.group for pin in pins}
    root: dict[int, int] = {}
    touching: list[tuple[int, int]] = []
    ports: list[tuple[int, _Port]] = []
    for pin in pins:
        root.setdefault(pin.group, pin.group)
        facing = faces.get(4 * pin.access + (pin.side + 2) % 4)
        if facing is not None:
            touching.append((pin.group, facing))
            continue
        port = _port(grid, pin, free, upright, level)
        if port is not None:
            ports.append((pin.group, port))

    def find(group: int) -> int:
        while root[group] != group:
            group = root[group]
        return group

    for one, two in touching:
        root.setdefault(two, two)
        a, b = find(one), find(two)
        if a != b:
            root[max(a, b)] = min(a, b)
    by_piece: dict[int, list[_Port]] = {find(group): [] for group in root}
    for group, port in ports:
        by_piece[find(group)].append(port)
    return list(by_piece.values()), list(by_piece)


def _grow(
    grid: Grid, found: Route, pieces: _Pieces, order: list[int], free: int, upright: int, level: int
) -> list[int]:
    """Join pieces one after the other to the nearest wire; what cannot be reached is given back."""
    left = order[1:]
    at: dict[int, list[tuple[int, _Port]]] = {}
    for piece in left:
        for port in pieces[piece]:
            at.setdefault(port.cell, []).append((piece, port))
    ways = {cell: ends[0][1].way for cell, ends in at.items()}
    tree = 0
    sources = {port.cell: port for port in pieces[order[0]]}
    while left:
        targets = _set_of(cell for cell, ends in at.items() if any(piece in left for piece, _ in ends))
        path = _wave(
            grid,
            tree | _set_of(sources),
            targets,
            free & ~tree,
            upright & ~found.mask,
            level & ~found.mask,
            ways,
        )
        if path is None:
            break
        cells, crossed = path
        if not tree >> cells[-1] & 1:
            _begin(found, sources.pop(cells[-1]))
        _lead_through(grid, found, cells, crossed)
        tree |= _set_of(cells)
        for piece, port in at[cells[0]]:
            if piece in left:
                left.remove(piece)
                _begin(found, port)
                sources.update({p.cell: p for p in pieces[piece] if p is not port and p.cell != port.cell})
    return left


def _set_of(cells: Iterable[int]) -> int:
    mask = 0
    for cell in cells:
        mask |= 1 << cell
    return mask


def _lead_through(grid: Grid, found: Route, cells: Sequence[int], crossed: Mapping[int, int]) -> None:
    """Legs along a path."""
    for cell, nearer, side in _links(grid, cells, crossed):
        found.legs[cell] = found.legs.get(cell, 0) | 1 << side
        found.legs[nearer] = found.legs.get(nearer, 0) | 1 << (side + 2) % 4
    found.crossings.update(crossed)
    found.mask |= _set_of(crossed)


def _begin(found: Route, port: _Port) -> None:
    found.legs[port.cell] = found.legs.get(port.cell, 0) | port.leg
    for cell in port.crossed:
        found.crossings[cell] = UPRIGHT if port.way % 2 == 0 else LEVEL
        found.mask |= 1 << cell


def _links(grid: Grid, cells: Sequence[int], crossed: Mapping[int, int]) -> Iterable[tuple[int, int, int]]:
    """Each pair of cells that follow each other on a path, and the side of the first one where they meet."""
    for one, two in itertools.pairwise(cells):
        apart = two - one
        for side, step in enumerate(grid.steps):
            times, rest = divmod(apart, step)
            if times > 0 and rest == 0 and (abs(step) > 1 or times < grid.width):
                between = range(one + step, two, step)
                if all(cell in crossed for cell in between):
                    yield one, two, side
                    break


def _wave(
    grid: Grid,
    starts: int,
    targets: int,
    free: int,
    upright: int,
    level: int,
    ways: Mapping[int, int],
) -> tuple[list[int], dict[int, int]] | None:
    """The shortest way from any of `starts` to any of `targets`: its cells, from the target back, and the
    cells that it crosses between them. `ways` has for each target the way that it is left best."""
    hit = starts & targets
    if hit:
        return [(hit & -hit).bit_length() - 1], {}
    width = grid.width
    layers = [starts]
    # crossings under way, by side of movement, as old as their layer
    under: list[tuple[int, int, int, int]] = [(0, 0, 0, 0)]
    seen = starts
    none = (0, 0, 0, 0)
    quiet = 0
    while quiet <= CROSSING:
        front, (n, e, s, w) = layers[-1], under[-1]
        new = (front << 1 | front >> 1 | front << width | front >> width | n >> width | e << 1 | s << width
               | w >> 1) & free & ~seen  # fmt: skip
        back = len(layers) - CROSSING
        crossing = none
        if back >= 0 and (upright or level):
            from_, (n, e, s, w) = layers[back], under[back]
            crossing = (
                (from_ | n) >> width & level,
                (from_ | e) << 1 & upright,
                (from_ | s) << width & level,
                (from_ | w) >> 1 & upright,
            )
        layers.append(new)
        under.append(crossing)
        seen |= new
        hit = new & targets
        if hit:
            cell = (hit & -hit).bit_length() - 1
            return _back(grid, layers, under, cell, ways[cell])
        quiet = 0 if new or any(crossing) else quiet + 1
    return None


def _back(
    grid: Grid, layers: list[int], under: list[tuple[int, int, int, int]], cell: int, way: int
) -> tuple[list[int], dict[int, int]]:
    """The way back to where the wave began, straight on where it can; `way` is how it goes on first."""
    cells, crossed = [cell], {}
    age = len(layers) - 1
    while age > 0:
        for side in (way, (way + 1) % 4, (way + 3) % 4, (way + 2) % 4):
            other = cell + grid.steps[side]
            if other < 0:
                continue
            if layers[age - 1] >> other & 1:
                cell, age, way = other, age - 1, side
                break
            if under[age - 1][(side + 2) % 4] >> other & 1:
                age -= 1
                while True:
                    crossed[other] = UPRIGHT if side % 2 == 0 else LEVEL
                    other += grid.steps[side]
                    age -= CROSSING
                    if layers[age] >> other & 1:
                        break
                cell, way = other, side
                break
        else:  # pragma: no cover (a wave always comes from somewhere)
            raise AssertionError("a wave from nowhere")
        cells.append(cell)
    return cells, crossed
