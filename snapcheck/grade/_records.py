"""What the store keeps, as values: decisions, files, readings; and which decisions stand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from snapcheck.grade._submissions import FILE, is_picture


@dataclass(frozen=True)
class Decision:
    """What a person decided.

    Attributes:
        id, at, by: number, time (UTC, ISO 8601), who.
        kind: ``cell`` (what stands there), ``points``, ``belongs``, ``excused``, ``counts``, ``unreadable``,
            ``lost`` (a picture that is no longer there: ``kept`` or ``withdrawn``), ``handed-in`` (when).
        student, task: concerned, None where only a picture is.
        subject: picture (digest), path or item.
        choice: what was decided; for ``cell`` a line as in layout files.
        reason: in words.
        takes_back: number of the decision that no longer stands.
    """

    id: int
    at: str
    by: str
    kind: str
    student: str | None
    task: str | None
    subject: str
    choice: str
    reason: str
    takes_back: int | None = None


@dataclass(frozen=True)
class StoredFile:
    """A file of the submissions; see the table ``file``."""

    path: str
    sha: str
    size: int
    at: str
    student: str | None
    task: str | None
    how: str
    problem: str
    gone: bool = False
    clock: str = ""

    @property
    def is_picture(self) -> bool:
        return is_picture(self.path)

    @property
    def time_is_known(self) -> bool:
        """False where nothing but the file system, whose times change with every copy, says when."""
        return self.clock != FILE

    @property
    def stem(self) -> str:
        """The path without its ending."""
        return self.path.rsplit(".", 1)[0] if "." in self.path.rsplit("/", 1)[-1] else self.path

    @property
    def folder(self) -> str:
        return self.path.rpartition("/")[0]


@dataclass(frozen=True)
class StoredReading:
    """What a reader saw: `state` is ``read`` (then `body` is a reading), ``retake`` or ``failed`` (then it
    holds ``message``, ``place`` and ``way_out``)."""

    sha: str
    state: str
    body: Mapping[str, Any]


@dataclass(frozen=True)
class Trace:
    """What is about one student: paths of their files, digests of pictures that nobody else handed in,
    numbers of decisions and of grades."""

    paths: tuple[str, ...]
    pictures: frozenset[str]
    decisions: frozenset[int]
    grades: frozenset[int]


def in_force(history: Sequence[Decision]) -> list[Decision]:
    """Decisions that have not been taken back; a taking back can be taken back as well."""
    undone = {d.takes_back for d in _backs_in_force(history)}
    return [d for d in history if d.kind != "take-back" and d.id not in undone]


def last_word(history: Sequence[Decision], new: Decision) -> Decision | None:
    """The decision in force on the same thing as this one."""

    def about(d: Decision) -> tuple[str | None, ...]:
        return d.kind, d.student, d.task, d.subject

    return next((d for d in reversed(in_force(history)) if about(d) == about(new)), None)


def _backs_in_force(history: Sequence[Decision]) -> list[Decision]:
    backs = [d for d in history if d.takes_back is not None]
    standing: list[Decision] = []
    for back in reversed(backs):  # the newest one stands; one that it takes back does not
        if not any(later.takes_back == back.id for later in standing):
            standing.append(back)
    return standing
