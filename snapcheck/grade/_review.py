"""What waits for a person: unsure places, pictures to take again, points to give; with what each choice
would do to the grade."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from snapcheck.grade._batch import Entry, Grading, Progress, Silent
from snapcheck.grade._course import Course
from snapcheck.grade._crew import Crew
from snapcheck.grade._other_task import way_out
from snapcheck.grade._score import Grade, stale_points
from snapcheck.grade._store import Decision, Store, StoredFile
from snapcheck.grade._work import Reader, reader_name, reader_of
from snapcheck.words import tr


@dataclass(frozen=True)
class Choice:
    """One way to decide.

    Attributes:
        line: the decision, as `decide` takes it.
        probability: as read, None where the reading says none.
        planned: it is what the plan has there; no reading, and no proof that it stands there.
        grade: the grade that would follow, all else unchanged; None where it cannot be worked out.
    """

    line: str
    probability: float | None
    grade: Grade | None
    planned: bool = False


@dataclass(frozen=True)
class Waiting:
    """One thing that a person must decide.

    Attributes:
        student, task, path, sha: whose picture.
        kind: ``cell``, ``retake`` (the picture cannot be read), ``gone`` (it is no longer there), ``time``
            (when it was handed in), ``points`` (to be given by hand), ``look`` (anything else).
        place: cell, ``tap …``, ``lead …`` or item; "".
        question: in words.
        reason: why it is open, "".
        choices: followed up one by one.
        cells: to be shown in a crop.
        now: points as long as nobody has decided, of how many.
    """

    student: str
    task: str
    path: str
    sha: str
    kind: str
    place: str
    question: str
    reason: str
    choices: tuple[Choice, ...]
    cells: tuple[str, ...]
    now: tuple[str, str]

    @property
    def reason_sentence(self) -> str:
        """The reason as a sentence in the reader's language, whatever it was when the picture was read."""
        words = tr(self.reason) if self.reason else ""
        return words[:1].upper() + words[1:].rstrip(".") + "." if words else ""

    @property
    def idle(self) -> bool:
        """Whether every choice leads to the same points and verdict."""
        grades = {None if c.grade is None else (c.grade.points, c.grade.verdict) for c in self.choices}
        return len(grades) == 1 and None not in grades and len(self.choices) > 1

    def to_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "student": self.student,
            "task": self.task,
            "path": self.path,
            "kind": self.kind,
            "place": self.place,
            "question": self.question,
            "reason": self.reason,
            "points_now": self.now[0],
            "idle": self.idle,
            "choices": [
                {
                    "decide": c.line,
                    "probability": c.probability,
                    "planned": c.planned,
                    "points": None if c.grade is None else c.grade.points,
                    "verdict": None if c.grade is None else c.grade.verdict,
                    "final": None if c.grade is None else c.grade.final,
                }
                for c in self.choices
            ],
        }


@dataclass(frozen=True)
class Review:
    """Everything that waits, and files that belong to nobody known."""

    waiting: tuple[Waiting, ...]
    unmatched: tuple[StoredFile, ...]
    entries: Mapping[tuple[str, str], Entry] = field(repr=False)
    readings: Mapping[str, Any] = field(repr=False)


def review(
    course: Course,
    store: Store,
    crew: Crew,
    *,
    reader: Reader | None = None,
    progress: Progress | None = None,
) -> Review:
    """What waits for a person, from the store; may be used while a batch is running.

    Raises:
        StoreError: see `Store`.
    """
    reader = reader or reader_of(course)
    grading = Grading(course, store, reader_name(reader), crew, progress or Silent())
    entries = grading.entries()
    found: list[Waiting] = []
    for entry in entries.values():
        if not entry.grade.final:
            found += _of_lost(entry, grading)
            for attempt in grading.open_attempts(entry):
                found += _of(attempt, grading)
    return Review(tuple(found), grading.unclaimed, entries, {s: r.body for s, r in grading.readings.items()})


def _of_lost(entry: Entry, grading: Grading) -> list[Waiting]:
    """Files that are no longer there: they go on counting, or not."""
    found = []
    for file in grading.lost.get((entry.student, entry.task), ()):
        lines = [("lost", word, file.path, f"{word} {file.path}") for word in ("kept", "withdrawn")]
        found.append(
            Waiting(
                entry.student, entry.task, file.path, file.sha, "gone", "",
                tr("{path} is no longer there, or cannot be read.", path=file.path),
                tr("Put it back and grade again, or say whether it counts."),
                _choices(entry, grading, lines), (), (entry.grade.points, entry.grade.most),
            )
        )  # fmt: skip
    return found


def _choices(
    entry: Entry, grading: Grading, lines: Sequence[tuple[str, str, str, str]]
) -> tuple[Choice, ...]:
    """Decisions (kind, choice, subject, as `decide` takes it) with the grade that each would lead to."""
    told = []
    for kind, choice, subject, line in lines:
        tried = Decision(0, "", "", kind, entry.student, entry.task, subject, choice, "")
        told.append(Choice(line, None, grading.deciding(tried).entry(entry.student, entry.task).grade))
    return tuple(told)


def _of(entry: Entry, grading: Grading) -> list[Waiting]:
    now = (entry.grade.points, entry.grade.most)

    def one(kind: str, place: str, question: str, reason: str = "", choices: Sequence[Choice] = (),
            cells: tuple[str, ...] = ()) -> Waiting:  # fmt: skip
        return Waiting(
            entry.student, entry.task, entry.path, entry.sha, kind, place, question, reason, tuple(choices),
            cells, now,
        )  # fmt: skip

    if not entry.sha:  # documents alone, or a picture that is nobody's any more
        return [one("look", "", w) for w in entry.grade.open if entry.path]
    if not grading.readable(entry.sha):
        body = grading.readings[entry.sha].body if entry.sha in grading.readings else {}
        return [one("retake", "", entry.grade.open[0], str(body.get("way_out", "")))]
    if entry.facts is None:
        return [one("look", "", " ".join(entry.grade.open))]
    questions = {q.place: q for q in grading.questions(entry.sha)}
    found = []
    other = grading.other_task(entry.student, entry.task, entry.sha, (entry.path, *entry.more))
    if other is not None:
        here = _choices(entry, grading, [("counts", entry.path, "", f"counts {entry.path}")])
        found.append(one("look", "", other.said, way_out(other, entry.path), here))
    for asked in entry.facts.questions:
        question = questions.get(asked.place)
        if question is None:
            found.append(one("look", asked.place, asked.title, asked.why))
            continue
        lines = {o.line: o.probability for o in question.options}
        if asked.planned and lines and asked.planned not in lines:
            last = len(lines) - any(line.startswith("remove ") for line in lines)
            items = list(lines.items())
            lines = dict([*items[:last], (asked.planned, None), *items[last:]])
        choices = [
            Choice(
                line,
                share,
                grading.options(entry.sha, entry.student, entry.task, line),
                line == asked.planned,
            )
            for line, share in lines.items()
        ]
        found.append(one("cell", asked.place, asked.title, question.reason, choices, question.cells))
    for line in entry.grade.lines:
        if line.open:
            found.append(one("points", line.name, tr("Points for: {title}", title=tr(line.title))))
    by_hand = grading.by_hand(entry.student, entry.task)
    for name, words in stale_points(grading.course.rubric, by_hand):
        found.append(one("points", name, words, tr("Take that decision back, or give other points.")))
    if grading.asks_time(entry):
        times = (grading.course.task(entry.task).due, datetime.fromisoformat(entry.at))
        times_said = [
            t.astimezone(grading.course.zone).strftime("%Y-%m-%dT%H:%M:%S") for t in times if t is not None
        ]
        told = _choices(entry, grading, [("handed-in", t, "", f"handed-in {t}") for t in times_said])
        late = tr("Late by the time of the file alone, which every copy changes.")
        found.append(one("time", "", late, tr("Say when it was handed in, or 'excused'."), told))
    return found
