"""Errors that a user can act on; each class carries the exit code of its command.

Every message says what is wrong, where, and what to do next. The command line prints
the message alone, never a Python traceback, for anything derived from `SnapcheckError`.
"""

from __future__ import annotations

import re
from pathlib import Path

from snapcheck.words import shown

#: what no person wrote, such as thousands of digits, is not told in full
_ENDLESS = re.compile(r"(\S{300})\S+")


class SnapcheckError(Exception):
    """Base of all errors that are the input's or the surroundings' fault, not the program's.

    Args:
        message: what is wrong, in one sentence.
        place: file, line, key or cell where it is wrong.
        way_out: what the user can do about it.
    """

    exit_code = 20

    def __init__(self, message: str, *, place: str | Path | None = None, way_out: str = "") -> None:
        self.message = _ENDLESS.sub(r"\1…", message)
        self.place = "" if place is None else _ENDLESS.sub(r"\1…", str(place))
        self.way_out = way_out
        text = f"{shown(self.place)}: {shown(self.message)}" if self.place else shown(self.message)
        super().__init__(f"{text} {shown(way_out)}".strip())

    @property
    def sentence(self) -> str:
        """What is wrong and what to do, for a page that shows where by itself."""
        return f"{self.message[:1].upper()}{self.message[1:]} {self.way_out}".strip()

    @property
    def name(self) -> str:
        """A stable word for machines (used in JSON output)."""
        return type(self).__name__


class InputError(SnapcheckError):
    """A file is missing, malformed or says something impossible."""

    exit_code = 21


class DataError(SnapcheckError):
    """A data file (kit, rule limits, rubric) is wrong: names file, key and accepted values."""

    exit_code = 22


class PhotoError(SnapcheckError):
    """A picture cannot be read as a board: take it again."""

    exit_code = 23


class SimulationError(SnapcheckError):
    """A circuit cannot be solved; the message says why in electrical words."""

    exit_code = 24


class MissingLibraryError(SnapcheckError):
    """A library that this command needs is not installed; the way out is the command that installs it."""

    exit_code = 25


class StoreError(SnapcheckError):
    """The gradebook's store is damaged, locked, full or cannot be written; what it holds is left alone."""

    exit_code = 26


class StoppedError(SnapcheckError):
    """The work was stopped before its end, because its caller asked for that."""

    exit_code = 130


class BusyError(StoreError):
    """Somebody else is grading into the gradebook at the moment."""
