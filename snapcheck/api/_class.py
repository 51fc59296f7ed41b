"""What waits for a person in a course, with everything that is needed to decide at a glance; and deciding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.api._given import PathLike
from snapcheck.api._reading_desk import decision_drawing
from snapcheck.board import Cell, draw_svg
from snapcheck.decisions import cube_line
from snapcheck.grade import (
    Course,
    Decided,
    LocalCrew,
    Pictures,
    Store,
    decide_all,
    decision_text,
    history_lines,
    load_course,
    review,
)

if TYPE_CHECKING:
    from snapcheck.grade import Waiting

#: pixels of a crop's longer side
_CROP_PX = 560
_PITCH, _MARGIN = 108, 44  # of a cell and of the rim, in units of a drawing


@dataclass(frozen=True)
class Place:
    """One place that waits for a person.

    Attributes:
        told: plain values, as ``review --json`` prints them.
        crop: the part of the picture, JPEG; None where it cannot be opened.
        plan: the plan's top view, with a ring around the place where it is the same there; SVG text.
        drawn: for each choice the cube that it puts there, SVG text, "" where it is no cube.
        idle: every choice leads to the same grade.
    """

    told: dict[str, Any]
    crop: bytes | None
    plan: str
    drawn: tuple[str, ...]
    idle: bool


def waiting_places(course: Course | PathLike, *, workers: int | None = None) -> list[Place]:
    """What waits in a course, from its gradebook: first what hangs on a choice and is the surest.

    Raises:
        InputError, DataError: the course is missing or wrong.
        StoreError: the gradebook is damaged or cannot be read.
    """
    opened = course if isinstance(course, Course) else load_course(Path(course))
    crew = LocalCrew(workers)
    try:
        with Store(opened.store, create=False) as store:
            found = review(opened, store, crew)
    finally:
        crew.close()
    pictures = Pictures(opened)
    places = []
    for waiting in found.waiting:
        reading = found.readings.get(waiting.sha) if waiting.kind == "cell" else None
        crop = pictures.crop(waiting.path, reading, waiting.cells, _CROP_PX) if waiting.path else None
        design = opened.task(waiting.task).design
        told = {**waiting.to_json(), "points_most": waiting.now[1], "reason": waiting.reason_sentence}
        for choice, plain in zip(waiting.choices, told["choices"], strict=True):
            plain["verdict_text"] = "" if choice.grade is None else choice.grade.verdict_sentence
        places.append(
            Place(
                told,
                crop,
                _ringed(draw_svg(design.board, opened.kit), _planned_at(waiting, opened)),
                tuple(decision_drawing(c.line, opened.kit) for c in waiting.choices),
                waiting.idle,
            )
        )
    return sorted(places, key=lambda p: (p.idle, not p.told["choices"], -_surest(p), p.told["student"]))


def _surest(place: Place) -> float:
    return max((c["probability"] or 0.0 for c in place.told["choices"]), default=0.0)


def _planned_at(waiting: Waiting, course: Course) -> tuple[Cell, ...]:
    """Where the place is on the plan, where the plan has there what it has here."""
    board, found = course.task(waiting.task).design.board, []
    lines = {c.line for c in waiting.choices if c.planned}
    for name in waiting.cells[:1]:
        cell = Cell.parse(name)
        if cell in board.cubes and cube_line(cell, board.cubes[cell], board, course.kit) in lines:
            found.append(cell)
    return tuple(found)


def _ringed(drawn: str, cells: Sequence[Cell]) -> str:
    rings = (
        f'<rect x="{_MARGIN + c.column * _PITCH}" y="{_MARGIN + c.row * _PITCH}" width="{_PITCH}" '
        f'height="{_PITCH}" rx="20" fill="none" stroke="#6a3a94" stroke-width="9"/>'
        for c in cells
    )
    return drawn.removesuffix("</svg>") + "".join(rings) + "</svg>"


def decide(course: Course | PathLike, decided: Sequence[Decided], *, by: str) -> list[int]:
    """Keep decisions, all or none; grades follow with `grade_class(…, stored=True)`. Returns their numbers.

    Raises:
        InputError: one of them cannot be followed.
        StoreError: the gradebook cannot be written.
    """
    opened = course if isinstance(course, Course) else load_course(Path(course))
    with Store(opened.store, create=False) as store:
        return decide_all(opened, store, decided, by=by)


def take_back(course: Course | PathLike, numbers: Sequence[int], *, by: str, reason: str) -> None:
    """Take decisions back; they stay in the history.

    Raises:
        InputError: there is no such decision, or it was taken back already.
        StoreError: the gradebook cannot be written.
    """
    opened = course if isinstance(course, Course) else load_course(Path(course))
    with Store(opened.store, create=False) as store:
        for number in reversed(dict.fromkeys(numbers)):
            store.take_back(number, by=by, reason=reason)


def decision_history(course: Course | PathLike) -> list[dict[str, Any]]:
    """Who decided what, when and why, oldest first. Raises InputError and StoreError."""
    opened = course if isinstance(course, Course) else load_course(Path(course))
    with Store(opened.store, create=False) as store:
        return history_lines(store, store.files())


def decision_said(line: Mapping[str, Any]) -> str:
    """What a line of `decision_history` decided, in the words that `decided` takes."""
    return decision_text(line)


def decided(student: str, task: str, text: str, reason: str, picture: str = "") -> Decided:
    """One decision for `decide`; see ``snapcheck decide --help`` for what `text` may be."""
    return Decided(student, task, text, reason, picture)
