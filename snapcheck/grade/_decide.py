"""Decisions of a person, from words: checked before they are kept, so that none is void."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any, Protocol

from snapcheck.board import Cell
from snapcheck.decisions import with_edits
from snapcheck.errors import InputError
from snapcheck.grade._attempts import lost_files
from snapcheck.grade._course import Course, local_time
from snapcheck.grade._records import Decision
from snapcheck.grade._rubric import points_text
from snapcheck.grade._store import Store, StoredFile, StoredReading
from snapcheck.grade._work import Reader, reader_name, reader_of
from snapcheck.photo import Reading, reading_from_json
from snapcheck.words import tr

#: points as they are typed, with a decimal point or comma
_POINTS = re.compile(r"[0-9]{1,9}(?:[.,][0-9]{1,9})?")


class DecisionStore(Protocol):
    """What a decision is checked against, and kept in; see `Store`."""

    def files(self) -> list[StoredFile]: ...
    def grades(self) -> dict[tuple[str, str], dict[str, Any]]: ...
    def readings(self, reader: str) -> dict[str, StoredReading]: ...
    def standing(self) -> list[Decision]: ...
    def decide_together(self, wanted: Sequence[Decision]) -> list[int]: ...


def decide(
    course: Course,
    store: DecisionStore,
    student: str,
    task: str,
    text: str,
    *,
    by: str,
    reason: str,
    picture: str = "",
    reader: Reader | None = None,
) -> int:
    """Keep a decision; grades follow with the next `regrade`. Returns its number.

    Args:
        student, task: whose of what.
        text: ``D3 pnp BC327 base=left``, ``remove D3``, ``tap C4|D4``, ``lead F1 to C4|D4`` (what stands on
            the plate, as in a layout file); ``points ITEM 2`` or ``points total 15``; ``excused`` (late for a
            good reason); ``counts PATH`` (of several attempts); ``looked``
            (what the reading remarks on hides nothing); ``belongs PATH``; ``unreadable`` (the picture
            stays without points); ``kept PATH`` or ``withdrawn PATH`` (a picture that is no longer there goes
            on counting, or not); ``handed-in 2031-03-05T18:00`` (when, in the course's time zone).
        by, reason: who and why.
        picture: path of the picture meant; "" for the one that counts.
        reader: whose readings are meant, None for the networks.

    Raises:
        InputError: it is not a decision that can be followed; nothing was kept.
    """
    course.student(student)
    course.task(task)
    if not reason.strip():
        raise InputError(tr("a decision needs a reason."), way_out=tr("Say in a few words why."))
    text = " ".join(text.split())
    plain = _without_picture(course, store, student, task, text)
    whose: tuple[str | None, str | None] = (student, task)
    if plain is None:
        found = _on_picture(course, store, student, task, text, picture, reader)
        if isinstance(found, int):
            return found
        plain, whose = found, (None, None)  # it holds for the picture
    (number,) = store.decide_together([Decision(0, "", by, plain[0], *whose, *plain[1:], reason)])
    return number


def _without_picture(
    course: Course, store: DecisionStore, student: str, task: str, text: str
) -> tuple[str, str, str] | None:
    """Kind, subject and choice of a decision; None for one on what stands in a picture. Raises InputError."""
    word, _, rest = text.partition(" ")
    found: tuple[str, str, str] | None = None
    match word:
        case "points":
            found = ("points", *_points(course, rest, text))
        case "excused" if not rest:
            found = ("excused", "", "")
        case "counts":
            found = ("counts", "", _their_file(store, student, task, rest).path)
        case "belongs":
            there = (f for f in store.files() if not f.gone)
            nobody = tr("there is no such file in the submissions.")
            found = ("belongs", _file(there, rest, nobody).path, f"{student}/{task}")
        case "kept" | "withdrawn":
            lost = lost_files(store.files(), store.standing())
            mine = (f for f in lost if (f.student, f.task) == (student, task))
            none = tr("no such file of {student} for {task} is missing.", student=student, task=task)
            found = ("lost", _file(mine, rest, none).path, word)
        case "handed-in":
            if local_time(rest, course.zone) is None:
                raise InputError(
                    tr("'{text}' is no date with a time.", text=rest),
                    place=f"'{text}'",
                    way_out=tr("For example: handed-in 2031-03-05T18:00"),
                )
            found = ("handed-in", "", rest)
    return found


def _points(course: Course, rest: str, text: str) -> tuple[str, str]:
    name, _, number = rest.rpartition(" ")
    item = course.rubric.item(name)
    if item is None and name != "total":
        names = ", ".join(("total", *(i.name for i in course.rubric.items)))
        raise InputError(
            tr("'{name}' is no item of the rubric.", name=name),
            place=f"'{text}'",
            way_out=tr("Accepted: {keys}.", keys=names) + " " + tr("For example: points total 15"),
        )
    most = item.points if item is not None else max(course.rubric.most, course.rubric.total)
    # digits alone: of "1e99999999" no computer could make a fraction
    points = Fraction(number.replace(",", ".")) if _POINTS.fullmatch(number) else Fraction(-1)
    if not 0 <= points <= most:
        raise InputError(
            tr("'{number}' points cannot be given here.", number=number),
            place=f"'{text}'",
            way_out=tr("A number from 0 to {most}.", most=points_text(most)),
        )
    return name, points_text(points)


def _same(path: str, given: str) -> bool:
    """Whether a path is meant: "ü" may be one letter or two, spaces may have been typed once."""
    one, other = (" ".join(unicodedata.normalize("NFC", p).split()) for p in (path, given))
    return one == other


def _file(files: Iterable[StoredFile], path: str, none: str, way_out: str = "") -> StoredFile:
    for file in files:
        if _same(file.path, path):
            return file
    listed = tr("Give its path as 'snapcheck review' lists it.")
    raise InputError(none, place=path, way_out=way_out or listed)


def _their_file(store: DecisionStore, student: str, task: str, path: str) -> StoredFile:
    mine = [
        f for f in store.files() if (f.student, f.task) == (student, task) and f.is_picture and not f.gone
    ]
    names = ", ".join(f.path for f in mine) or tr("none")
    none = tr("is no picture of {student} for {task}.", student=student, task=task)
    return _file(mine, path, none, tr("Accepted: {keys}.", keys=names))


def _on_picture(
    course: Course,
    store: DecisionStore,
    student: str,
    task: str,
    text: str,
    picture: str,
    reader: Reader | None,
) -> tuple[str, str, str] | int:
    """Kind, subject and choice of a decision on a picture: it holds for the picture, whoever else handed it
    in; or the number of the decision that says so already. Raises InputError."""
    reader = reader or reader_of(course)
    body = store.grades().get((student, task), {})
    sha = _their_file(store, student, task, picture).sha if picture else str(body.get("sha", ""))
    reading = store.readings(reader_name(reader)).get(sha)
    if reading is None:
        raise InputError(
            tr("nothing of {student} for {task} has been read yet.", student=student, task=task),
            way_out=tr("Run 'snapcheck grade' first."),
        )
    if text == "unreadable":
        if reading.state == "read":
            raise InputError(
                tr("this picture has been read."), way_out=tr("Decide on cells, or give points by hand.")
            )
        return "unreadable", sha, ""
    if reading.state != "read":
        raise InputError(
            tr("this picture cannot be read, so that there is no cell to decide on."),
            way_out=tr("Ask for another picture, decide 'unreadable', or give points: points total 12"),
        )
    seen = reading_from_json(reading.body, course.kit)
    decided = [d for d in store.standing() if d.kind == "cell" and d.subject == sha]
    known = [d.choice for d in decided]
    before = with_edits(seen, known, course.kit)
    after = with_edits(before, [text], course.kit)
    words = text.removeprefix("remove ").split()
    if text.startswith("remove ") and words[0] not in ("tap", "lead"):
        cell = Cell.parse(words[0].upper())
        if cell.column >= seen.columns or cell.row >= seen.rows:
            raise InputError(tr("{cell} is not on the plate.", cell=cell), place=f"'{text}'")
    if _settled(after) == _settled(before):
        if text in known:
            return next(d.id for d in reversed(decided) if d.choice == text)
        raise InputError(
            tr("that is what the reading says already."), place=f"'{text}'",
            way_out=tr("Nothing needs to be decided."),
        )  # fmt: skip
    return "cell", sha, text


def _settled(reading: Reading) -> tuple[object, ...]:
    """What a decision can change."""
    doubts = [t.state for t in reading.taps], [r.state for r in reading.leads]
    return reading.board, reading.unsure, reading.remarks, doubts


def decision_text(told: Mapping[str, Any]) -> str:
    """A decision in the words that `decide` takes, as far as it was one; `told` is a line of the history."""
    subject, choice = str(told["subject"] or ""), str(told["choice"])
    match told["kind"]:
        case "cell":
            return choice
        case "points":
            return f"points {subject} {choice}"
        case "belongs":
            return f"belongs {subject}"
        case "lost":
            return f"{choice} {subject}"
    return f"{told['kind']} {choice}".rstrip()


def history_lines(store: Store, paths: Sequence[StoredFile]) -> list[dict[str, object]]:
    """The whole history of decisions as plain values, oldest first, with those in force marked."""
    standing = {d.id for d in store.standing()}
    by_sha: dict[str, list[str]] = {}
    for f in paths:
        by_sha.setdefault(f.sha, []).append(f.path)
    told: list[dict[str, object]] = []
    for d in store.decisions():
        subject = ", ".join(by_sha.get(d.subject, [])) or d.subject
        told.append({
            "number": d.id, "at": d.at, "by": d.by, "kind": d.kind, "student": d.student, "task": d.task,
            "subject": subject, "choice": d.choice, "reason": d.reason, "takes_back": d.takes_back,
            "in_force": d.id in standing,
        })  # fmt: skip
    return told
