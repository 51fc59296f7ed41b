"""Putting a picture among the submissions, under a name by which the course knows whose it is."""

from __future__ import annotations

import itertools
import re
import threading
from datetime import datetime
from pathlib import Path

from snapcheck.errors import InputError
from snapcheck.grade._course import COURSE_FILE, Course, belongs_by_name
from snapcheck.outfiles import write_whole
from snapcheck.words import system_says, tr

_ONE_AT_A_TIME = threading.Lock()


def hand_in(course: Course, student: str, task: str, picture: bytes, at: datetime) -> str:
    """Add a JPEG picture to the submissions folder; returns its path there, with ``/``.

    The same picture again, of the same moment, takes its own place; another one of the same moment (two
    benches, a program that sends many) lies beside it as ``NAME (2)``.

    Args:
        course: where to; its submissions must be a folder.
        student, task: whose it is, as roster and course name them.
        picture: the file's bytes.
        at: when it was taken, with its time zone.

    Raises:
        InputError: no such student or task, the submissions are a ZIP file, no name fits the course's
            patterns, or it cannot be written.
    """
    course.student(student)
    course.task(task)
    if course.submissions.exists() and not course.submissions.is_dir():
        raise InputError(
            tr("nothing can be added to a ZIP file."),
            place=course.submissions,
            way_out=tr("Name a folder as submissions in course.toml."),
        )
    with _ONE_AT_A_TIME:
        path = _place(course, student, task, picture, at.astimezone(course.zone).replace(microsecond=0))
        place = course.submissions / path
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
            write_whole(place, picture)
        except OSError as error:
            raise InputError(
                tr("cannot be written: {why}.", why=system_says(error)), place=error.filename or place
            ) from None
    return path


def _place(course: Course, student: str, task: str, picture: bytes, at: datetime) -> str:
    """A path by which the course knows whose it is, and where no other picture lies. Raises InputError."""

    def known(path: str) -> bool:
        found = belongs_by_name(course, path)
        # by the clock on the wall: in the hour that comes twice a year it does not say which of the two
        told = None if found.at is None else found.at.replace(tzinfo=None)
        return (found.student, found.task, told) == (student, task, at.replace(tzinfo=None))

    for pattern in (*course.patterns, "{task}/{student} {time}"):
        stem = re.sub(r"\{any\}", "bench", pattern)
        stem = stem.replace("{student}", student).replace("{task}", task)
        stem = stem.replace("{time}", at.strftime("%Y-%m-%dT%H%M%S"))
        named = stem if stem.lower().endswith((".jpg", ".jpeg")) else f"{stem}.jpg"
        stem, dot, ending = named.rpartition(".")
        for again in itertools.count(1):
            path = f"{stem} ({again}){dot}{ending}" if again > 1 else f"{stem}{dot}{ending}"
            if not known(path):
                break
            if _is_free(course.submissions / path, picture):
                return path
    raise InputError(
        tr("no name fits the patterns of the course."),
        place=course.folder / COURSE_FILE,
        way_out=tr("Accepted, for example: {pattern}.", pattern="{task}/{student}_{time}"),
    )


def _is_free(place: Path, picture: bytes) -> bool:
    """Whether nothing lies there, or this very picture."""
    try:
        if not place.exists():
            return True
    except OSError:  # writing will say why
        return True
    try:
        return place.read_bytes() == picture
    except OSError:
        return False
