"""The course folder: what was set, who is in the course, what was handed in."""

from __future__ import annotations

import csv
import difflib
import io
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from snapcheck.board import Design, load_design
from snapcheck.datafiles import read_bytes, read_data_text, toml_table
from snapcheck.errors import DataError, InputError
from snapcheck.grade._rubric import Rubric, load_rubric, sample_rubric
from snapcheck.kit import Kit, bundled_kit, load_kit
from snapcheck.tables import TableReader
from snapcheck.words import languages, tr

MAX_ROSTER_BYTES = 10_000_000
COURSE_FILE = "course.toml"
#: which photo of several counts
COUNTS = ("latest", "best", "first")


@dataclass(frozen=True)
class Task:
    """One thing to build.

    Attributes:
        name: short name, used in file names.
        title: for people.
        design_file, design: the plan.
        due: when it was due, None: no date.
        aliases: other names of it in file names.
    """

    name: str
    title: str
    design_file: Path
    design: Design
    due: datetime | None
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True)
class Student:
    """One line of the roster; `columns` holds all its cells, for the gradebook."""

    number: str
    name: str
    login: str
    columns: Mapping[str, str]


@dataclass(frozen=True)
class Course:
    """A course folder, read and checked.

    Attributes:
        folder: where it lies.
        title: of the course.
        zone: the time zone in which dates and file times are meant.
        tasks, students: what and who.
        submissions: folder or ZIP of pictures.
        patterns: how files are named, tried in order; none: by name, login or number found in the path.
        counts: which of several photos counts.
        rubric, kit: see there.
        gradebook: configured columns of the gradebook: heading to field.
        headings: language of its usual headings.
        byte_order_mark: whether it begins with one, by which some spreadsheets know UTF-8.
        decimal_comma: whether points in it have one, and semicolons stand between its cells.
        store: where results are kept: a file or a database URL.
        contact: whom a student may ask, printed on the feedback.
        files: those that it was read from.
    """

    folder: Path
    title: str
    zone: ZoneInfo
    tasks: tuple[Task, ...]
    students: tuple[Student, ...]
    submissions: Path
    patterns: tuple[str, ...]
    counts: str
    rubric: Rubric
    kit: Kit
    kit_file: Path | None
    gradebook: Mapping[str, str]
    store: str
    contact: str = ""
    headings: str = "en"
    byte_order_mark: bool = False
    decimal_comma: bool = False
    files: tuple[Path, ...] = ()

    @cached_property
    def names(self) -> dict[str, list[tuple[tuple[str, ...], str]]]:
        """What students are called, with their numbers, by the first word and by all words in one."""
        found: dict[str, list[tuple[tuple[str, ...], str]]] = {}
        for s in self.students:
            for key in {k for k in _keys(s.number, s.login, s.name) if k}:
                for entry in {key[0], "".join(key)}:
                    found.setdefault(entry, []).append((key, s.number))
        return found

    def task(self, name: str) -> Task:
        """The task of this name. Raises InputError."""
        for task in self.tasks:
            if task.name == name:
                return task
        raise InputError(
            tr("there is no task '{name}'.", name=name),
            place=self.folder / COURSE_FILE,
            way_out=tr("Tasks: {names}.", names=", ".join(t.name for t in self.tasks)),
        )

    def student(self, number: str) -> Student:
        """The student of this number. Raises InputError."""
        for student in self.students:
            if student.number == number:
                return student
        near = difflib.get_close_matches(number, [s.number for s in self.students], 1)
        raise InputError(
            tr("there is no student '{number}' in the roster.", number=number),
            place=self.folder,
            way_out=tr("Did you mean '{near}'?", near=near[0]) if near else tr("Give the roster's number."),
        )


def load_course(folder: str | Path, *, rubric: str | Path | None = None, store: str = "") -> Course:
    """Read a course folder.

    Args:
        folder: holds ``course.toml``; or that file itself.
        rubric: another rubric than the course's.
        store: another store than the course's (file or database URL).

    Raises:
        InputError: a file is missing or unreadable.
        DataError: ``course.toml`` or the rubric is wrong; names file, key and accepted values.
    """
    folder = Path(folder)
    if folder.name == COURSE_FILE and folder.is_file():
        folder = folder.parent
    file = folder / COURSE_FILE
    text = read_data_text(
        file, tr("a course"), 1, tr("A course folder holds course.toml; 'fixtures/class' is an example.")
    )
    return _Reader(folder, file, toml_table(text, str(file))).course(rubric, store)


class _Reader(TableReader):
    """Reads ``course.toml``."""

    def __init__(self, folder: Path, file: Path, data: Mapping[str, Any]) -> None:
        super().__init__(str(file))
        self.folder, self.data = folder, data

    def said(
        self, key: str, default: str | None = None, table: Mapping[str, Any] | None = None, where: str = ""
    ) -> str:
        """The text of a key; one without a default has to say something."""
        value = (self.data if table is None else table).get(key, default)
        return self.some_text(value, where + key) if default is None else self.text(value, where + key)

    def course(self, rubric: str | Path | None, store: str) -> Course:
        self.known(
            self.data,
            "",
            (
                "title",
                "zone",
                "roster",
                "submissions",
                "patterns",
                "counts",
                "rubric",
                "kit",
                "store",
                "contact",
                "task",
                "gradebook",
            ),
        )
        try:
            zone = ZoneInfo(self.said("zone", "UTC"))
        except (ZoneInfoNotFoundError, ValueError, OSError):
            self.fail("zone", tr("there is no such time zone."), tr('For example "Europe/Oslo".'))
        counts = self.choice(self.data.get("counts", "latest"), "counts", COUNTS)
        patterns = self.texts(self.data.get("patterns", []), "patterns")
        for pattern in patterns:
            check_pattern(pattern, f"{self.source}, patterns")
        kit_file = self.folder / self.said("kit") if "kit" in self.data else None
        kit = bundled_kit() if kit_file is None else load_kit(kit_file)
        if rubric is None and "rubric" in self.data:
            rubric = self.folder / self.said("rubric")
        gradebook = dict(self.table(self.data.get("gradebook", {}), "gradebook"))
        mark = self.flag(gradebook.pop("byte-order-mark", False), "gradebook.byte-order-mark")
        comma = self.flag(gradebook.pop("decimal-comma", False), "gradebook.decimal-comma")
        headings = self.choice(gradebook.pop("language", "en"), "gradebook.language", languages())
        if not all(isinstance(v, str) for v in gradebook.values()):
            self.fail("gradebook", tr("a table of headings and fields is needed."))
        tasks, roster = self.tasks(zone, kit), self.folder / self.said("roster", "roster.csv")
        read_from = (Path(self.source), roster, rubric, kit_file, *(t.design_file for t in tasks))
        return Course(
            self.folder,
            self.said("title"),
            zone,
            tasks,
            read_roster(roster),
            self.folder / self.said("submissions", "submissions"),
            patterns,
            counts,
            sample_rubric() if rubric is None else load_rubric(rubric, kit),
            kit,
            kit_file,
            gradebook,
            store or self.store(),
            self.said("contact", ""),
            headings,
            mark,
            comma,
            tuple(Path(file) for file in read_from if file is not None),
        )

    def store(self) -> str:
        given = self.said("store", "gradebook.db")
        return given if "://" in given else str(self.folder / given)

    def tasks(self, zone: ZoneInfo, kit: Kit) -> tuple[Task, ...]:
        tables = self.data.get("task", {})
        if not isinstance(tables, dict) or not tables:
            self.fail("task", tr("a course needs a task."), tr("Begin one with [task.NAME]."))
        tasks = []
        for name, table in tables.items():
            self.known(
                self.table(table, f"task.{name}"), f"task.{name}", ("design", "title", "due", "aliases")
            )
            file = self.folder / self.said("design", table=table, where=f"task.{name}.")
            design = load_design(file, kit)
            due = table.get("due")
            if due is not None and not isinstance(due, datetime):
                self.fail(f"task.{name}.due", tr("a date with a time is needed."), "2031-03-04T18:00:00")
            if due is not None and due.tzinfo is None:
                due = due.replace(tzinfo=zone)
            aliases = self.texts(table.get("aliases", []), f"task.{name}.aliases")
            title = self.said("title", design.title or name, table, f"task.{name}.")
            tasks.append(Task(name, title, file, design, due, aliases))
        return tuple(tasks)


def read_roster(path: Path) -> tuple[Student, ...]:
    """The roster: a CSV file with the columns ``number`` and ``name``, and any others (``login`` is used).

    Raises:
        InputError: missing, unreadable, a column is missing, a number is given twice.
    """
    raw = read_bytes(path, MAX_ROSTER_BYTES)
    if len(raw) > MAX_ROSTER_BYTES:
        raise InputError(tr("is too large for a roster (over 10 MB)."), place=path)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            tr("is no UTF-8 text."), place=path, way_out=tr("Save it as CSV in UTF-8.")
        ) from None
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    rows = csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter)
    headings = {h.strip().lower(): h for h in _heading(rows, path) if h}
    for need in ("number", "name"):
        if need not in headings:
            raise InputError(
                tr("the column '{name}' is missing.", name=need),
                place=path,
                way_out=tr("The first line must hold at least: number,name."),
            )
    students: dict[str, Student] = {}
    for row in _rows(rows, path):
        cells = {k.strip(): (v or "").strip() for k, v in row.items() if k and isinstance(v, str | None)}
        number, name = cells.get(headings["number"].strip(), ""), cells.get(headings["name"].strip(), "")
        if not number and not name:
            continue
        place = f"{path}, line {rows.line_num}"
        if not number or not name:
            raise InputError(tr("number or name is missing."), place=place)
        if not re.fullmatch(r"[\w.@-]{1,64}", number):
            raise InputError(
                tr("'{number}' cannot be a student's number.", number=number),
                place=place,
                way_out=tr("Letters, digits, '.', '_', '@' and '-' only."),
            )
        if number in students:
            raise InputError(tr("the number {number} is given twice.", number=number), place=place)
        login = cells.get(headings.get("login", "login").strip(), "")
        students[number] = Student(number, name, login, cells)
    if not students:
        raise InputError(tr("there is nobody in the roster."), place=path)
    return tuple(students.values())


def _heading(rows: csv.DictReader[str], path: Path) -> Sequence[str]:
    try:
        return rows.fieldnames or []
    except csv.Error as error:
        raise _no_table(rows, path, error) from None


def _rows(rows: csv.DictReader[str], path: Path) -> Iterator[dict[str | Any, str | Any]]:
    try:
        yield from rows
    except csv.Error as error:
        raise _no_table(rows, path, error) from None


def _no_table(rows: csv.DictReader[str], path: Path, error: csv.Error) -> InputError:
    """A field of more than 128 kB, a zero byte."""
    return InputError(
        tr("is no readable CSV: {why}.", why=error),
        place=f"{path}, line {rows.line_num + 1}",
        way_out=tr("Is a quotation mark left open? Save it as CSV in UTF-8."),
    )


# ---------------------------------------------------------------- who a file belongs to

_PLACES = {
    "student": r"(?P<student>[^/]+?)",
    "task": r"(?P<task>[^/]+?)",
    "time": r"(?P<time>\d{4}-?\d\d-?\d\d[T _-]?\d\d[-:.h]?\d\d(?:[-:.]?\d\d)?)",
    "any": r"[^/]*?",
}


def check_pattern(pattern: str, place: str) -> re.Pattern[str]:
    """A naming pattern such as ``{task}/{student} {time}.{any}``, compiled. Raises DataError."""
    out, at = "", 0
    used: set[str] = set()
    pattern = unicodedata.normalize("NFC", pattern)
    for match in re.finditer(r"\{(\w*)\}", pattern):
        out += re.escape(pattern[at : match.start()])
        name = match[1]
        if name not in _PLACES or (name in used and name != "any"):
            raise DataError(
                tr("'{pattern}' is no naming pattern.", pattern=pattern),
                place=place,
                way_out=tr(
                    "Places: {student}, {task}, {time}, {any}; each but {any} at most once.",
                    student="{student}",
                    task="{task}",
                    time="{time}",
                    any="{any}",
                ),
            )
        used.add(name)
        out += _PLACES[name]
        at = match.end()
    return re.compile(out + re.escape(pattern[at:]), re.IGNORECASE)


@lru_cache(maxsize=4096)
def plain(text: str) -> tuple[str, ...]:
    """Lower-case words without accents: how names are compared."""
    flat = unicodedata.normalize("NFKD", text)
    flat = "".join(c for c in flat if not unicodedata.combining(c)).casefold()
    return tuple(re.findall(r"[^\W_]+", flat))


def _within(words: tuple[str, ...], sought: tuple[str, ...]) -> bool:
    n = len(sought)
    return n > 0 and any(words[i : i + n] == sought for i in range(len(words) - n + 1))


@dataclass(frozen=True)
class Belonging:
    """Whose photo of what it is; `problem` says why that is not known."""

    student: str | None
    task: str | None
    at: datetime | None
    how: str
    problem: str = ""


def belongs_by_name(course: Course, path: str) -> Belonging:
    """Who a file belongs to, by its path inside the submissions (with ``/``); never guessed.

    By the patterns of the course; where none fits, by what the path says in words, when that is one student
    and one task.
    """
    path = unicodedata.normalize("NFC", path)  # as some systems write "ü": as "u" and a mark
    stem = path.rsplit(".", 1)[0] if "." in path.rsplit("/", 1)[-1] else path
    problem = tr("The name fits no pattern of the course.")
    for pattern, name in ((p, n) for p in course.patterns for n in (stem, path)):
        match = check_pattern(pattern, "").fullmatch(name)
        if match is None:
            continue
        found = match.groupdict()
        student = (
            _one(_students_named(course, plain(found["student"]), whole=True)) if "student" in found else None
        )
        task = _one(_tasks_named(course, plain(found["task"]), whole=True)) if "task" in found else None
        if task is None and "task" not in found and len(course.tasks) == 1:
            task = course.tasks[0].name
        if student is not None and task is not None:
            return Belonging(student, task, local_time(found.get("time"), course.zone), tr("name"))
        if student is None and "student" in found:
            problem = tr("'{name}' is nobody in the roster.", name=found["student"])
        elif task is None and "task" in found:
            problem = tr("'{name}' is no task of the course.", name=found["task"])
    told = _by_words(course, stem)
    return told if not course.patterns or not told.problem else Belonging(None, None, None, "", problem)


def _by_words(course: Course, stem: str) -> Belonging:
    """Who a file belongs to by the names and numbers in its path."""
    stamp = re.search(_PLACES["time"], stem)
    at = local_time(stamp["time"] if stamp else None, course.zone)
    if at is not None and stamp is not None:  # its digits are nobody's number
        stem = f"{stem[: stamp.start()]} {stem[stamp.end() :]}"
    # "photo (1)" is how a second file of one name is called, by browsers and by us
    pieces = [plain(re.sub(r"\(\d+\)$", "", piece.strip())) for piece in stem.split("/")]
    students = {s for words in pieces for s in _students_named(course, words, whole=False)}
    tasks = {t for words in pieces for t in _tasks_named(course, words, whole=False)}
    if not tasks and len(course.tasks) == 1:
        tasks = {course.tasks[0].name}
    problem = ""
    if len(students) != 1:
        problem = (
            tr("The name says no student.")
            if not students
            else tr("The name fits several students: {names}.", names=", ".join(sorted(students)))
        )
    elif len(tasks) != 1:
        problem = (
            tr("The name says no task.")
            if not tasks
            else tr("The name fits several tasks: {names}.", names=", ".join(sorted(tasks)))
        )
    return Belonging(_one(students), _one(tasks), at, tr("name"), problem)


def _one(found: set[str]) -> str | None:
    return next(iter(found)) if len(found) == 1 else None


def _students_named(course: Course, words: tuple[str, ...], *, whole: bool) -> set[str]:
    """Students whose number, login or name (either order) these words are, or hold."""
    glued = "".join(words)
    found = {n for key, n in course.names.get(glued, ()) if glued == "".join(key)} if glued else set()
    for i, word in enumerate(words):
        for key, number in course.names.get(word, ()):
            if words == key if whole else words[i : i + len(key)] == key:
                found.add(number)
    return found


#: how umlauts are written where there are none
_SPELT = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe", "æ": "ae"})


def _keys(number: str, login: str, name: str) -> tuple[tuple[str, ...], ...]:
    """The words by which a student is known: number, login, name in either order, umlauts spelt out, too."""
    names = {plain(name), plain(unicodedata.normalize("NFC", name.lower()).translate(_SPELT))}
    turned = [(n, (*n[1:], *n[:1]), (*n[-1:], *n[:-1])) for n in sorted(names)]
    return (plain(number), plain(login), *(key for keys in turned for key in keys))


def _tasks_named(course: Course, words: tuple[str, ...], *, whole: bool) -> set[str]:
    found = set()
    for t in course.tasks:
        keys = [plain(name) for name in (t.name, *t.aliases)]
        if any(k and (words == k if whole else _within(words, k)) for k in keys):
            found.add(t.name)
    return found


def local_time(text: str | None, zone: ZoneInfo) -> datetime | None:
    """A date with a time of day, written in digits with anything between them; None where it is none."""
    digits = re.sub(r"\D", "", text or "")
    if len(digits) not in (12, 14):
        return None
    try:
        return datetime.strptime(digits.ljust(14, "0"), "%Y%m%d%H%M%S").replace(tzinfo=zone)
    except ValueError:
        return None


def to_utc_text(at: datetime) -> str:
    """A moment as stored: ISO 8601 in UTC."""
    return at.astimezone(ZoneInfo("UTC")).isoformat(timespec="seconds")
