"""What a reading leaves open, with everything that a person may choose from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from snapcheck.board import Cell, Cube
from snapcheck.errors import SnapcheckError
from snapcheck.grade._edits import LOOKED, cube_line, lead_line, with_edits
from snapcheck.kit import Kit
from snapcheck.photo import BlankReading, CubeReading, State, reading_from_json
from snapcheck.words import tr

#: alternatives of one cell that are followed up
MOST_OPTIONS = 4
#: with more open places than this in one picture, choices are not followed up: better take it again
MOST_QUESTIONS = 6


@dataclass(frozen=True)
class Option:
    """One choice: the line that decides it, its probability as read (None: not read), words."""

    line: str
    probability: float | None


@dataclass(frozen=True)
class Question:
    """One open place: its name (``C3``, ``tap C4|D4``, ``lead …``), why it is open, the choices."""

    place: str
    cells: tuple[str, ...]
    reason: str
    options: tuple[Option, ...]


def questions_of(reading: Mapping[str, Any], edits: Sequence[str], kit: Kit) -> tuple[Question, ...]:
    """Open places of a reading after these decisions."""
    parts = (reading.get(key, []) for key in ("cubes", "taps", "leads", "empty"))
    if not (reading.get("notes") or reading.get("edge")) and all(
        e.get("state", "read") == "read" for part in parts for e in part
    ):
        return ()  # most readings, and quickly
    seen = with_edits(reading_from_json(reading, kit), edits, kit)
    board, found = seen.board, []
    if seen.remarks:
        found.append(Question("", (), " ".join(seen.remarks), (Option(LOOKED, None),)))
    places: dict[Cell, CubeReading | BlankReading] = {**seen.cubes, **seen.blanks}
    for cell, r in sorted(places.items()):
        if r.state is State.READ:
            continue
        told, reason = (None, "") if isinstance(r, BlankReading) else (r.cube, r.reason)
        choices: list[tuple[Cube | None, float | None]] = [(told, r.confidence), *r.alternatives]
        options = [
            Option(line, p)
            for cube, p in choices[:MOST_OPTIONS]
            if (line := _line(lambda c=cube, at=cell: cube_line(at, c, board, kit)))
        ]
        options.append(Option(f"remove {cell}", None))
        cells = tuple(map(str, (cell,) if told is None else told.cells(cell)))
        found.append(Question(str(cell), cells, reason or tr("not sure"), _once(options)))
    for tap in seen.taps:
        if tap.state is not State.READ:
            name = f"tap {tap.seam}"
            options = [Option(name, tap.confidence), Option(f"remove {name}", 1 - tap.confidence)]
            cells = (str(tap.seam.first), str(tap.seam.second))
            found.append(Question(name, cells, tr("not sure"), tuple(options)))
    for lead in seen.leads:
        if lead.state is not State.READ:
            rivals = [(lead.lead, lead.confidence), *lead.alternatives]
            options = [
                Option(line, p)
                for other, p in rivals[:MOST_OPTIONS]
                if (line := _line(lambda x=other: lead_line(x, board, kit)))
            ]
            if options:
                options.append(Option(f"remove {options[0].line}", None))
            name = f"lead {lead.lead.start} to {lead.lead.end}"
            found.append(Question(name, (), tr("not sure"), _once(options)))
    if len(found) > MOST_QUESTIONS:
        return tuple(replace(q, options=()) for q in found)
    return tuple(found)


def _line(make: Any) -> str:
    try:
        return str(make())
    except (SnapcheckError, StopIteration):
        return ""  # something that cannot be written is no choice


def _once(options: Sequence[Option]) -> tuple[Option, ...]:
    return tuple({o.line: o for o in reversed(options)}.values())[::-1]
