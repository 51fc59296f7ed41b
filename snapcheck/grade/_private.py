"""Personal data: a copy without names, and forgetting one student everywhere."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import hmac
import html
import json
import os
import re
import secrets
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from snapcheck.csvtext import csv_text
from snapcheck.errors import DataError, InputError
from snapcheck.grade._audit import audit_lines
from snapcheck.grade._batch import Entry
from snapcheck.grade._course import Course
from snapcheck.grade._feedback import feedback_name
from snapcheck.grade._records import Trace
from snapcheck.grade._store import Store
from snapcheck.grade._submissions import place_of
from snapcheck.outfiles import write_whole
from snapcheck.photo import notebook_of
from snapcheck.words import system_says, tr

KEY_FILE = "pseudonyms.key"
#: where everything that is written for a course goes, unless another place is named
OUT = "out"
#: where the bench page keeps its own, unless another place is named
BENCH = "bench"


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
        trace = store.trace(number)
        student = next((s for s in course.students if s.number == number), None)
        if student is None and not (trace.paths or trace.grades or trace.decisions):
            raise InputError(tr("nobody of this number is known."), place=number)
        erased: list[Path] = []
        remains: list[str] = []
        try:
            if photos and course.submissions.is_dir():
                others = {f.path for f in store.files() if f.student not in (None, number)}
                erased += _erase_submissions(course, trace.paths, others)
            words = [w for w in (student and student.name, student and student.login) if w]
            if (course.folder / KEY_FILE).exists():
                words.append(pseudonym(number, pseudonym_key(course)))
            erased += _erase_written(course, number, [*words, *trace.pictures])
            erased += _erase_lines(course, trace)
        except OSError as error:
            raise InputError(
                tr("cannot be erased: {why}.", why=system_says(error)), place=error.filename
            ) from None
        rows = store.forget(number, len(erased))
    if student is not None:
        remains.append(tr("The line in the roster: take it out yourself."))
    if trace.paths and not course.submissions.is_dir():
        name = course.submissions.name
        remains.append(tr("The pictures in the ZIP file {name}: snapcheck does not change it.", name=name))
    elif trace.paths and not photos:
        remains.append(tr("The pictures in the submissions: {paths}.", paths=", ".join(trace.paths)))
    if student is not None:
        named = _still_named(course, store, [w for w in (student.name, student.login) if w])
        if named:
            remains.append(tr("What is said of others and names them: {places}.", places=", ".join(named)))
    if (course.folder / BENCH).is_dir():
        told = tr("What the bench page keeps in {folder}: photos, numbers and a log.", folder=BENCH)
        remains.append(
            f"{told} {tr('Free the benches at the desk, or delete that folder after the lesson.')}"
        )
    with contextlib.suppress(DataError):  # a damaged kit is told where it is used
        if any(notebook_of(taught).marks for taught in course.kit.taught):
            told = tr("What the kit learnt of decided cells: numbers, without pictures or names.")
            remains.append(f"{told} {tr('It can be taken back with: snapcheck teach KIT --back')}")
    remains.append(tr("Copies that were made elsewhere: gradebooks handed on, prints, backups."))
    if "://" in store.address and not store.address.startswith("sqlite"):
        remains.append(tr("The database server's own logs and backups, until they run out."))
    return Forgotten(rows, tuple(erased), tuple(remains))


def _erase_submissions(course: Course, paths: Sequence[str], others: Collection[str]) -> list[Path]:
    """What was handed in, and what else has the name of one of these files; not what is another's."""
    erased, kept = [], {place_of(course.submissions, path) for path in others}
    for path in paths:
        picture = place_of(course.submissions, path)
        for file in sorted(picture.parent.glob("*")) if picture.parent.is_dir() else ():
            if file.is_file() and not file.is_symlink() and file.stem == picture.stem and file not in kept:
                file.unlink()
                erased.append(file)
    return erased


def _erase_written(course: Course, number: str, words: Sequence[str]) -> list[Path]:
    """Files under ``out/``: this student's pages, and lists that hold the number or one of the words, which
    ``export`` writes anew. Pages of others stay: the number may stand there as points or as a value."""

    def owner(student: str) -> str:
        return feedback_name(student, "").partition("_")[0]

    folder, others = course.folder / OUT, {owner(s.number) for s in course.students} - {owner(number)}
    files = [f for f in sorted(folder.rglob("*")) if f.is_file() and f.suffix != ".jsonl"]
    theirs = set()
    for file in files:
        if not _is_page(file):
            mine = _mentions(file, [number, *words])
        else:
            whose = file.name.partition("_")[0]
            mine = whose == owner(number) or (whose not in others and _mentions(file, words))
        if mine:
            theirs.add(file.with_suffix(""))  # a PDF goes with the page that it was made from
    erased = [f for f in files if f.with_suffix("") in theirs]
    for file in erased:
        file.unlink()
    return erased


def _is_page(file: Path) -> bool:
    return file.parent.name == "feedback"


def _still_named(course: Course, store: Store, words: Sequence[str]) -> list[str]:
    """Pages of other students and decisions on them that hold these words."""
    folder = course.folder / OUT
    pages = [f for f in sorted(folder.rglob("*.html")) if _is_page(f) and _mentions(f, words)]
    told = [d for d in store.decisions() if _word_in(d.reason, words)]
    return [f.relative_to(course.folder).as_posix() for f in pages] + [
        tr("decision {number}", number=d.id) for d in told
    ]


def _erase_lines(course: Course, trace: Trace) -> list[Path]:
    """Audit files under ``out/``: only the lines on decisions and grades that are erased."""
    gone = {f"decision-{n}" for n in trace.decisions} | {f"grade-{n}" for n in trace.grades}
    erased = []
    for file in sorted((course.folder / OUT).rglob("*.jsonl")):
        lines = audit_lines(file)
        kept = [line for line in lines if _identity(line) not in gone]
        if kept != lines:
            write_whole(file, "".join(f"{line}\n" for line in kept))
            erased.append(file)
    return erased


def _identity(line: str) -> str:
    try:
        told = json.loads(line)
    except ValueError:
        return ""
    return str(told.get("id", "")) if isinstance(told, dict) else ""


def _mentions(file: Path, words: Sequence[str]) -> bool:
    """Whether a text holds the number, name, login or picture, each as a word of its own."""
    text = html.unescape(file.read_bytes().decode("utf-8", "replace"))
    return _word_in(text, words)


def _word_in(text: str, words: Sequence[str]) -> bool:
    return any(re.search(rf"(?<!\w){re.escape(w)}(?!\w)", text) for w in words)
