"""Feedback for each student and task: the grade and how it came about, in the report of the check."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from snapcheck.errors import InputError
from snapcheck.grade._batch import Entry, Grading, Progress, Silent
from snapcheck.grade._course import Course
from snapcheck.grade._crew import Crew
from snapcheck.grade._pages import page, part
from snapcheck.grade._store import Decision, Store
from snapcheck.grade._submissions import File, there_now
from snapcheck.grade._work import PageJob, Reader, reader_name, reader_of
from snapcheck.outfiles import write_together
from snapcheck.words import system_says, tr


@dataclass(frozen=True)
class Feedback:
    """Files that were written, and remarks on what could not be."""

    files: tuple[Path, ...]
    notes: tuple[str, ...]


def feedback_name(student: str, task: str) -> str:
    """Name of a feedback file without its ending: no two share one, also where a file system takes large
    and small letters for the same.

    Usual numbers (``T-101``) and tasks (``first-light``) stand as they are, others get a digest as well.
    """
    return f"{_told_apart(student, 'A-Z')}_{_told_apart(task, 'a-z')}"


def _told_apart(text: str, letters: str) -> str:
    if re.fullmatch(f"[{letters}0-9@-]{{1,64}}", text):
        return text
    like = re.sub(r"[^A-Za-z0-9@-]+", "-", text)[:40]
    return f"{like}~{hashlib.sha256(text.encode()).hexdigest()[:12]}"


def write_feedback(
    course: Course,
    store: Store,
    crew: Crew,
    folder: Path,
    *,
    pdf: bool = False,
    only: str = "",
    reader: Reader | None = None,
    progress: Progress | None = None,
) -> Feedback:
    """Write ``NUMBER_TASK.html`` (and ``.pdf``) for everybody who handed something in; pages of an earlier
    run that are not made now are taken away.

    Args:
        only: number of one student, "" for all.

    Raises:
        InputError: the folder cannot be written.
    """
    reader = reader or reader_of(course)
    pictures = {f.path: f for f in there_now(course.submissions, course.zone)}
    progress = progress or Silent()
    grading = Grading(course, store, reader_name(reader), crew, progress)
    entries = {
        e.student + "/" + e.task: e for e in grading.entries().values() if e.sha or e.grade.points != "0"
    }
    entries = {k: e for k, e in entries.items() if not only or e.student == only}
    written: list[Path] = []
    notes: dict[str, None] = {}
    progress.begin(tr("writing feedback"), len(entries))

    def jobs() -> Iterator[PageJob]:
        for key, e in entries.items():
            if e.facts is not None:
                yield _job(key, e, grading, pictures.get(e.path), crew.ships, pdf)

    try:
        folder.mkdir(parents=True, exist_ok=True)
        done = set()
        for job, answer in crew.answers(jobs()):
            entry, body = entries[job.key], answer["body"]
            if answer["state"] == "made":
                written += _write(folder, entry, body["html"], base64.b64decode(body["pdf"]))
                notes.update(dict.fromkeys([body["note"]] if body["note"] else []))
                done.add(job.key)
            else:
                notes[f"{entry.student} {entry.task}: {body['message']}"] = None
            progress.step()
        for key, e in entries.items():
            if key not in done:
                title = course.task(e.task).title
                written += _write(
                    folder,
                    e,
                    page("plain", title, course.title, _foot(e, course), front=front(e, grading)),
                    b"",
                )
        for student in course.students:  # nothing of an earlier run is taken for this one's
            for task in course.tasks if only in ("", student.number) else ():
                for ending in (".html", ".pdf"):
                    old = folder / (feedback_name(student.number, task.name) + ending)
                    if old not in written:
                        old.unlink(missing_ok=True)
    except OSError as error:
        raise InputError(
            tr("cannot be written: {why}.", why=system_says(error)), place=error.filename or folder
        ) from None
    return Feedback(tuple(sorted(written)), tuple(notes))


def _job(key: str, e: Entry, grading: Grading, file: File | None, ships: bool, pdf: bool) -> PageJob:
    data = None
    if ships and file is not None:
        try:
            data = file.read()
        except InputError:
            file = None
    return PageJob(
        key,
        grading.text(e.sha),
        grading.edits(e.sha),
        grading.plans[e.task],
        front(e, grading),
        _foot(e, grading.course),
        file,
        pdf,
        data,
    )


def _foot(entry: Entry, course: Course) -> str:
    student = course.student(entry.student)
    return " · ".join((student.name, student.number, course.task(entry.task).title, course.title))


def front(entry: Entry, grading: Grading) -> str:
    """The grade as a piece of HTML: points, items, what was taken off and why, what a person decided."""
    course = grading.course
    student = course.student(entry.student)
    decided: list[Decision] = [
        d for d in grading.decisions
        if (d.student, d.task) == (entry.student, entry.task) or (entry.sha and d.subject == entry.sha)
    ]  # fmt: skip
    reading = grading.readings.get(entry.sha)
    said = "" if reading is None or entry.facts is not None else str(reading.body.get("way_out", ""))
    way_out = tr(said) if said else ""  # kept in English, as the picture was read
    return part(
        "front", entry=entry, grade=entry.grade, student=student, course=course, decided=decided,
        way_out=way_out,
    )  # fmt: skip


def _write(folder: Path, entry: Entry, html: str, pdf: bytes) -> list[Path]:
    name = feedback_name(entry.student, entry.task)
    made: dict[Path, bytes | str] = {folder / f"{name}.html": html}
    if pdf:
        made[folder / f"{name}.pdf"] = pdf
    write_together(made, instead_of=[folder / f"{name}.pdf"])
    return list(made)
