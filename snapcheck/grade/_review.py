"""What waits for a person: unsure places, pictures to take again, points to give; with what each choice
would do to the grade."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from snapcheck.grade._batch import Entry, Grading, Progress, Silent, documents
from snapcheck.grade._course import Course
from snapcheck.grade._crew import Crew
from snapcheck.grade._score import Grade
from snapcheck.grade._store import Store, StoredFile
from snapcheck.grade._submissions import handed_in
from snapcheck.grade._work import Reader, reader_name
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
        kind: ``cell``, ``retake`` (the picture cannot be read), ``points`` (to be given by hand), ``look``
            (anything else).
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
    if reader is None:
        from snapcheck.photo import read_photo as reader
    assert reader is not None
    beside = documents(handed_in(course.submissions, course.zone)) if course.submissions.exists() else {}
    grading = Grading(course, store, reader_name(reader), beside, crew, progress or Silent())
    entries = grading.entries()
    found: list[Waiting] = []
    for entry in entries.values():
        if not entry.grade.final:
            for attempt in grading.open_attempts(entry):
                found += _of(attempt, grading)
    unmatched = tuple(f for f in grading.files if not f.gone and f.student is None)
    return Review(tuple(found), unmatched, entries, {s: r.body for s, r in grading.readings.items()})


def _of(entry: Entry, grading: Grading) -> list[Waiting]:
    now = (entry.grade.points, entry.grade.most)

    def one(kind: str, place: str, question: str, reason: str = "", choices: Sequence[Choice] = (),
            cells: tuple[str, ...] = ()) -> Waiting:  # fmt: skip
        return Waiting(
            entry.student, entry.task, entry.path, entry.sha, kind, place, question, reason, tuple(choices),
            cells, now,
        )  # fmt: skip

    if not grading.readable(entry.sha):
        body = grading.readings[entry.sha].body if entry.sha in grading.readings else {}
        return [one("retake", "", entry.grade.open[0], str(body.get("way_out", "")))]
    if entry.facts is None:
        return [one("look", "", " ".join(entry.grade.open))]
    questions = {q.place: q for q in grading.questions(entry.sha)}
    found = []
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
    return found
