"""What a reading leaves open, with everything that a person may choose from; and the reading with what a
person decided.

A decision is a line of a layout file: ``D2 led red anode=up``, ``tap C4|D4``, ``lead F1 to C4|D4``, or
``remove D2`` to take away; or ``looked``: what the reading remarks on hides nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from snapcheck.board import Board, Cell, Cube, Lead, Seam, board_of_line, write_layout
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.kit import Kit
from snapcheck.photo import BlankReading, CubeReading, LeadReading, Reading, State, TapReading
from snapcheck.words import tr

#: a reading, or a kind of it that carries more
Seen = TypeVar("Seen", bound=Reading)

LOOKED = "looked"
#: alternatives of one cell that are followed up
MOST_OPTIONS = 4
#: with more open places than this in one picture, choices are not followed up: better take it again
MOST_QUESTIONS = 6


@dataclass(frozen=True)
class Option:
    """One choice: the line that decides it (see `with_edits`), its probability as read (None: not read)."""

    line: str
    probability: float | None


@dataclass(frozen=True)
class Question:
    """One open place: its name (``C3``, ``tap C4|D4``, ``lead …``), why it is open, the choices."""

    place: str
    cells: tuple[str, ...]
    reason: str
    options: tuple[Option, ...]


def questions_of(reading: Reading, kit: Kit) -> tuple[Question, ...]:
    """What a reading leaves open, with the choices; decided places (see `with_edits`) are none."""
    board, found = reading.board, list[Question]()
    if reading.remarks:
        found.append(Question("", (), " ".join(reading.remarks), (Option(LOOKED, None),)))
    places: dict[Cell, CubeReading | BlankReading] = {**reading.cubes, **reading.blanks}
    for cell, r in sorted(places.items()):
        if r.state is State.READ:
            continue
        told, reason = (None, "") if isinstance(r, BlankReading) else (r.cube, r.reason)
        # the reading names the kind that is likeliest over all its turns: one cube of another may be likelier
        choices = sorted([(told, r.confidence), *r.alternatives], key=lambda c: -c[1])
        options = [
            Option(line, p)
            for cube, p in choices[:MOST_OPTIONS]
            if (line := _line(partial(cube_line, cell, cube, board, kit)))
        ]
        options.append(Option(f"remove {cell}", None))
        cells = tuple(map(str, (cell,) if told is None else told.cells(cell)))
        found.append(Question(str(cell), cells, reason or tr("not sure"), _once(options)))
    for tap in reading.taps:
        if tap.state is not State.READ:
            name = f"tap {tap.seam}"
            options = [Option(name, tap.confidence), Option(f"remove {name}", 1 - tap.confidence)]
            cells = (str(tap.seam.first), str(tap.seam.second))
            found.append(Question(name, cells, tr("not sure"), tuple(options)))
    for lead in reading.leads:
        if lead.state is not State.READ:
            rivals = [(lead.lead, lead.confidence), *lead.alternatives]
            options = [
                Option(line, p)
                for other, p in rivals[:MOST_OPTIONS]
                if (line := _line(partial(lead_line, other, board, kit)))
            ]
            if options:
                options.append(Option(f"remove {options[0].line}", None))
            name = f"lead {lead.lead.start} to {lead.lead.end}"
            found.append(Question(name, (), tr("not sure"), _once(options)))
    if len(found) > MOST_QUESTIONS:
        return tuple(replace(q, options=()) for q in found)
    return tuple(found)


def _line(make: Callable[[], str]) -> str:
    try:
        return make()
    except (SnapcheckError, StopIteration):
        return ""  # something that cannot be written is no choice


def _once(options: Sequence[Option]) -> tuple[Option, ...]:
    return tuple({o.line: o for o in reversed(options)}.values())[::-1]


def cube_line(cell: Cell, cube: Cube | None, board: Board, kit: Kit) -> str:
    """The line that puts a cube (None: nothing) into a cell."""
    if cube is None:
        return f"remove {cell}"
    text = write_layout(Board(board.columns, board.rows, {cell: cube}), kit)
    return next(line for line in text.splitlines() if line.startswith(f"{cell} "))


def lead_line(lead: Lead, board: Board, kit: Kit) -> str:
    """The line of a lead on this board."""
    bare = Board(board.columns, board.rows, board.cubes, board.taps, (lead,))
    lines = write_layout(bare, kit).splitlines()
    return next(line for line in lines if line.startswith("lead "))


def with_edits(reading: Seen, lines: Iterable[str], kit: Kit) -> Seen:
    """The reading with decisions; what was decided is sure.

    Raises:
        InputError: a line is no such decision; names it.
    """
    for line in lines:
        plain = " ".join(line.split())
        reading = replace(reading, notes=(), edge="") if plain == LOOKED else _with_edit(reading, plain, kit)
    return reading


def _with_edit(reading: Seen, line: str, kit: Kit) -> Seen:
    board = reading.board
    if not line.startswith("remove "):
        new = board_of_line(line, board, kit)
        if line.startswith("tap "):
            (seam,) = new.taps
            return replace(reading, taps=_with_tap(reading.taps, seam))
        if line.startswith("lead "):
            return replace(reading, leads=_with_lead(reading.leads, new.leads[0]))
        ((cell, cube),) = new.cubes.items()
        kept = board.put({cell: cube}).cubes  # what it covers cannot stand there
        cubes = {c: r for c, r in reading.cubes.items() if c in kept}
        blanks = {c: r for c, r in reading.blanks.items() if c not in cube.cells(cell)}
        cubes[cell] = CubeReading(cube, State.READ, 1.0)
        return replace(reading, cubes=cubes, blanks=blanks)
    what = line.removeprefix("remove ")
    if what.startswith("tap "):
        (gone,) = board_of_line(what, board, kit).taps
        return replace(reading, taps=tuple(t for t in reading.taps if t.seam != gone))
    if what.startswith("lead "):
        ends = board_of_line(what, board, kit).leads[0].ends
        return replace(reading, leads=tuple(r for r in reading.leads if r.lead.ends != ends))
    if not re.fullmatch(r"[A-Za-z]{1,2}\d{1,2}", what):
        raise InputError(
            tr("'{what}' is nothing that can be removed.", what=what),
            place=f"'{line}'",
            way_out=tr("For example: remove D2, remove tap C4|D4."),
        )
    cell = board.named(Cell.parse(what.upper()))
    cubes = {c: r for c, r in reading.cubes.items() if c != cell}
    return replace(reading, cubes=cubes, blanks={**reading.blanks, cell: BlankReading(State.READ, 1.0)})


def _with_tap(taps: tuple[TapReading, ...], seam: Seam) -> tuple[TapReading, ...]:
    others = (t for t in taps if t.seam != seam)
    return tuple(sorted((*others, TapReading(seam, State.READ, 1.0)), key=lambda t: t.seam))


def _with_lead(leads: tuple[LeadReading, ...], lead: Lead) -> tuple[LeadReading, ...]:
    """A decided lead takes the place of the unsure one that shares most ends with it, else it is added."""
    unsure = [r for r in leads if r.state is not State.READ and r.lead.ends & lead.ends]
    out = max(unsure, key=lambda r: len(r.lead.ends & lead.ends), default=None)
    out = next((r for r in leads if r.lead.ends == lead.ends), out)
    sure = LeadReading(lead, State.READ, 1.0)
    return tuple(sure if r is out else r for r in leads) if out is not None else (*leads, sure)
