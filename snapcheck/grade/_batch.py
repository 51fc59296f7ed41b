"""Grading a course: read what is new, check what follows from it, give points to everything.

Every answer is stored as it comes, in one transaction each; so a batch that was interrupted, in whatever
way, goes on where it stopped. Points follow from the store alone and are the same whoever did the work.
"""

from __future__ import annotations

import contextlib
import copy
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction
from typing import Any, Protocol

from snapcheck.decisions import Question, questions_of, with_edits
from snapcheck.errors import BusyError, InputError
from snapcheck.grade._attempts import Attempt, attempts_of, belonging, lost_files, unclaimed, with_documents
from snapcheck.grade._course import Course, local_time
from snapcheck.grade._crew import Crew
from snapcheck.grade._facts import Facts
from snapcheck.grade._other_task import OtherTask, asked, other_task
from snapcheck.grade._records import in_force
from snapcheck.grade._rubric import points_text
from snapcheck.grade._score import Grade, Handed, grade, late_is_open, nothing, with_open
from snapcheck.grade._store import Decision, Store, StoredFile, StoredReading
from snapcheck.grade._submissions import FILE, PICTURE, File, digest, handed_in, there_now
from snapcheck.grade._work import CheckJob, Plan, Reader, ReadJob, facts_key, reader_name, reader_of
from snapcheck.kit import kit_text as kit_text_of
from snapcheck.photo import reading_from_json, taken_at
from snapcheck.words import tr

#: how long a regrading waits for somebody who is grading
PATIENCE_s = 5.0
#: how often grades are worked out again because somebody decides meanwhile
_MOST_ROUNDS = 20


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
        more: further pictures of the same attempt.
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
    more: tuple[str, ...] = ()

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
    reader = reader or reader_of(course)
    progress = progress or Silent()
    name = reader_name(reader)
    with store.one_batch():
        if again:
            store.drop_failed(name)
        files = handed_in(course.submissions, course.zone)
        before = store.files()
        _refuse_emptied(course, files, before)
        digests = _digests(files, course, progress)
        known = store.readings(name)
        jobs: dict[str, ReadJob] = {}
        for file, sha in digests:
            if file.is_picture and sha not in known and sha not in jobs:
                jobs[sha] = ReadJob(sha, file, reader)
        progress.begin(tr("reading"), len(jobs))
        for job, answer in crew.answers(_shipped(jobs.values(), crew)):
            body = answer["body"]
            store.put_reading(
                job.sha, job.file.size, name, answer["state"], body, answer["likeness"], answer["card"]
            )
            progress.step()
        cards = {sha: card for sha, (_, card) in store.photos().items()}
        seen = belonging(course, digests, cards, store.standing())
        store.put_files(_as_first_seen(_readable_still(seen, before, store.readings(name)), before))
        entries, changed = _graded(course, store, name, crew, progress)
    stored, readings = store.files(), store.readings(name)
    pictures = [f for f in stored if f.is_picture and not f.gone]
    return Result(
        len(pictures),
        len(jobs),
        len({f.sha for f in pictures if readings[f.sha].state != "read"}),
        len(unclaimed(stored)),
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

    Pictures are not opened; builds are checked again only where design, kit or a decision changed. While
    somebody else grades for long, the grades are worked out and left to them, or to the next time, to keep.
    """
    reader = reader or reader_of(course)
    name, progress = reader_name(reader), progress or Silent()
    with contextlib.ExitStack() as stack:
        try:
            stack.enter_context(store.one_batch(PATIENCE_s))
        except BusyError:
            return Grading(course, store, name, crew, progress).entries()
        files = [f for f in store.files() if not f.gone]
        if any(d.kind == "belongs" for d in store.decisions()):
            _belonging_again(course, store, files)
        return _graded(course, store, name, crew, progress)[0]


def _graded(
    course: Course, store: Store, reader: str, crew: Crew, progress: Progress
) -> tuple[dict[tuple[str, str], Entry], int]:
    """Grades, kept, and how many of them changed; worked out again where somebody decided meanwhile."""
    for _ in range(_MOST_ROUNDS):
        grading = Grading(course, store, reader, crew, progress)
        entries = grading.entries()
        kept = {key: e.to_json() for key, e in entries.items()}
        changed = store.put_grades(kept, upto=grading.upto)
        if changed is not None:
            return entries, changed
    return entries, store.put_grades(kept) or 0


def _belonging_again(course: Course, store: Store, files: Sequence[StoredFile]) -> None:
    """Whose the files are, after decisions on that."""
    cards = {sha: card for sha, (_, card) in store.photos().items()}
    plain = [
        (File(f.path, datetime.fromisoformat(f.at), f.size, course.submissions, False, 0, f.clock), f.sha)
        for f in files
    ]
    store.put_files(belonging(course, plain, cards, store.standing()))


def _refuse_emptied(course: Course, files: Sequence[File], before: Sequence[StoredFile]) -> None:
    """Where everything has vanished at once it is the folder that is not there, not the pictures."""
    known = sum(f.is_picture and not f.gone for f in before)
    if known and not any(f.is_picture for f in files):
        raise InputError(
            tr("there is no picture here any more; the gradebook knows {n}.", n=known),
            place=course.submissions,
            way_out=tr(
                "Is the drive there, and complete? Nothing was changed; '--stored' grades without it."
            ),
        )


def _digests(files: Sequence[File], course: Course, progress: Progress) -> list[tuple[File, str]]:
    """Files with their digests; loose pictures with the time that they tell themselves."""
    progress.begin(tr("looking through"), len(files))
    found = []
    for file in files:
        try:
            data = file.read()
            found.append((_with_own_time(file, data, course), digest(data)))
        except InputError as error:
            found.append((file, digest(f"unreadable {file.path} {error.message}".encode())))
        progress.step()
    return found


def _with_own_time(file: File, data: bytes, course: Course) -> File:
    if file.clock != FILE or not file.is_picture:
        return file
    taken = taken_at(data, course.zone)
    return file if taken is None else replace(file, at=taken, clock=PICTURE)


def _readable_still(
    seen: Sequence[StoredFile], before: Sequence[StoredFile], readings: Mapping[str, StoredReading]
) -> list[StoredFile]:
    """Without pictures that were read before and cannot be read now (a half copy, a folder without rights):
    they are lost, not handed in again."""

    def state(sha: str) -> str:
        return readings[sha].state if sha in readings else ""

    old = {f.path: f for f in before}
    return [
        f for f in seen
        if not (
            f.is_picture and f.path in old and old[f.path].sha != f.sha
            and state(f.sha) != "read" == state(old[f.path].sha)
        )
    ]  # fmt: skip


def _as_first_seen(seen: Sequence[StoredFile], before: Sequence[StoredFile]) -> list[StoredFile]:
    """Where only the file system says when: a picture that was there earlier was not handed in later."""
    first: dict[tuple[str | None, str], str] = {}
    for f in before:
        key = f.student, f.sha
        first[key] = min(f.at, first.get(key, f.at))
    return [
        f if f.time_is_known else replace(f, at=min(f.at, first.get((f.student, f.sha), f.at))) for f in seen
    ]


def _shipped(jobs: Any, crew: Crew) -> Iterator[ReadJob]:
    for job in jobs:
        data = None
        if crew.ships:
            try:
                data = job.file.read()
            except InputError:
                data = b""
        yield ReadJob(job.sha, job.file, job.reader, data)


class Grading:
    """Grades from the store: finds what has to be checked, has it checked, gives points."""

    def __init__(
        self,
        course: Course,
        store: Store,
        reader: str,
        crew: Crew,
        progress: Progress,
    ) -> None:
        self.course, self.store, self.crew, self.progress = course, store, crew, progress
        self.readings = store.readings(reader)
        self.former = store.grades()
        history = store.decisions()
        self.upto = history[-1].id if history else 0
        self.decisions = in_force(history)
        stored = store.files()
        if all(f.is_picture for f in stored):
            there = there_now(course.submissions, course.zone)
            stored = with_documents(course, stored, there, self.decisions)
        self.unclaimed = unclaimed(stored)
        self._nobodys = {f.path for f in stored if not f.gone and f.student is None}
        self._set_files(stored)
        kit_text = None if course.kit_file is None else kit_text_of(course.kit_file)
        self.plans = {
            t.name: Plan(t.design_file.name, t.design_file.read_text(encoding="utf-8-sig"), kit_text)
            for t in course.tasks
        }
        self.plan_digests = {name: plan.digest for name, plan in self.plans.items()}
        self.facts: dict[str, dict[str, Any]] = {}
        self._texts: dict[str, str] = {}
        self._questions: dict[tuple[str, tuple[str, ...]], tuple[Question, ...]] = {}
        self._of_key: dict[tuple[str, str], list[Entry]] = {}
        self._others: dict[str, OtherTask | None] = {}

    def _set_files(self, stored: Sequence[StoredFile]) -> None:
        """The files that count: those that are there, and those that were lost."""
        self.stored = stored
        lost = lost_files(stored, self.decisions)
        self.files = [f for f in stored if not f.gone] + lost
        kept = {d.subject for d in self.decisions if d.kind == "lost"}  # else it would not be lost
        self.lost: dict[tuple[str, str], list[StoredFile]] = {}
        self.documents: dict[tuple[str, str], list[StoredFile]] = {}
        for f in lost:
            if f.path not in kept:
                self.lost.setdefault((str(f.student), str(f.task)), []).append(f)
        for f in self.files:
            if not f.is_picture and f.student:
                self.documents.setdefault((f.student, str(f.task)), []).append(f)

    def deciding(self, decision: Decision) -> Grading:
        """The same with one more decision (not on what stands in a picture), to see what it would do."""
        other = copy.copy(self)
        other.decisions = [*self.decisions, decision]
        other._of_key = {}
        other._set_files(self.stored)
        return other

    def entry(self, student: str, task: str) -> Entry:
        """One grade; what it follows from has been prepared."""
        return self._entry(student, task, attempts_of(self.files, self.readings).get((student, task), []))

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
        edits = self.edits(sha)
        if (sha, edits) not in self._questions:
            kit = self.course.kit
            reading = with_edits(reading_from_json(self.readings[sha].body, kit), edits, kit)
            self._questions[sha, edits] = questions_of(reading, kit)
        return self._questions[sha, edits]

    def prepare(self) -> dict[tuple[str, str], list[Attempt]]:
        """Check everything that grades follow from and that is not known yet."""
        attempts = {
            key: found
            for key, found in attempts_of(self.files, self.readings).items()
            if key[1] in self.plans
        }
        shown = {
            (sha, task): [(), *((o.line,) for q in self.questions(sha) for o in q.options)]
            for (_, task), found in attempts.items()
            for sha in (attempt.file.sha for attempt in found)
            if self.readable(sha)
        }
        self._have_checked(shown)
        # what the plan has in an open place is tried, too; which that is came out only now
        planned: dict[tuple[str, str], list[tuple[str, ...]]] = {}
        for sha, task in shown:
            asked = self.facts[self.key(sha, task)].get("questions", ())
            lines = {a["place"]: str(a["planned"]) for a in asked if a.get("planned")}
            places = [q.place for q in self.questions(sha) if q.options] if lines else []
            planned[sha, task] = [(lines[place],) for place in places if place in lines]
        self._have_checked(planned)
        return attempts

    def _have_checked(self, tried: Mapping[tuple[str, str], Sequence[tuple[str, ...]]]) -> None:
        """Facts of each picture and task with each of these decisions more, from store or crew."""
        keys = {
            (sha, task): {self.key(sha, task, more): (*self.edits(sha), *more) for more in mores}
            for (sha, task), mores in tried.items()
        }
        self.facts |= self.store.facts({key for some in keys.values() for key in some} - self.facts.keys())
        jobs, given = list[CheckJob](), set(self.facts)
        for (sha, task), some in keys.items():
            needed = {key: edits for key, edits in some.items() if key not in given}
            given |= needed.keys()  # two tasks may have the same plan
            if needed:
                jobs.append(CheckJob(sha, self.text(sha), self.plans[task], needed))
        if jobs:
            self.progress.begin(tr("checking"), sum(len(job.tried) for job in jobs))
        while jobs:
            again = list[CheckJob]()
            for job, answer in self.crew.answers(jobs):
                if answer["state"] != "checked" and len(job.tried) > 1:  # which of them was it?
                    again += [replace(job, tried={key: edits}) for key, edits in job.tried.items()]
                else:
                    self._keep(job, answer)
            jobs = again

    def _keep(self, job: CheckJob, answer: Mapping[str, Any]) -> None:
        """Keep the facts that a job came to."""
        each = answer["body"] if answer["state"] == "checked" else dict.fromkeys(job.tried, answer)
        checked = {key: one["body"] for key, one in each.items() if one["state"] == "checked"}
        self.store.put_facts((key, job.sha, body) for key, body in checked.items())
        for key, one in each.items():
            self.facts[key] = checked[key] if key in checked else {"trouble": one["body"]["message"]}
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
        entry = self._counting(student, task, attempts) if attempts else self._without(student, task)
        lost = [
            tr("{path} is no longer there, or cannot be read.", path=f.path)
            for f in self.lost.get((student, task), ())
        ]
        if not lost or "total" in self.by_hand(student, task):
            return entry
        return replace(entry, grade=with_open(entry.grade, *lost))

    def _without(self, student: str, task: str) -> Entry:
        """The grade of somebody of whom there is no picture."""
        rubric, former = self.course.rubric, self.former.get((student, task), {})
        if str(former.get("path", "")) in self._nobodys:  # it was theirs when it was graded
            path = str(former["path"])
            graded = Grade.from_json(former["grade"])
            told = tr("{path} belongs to nobody known any more.", path=path)
            graded = self._only_by_hand(student, task, replace(graded, open=(told,)))
            return Entry(student, task, graded, path=path, at=str(former["at"]), attempts=1)
        documents = self.documents.get((student, task), [])
        if not documents:
            graded = nothing(rubric, tr("Nothing was handed in."), final=True)
            return Entry(student, task, self._only_by_hand(student, task, graded))
        names = ", ".join(f.path for f in documents)
        graded = nothing(rubric, tr("No picture was handed in, but: {names}", names=names))
        graded = self._only_by_hand(student, task, graded)
        return Entry(student, task, graded, path=documents[0].path, at=documents[0].at, attempts=1)

    def _counting(self, student: str, task: str, attempts: list[Attempt]) -> Entry:
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
        if not attempts:
            return [entry]
        if self.course.counts == "best":
            return [e for e in attempts if not e.grade.final]
        return [e for e in attempts if e.path == entry.path]

    def _with_rivals(self, best: Entry, entries: Sequence[Entry]) -> Entry:
        return (
            best
            if len(entries) == 1
            else replace(
                best, grade=with_open(best.grade, tr("Which attempt is the best is open until then."))
            )
        )

    def _attempt(self, attempt: Attempt, count: int) -> Entry:
        student, task, file = attempt.student, attempt.task, attempt.file
        late = self._late(attempt)
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
                other = self.other_task(
                    student, task, file.sha, (file.path, *(f.path for f in attempt.others))
                )
                if other is not None:
                    graded, facts = asked(other, facts, self.course.rubric)
        if facts is None:
            graded = self._only_by_hand(student, task, graded)
        more = tuple(f.path for f in attempt.others)
        at = self._handed_in(attempt)[0].isoformat()
        return Entry(student, task, graded, file.sha, file.path, at, count, late, facts, more)

    def other_task(self, student: str, task: str, sha: str, paths: tuple[str, ...]) -> OtherTask | None:
        """The other task that a picture shows, where nobody has said yet that it is meant for this one."""
        body = self.facts.get(self.key(sha, task), {"trouble": ""}) if self.readable(sha) else {"trouble": ""}
        settled = "total" in self.by_hand(student, task) or any(
            (d.kind == "counts" and (d.student, d.task, d.choice) == (student, task, path))
            or (d.kind == "belongs" and (d.subject, d.choice) == (path, f"{student}/{task}"))
            for d in self.decisions
            for path in paths
        )
        if settled or "trouble" in body:
            return None
        place = self.key(sha, task)
        if place not in self._others:
            facts, reading = Facts.from_json(body), self.readings[sha].body
            self._others[place] = other_task(facts, reading, self.edits(sha), task, self.plans)
        return self._others[place]

    def _late(self, attempt: Attempt) -> float | None:
        """Minutes after the due time."""
        due = self.course.task(attempt.task).due
        return None if due is None else (self._handed_in(attempt)[0] - due).total_seconds() / 60

    def _handed_in(self, attempt: Attempt) -> tuple[datetime, bool]:
        """When, and whether that is known: as a person says, else as name, archive or picture say."""
        said = [
            d.choice for d in self.decisions
            if d.kind == "handed-in" and (d.student, d.task) == (attempt.student, attempt.task)
        ]  # fmt: skip
        told = local_time(said[-1], self.course.zone) if said else None
        return (attempt.at, attempt.at_is_known) if told is None else (told, True)

    def asks_time(self, entry: Entry) -> bool:
        """True where somebody must say when an attempt was handed in."""
        found = attempts_of(self.files, self.readings).get((entry.student, entry.task), [])
        mine = (a for a in found if a.file.path == entry.path)
        return any(late_is_open(self.handed(a, self._late(a)), self.course.rubric) for a in mine)

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
        mine = (attempt.student, attempt.task)
        here = {f.stem for f in (attempt.file, *attempt.others)}
        others = {f.stem for f in self.files if f.is_picture and (f.student, f.task) == mine} - here
        files = {
            (f.path.rsplit("/", 1)[-1], f.size) for f in self.documents.get(mine, ()) if f.stem not in others
        }
        excused = any(d.kind == "excused" and (d.student, d.task) == mine for d in self.decisions)
        known = self._handed_in(attempt)[1]
        return Handed(late, tuple(sorted(files)), self.by_hand(*mine), excused, known)

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
        handed = self.handed(found[0], self._late(found[0]))
        return grade(Facts.from_json(body), self.course.rubric, handed)


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
