"""Grades, of one build and of a class."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck.api._given import (
    PathLike,
)
from snapcheck.api._results import ClassGrades
from snapcheck.errors import StoppedError
from snapcheck.grade import (
    Course,
    LocalCrew,
    Rubric,
    Silent,
    Store,
    facts_of,
    load_course,
    load_rubric,
    parse_rubric,
    regrade,
    review,
    run_batch,
    sample_rubric,
    unclaimed,
)
from snapcheck.grade import grade as points_of
from snapcheck.pipeline import CheckResult
from snapcheck.watch import Cancel, stop_if_asked, watched

if TYPE_CHECKING:
    from snapcheck.grade import Crew, Grade, Handed
    from snapcheck.grade import Progress as BatchProgress


def grade(
    result: CheckResult, rubric: Rubric | PathLike | None = None, *, handed: Handed | None = None
) -> Grade:
    """Points of one checked build.

    Args:
        result: as `check` gave it.
        rubric: an object, or a TOML file's path or text; None: the bundled one.
        handed: when and with which files it was handed in.

    Raises:
        InputError, DataError: there is no such rubric, or it is wrong; says where.
    """
    if rubric is None:
        used = sample_rubric()
    elif isinstance(rubric, Rubric):
        used = rubric
    elif isinstance(rubric, str) and "\n" in rubric:
        used = parse_rubric(rubric, "rubric", result.kit)
    else:
        used = load_rubric(Path(rubric), result.kit)
    return points_of(facts_of(result), used, handed)


def grade_class(
    course: Course | PathLike,
    *,
    rubric: PathLike | None = None,
    store: str = "",
    stored: bool = False,
    again: bool = False,
    crew: Crew | None = None,
    workers: int | None = None,
    progress: BatchProgress | None = None,
    cancel: Cancel | None = None,
) -> ClassGrades:
    """Grade what a class handed in; stopped, it goes on where it was when it is called again.

    Args:
        course: the folder that holds ``course.toml``, or an opened course.
        rubric, store: where it is a folder, another rubric (TOML file), another gradebook (file or database
            URL) than the course's.
        stored: open no pictures: grade from stored readings.
        again: retry pictures at which the program failed.
        crew: who does the work (it is closed at the end); None: processes on this machine.
        workers: how many of them; None: one for each core.
        progress: is told of every stretch of work and every step.
        cancel: an event, or a function, that says when to stop; asked after every picture.

    Raises:
        InputError, DataError: the course, its rubric or the submissions are missing or wrong.
        StoreError: the gradebook is damaged, full, in use or cannot be written.
        StoppedError: `cancel` said so; what was done is kept.
    """
    opened = (
        course
        if isinstance(course, Course)
        else load_course(Path(course), rubric=None if rubric is None else Path(rubric), store=store)
    )
    with Store(opened.store) as book, watched(cancel=cancel):
        ours = crew or LocalCrew(workers)
        told = _Told(progress or Silent())
        try:
            batch = None
            if stored:
                grades = regrade(opened, book, ours, progress=told)
            else:
                batch = run_batch(opened, book, ours, progress=told, again=again)
                grades = batch.grades
            waiting = review(opened, book, ours, progress=_Told(Silent()))
        except (KeyboardInterrupt, StoppedError):
            ours.stop()
            raise
        ours.close()
        return ClassGrades(opened, grades, waiting, tuple(unclaimed(book.files())), batch)


class _Told:
    """Progress that ends where the work is no longer wanted."""

    def __init__(self, told: BatchProgress) -> None:
        self._told = told

    def begin(self, what: str, total: int) -> None:
        stop_if_asked()
        self._told.begin(what, total)

    def step(self) -> None:
        self._told.step()
        stop_if_asked()
