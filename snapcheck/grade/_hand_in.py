"""Putting a picture among the submissions, under a name by which the course knows whose it is."""

from __future__ import annotations

import re
from datetime import datetime

from snapcheck.errors import InputError
from snapcheck.grade._course import COURSE_FILE, Course, belongs_by_name
from snapcheck.outfiles import write_whole
from snapcheck.words import tr


def hand_in(course: Course, student: str, task: str, picture: bytes, at: datetime) -> str:
    """Add a JPEG picture to the submissions folder; returns its path there, with ``/``.

    The same picture again, of the same moment, takes its own place.

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
    moment = at.astimezone(course.zone).strftime("%Y-%m-%dT%H%M%S")
    for pattern in (*course.patterns, "{task}/{student} {time}"):
        stem = re.sub(r"\{any\}", "bench", pattern)
        stem = stem.replace("{student}", student).replace("{task}", task).replace("{time}", moment)
        path = stem if stem.lower().endswith((".jpg", ".jpeg")) else f"{stem}.jpg"
        known = belongs_by_name(course, path)
        if (known.student, known.task) == (student, task) and known.at == at.replace(microsecond=0):
            break
    else:
        raise InputError(
            tr("no name fits the patterns of the course."),
            place=course.folder / COURSE_FILE,
            way_out=tr("Accepted, for example: {pattern}.", pattern="{task}/{student}_{time}"),
        )
    place = course.submissions / path
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        write_whole(place, picture)
    except OSError as error:
        raise InputError(
            tr("cannot be written: {why}.", why=error.strerror or error), place=error.filename or place
        ) from None
    return path
