"""The gradebook as a CSV file, with the columns that a learning platform wants."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextvars import copy_context
from fractions import Fraction

from snapcheck.csvtext import csv_text
from snapcheck.errors import DataError
from snapcheck.grade._batch import Entry
from snapcheck.grade._course import Course, Student
from snapcheck.grade._rubric import points_text
from snapcheck.words import tr, use_language


def state_of(entry: Entry) -> str:
    """``missing`` (nothing handed in), ``open`` (a person must look) or ``final``."""
    if not entry.sha and entry.grade.final and entry.grade.points == "0":
        return "missing"
    return "final" if entry.grade.final else "open"


def reasons_text(entry: Entry) -> str:
    """Why points were taken off or added, in one line."""
    told = [f"{words} ({cost})" for line in entry.grade.lines for words, cost in line.reasons if cost != "0"]
    told += [f"{words} ({cost})" for words, cost in entry.grade.changes]
    return "; ".join(told)


_PER_TASK: dict[str, Callable[[Entry], str]] = {
    "points": lambda e: e.grade.points if e.grade.final else "",
    "provisional": lambda e: e.grade.points,
    "most": lambda e: e.grade.most,
    "state": state_of,
    "verdict": lambda e: e.grade.verdict if e.sha else "",
    "open": lambda e: " ".join(e.grade.open),
    "at": lambda e: e.at,
    "attempts": lambda e: str(e.attempts),
    "reasons": reasons_text,
}


def usual_columns(course: Course) -> dict[str, str]:
    """Headings, in the language that the course wants them in, and fields where the course names none."""

    def spoken() -> dict[str, str]:
        use_language(course.headings)
        columns = {tr("number"): "number", tr("name"): "name"}
        for task in course.tasks:
            for field, heading in (
                ("points", tr("points")),
                ("state", tr("state")),
                ("verdict", tr("verdict")),
            ):
                columns[f"{task.name} {heading}"] = f"{task.name}.{field}"
        columns[tr("total")] = "total"
        return columns

    return copy_context().run(spoken)


def gradebook_csv(course: Course, entries: Mapping[tuple[str, str], Entry]) -> str:
    """The gradebook; points of grades that are open stay empty.

    The course's table ``[gradebook]`` names columns, each ``"heading" = "field"``; ``language = "de"`` gives
    the usual ones German headings, ``byte-order-mark = true`` puts a byte order mark before the text,
    ``decimal-comma = true`` writes 18,5, and semicolons between the cells: a spreadsheet of a country with a
    decimal comma would take 18.5 for a date.

    Fields: any column of the roster, ``TASK.points`` (or provisional, most, state, verdict, open, at,
    attempts, reasons), ``total`` (of final grades; empty while one is open) and ``=text`` for a fixed text.

    Raises:
        DataError: a field is not known.
    """
    columns = dict(course.gradebook) or usual_columns(course)
    rows = [[_field(course, s, entries, field) for field in columns.values()] for s in course.students]
    if course.decimal_comma:
        points = [_holds_points(field) for field in columns.values()]
        rows = [[c.replace(".", ",") if p else c for c, p in zip(r, points, strict=True)] for r in rows]
    separator = ";" if course.decimal_comma else ","
    return "\ufeff" * course.byte_order_mark + csv_text([list(columns), *rows], separator)


def _holds_points(field: str) -> bool:
    return field == "total" or field.rpartition(".")[2] in ("points", "provisional", "most")


def _field(course: Course, student: Student, entries: Mapping[tuple[str, str], Entry], field: str) -> str:
    if field.startswith("="):
        return field[1:]
    if field == "total":
        mine = [entries[student.number, task.name].grade for task in course.tasks]
        return total_text(course, student.number, entries) if all(g.final for g in mine) else ""
    task, dot, what = field.rpartition(".")
    if dot and any(t.name == task for t in course.tasks) and what in _PER_TASK:
        return _PER_TASK[what](entries[student.number, task])
    if field in ("number", "name", "login"):
        return str(getattr(student, field))
    if field in student.columns:
        return student.columns[field]
    raise DataError(
        tr("'{field}' is no field of the gradebook.", field=field),
        place=course.folder / "course.toml, gradebook",
        way_out=tr(
            "Accepted: columns of the roster, total, =text, and for each task: {fields}.",
            fields=", ".join(f"{course.tasks[0].name}.{k}" for k in _PER_TASK),
        ),
    )


def total_text(course: Course, student: str, entries: Mapping[tuple[str, str], Entry]) -> str:
    """Sum of a student's points over all tasks."""
    return points_text(
        sum((Fraction(entries[student, t.name].grade.points) for t in course.tasks), Fraction(0))
    )
