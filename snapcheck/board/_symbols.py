"""Symbols per IEC 60617, drawn by hand on a tile; every conductor knows its terminal.

A kind that a teacher adds gets the symbol of its name or of its model; any other is a plain box.
"""

from __future__ import annotations

from dataclasses import replace

from snapcheck.board._place import STEP
from snapcheck.board._shapes import (
    PITCH,
    Point,
    Stroke,
    arc,
    arrow,
    box,
    circle,
    extent,
    line,
    plus,
    solid,
    turned,
    wire,
)
from snapcheck.kit import Contact, Kind, Side

_EDGE = {Side.N: (50.0, 0.0), Side.E: (100.0, 50.0), Side.S: (50.0, 100.0), Side.W: (0.0, 50.0)}
_MID = (50.0, 50.0)
W, E, N, S = (_EDGE[Side[name]] for name in "WENS")


def _ends(first: str, second: str, left: float, right: float) -> tuple[Stroke, ...]:
    """The two conductors of a part that lies from W to E."""
    return wire(first, W, (left, 50)), wire(second, (right, 50), E)


_RESISTOR = box(27, 40, 73, 60)
_DIODE = (
    line((36, 35), (62, 50), (36, 65), closed=True),
    line((36, 50), (62, 50), thin=True),
)
_NPN_BODY = (circle(44, 50, 27), line((34, 35), (34, 65)))


def _plate_mark(x: float, y: float) -> tuple[Stroke, ...]:
    """Earth, IEC 60617 S00200: three bars, here small, joined to the plate at (x, y)."""
    return tuple(line((x - w, y + d), (x + w, y + d)) for w, d in ((12, 0), (7.5, 6.5), (3, 13)))


def _amplifier(y: float) -> tuple[Stroke, ...]:
    """An amplifier as a triangle that points to its output (IEEE Std 315; IEC 60617-13, other form)."""
    return (line((33, y - 19), (33, y + 19), (67, y), closed=True),)


_SYMBOLS: dict[str, tuple[Stroke, ...]] = {
    "straight": (wire("wire", W, E),),
    "corner": (wire("wire", E, _MID, S),),
    "tee": (wire("wire", W, E), wire("wire", _MID, S), circle(50, 50, 5.5, filled=True, terminal="wire")),
    "cross": (wire("wire", W, E), wire("wire", N, S), circle(50, 50, 5.5, filled=True, terminal="wire")),
    "crossover": (
        wire("along", N, S),
        Stroke((W, *arc(50, 50, 13, 180, 180).points, E), "across"),
    ),
    "ground": (wire("plate", N, (50, 52)),
               *(line((50 - w, 52 + d), (50 + w, 52 + d)) for w, d in ((24, 0), (15, 10), (6, 20)))),
    "socket": (
        wire("signal", E, (76, 50)), circle(67, 50, 9), circle(67, 50, 2.6, filled=True),
        circle(31, 50, 9), circle(31, 50, 2.6, filled=True), line((31, 59), (31, 68)), *_plate_mark(31, 68),
    ),
    "resistor": (*_ends("a", "b", 27, 73), _RESISTOR),
    "capacitor": (*_ends("a", "b", 44.5, 55.5), line((44.5, 30), (44.5, 70)), line((55.5, 30), (55.5, 70))),
    "electrolytic": (
        *_ends("plus", "minus", 44, 56), line((44, 30), (44, 70)), line((56, 30), (56, 70)), *plus(32, 37),
    ),
    "inductor": (*_ends("a", "b", 22, 78),
                 *(arc(29 + 14 * n, 50, 7, 180, 180) for n in range(4))),
    "photoresistor": (
        *_ends("a", "b", 27, 73), _RESISTOR,
        *arrow((26, 14), (40, 34), thin=True), *arrow((40, 14), (54, 34), thin=True),
    ),
    "thermistor": (*_ends("a", "b", 27, 73), _RESISTOR, line((24, 72), (34, 72), (68, 27), thin=True)),
    "potentiometer": (*_ends("a", "b", 27, 73), _RESISTOR, wire("wiper", S, (50, 70)),
                      solid((50, 60.5), (44.5, 72), (55.5, 72), terminal="wiper")),
    "diode": (*_ends("anode", "cathode", 36, 62), *_DIODE, line((62, 35), (62, 65))),
    "zener": (*_ends("anode", "cathode", 36, 62), *_DIODE, line((51.5, 34), (62, 34), (62, 65))),
    "led": (
        *_ends("anode", "cathode", 36, 62), *_DIODE, line((62, 35), (62, 65)),
        *arrow((46, 31), (56, 13), thin=True), *arrow((58, 31), (68, 13), thin=True),
    ),
    "npn": (
        wire("base", W, (34, 50)), *_NPN_BODY,
        wire("collector", N, (50, 29), (34, 44)), wire("emitter", (34, 56), (50, 71), S),
        solid((50, 71), (40.6, 68), (46.4, 61.8)),
    ),
    "pnp": (
        wire("base", W, (34, 50)), *_NPN_BODY,
        wire("emitter", N, (50, 29), (34, 44)), wire("collector", (34, 56), (50, 71), S),
        solid((35.4, 42.7), (38.7, 33.6), (44.5, 39.8)),
    ),
    "nmos": (
        circle(42.5, 50, 28), wire("gate", W, (28, 50)), line((28, 36), (28, 64)),
        *(line((35, y), (35, y + 9)) for y in (32, 45.5, 59)),
        wire("drain", N, (50, 36.5), (35, 36.5)), wire("source", (35, 63.5), (50, 63.5), S),
        wire("source", (50, 63.5), (50, 50), (44, 50)), solid((35.5, 50), (45.5, 45.7), (45.5, 54.3)),
    ),
    "switch": (*_ends("a", "b", 32, 68), line((32, 50), (66, 32))),
    "pushbutton": (
        *_ends("a", "b", 32, 68), line((32, 50), (66, 36)),
        line((49, 43), (49, 36), thin=True), line((49, 31), (49, 24), thin=True),
        line((40, 26), (40, 19), (58, 19), (58, 26)),
    ),
    "lamp": (
        *_ends("a", "b", 31, 69), circle(50, 50, 19),
        line((36.6, 36.6), (63.4, 63.4)), line((63.4, 36.6), (36.6, 63.4)),
    ),
    "fuse": (wire("a", W, (50, 50)), wire("b", (50, 50), E), box(27, 40, 73, 60)),
    "battery": (
        *_ends("plus", "minus", 37, 63), line((37, 31), (37, 69)), line((45.7, 40), (45.7, 60)),
        line((54.3, 31), (54.3, 69)), line((63, 40), (63, 60)), *plus(24, 38),
    ),
    "supply": (
        wire("plus", W, (27, 50)), wire("minus", (73, 50), E),
        line((50, 27), (73, 50), (50, 73), (27, 50), closed=True),
        line((57, 43), (43, 50), (57, 57), closed=True), line((43, 43), (43, 57)),
        line((36, 50), (43, 50), thin=True), line((57, 50), (64, 50), thin=True), *plus(18, 35),
    ),
    "audio-in": (
        wire("signal", (40, 50), E), circle(34, 50, 15), circle(34, 50, 4, filled=True),
        line((34, 65), (34, 73)), *_plate_mark(34, 73),
    ),
    "microphone": (
        *_ends("plus", "minus", 31, 69), circle(50, 50, 19), line((32, 30), (68, 30)), *plus(18, 38),
    ),
    "speaker": (*_ends("a", "b", 41, 59), box(41, 43, 59, 66), line((41, 43), (29, 29), (71, 29), (59, 43))),
    "buzzer": (
        wire("plus", W, (20, 50), (20, 68), (42, 68), (42, 54)),
        wire("minus", (58, 54), (58, 68), (80, 68), (80, 50), E),
        Stroke((*arc(50, 54, 24, 180, 180).points,), closed=True), *plus(10, 37),
    ),
    "meter": (*_ends("plus", "minus", 28, 72), circle(50, 50, 22), *plus(16, 37)),
    # bodies of cubes of several cells, whose legs the frame shows
    "dual-opamp": (*_amplifier(26), *_amplifier(74)),
    "dual-comparator": (
        *_amplifier(26), *_amplifier(74),
        *(line((40, y + 6), (47, y + 6), (47, y - 5), (54, y - 5), thin=True) for y in (26, 74)),
    ),
    "timer": (line((18, 62), (18, 36), (42, 36), (42, 62), (58, 62), (58, 36), (82, 36), (82, 62)),),
    # a coil, and a contact that changes over (IEC 60617-7); two windings, dots where they begin (IEC 60617-6)
    "relay": (
        box(16, 38, 40, 62), line((28, 38), (28, 24)), line((28, 62), (28, 76)),
        *(line((x, 50), (x + 6, 50), thin=True) for x in (40, 51, 62)),
        line((72, 24), (72, 32), (82, 68)), line((82, 64), (82, 78)), line((62, 64), (62, 78)),
    ),
    "transformer": (
        *(arc(38, 35 + 10 * n, 5, 270, 180) for n in range(4)),
        *(arc(62, 35 + 10 * n, 5, 90, 180) for n in range(4)),
        line((50, 31), (50, 69)), circle(33, 35, 2.2, filled=True), circle(67, 35, 2.2, filled=True),
    ),
    "bridge": (
        line((50, 29), (71, 50), (50, 71), (29, 50), closed=True),
        line((43, 43), (57, 50), (43, 57), closed=True), line((57, 43), (57, 57)),
        line((36, 50), (43, 50), thin=True), line((57, 50), (64, 50), thin=True),
    ),
}  # fmt: skip


def symbol_strokes(kind: Kind, turn: int = 0) -> tuple[Stroke, ...]:
    """The strokes of a kind's symbol on its tile, turned clockwise by `turn` degrees.

    A tile is 100 x 100 for a cube of one cell, `extent` for a larger one.
    """
    if kind.size != (1, 1):
        return _block(kind, turn)
    return tuple(stroke.turned(turn) for stroke in _drawn(kind) or _plain_box(kind))


def _drawn(kind: Kind) -> tuple[Stroke, ...]:
    """The symbol of a kind's name or model, nothing where there is none with its terminals."""
    for name in (kind.name, kind.model, kind.device.symbol):
        strokes = _SYMBOLS.get(name)
        if strokes is not None and {s.terminal for s in strokes if s.terminal} <= set(kind.terminals):
            return strokes
    return ()


def _plain_box(kind: Kind) -> tuple[Stroke, ...]:
    inner = {Side.N: (50.0, 28.0), Side.E: (72.0, 50.0), Side.S: (50.0, 72.0), Side.W: (28.0, 50.0)}
    wires = (wire(c.terminal, _EDGE[c.side], inner[c.side]) for c in kind.contacts)
    return (*wires, box(28, 28, 72, 72))


#: how far the frame of a block lies inside its tile
_INSET = 26.0


def _block(kind: Kind, turn: int) -> tuple[Stroke, ...]:
    """A cube of several cells: a frame that every leg runs to, and in it the body of the symbol.

    So IEC 60617-12 draws a device of many terminals: an outline with a qualifying symbol inside.
    """
    width, height = extent(*kind.lies(turn))
    wires = (
        wire(contact.terminal, edge_point(contact), edge_point(contact, _INSET))
        for contact in kind.contacts_at[turn]
    )
    x, y = middle(kind, kind.symbol_at, turn)
    symbol = _drawn(kind)
    turned_by = turn + _along_the_legs(kind, symbol)
    body = (stroke.turned(turned_by).moved(x - 50, y - 50) for stroke in symbol if not stroke.terminal)
    return (*wires, box(_INSET, _INSET, width - _INSET, height - _INSET), *body)


def _along_the_legs(kind: Kind, symbol: tuple[Stroke, ...]) -> int:
    """The turn that brings each conductor of a symbol to a side where its terminal has a leg, 0 for none."""
    sides = {
        (s.terminal, side) for s in symbol for side, at in _EDGE.items() if s.terminal and at in s.points
    }
    turns = (t for t in (0, 90, 180, 270) if all(side.turned(t) in kind.sides(name) for name, side in sides))
    return next(turns, 0)


def flat(kind: Kind) -> Kind:
    """The kind as if it covered one cell, for drawings where size means nothing."""
    if kind.size == (1, 1):
        return kind
    legs = zip(kind.terminals, (Side.W, Side.E, Side.N, Side.S), strict=False)
    return replace(
        kind, size=(1, 1), contacts=tuple(Contact(side, name) for name, side in legs), symbol_at=None
    )


def edge_point(contact: Contact, inside: float = 0.0) -> Point:
    """Where a contact lies on its cube's tile, or a point so far inside of it."""
    x, y = _EDGE[contact.side]
    columns, rows = STEP[contact.side]
    return contact.column * PITCH + x - columns * inside, contact.row * PITCH + y - rows * inside


def middle(kind: Kind, at: tuple[float, float] | None, turn: int) -> Point:
    """A place on a kind's top (cells from its upper left corner at turn 0; None: its middle) on the tile."""
    width, height = extent(*kind.size)
    columns, rows = kind.size
    x, y = (columns / 2, rows / 2) if at is None else at
    return turned((x * width / columns, y * height / rows), turn, (width, height))
