"""The end of a lesson: what was built becomes submissions of the course, graded by the same code."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.web._plans import Plans
from snapcheck.web._store import DONE, Keep, Shot


@dataclass(frozen=True)
class Piece:
    """One build of one student.

    Attributes:
        shot: the latest photo of this bench and task that was read.
        student: number in the roster.
        name: for the teacher.
        path: where it lies in the submissions, "" where it was not handed in.
    """

    shot: Shot
    student: str
    name: str
    path: str


def pieces(keep: Keep, plans: Plans) -> tuple[list[Piece], list[int]]:
    """What there is to hand in, and benches whose students are not known."""
    found, nameless = [], []
    for bench in keep.benches():
        latest: dict[str, Shot] = {}
        for shot in keep.shots(bench.number):  # the newest first
            if shot.state == DONE and shot.task in plans.exercises and shot.task not in plans.given:
                latest.setdefault(shot.task, shot)
        students = [s for s in bench.students.split(",") if s]
        if latest and not students:
            nameless.append(bench.number)
        for shot in latest.values():
            handed = dict(line.split(" ", 1) for line in shot.handed.splitlines())
            found += [Piece(shot, s, plans.names(s), handed.get(s, "")) for s in students]
    return found, nameless


def hand_in_all(keep: Keep, plans: Plans) -> tuple[int, list[str]]:
    """Hand in everything that was not yet; returns how much, and what went wrong, in words."""
    assert plans.course is not None
    done, wrong = 0, []
    for piece in pieces(keep, plans)[0]:
        if piece.path:
            continue
        try:
            photo = keep.photo(piece.shot.id, 0).read_bytes()
            at = datetime.fromtimestamp(piece.shot.at, UTC).replace(microsecond=0)
            path = api.hand_in(plans.course, piece.student, piece.shot.task, photo, at)
        except (SnapcheckError, OSError) as error:
            wrong.append(f"{piece.student}: {error}")
            continue
        now = keep.shot(piece.shot.id).handed
        keep.change_shot(piece.shot.id, handed=f"{now}{piece.student} {path}\n")
        keep.note("desk", "handed in", path)
        done += 1
    return done, wrong


def grade_course(folder: str, workers: int, stored: bool) -> list[dict[str, Any]]:
    """Grade a course; number, name, task, points of at most, and whether something is open, for every grade.

    Args:
        stored: open no pictures: after decisions.
    """
    graded = api.grade_class(folder, workers=workers, stored=stored)
    names = {s.number: s.name for s in graded.course.students}
    return [
        {
            "student": e.student, "name": names.get(e.student, ""), "task": e.task,
            "points": e.grade.points, "most": e.grade.most, "final": e.grade.final, "there": bool(e.sha),
        }
        for e in graded.grades.values()
    ]  # fmt: skip
