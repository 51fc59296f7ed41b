"""A kit with cubes of several cells, for tests: a battery box, a chip of eight legs, a loudspeaker."""

from __future__ import annotations

import random

from boardmaker import random_cube
from hypothesis import strategies as st

from snapcheck.board import Board, Cell, Cube, Lead, Seam, Side, SocketEnd, TapEnd, legs
from snapcheck.kit import bundled_kit, parse_kit

#: two cells, a leg at each end
BATTERY_BOX = """\
[kind.battery-box]
title = "battery box"
footprint = [1, 2]
legs = [{ name = "plus", cell = "A1", side = "N" }, { name = "minus", cell = "A2", side = "S" }]
marked = "plus"
value = "volts"
model = "battery"
prefix = "BT"
parameters = { internal_ohm = 1.0 }
"""
#: three by two cells have ten edges round them
TEN_LEGS = """\
legs = [
    { name = "p1", cell = "A1", side = "W" }, { name = "p2", cell = "A2", side = "W" },
    { name = "p3", cell = "A2", side = "S" }, { name = "p4", cell = "B2", side = "S" },
    { name = "p5", cell = "C2", side = "S" }, { name = "p6", cell = "C2", side = "E" },
    { name = "p7", cell = "C1", side = "E" }, { name = "p8", cell = "C1", side = "N" },
    { name = "p9", cell = "B1", side = "N" }, { name = "p10", cell = "A1", side = "N" },
]
"""
#: the chip has one leg on each edge round it, and a resistor between every two
LARGE_TEXT = (
    """
name = "large"
title = "Cubes of several cells"
based_on = "bundled"

"""
    + BATTERY_BOX
    + """
[kind.chip]
title = "chip"
footprint = [2, 2]
legs = [
    { name = "p1", cell = "A1", side = "W" }, { name = "p2", cell = "A2", side = "W" },
    { name = "p3", cell = "A2", side = "S" }, { name = "p4", cell = "B2", side = "S" },
    { name = "p5", cell = "B2", side = "E" }, { name = "p6", cell = "B1", side = "E" },
    { name = "p7", cell = "B1", side = "N" }, { name = "p8", cell = "A1", side = "N" },
]
marked = "notch"
faces = { notch = "N" }
value = "type"
values = ["RN8"]
model = "network"
prefix = "U"
parameters = { "p1-p2_ohm" = 1000, "p3-p4_ohm" = 2200, "p5-p6_ohm" = 4700, "p7-p8_ohm" = 10000 }

[kind.socket-box]
title = "socket box"
footprint = [2, 1]
legs = [{ name = "signal", cell = "B1", side = "E" }, { name = "signal", cell = "B1", side = "S" }]
plate = true
sockets = { E = "signal", W = "plate" }
marked = "socket"
faces = { socket = "E" }
model = "socket"
prefix = "X"

[kind.ten-legs]
title = "chip of ten legs"
footprint = [3, 2]
"""
    + TEN_LEGS
    + """marked = "notch"
faces = { notch = "N" }
model = "network"
prefix = "U"

[kind.ten-alike]
title = "star of ten like resistors"
footprint = [3, 2]
"""
    + TEN_LEGS
    + """marked = "notch"
faces = { notch = "N" }
interchangeable = [["p1", "p2", "p3", "p4", "p5", "p6", "p7", "p8", "p9", "p10"]]
model = "network"
prefix = "RN"

[kind.big-speaker]
title = "large loudspeaker"
footprint = [2, 2]
legs = [{ name = "a", cell = "A1", side = "W" }, { name = "b", cell = "A2", side = "W" }]
interchangeable = [["a", "b"]]
symbol_at = [1.2, 1.0]
value = "ohms"
model = "speaker"
prefix = "LS"
"""
)
LARGE_KIT = parse_kit(LARGE_TEXT, "large.toml")
LARGE = {"battery-box": 9.0, "chip": "RN8", "big-speaker": 8.0, "socket-box": None}


def large_cube(kind: str, turn: int) -> Cube:
    """A cube of several cells."""
    return Cube(kind, turn, LARGE[kind], size=LARGE_KIT[kind].size)


def large_board(rng: random.Random, columns: int, rows: int, share: float) -> Board:
    """Large cubes wherever there is room, cubes of one cell in about `share` of the rest, taps and leads."""
    board = Board(columns, rows)
    for cell in rng.sample(list(board.cells()), columns * rows):
        cube = large_cube(rng.choice(list(LARGE)), rng.choice((0, 90, 180, 270)))
        if rng.random() > 0.3:
            cube = random_cube(rng, bundled_kit())
            if rng.random() > share:
                continue
        across, down = cube.lies
        fits = cell.column + across <= columns and cell.row + down <= rows
        if fits and not any(board.cube_at(c) for c in cube.cells(cell)):
            board = board.put({cell: cube})
    seams = [
        Seam.between(leg.cell, leg.cell.neighbour(leg.side))
        for leg in legs(board, LARGE_KIT)
        if leg.side in (Side.E, Side.S) and board.cube_at(leg.cell.neighbour(leg.side))
    ]
    taps = rng.sample(seams, min(len(seams), 4))
    ends: list[TapEnd | SocketEnd] = [TapEnd(seam) for seam in taps]
    ends += [SocketEnd(c, side) for c, q in board.cubes.items() for side in LARGE_KIT[q.kind].sockets]
    rng.shuffle(ends)
    leads = [Lead(ends[i], ends[i + 1]) for i in range(0, min(len(ends) - 1, 4), 2)]
    return Board(columns, rows, board.cubes, frozenset(taps), tuple(leads))


@st.composite
def large_boards(draw: st.DrawFn) -> Board:
    """Random boards with cubes of several cells."""
    rng = random.Random(draw(st.integers(0, 2**32)))
    return large_board(rng, draw(st.integers(4, 9)), draw(st.integers(4, 8)), draw(st.floats(0.3, 0.9)))


def joined(board: Board) -> set[frozenset[tuple[Cell, str]]]:
    """Which terminals are joined, worked out from where contacts lie in the plane.

    Two contacts touch where the middles of their edges are the same point, in half cells.
    """
    groups: list[set[object]] = [{"plate"}]

    def join(*things: object) -> None:
        mine = [g for g in groups if g & set(things)]
        rest = [g for g in groups if g not in mine]
        groups[:] = [*rest, set(things).union(*mine)]

    def point(cell: Cell, side: Side) -> tuple[str, int, int]:
        across, down = {Side.N: (0, -1), Side.E: (1, 0), Side.S: (0, 1), Side.W: (-1, 0)}[side]
        return "point", 2 * cell.column + across, 2 * cell.row + down

    def place(end: TapEnd | SocketEnd) -> object:
        if isinstance(end, TapEnd):
            return point(end.seam.first, end.seam.sides[0])
        kind = board.cubes[end.cell].kind
        return (end.cell, LARGE_KIT[kind].sockets[end.side])

    for anchor, cube in board.cubes.items():
        kind = LARGE_KIT[cube.kind]
        for terminal in kind.terminals:
            join((anchor, terminal))
            if terminal == "plate":
                join((anchor, terminal), "plate")
    for leg in legs(board, LARGE_KIT):
        join((leg.anchor, leg.terminal), point(leg.cell, leg.side))
    for lead in board.leads:
        join(place(lead.start), place(lead.end))
    return {frozenset(t for t in g if isinstance(t, tuple) and isinstance(t[0], Cell)) for g in groups} - {
        frozenset()
    }
