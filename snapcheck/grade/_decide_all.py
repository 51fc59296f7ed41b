"""Many decisions at once, from a table: all of them are kept, or none."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from snapcheck.datafiles import read_data_text
from snapcheck.errors import InputError
from snapcheck.grade._course import Course
from snapcheck.grade._decide import decide
from snapcheck.grade._records import Decision, StoredFile, StoredReading, in_force
from snapcheck.grade._store import Store
from snapcheck.grade._work import Reader
from snapcheck.words import tr

_COLUMNS = ("student", "task", "decision")
_MOST_MB = 10


@dataclass(frozen=True)
class Decided:
    """One line of a table.

    Attributes:
        student, task, text, reason, picture: as `decide` takes them.
        place: file and line, for messages.
    """

    student: str
    task: str
    text: str
    reason: str
    picture: str = ""
    place: str = ""


def decisions_in(path: Path, reason: str = "") -> list[Decided]:
    """A CSV file with the columns ``student``, ``task``, ``decision``, and perhaps ``reason``, ``picture``.

    Args:
        reason: of lines that say none.

    Raises:
        InputError: there is no such file, it is no such table, or a line lacks something.
    """
    text = read_data_text(path, tr("a table of decisions"), _MOST_MB, tr("Save it as CSV in UTF-8."))
    first = text.lstrip("\ufeff").split("\n", 1)[0]
    rows = csv.DictReader(
        io.StringIO(text.lstrip("\ufeff"), newline=""), delimiter=max(",;\t", key=first.count)
    )
    found = []
    try:
        for row in rows:
            cells = {
                (k or "").strip().lower(): (v or "").strip() for k, v in row.items() if isinstance(v, str)
            }
            if not any(cells.values()):
                continue
            place = f"{path}, line {rows.line_num}"
            for need in _COLUMNS:
                if not cells.get(need):
                    raise InputError(
                        tr("'{column}' is missing.", column=need),
                        place=place,
                        way_out=tr("The first line must hold: student,task,decision,reason."),
                    )
            why = cells.get("reason") or reason
            if not why:
                raise InputError(
                    tr("a decision needs a reason."),
                    place=place,
                    way_out=tr("Write it into the column 'reason', or give one for all with --reason."),
                )
            student, task, words = (cells[column] for column in _COLUMNS)
            found.append(Decided(student, task, words, why, cells.get("picture", ""), place))
    except csv.Error as error:
        raise InputError(
            tr("is no readable CSV: {why}.", why=error), place=f"{path}, line {rows.line_num + 1}"
        ) from None
    if not found:
        raise InputError(
            tr("no decision stands in it."),
            place=path,
            way_out=tr("The first line must hold: student,task,decision,reason."),
        )
    return found


class _Rehearsal:
    """Takes decisions as a store does, and keeps them to itself: each line of a table has to follow from what
    the lines before it say, too. What does not change meanwhile is fetched once."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._history = store.decisions()
        self._readings: dict[str, dict[str, StoredReading]] = {}
        self.wanted: list[Decision] = []

    @cached_property
    def _files(self) -> list[StoredFile]:
        return self._store.files()

    @cached_property
    def _grades(self) -> dict[tuple[str, str], dict[str, Any]]:
        return self._store.grades()

    def files(self) -> list[StoredFile]:
        return self._files

    def grades(self) -> dict[tuple[str, str], dict[str, Any]]:
        return self._grades

    def readings(self, reader: str) -> dict[str, StoredReading]:
        if reader not in self._readings:
            self._readings[reader] = self._store.readings(reader)
        return self._readings[reader]

    def standing(self) -> list[Decision]:
        return in_force(self._history)

    def decide_together(self, wanted: Sequence[Decision]) -> list[int]:
        """Numbers below 0, by which they are found in `wanted`."""
        first = -len(self.wanted) - 1
        numbers = list(range(first, first - len(wanted), -1))
        self.wanted += (replace(one, id=number) for one, number in zip(wanted, numbers, strict=True))
        self._history += self.wanted[-len(wanted) :]
        return numbers


def decide_all(
    course: Course, store: Store, decided: Sequence[Decided], *, by: str, reader: Reader | None = None
) -> list[int]:
    """Keep decisions; grades follow with the next `regrade`. Returns their numbers.

    Raises:
        InputError: one of them cannot be followed, says which; then nothing was kept.
        StoreError: see `Store`; likewise.
    """
    tried = _Rehearsal(store)
    numbers: list[int] = []
    for one in decided:
        try:
            numbers.append(
                decide(
                    course, tried, one.student, one.task, one.text, by=by, reason=one.reason,
                    picture=one.picture, reader=reader,
                )
            )  # fmt: skip
        except InputError as error:
            place = ", ".join(filter(None, (one.place, error.place)))
            raise InputError(error.message, place=place, way_out=error.way_out) from None
    kept = store.decide_together(tried.wanted)
    return [number if number > 0 else kept[-number - 1] for number in numbers]
