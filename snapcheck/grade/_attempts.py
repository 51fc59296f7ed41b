"""Which pictures belong to whom, and which of several counts."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from snapcheck.grade._card import Card
from snapcheck.grade._course import Belonging, Course, belongs_by_name, to_utc_text
from snapcheck.grade._store import Decision, StoredFile, StoredReading
from snapcheck.grade._submissions import NAME, File
from snapcheck.words import tr

#: pictures handed in within this time are one attempt: the best readable of them is taken
TOGETHER = timedelta(minutes=10)


@dataclass(frozen=True)
class Attempt:
    """Pictures handed in together.

    Attributes:
        student, task: whose of what.
        at: when the last of them was handed in.
        file: the one that is taken.
        others: the rest of them.
        at_is_known: False where nothing but the file system says when.
    """

    student: str
    task: str
    at: datetime
    file: StoredFile
    others: tuple[StoredFile, ...] = ()
    at_is_known: bool = True


def belonging(
    course: Course, files: Iterable[tuple[File, str]], cards: Mapping[str, str], decisions: Sequence[Decision]
) -> list[StoredFile]:
    """Files with whose they are: as a person decided, else by the card in the picture, else by name, and of
    documents else by the picture beside which they lie.

    Args:
        files: with their digests.
        cards: digest to text of the cards in the picture.
        decisions: in force.
    """
    decided = {d.subject: d.choice for d in decisions if d.kind == "belongs"}
    result = []
    for file, sha in files:
        found = belongs_by_name(course, file.path)
        found = _with_card(course, found, cards.get(sha, ""))
        if file.path in decided:
            student, _, task = decided[file.path].partition("/")
            found = Belonging(student, task, found.at, tr("decision"), _gone(course, student, task))
        known = not found.problem
        result.append(
            StoredFile(
                file.path,
                sha,
                file.size,
                to_utc_text(found.at or file.at),
                found.student if known else None,
                found.task if known else None,
                found.how,
                found.problem,
                clock=file.clock if found.at is None else NAME,
            )
        )
    return _with_documents_beside(result)


def _gone(course: Course, student: str, task: str) -> str:
    """Why a decision on whose a file is leads to nobody, "" where it does not."""
    if student not in {s.number for s in course.students}:
        return tr("It was decided to be {number}'s, who is not in the roster any more.", number=student)
    if task not in {t.name for t in course.tasks}:
        return tr("It was decided to be for '{name}', which is no task of the course any more.", name=task)
    return ""


def _with_documents_beside(files: list[StoredFile]) -> list[StoredFile]:
    """A document belongs to whom the picture of its name does; else to whom its own name says; else to whom
    all pictures in its folder belong."""
    owners: dict[str, set[tuple[str, str] | None]] = defaultdict(set)
    for file in files:
        if file.is_picture:
            owner = (file.student, file.task) if file.student and file.task else None
            owners[file.stem].add(owner)
            if file.folder:
                owners[file.folder + "/"].add(owner)

    def placed(file: StoredFile) -> StoredFile:
        for place in (file.stem, "" if file.student else file.folder + "/"):
            found = owners.get(place, set())
            if len(found) == 1 and (mine := next(iter(found))) is not None:
                return replace(file, student=mine[0], task=mine[1], how=tr("beside"), problem="")
        return file

    return [f if f.is_picture else placed(f) for f in files]


def with_documents(
    course: Course, files: Sequence[StoredFile], there: Iterable[File], decisions: Sequence[Decision]
) -> list[StoredFile]:
    """Files of a store that knows only pictures (one of an earlier version), with the documents there are."""
    found = belonging(course, ((f, "") for f in there if not f.is_picture), {}, decisions)
    return _with_documents_beside([*files, *found])


def unclaimed(files: Iterable[StoredFile]) -> tuple[StoredFile, ...]:
    """Files that belong to nobody known, but documents beside a picture that is listed itself."""
    there = [f for f in files if not f.gone]
    listed = {f.stem for f in there if f.is_picture}
    return tuple(f for f in there if f.student is None and (f.is_picture or f.stem not in listed))


def lost_files(files: Sequence[StoredFile], decisions: Sequence[Decision]) -> list[StoredFile]:
    """Files that somebody's grade went by and that are no longer there, or can no longer be read.

    A file that lies elsewhere now, still as theirs, is not lost; nor is one that a person took out.
    """
    there = {(f.student, f.task, f.sha) for f in files if not f.gone}
    said = {d.subject: d.choice for d in decisions if d.kind == "lost"}
    return [
        f
        for f in files
        if f.gone
        and f.student
        and (f.student, f.task, f.sha) not in there
        and said.get(f.path) != "withdrawn"
    ]


def _with_card(course: Course, found: Belonging, text: str) -> Belonging:
    cards = [card for line in text.splitlines() if (card := Card.parse(line))]
    if not cards:
        return found
    if len(cards) > 1:
        return replace(found, problem=tr("There are {n} bench cards in the picture.", n=len(cards)))
    card = cards[0]
    students = {s.number for s in course.students}
    tasks = {t.name for t in course.tasks}
    task = card.task or found.task or (next(iter(tasks)) if len(tasks) == 1 else None)
    if card.student not in students or (card.task and card.task not in tasks):
        return replace(found, problem=tr("The bench card is not of this course: {card}.", card=card.text))
    if not found.problem and (found.student, found.task) != (card.student, task):
        return replace(
            found,
            problem=tr(
                "Name and bench card disagree: {student} {task} and {card_student} {card_task}.",
                student=found.student,
                task=found.task,
                card_student=card.student,
                card_task=task,
            ),
        )
    if task is None:
        return replace(found, problem=tr("Neither name nor bench card says the task."))
    return Belonging(card.student, task, found.at, tr("card"))


def attempts_of(
    files: Iterable[StoredFile], readings: Mapping[str, StoredReading]
) -> dict[tuple[str, str], list[Attempt]]:
    """Attempts by (student, task), oldest first.

    Args:
        files: those that count.
    """
    mine: dict[tuple[str, str], list[StoredFile]] = defaultdict(list)
    for file in files:
        if file.is_picture and file.student and file.task:
            mine[file.student, file.task].append(file)
    result = {}
    for key, theirs in sorted(mine.items()):
        theirs.sort(key=lambda f: (f.at, f.path))
        groups: list[list[StoredFile]] = []
        for file in theirs:
            if (
                groups
                and datetime.fromisoformat(file.at) - datetime.fromisoformat(groups[-1][-1].at) <= TOGETHER
            ):
                groups[-1].append(file)
            else:
                groups.append([file])
        result[key] = [_attempt(key, group, readings) for group in groups]
    return result


def _attempt(key: tuple[str, str], group: list[StoredFile], readings: Mapping[str, StoredReading]) -> Attempt:
    """Of pictures taken together the one that says most: readable, fewest unsure cells, the last."""

    def rank(item: tuple[int, StoredFile]) -> tuple[bool, int, int]:
        place, file = item
        reading = readings.get(file.sha)
        readable = reading is not None and reading.state == "read"
        return not readable, _unsure(reading) if readable else 0, -place

    place, best = min(enumerate(group), key=rank)
    at = datetime.fromisoformat(group[-1].at)
    others = tuple(f for i, f in enumerate(group) if i != place)
    return Attempt(*key, at, best, others, group[-1].time_is_known)


def _unsure(reading: StoredReading | None) -> int:
    if reading is None:
        return 0
    parts = (reading.body.get(key, []) for key in ("cubes", "taps", "leads"))
    return sum(entry.get("state", "read") != "read" for part in parts for entry in part)
