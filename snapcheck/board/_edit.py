"""One change to a design, as a line; what refers to a cube goes where the cube goes.

The lines are those of layout files, and some more::

    D2 resistor 4k7 turn=90     put a cube there, whatever stood there
    tap C4|D4                   a tap
    lead F1 to C4|D4            a lead, with the taps that it needs
    remove D2                   take away; likewise 'remove tap C4|D4', 'remove lead F1 to C4|D4'
    move D2 to E3               a cube there goes the other way
    turn D2 90                  clockwise
    value D2 4k7
    shift right                 everything; likewise left, up, down
    plate 9 x 7                 more or fewer cells, at the right and below
    title …, purpose …          in words
    input D2 a, output F1       where the signal goes in and comes out; nothing behind the word: nowhere
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from snapcheck.board._board import TURNS, Board, Cube, Lead, LeadEnd, SocketEnd, TapEnd
from snapcheck.board._design import Conditions, Design, Expectation, Probe
from snapcheck.board._figures import parse_probe
from snapcheck.board._layout import parse_layout
from snapcheck.board._layout_write import write_layout
from snapcheck.board._place import STEP, Cell
from snapcheck.board._words import SIDE_WORDS
from snapcheck.errors import InputError
from snapcheck.kit import Kit
from snapcheck.words import tr

_CELL = re.compile(r"[A-Za-z]{1,2}\d{1,2}")
#: a cell to where its cube has gone; None: it is gone
Place = Callable[[Cell], Cell | None]


@dataclass(frozen=True)
class Edited:
    """A changed design.

    Attributes:
        design: as it is now.
        lost: lines that went with what they referred to.
    """

    design: Design
    lost: tuple[str, ...] = ()


def edited(design: Design, line: str, kit: Kit) -> Edited:
    """The design after one change.

    Raises:
        InputError: the line is no change, or not possible on this board; names it.
    """
    plain = " ".join(line.split())
    word, _, rest = plain.partition(" ")
    try:
        return _VERBS.get(word.lower(), _put)(design, rest if word.lower() in _VERBS else plain, kit)
    except InputError as error:
        raise InputError(error.message, place=f"'{plain}'", way_out=error.way_out) from None


def board_of_line(line: str, board: Board, kit: Kit) -> Board:
    """The board of a layout file of this one line; a lead needs the cubes and taps it ends on.

    Raises:
        InputError: what is wrong in the line.
    """
    text = f"plate {board.columns} x {board.rows}\n"
    if line.startswith("lead "):
        text = write_layout(Board(board.columns, board.rows, board.cubes, board.taps), kit)
    try:
        return parse_layout(text + line + "\n", tr("decision"), kit).board
    except InputError as error:
        raise InputError(
            error.message,
            place=f"'{line}'",
            way_out=error.way_out or tr("Write it as in a layout file, for example: D2 led red anode=up"),
        ) from None


def design_after(design: Design, board: Board, place: Place) -> Design:
    """The design on a board where each of its cells has moved to another; what refers to a cell whose place
    is None goes with it."""

    def probe(p: Probe | None) -> Probe | None:
        there = None if p is None else place(p.cell)
        return None if p is None or there is None else Probe(there, p.terminal)

    def conditions(c: Conditions) -> Conditions:
        named = {*c.supply_V, *c.switches, *c.pots}
        places = {cell: to for cell in named if (to := place(cell)) is not None}
        return c.moved(places, places.values())

    def standing(anchor: Cell) -> Cell | None:
        to = place(anchor)
        return anchor if to is None and anchor in board.cubes else to

    output = probe(design.output)
    kept: list[Expectation] = []
    for e in design.expectations:
        at = probe(e.place)
        if (e.place is None or at is not None) and (e.place or design.output is None or output is not None):
            own = None if e.conditions is None else conditions(e.conditions)
            kept.append(replace(e, place=at, conditions=own))
    stages = [
        replace(s, cells=tuple(c for a in s.cells if (c := standing(a)) is not None)) for s in design.stages
    ]
    return replace(
        design,
        board=board,
        input=probe(design.input),
        output=output,
        input_V=design.input_V if probe(design.input) is not None else None,
        conditions=conditions(design.conditions),
        expectations=tuple(kept),
        stages=tuple(s for s in stages if s.cells),
    )


# ---------------------------------------------------------------------- the verbs


def _put(design: Design, line: str, kit: Kit) -> Edited:
    if not _CELL.fullmatch(line.split(" ", maxsplit=1)[0]):
        raise InputError(
            tr("this is no change."), way_out=tr("For example: D2 resistor 4k7, remove D2, move D2 to E3.")
        )
    ((cell, cube),) = board_of_line(line, design.board, kit).cubes.items()
    return _stood(design, cell, cube, kit)


def _stood(design: Design, cell: Cell, cube: Cube | None, kit: Kit) -> Edited:
    """With this cube (None: nothing) at an anchor, and what hung on cubes that made way."""
    old = design.board
    new = old.put({cell: cube})
    if cube is not None and cube.large:
        new = replace(new, taps=frozenset(s for s in new.taps if new.named(s.first) != new.named(s.second)))

    def place(at: Cell) -> Cell | None:
        before, after = old.cubes.get(at), new.cubes.get(at)
        if before is None or after is None:
            return None
        return at if before.kind == after.kind else None

    return _after(design, _without_loose(new, old, kit), place, kit)


def _without_loose(new: Board, old: Board, kit: Kit) -> Board:
    """Without the leads that have lost what they were plugged into."""

    def held(end: LeadEnd, board: Board) -> bool:
        if isinstance(end, TapEnd):
            return end.seam in board.taps
        cube = board.cubes.get(end.cell)
        return cube is not None and end.side in kit[cube.kind].sockets

    kept = (lead for lead in new.leads if all(held(e, new) or not held(e, old) for e in lead.ends))
    return replace(new, leads=tuple(kept))


def _after(design: Design, board: Board, place: Place, kit: Kit) -> Edited:
    new = design_after(design, board, place)
    return Edited(new, tuple(_lost(design, new, place, kit)))


def _lost(old: Design, new: Design, place: Place, kit: Kit) -> list[str]:
    lost = [f"{name} {p}" for name in ("input", "output")
            if (p := getattr(old, name)) is not None and getattr(new, name) is None]  # fmt: skip
    if len(new.expectations) < len(old.expectations):
        words = {e.text for e in new.expectations}
        lost += [f"expect {e.text or e.quantity}" for e in old.expectations if e.text not in words]
    lines = write_layout(old, kit).splitlines() if len(new.board.leads) < len(old.board.leads) else []
    kept = new.board.leads
    for lead, line in zip(old.board.leads, [n for n in lines if n.startswith("lead ")], strict=False):
        ends = [replace(e, cell=place(e.cell) or e.cell) if isinstance(e, SocketEnd) else e
                for e in (lead.start, lead.end)]  # fmt: skip
        if Lead(*ends) not in kept:
            lost.append(line)
    return lost


def _remove(design: Design, what: str, kit: Kit) -> Edited:
    board = design.board
    if what.startswith("tap "):
        (gone,) = board_of_line(what, board, kit).taps
        if gone not in board.taps:
            raise InputError(tr("no tap sits on {seam}.", seam=gone))
        new = _without_loose(replace(board, taps=board.taps - {gone}), board, kit)
        return _after(design, new, lambda cell: cell, kit)
    if what.startswith("lead "):
        lead = board_of_line(what, board, kit).leads[0]
        if lead not in board.leads:
            raise InputError(tr("there is no such lead."))
        kept = tuple(other for other in board.leads if other != lead)
        return Edited(replace(design, board=replace(board, leads=kept)))
    return _stood(design, _anchor(design, what), None, kit)


def _move(design: Design, what: str, kit: Kit) -> Edited:
    match = re.fullmatch(rf"({_CELL.pattern}) (?:to )?({_CELL.pattern})", what)
    if match is None:
        raise InputError(tr("it is not said where from and where to."), way_out="move D2 to E3")
    board, old, new = design.board, _anchor(design, match[1]), Cell.parse(match[2])
    cube, other = board.cubes[old], board.anchor_at(new)
    changes: dict[Cell, Cube | None] = {old: None, new: cube}
    places: dict[Cell, Cell] = {old: new}
    if other is not None and other != old:
        if board.cubes[other].large or cube.large:
            raise InputError(
                tr("{cell} is not free.", cell=new), way_out=tr("Move away first what stands there.")
            )
        changes[old], places[other] = board.cubes[other], old
    if old == new:
        return Edited(design)

    def end(e: LeadEnd) -> LeadEnd:
        return replace(e, cell=places.get(e.cell, e.cell)) if isinstance(e, SocketEnd) else e

    leads = tuple(Lead(end(lead.start), end(lead.end)) for lead in board.leads)
    cubes = {c: q for c, q in board.cubes.items() if c not in places}
    cubes |= {c: q for c, q in changes.items() if q is not None}
    moved = replace(board, cubes=cubes, leads=leads)
    inside = {s for s in moved.taps if cube.large and moved.named(s.first) == moved.named(s.second)}
    if inside:
        moved = _without_loose(replace(moved, taps=moved.taps - inside), moved, kit)
    return _after(design, moved, lambda cell: places.get(cell, cell), kit)


def _turn(design: Design, what: str, kit: Kit) -> Edited:
    cell, _, degrees = what.partition(" ")
    anchor = _anchor(design, cell)
    turned = degrees.rstrip("°") or "90"
    if turned not in map(str, TURNS):
        raise InputError(
            tr("'{text}' is no turn.", text=turned),
            way_out=tr("Accepted: turn=0, 90, 180, 270 (clockwise)."),
        )
    cube = design.board.cubes[anchor]
    cube = replace(cube, turn=(cube.turn + int(turned)) % 360)
    for cell_ in cube.cells(anchor) if cube.large else ():
        if design.board.anchor_at(cell_) not in (None, anchor):
            raise InputError(
                tr("{cell} is not free.", cell=cell_), way_out=tr("Move away first what stands there.")
            )
    return _stood(design, anchor, cube, kit)


def _value(design: Design, what: str, kit: Kit) -> Edited:
    cell, _, value = what.partition(" ")
    anchor = _anchor(design, cell)
    cube = design.board.cubes[anchor]
    return _put(design, f"{anchor} {cube.kind} {value} turn={cube.turn}", kit)


def _tap(design: Design, what: str, kit: Kit) -> Edited:
    taps = board_of_line(f"tap {what}", design.board, kit).taps
    seam = next(iter(taps))
    if design.board.named(seam.first) == design.board.named(seam.second) in design.board.cubes:
        raise InputError(
            tr("the tap on {seam} would lie inside the cube at {cell}.", seam=seam,
               cell=design.board.named(seam.first)),
            way_out=tr("A tap sits in the seam between two cubes."),
        )  # fmt: skip
    return Edited(replace(design, board=replace(design.board, taps=design.board.taps | taps)))


def _lead(design: Design, what: str, kit: Kit) -> Edited:
    for seam in re.findall(rf"{_CELL.pattern}\|{_CELL.pattern}", what):
        design = _tap(design, seam, kit).design
    board = design.board
    lead = board_of_line(f"lead {what}", board, kit).leads[0]
    if lead in board.leads:
        raise InputError(tr("this lead is there already."))
    return Edited(replace(design, board=replace(board, leads=(*board.leads, lead))))


def _plate(design: Design, what: str, kit: Kit) -> Edited:
    size = parse_layout(f"plate {what}\n", "", kit).board
    return Edited(replace(design, board=replace(design.board, columns=size.columns, rows=size.rows)))


def _shift(design: Design, what: str, kit: Kit) -> Edited:
    side = SIDE_WORDS.get(what.lower())
    if side is None:
        raise InputError(
            tr("'{text}' is no direction.", text=what), way_out=tr("Accepted: left, right, up, down.")
        )
    columns, rows = STEP[side]
    board = design.board.shifted(columns, rows)
    return _after(design, board, lambda cell: cell.beside(rows, columns), kit)


def _title(design: Design, what: str, kit: Kit) -> Edited:
    return Edited(replace(design, title=what))


def _purpose(design: Design, what: str, kit: Kit) -> Edited:
    return Edited(replace(design, purpose=what))


def _input(design: Design, what: str, kit: Kit) -> Edited:
    return Edited(replace(design, input=parse_probe(what, design.board, kit) if what else None))


def _output(design: Design, what: str, kit: Kit) -> Edited:
    probe = parse_probe(what, design.board, kit) if what else None
    kept = tuple(e for e in design.expectations if e.place is not None or probe is not None)
    new = replace(design, output=probe, expectations=kept)
    return Edited(
        new, tuple(_lost(replace(design, output=None), replace(new, output=None), lambda c: c, kit))
    )


def _anchor(design: Design, text: str) -> Cell:
    """The anchor of the cube in a cell. Raises InputError."""
    cell = Cell.parse(text.upper())
    anchor = design.board.anchor_at(cell)
    if anchor is None:
        raise InputError(
            tr("no cube stands in {cell}.", cell=cell), way_out=tr("Name cells in which a cube stands.")
        )
    return anchor


_VERBS: dict[str, Callable[[Design, str, Kit], Edited]] = {
    "remove": _remove,
    "move": _move,
    "turn": _turn,
    "value": _value,
    "tap": _tap,
    "lead": _lead,
    "plate": _plate,
    "shift": _shift,
    "title": _title,
    "purpose": _purpose,
    "input": _input,
    "output": _output,
}
