"""Personal data: a copy without names, and forgetting one student everywhere."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from snapcheck.errors import InputError
from snapcheck.grade._batch import Entry
from snapcheck.grade._course import Course
from snapcheck.grade._csv import csv_text
from snapcheck.grade._store import Store
from snapcheck.words import tr

KEY_FILE = "pseudonyms.key"
#: where everything that is written for a course goes, unless another place is named
OUT = "out"


def pseudonym_key(course: Course) -> bytes:
    """The course's secret key, made at the first use; without it pseudonyms lead to nobody.

    Raises:
        InputError: it cannot be read or written, or is no key.
    """
    path = course.folder / KEY_FILE
    try:
        if not path.exists():
            with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:  # noqa: PTH123
                file.write(secrets.token_hex(32) + "\n")
        return bytes.fromhex(path.read_text(encoding="ascii").strip())
    except (OSError, ValueError) as error:
        raise InputError(tr("cannot be used as key: {why}.", why=error), place=path) from None


def pseudonym(number: str, key: bytes) -> str:
    """A student's pseudonym: the same for the same key, not to be reversed without it (HMAC, RFC 2104)."""
    digest = hmac.new(key, number.encode(), hashlib.sha256).digest()
    return "P" + base64.b32encode(digest)[:8].decode()


def pseudonymous_csv(course: Course, entries: Mapping[tuple[str, str], Entry], key: bytes) -> str:
    """Grades without names, numbers, file names, dates or anything that a person typed, by pseudonym.

    Columns: pseudonym, task, state, verdict, points, minutes late, points of every item, rules of the
    findings with the cell of the plan.
    """
    items = [i.name for i in course.rubric.items]
    heading = ["pseudonym", "task", "state", "verdict", "points", "late_min", *items, "findings"]
    rows = []
    for entry in entries.values():
        points = {line.name: line.points for line in entry.grade.lines}
        faults = entry.facts.faults if entry.facts is not None else ()
        rows.append([
            pseudonym(entry.student, key), entry.task, "final" if entry.grade.final else "open",
            entry.grade.verdict if entry.sha else "", entry.grade.points if entry.grade.final else "",
            "" if entry.lateness_min is None else f"{max(entry.lateness_min, 0):.0f}",
            *(points.get(name, "") for name in items),
            " ".join(f"{f.rule}@{f.plan_cells[0] if f.plan_cells else '-'}" for f in faults),
        ])  # fmt: skip
    return csv_text([heading, *sorted(rows)])


@dataclass(frozen=True)
class Forgotten:
    """What was erased (rows of the store, files) and what is left for a person to do."""

    rows: int
    files: tuple[Path, ...]
    remains: tuple[str, ...]


def forget(course: Course, store: Store, number: str, *, photos: bool = True) -> Forgotten:
    """Erase one student: store, written feedback and lists, audit lines, and the photos that were handed in.

    Works also for somebody who is no longer in the roster. What cannot be erased from here is said.

    Args:
        photos: erase the files in the submissions folder as well.

    Raises:
        StoreError: somebody is grading at the moment, or see `Store`.
        InputError: a file cannot be erased; nothing in the store has been touched then.
    """
    with store.one_batch():
        mine = [f for f in store.files() if f.student == number]
        known = bool(mine) or any(k[0] == number for k in store.grades())
        student = next((s for s in course.students if s.number == number), None)
        if not known and student is None and not any(d.student == number for d in store.decisions()):
            raise InputError(tr("nobody of this number is known."), place=number)
        erased: list[Path] = []
        remains: list[str] = []
        try:
            if photos and course.submissions.is_dir():
                erased += _erase_submissions(course, [f.path for f in mine])
            words = [w for w in (number, student and student.name, student and student.login) if w]
            theirs = {f.sha for f in store.files() if f.student != number}
            erased += _erase_written(course, [*words, *({f.sha for f in mine} - theirs)])
        except OSError as error:
            raise InputError(
                tr("cannot be erased: {why}.", why=error.strerror or error), place=error.filename
            ) from None
        rows = store.forget(number, len(erased))
    if student is not None:
        remains.append(tr("The line in the roster: take it out yourself."))
    if mine and not course.submissions.is_dir():
        name = course.submissions.name
        remains.append(tr("The pictures in the ZIP file {name}: snapcheck does not change it.", name=name))
    elif mine and not photos:
        remains.append(tr("The pictures in the submissions: {paths}.", paths=", ".join(f.path for f in mine)))
    remains.append(tr("Copies that were made elsewhere: gradebooks handed on, prints, backups."))
    if "://" in store.address and not store.address.startswith("sqlite"):
        remains.append(tr("The database server's own logs and backups, until they run out."))
    return Forgotten(rows, tuple(erased), tuple(remains))


def _erase_submissions(course: Course, paths: list[str]) -> list[Path]:
    """Pictures, and documents that have the name of one of them."""
    erased = []
    for path in paths:
        picture = course.submissions / path
        for file in sorted(picture.parent.glob("*")) if picture.parent.is_dir() else ():
            if file.is_file() and not file.is_symlink() and file.stem == picture.stem:
                file.unlink()
                erased.append(file)
    return erased


def _erase_written(course: Course, words: list[str]) -> list[Path]:
    """Files under ``out/`` that are this student's or name them; of an audit file only their lines."""
    folder = course.folder / OUT
    erased = []
    for file in sorted(folder.rglob("*")) if folder.is_dir() else ():
        if not file.is_file():
            continue
        if file.suffix == ".jsonl":
            lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
            kept = [line for line in lines if not _names(line, words)]
            if kept != lines:
                half = file.with_name(file.name + ".new")
                half.write_text("".join(kept), encoding="utf-8")
                half.replace(file)
                erased.append(file)
        elif file.name.startswith(f"{_plain(words[0])}_") or _mentions(file, words):
            file.unlink()
            erased.append(file)
    return erased


def _plain(number: str) -> str:
    from snapcheck.grade._feedback import feedback_name

    return feedback_name(number, "").removesuffix("_")


def _names(line: str, words: list[str]) -> bool:
    try:
        told = json.loads(line)
    except ValueError:
        return True
    return told.get("student") in words or any(w in line for w in words)


def _mentions(file: Path, words: list[str]) -> bool:
    """Whether a file holds the number, name or login; a PDF file is named like the page it was made from."""
    data = file.read_bytes()
    return any(w.encode() in data for w in words)
