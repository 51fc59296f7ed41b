"""Grading a course: read what is new, check what follows from it, give points to everything.

Every answer is stored as it comes, in one transaction each; so a batch that was interrupted, in whatever
way, goes on where it stopped. Points follow from the store alone and are the same whoever did the work.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from fractions import Fraction
from typing import Any, Protocol

from snapcheck.errors import InputError
from snapcheck.grade._attempts import Attempt, attempts_of, belonging
from snapcheck.grade._course import Course
from snapcheck.grade._crew import Crew
from snapcheck.grade._facts import Facts
from snapcheck.grade._options import Question, questions_of
from snapcheck.grade._rubric import points_text
from snapcheck.grade._score import Grade, Handed, grade, nothing, with_open
from snapcheck.grade._store import Store, StoredFile, StoredReading
from snapcheck.grade._submissions import File, digest, handed_in
from snapcheck.grade._work import CheckJob, Plan, Reader, ReadJob, facts_key, reader_name
from snapcheck.words import tr


class Progress(Protocol):
    """Told how far a batch is; only the caller draws."""

    def begin(self, what: str, total: int) -> None:
        """A stretch of work begins."""
        ...

    def step(self) -> None:
        """One more is done."""
        ...


class Silent:
    """Says nothing."""

    def begin(self, what: str, total: int) -> None:
        pass

    def step(self) -> None:
        pass


@dataclass(frozen=True)
class Result:
    """What a batch did.

    Attributes:
        pictures, new: in the submissions; read in this run.
        trouble: pictures that could not be read.
        unmatched: files that belong to nobody known.
        changed: grades that are not what they were.
        open: grades that wait for a person.
        grades: by (student, task).
    """

    pictures: int
    new: int
    trouble: int
    unmatched: int
    changed: int
    open: int
    grades: Mapping[tuple[str, str], Entry]


@dataclass(frozen=True)
class Entry:
    """One line of the gradebook.

    Attributes:
        student, task: whose of what.
        grade: the points and why.
        sha, path, at: the picture that counts; "" where nothing was handed in.
        attempts: how often something was handed in.
        lateness_min: minutes after the due time, None where there is none.
        facts: what grading went by; None where there is none.
    """

    student: str
    task: str
    grade: Grade
    sha: str = ""
    path: str = ""
    at: str = ""
    attempts: int = 0
    lateness_min: float | None = None
    facts: Facts | None = field(default=None, repr=False)

    def to_json(self) -> dict[str, Any]:
        """Plain values, without the facts (they are stored on their own)."""
        return {
            "grade": self.grade.to_json(),
            "sha": self.sha,
            "path": self.path,
            "at": self.at,
            "attempts": self.attempts,
            "lateness_min": self.lateness_min,
        }


def run_batch(
    course: Course,
    store: Store,
    crew: Crew,
    *,
    reader: Reader | None = None,
    progress: Progress | None = None,
    again: bool = False,
) -> Result:
    """Grade what was handed in.

    Args:
        reader: picture to reading; a function of a module, so that other processes can have it.
        again: try pictures again at which the program itself failed.

    Raises:
        InputError: the submissions are not there.
        StoreError: see `Store`.
    """
    if reader is None:
        from snapcheck.photo import read_photo as reader
    assert reader is not None
    progress = progress or Silent()
    name = reader_name(reader)
    with store.one_batch():
        if again:
            store.drop_failed(name)
        files = handed_in(course.submissions, course.zone)
        digests = _digests(files, progress)
        known = store.readings(name)
        jobs: dict[str, ReadJob] = {}
        for file, sha in digests:
            if sha not in known and sha not in jobs:
                jobs[sha] = ReadJob(sha, file, reader)
        progress.begin(tr("reading"), len(jobs))
        for job, answer in crew.answers(_shipped(jobs.values(), crew)):
            body = answer["body"]
            store.put_reading(
                job.sha, job.file.size, name, answer["state"], body, answer["likeness"], answer["card"]
            )
            progress.step()
        cards = {sha: card for sha, (_, card) in store.photos().items()}
        store.put_files(belonging(course, digests, cards, store.standing()))
        entries = Grading(course, store, name, documents(files), crew, progress).entries()
        changed = store.put_grades({key: e.to_json() for key, e in entries.items()})
    stored, readings = [f for f in store.files() if not f.gone], store.readings(name)
    return Result(
        len(stored),
        len(jobs),
        len({f.sha for f in stored if readings[f.sha].state != "read"}),
        sum(f.student is None for f in stored),
        changed,
        sum(not e.grade.final for e in entries.values()),
        entries,
    )


def regrade(
    course: Course,
    store: Store,
    crew: Crew,
    *,
    reader: Reader | None = None,
    progress: Progress | None = None,
) -> Mapping[tuple[str, str], Entry]:
    """Grade from stored readings alone: after a change of rubric, dates, decisions or designs.

    Pictures are not opened; builds are checked again only where design, kit or a decision changed.
    """
    if reader is None:
        from snapcheck.photo import read_photo as reader
    assert reader is not None
    with store.one_batch():
        files = [f for f in store.files() if not f.gone]
        if any(d.kind == "belongs" for d in store.decisions()):
            files = _belonging_again(course, store, files)
        beside = documents(handed_in(course.submissions, course.zone)) if course.submissions.exists() else {}
        entries = Grading(course, store, reader_name(reader), beside, crew, progress or Silent()).entries()
        store.put_grades({key: e.to_json() for key, e in entries.items()})
    return entries


def _belonging_again(course: Course, store: Store, files: Sequence[StoredFile]) -> list[StoredFile]:
    """Whose the files are, after decisions on that."""
    cards = {sha: card for sha, (_, card) in store.photos().items()}
    plain = [
        (File(f.path, datetime.fromisoformat(f.at), f.size, course.submissions, False), f.sha) for f in files
    ]
    result = belonging(course, plain, cards, store.standing())
    store.put_files(result)
    return result


def _digests(files: Sequence[File], progress: Progress) -> list[tuple[File, str]]:
    pictures = [f for f in files if f.is_picture]
    progress.begin(tr("looking through"), len(pictures))
    found = []
    for file in pictures:
        try:
            found.append((file, digest(file.read())))
        except InputError as error:
            found.append((file, digest(f"unreadable {file.path} {error.message}".encode())))
        progress.step()
    return found


def _shipped(jobs: Any, crew: Crew) -> Iterator[ReadJob]:
    for job in jobs:
        data = None
        if crew.ships:
            try:
                data = job.file.read()
            except InputError:
                data = b""
        yield ReadJob(job.sha, job.file, job.reader, data)


def documents(files: Sequence[File]) -> dict[str, tuple[tuple[str, int], ...]]:
    """Folder, or path of a picture without its ending, to (name, bytes) of the documents beside it."""
    found: dict[str, list[tuple[str, int]]] = {}
    for file in files:
        if not file.is_picture:
            stem = file.path.rsplit(".", 1)[0]
            for key in {file.folder + "/", stem}:
                found.setdefault(key, []).append((file.name, file.size))
    return {key: tuple(value) for key, value in found.items()}


class Grading:
    """Grades from the store: finds what has to be checked, has it checked, gives points."""

    def __init__(
        self,
        course: Course,
        store: Store,
        reader: str,
        beside: Mapping[str, tuple[tuple[str, int], ...]],
        crew: Crew,
        progress: Progress,
    ) -> None:
        self.course, self.store, self.crew, self.progress = course, store, crew, progress
        self.beside = beside
        self.readings = store.readings(reader)
        self.decisions = store.standing()
        self.files = store.files()
        kit_text = None if course.kit_file is None else course.kit_file.read_text(encoding="utf-8-sig")
        self.plans = {
            t.name: Plan(t.design_file.name, t.design_file.read_text(encoding="utf-8-sig"), kit_text)
            for t in course.tasks
        }
        self.plan_digests = {name: plan.digest for name, plan in self.plans.items()}
        self.facts: dict[str, dict[str, Any]] = {}
        self._texts: dict[str, str] = {}
        self._of_key: dict[tuple[str, str], list[Entry]] = {}

    # -------------------------------------------------------- what there is to check

    def edits(self, sha: str) -> tuple[str, ...]:
        """Decisions on what stands in a picture; of several on one place the last one."""
        return last_on_each_place(d.choice for d in self.decisions if d.kind == "cell" and d.subject == sha)

    def text(self, sha: str) -> str:
        """The reading of a picture as text, always the same for the same reading."""
        if sha not in self._texts:
            body = {k: v for k, v in self.readings[sha].body.items() if k != "photo"}
            self._texts[sha] = json.dumps(body, sort_keys=True)
        return self._texts[sha]

    def readable(self, sha: str) -> bool:
        """True where there is a reading."""
        return sha in self.readings and self.readings[sha].state == "read"

    def key(self, sha: str, task: str, more: tuple[str, ...] = ()) -> str:
        """Under which the facts of a picture are kept, with decisions (and `more` tried ones)."""
        return facts_key(self.text(sha), (*self.edits(sha), *more), self.plan_digests[task])

    def questions(self, sha: str) -> tuple[Question, ...]:
        """What the reading leaves open and nobody has decided."""
        return questions_of(self.readings[sha].body, self.edits(sha), self.course.kit)

    def prepare(self) -> dict[tuple[str, str], list[Attempt]]:
        """Check everything that grades follow from and that is not known yet."""
        attempts = {
            key: found
            for key, found in attempts_of(self.files, self.readings).items()
            if key[1] in self.plans
        }
        jobs: dict[str, CheckJob] = {}
        for (_, task), found in attempts.items():
            for attempt in found:
                sha = attempt.file.sha
                if not self.readable(sha):
                    continue
                tried: list[tuple[str, ...]] = [()]
                tried += [(o.line,) for q in self.questions(sha) for o in q.options]
                for more in tried:
                    key = self.key(sha, task, more)
                    if key not in jobs:
                        edits = (*self.edits(sha), *more)
                        jobs[key] = CheckJob(key, sha, self.text(sha), edits, self.plans[task])
        self._have_checked(jobs)
        # what the plan has in an open place is tried, too; which that is came out only now
        planned: dict[str, CheckJob] = {}
        for job in list(jobs.values()):
            asked = self.facts[job.key].get("questions", ())
            lines = {a["place"]: str(a["planned"]) for a in asked if a.get("planned")}
            if not lines or job.edits != self.edits(job.sha):
                continue
            task = next(name for name, plan in self.plans.items() if plan is job.plan)
            for line in (lines.get(q.place) for q in self.questions(job.sha) if q.options):
                key = "" if line is None else self.key(job.sha, task, (line,))
                if line is not None and key not in jobs:
                    planned[key] = CheckJob(key, job.sha, job.reading, (*job.edits, line), job.plan)
        self._have_checked(planned)
        return attempts

    def _have_checked(self, jobs: Mapping[str, CheckJob]) -> None:
        """Facts of these jobs, from the store or by the crew."""
        self.facts |= self.store.facts(jobs)
        needed = [job for key, job in jobs.items() if key not in self.facts]
        if needed:
            self.progress.begin(tr("checking"), len(needed))
            for job, answer in self.crew.answers(needed):
                body = (
                    answer["body"] if answer["state"] == "checked" else {"trouble": answer["body"]["message"]}
                )
                if answer["state"] == "checked":
                    self.store.put_facts([(job.key, job.sha, body)])
                self.facts[job.key] = body
                self.progress.step()

    # -------------------------------------------------------- points

    def entries(self) -> dict[tuple[str, str], Entry]:
        """A grade for every student and task of the roster."""
        attempts = self.prepare()
        return {
            (s.number, t.name): self._entry(s.number, t.name, attempts.get((s.number, t.name), []))
            for s in self.course.students
            for t in self.course.tasks
        }

    def _entry(self, student: str, task: str, attempts: list[Attempt]) -> Entry:
        if not attempts:
            graded = self._only_by_hand(
                student, task, nothing(self.course.rubric, tr("Nothing was handed in."), final=True)
            )
            return Entry(student, task, graded)
        chosen = next(
            (
                d.choice
                for d in reversed(self.decisions)
                if d.kind == "counts" and (d.student, d.task) == (student, task)
            ),
            None,
        )
        entries = [self._attempt(a, len(attempts)) for a in attempts]
        self._of_key[student, task] = entries
        if chosen is not None:
            for entry, attempt in zip(entries, attempts, strict=True):
                if chosen in (entry.path, *(f.path for f in attempt.others)):
                    return entry
        if self.course.counts == "first":
            return entries[0]
        if self.course.counts == "best":
            best = max(enumerate(entries), key=lambda e: (Fraction(e[1].grade.points), e[0]))[1]
            return best if all(e.grade.final for e in entries) else self._with_rivals(best, entries)
        return entries[-1]

    def open_attempts(self, entry: Entry) -> list[Entry]:
        """Attempts on which an open grade depends: the one that counts, or all where the best counts."""
        attempts = self._of_key.get((entry.student, entry.task), [])
        if self.course.counts == "best":
            return [e for e in attempts if not e.grade.final]
        return [e for e in attempts if e.path == entry.path]

    def _with_rivals(self, best: Entry, entries: Sequence[Entry]) -> Entry:
        return (
            best
            if len(entries) == 1
            else Entry(
                **{
                    **best.__dict__,
                    "grade": with_open(best.grade, tr("Which attempt is the best is open until then.")),
                }
            )
        )

    def _attempt(self, attempt: Attempt, count: int) -> Entry:
        student, task, file = attempt.student, attempt.task, attempt.file
        due = self.course.task(task).due
        late = None if due is None else (attempt.at - due).total_seconds() / 60
        facts, graded = None, None
        if not self.readable(file.sha):
            graded = self._unreadable(file.sha)
        else:
            body = self.facts[self.key(file.sha, task)]
            if "trouble" in body:
                graded = nothing(self.course.rubric, str(body["trouble"]))
            else:
                facts = Facts.from_json(body)
                graded = grade(facts, self.course.rubric, self.handed(attempt, late))
        if facts is None:
            graded = self._only_by_hand(student, task, graded)
        return Entry(student, task, graded, file.sha, file.path, attempt.at.isoformat(), count, late, facts)

    def _unreadable(self, sha: str) -> Grade:
        reading: StoredReading | None = self.readings.get(sha)
        why = tr("The picture has not been read yet.")
        if reading is not None:
            why = tr("The picture cannot be read: {why}", why=tr(str(reading.body.get("message", ""))))
        settled = any(d.kind == "unreadable" and d.subject == sha for d in self.decisions)
        return nothing(self.course.rubric, why, final=settled)

    def _only_by_hand(self, student: str, task: str, graded: Grade) -> Grade:
        """Points that a person gave for something that the program cannot grade."""
        given = self.by_hand(student, task).get("total")
        if given is None:
            return graded
        points, why = given
        changes = (*graded.changes, (tr("Set by hand: {why}", why=why), points_text(points)))
        return Grade(points_text(points), graded.most, graded.verdict, graded.lines, changes, ())

    def by_hand(self, student: str, task: str) -> dict[str, tuple[Fraction, str]]:
        """Points that a person gave, by item (or ``total``)."""
        return {
            d.subject: (Fraction(d.choice), d.reason)
            for d in self.decisions
            if d.kind == "points" and (d.student, d.task) == (student, task)
        }

    def handed(self, attempt: Attempt, late: float | None) -> Handed:
        """What besides the picture matters."""
        files: dict[tuple[str, int], None] = {}
        for file in (attempt.file, *attempt.others):
            stem, folder = file.path.rsplit(".", 1)[0], file.path.rpartition("/")[0]
            files.update(dict.fromkeys(self.beside.get(stem, ())))
            if self._own_folder(folder, attempt):
                files.update(dict.fromkeys(self.beside.get(folder + "/", ())))
        mine = (attempt.student, attempt.task)
        excused = any(d.kind == "excused" and (d.student, d.task) == mine for d in self.decisions)
        return Handed(late, tuple(sorted(files)), self.by_hand(*mine), excused)

    def _own_folder(self, folder: str, attempt: Attempt) -> bool:
        """True when all pictures in a folder are this student's for this task."""
        there = [f for f in self.files if not f.gone and f.path.rpartition("/")[0] == folder]
        return bool(folder) and all((f.student, f.task) == (attempt.student, attempt.task) for f in there)

    def options(self, sha: str, student: str, task: str, line: str) -> Grade | None:
        """The grade with one more decision on a picture; None where it cannot be worked out."""
        body = self.facts.get(self.key(sha, task, (line,)))
        if body is None or "trouble" in body:
            return None
        found = [
            a for a in attempts_of(self.files, self.readings).get((student, task), []) if a.file.sha == sha
        ]
        if not found:
            return None
        due = self.course.task(task).due
        late = None if due is None else (found[0].at - due).total_seconds() / 60
        return grade(Facts.from_json(body), self.course.rubric, self.handed(found[0], late))


def last_on_each_place(lines: Iterator[str] | Sequence[str]) -> tuple[str, ...]:
    """Of several decisions on one cell, seam or lead the last one."""
    kept: dict[str, str] = {}
    for line in lines:
        words = line.removeprefix("remove ").split()
        place = (
            " ".join(words[:2])
            if words[0] == "tap"
            else line.removeprefix("remove ")
            if words[0] == "lead"
            else words[0]
        )
        kept.pop(place, None)
        kept[place] = line
    return tuple(kept.values())
