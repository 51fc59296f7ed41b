"""Opening what a user gives: regular files of a bounded size; TOML and JSON with clear errors."""

from __future__ import annotations

import json
import math
import stat
import tomllib
from pathlib import Path
from typing import Any

from snapcheck.errors import DataError, InputError
from snapcheck.words import system_says, tr


def read_bytes(path: Path, most: int, way_out: str = "") -> bytes:
    """The bytes of a file, at most `most` + 1 of them: more than `most` says that it is larger.

    Raises:
        InputError: it cannot be opened, or it is no regular file (a pipe or a device may never end).
    """
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):
            raise InputError(_no_file(mode), place=path, way_out=way_out or tr("Give a file."))
        with path.open("rb") as file:
            return file.read(most + 1)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        why = system_says(error)
        raise InputError(tr("cannot be opened: {why}.", why=why), place=path, way_out=way_out) from error


def _no_file(mode: int) -> str:
    if stat.S_ISDIR(mode):
        return tr("is a folder, not a file.")
    if stat.S_ISFIFO(mode):
        return tr("is a pipe, not a file.")
    if stat.S_ISSOCK(mode):
        return tr("is a socket, not a file.")
    return tr("is a device, not a file.")


def read_data_text(path: Path, what: str, most_MB: int, way_out: str) -> str:
    """The text of a small UTF-8 data file.

    Args:
        path: the file.
        what: what it should be, with its article, for messages ("a kit").
        most_MB: a larger file is refused (megabytes).
        way_out: what to do when it cannot be opened.

    Raises:
        InputError: it cannot be opened.
        DataError: it is too large, or no text.
    """
    raw = read_bytes(path, most_MB * 1_000_000, way_out)
    if len(raw) > most_MB * 1_000_000:
        raise DataError(
            tr("is too large for {what} (over {most_MB} MB).", what=what, most_MB=most_MB), place=path
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DataError(
            tr("is no text file (byte {start} is not UTF-8).", start=error.start),
            place=path,
            way_out=tr("Save it as UTF-8."),
        ) from error


def _too_long() -> str:
    """Python reads whole numbers of at most 4300 digits."""
    return tr("a number has thousands of digits")


def finite(value: object) -> float | None:
    """A number from a data file, None for what is none: true, infinite, nan, or more than a float holds."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:  # a whole number beyond what a float holds
        return None
    return number + 0.0 if math.isfinite(number) else None  # -0.0 is 0


def toml_table(text: str, source: str) -> dict[str, Any]:
    """What a TOML text says. Raises DataError; `source` names it in the message."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        why: object = error
    except ValueError:
        why = _too_long()
    except RecursionError:
        why = tr("it is nested too deeply")
    raise DataError(
        tr("is not valid TOML: {error}.", error=why),
        place=source,
        way_out=tr("Mend that line; see https://toml.io."),
    )


def json_value(text: str, source: str, way_out: str = "") -> Any:
    """What a JSON text says. Raises InputError; `source` names it in the message."""
    try:
        return json.loads(text)
    except json.JSONDecodeError as error:
        raise InputError(
            tr("is not valid JSON: {msg}.", msg=error.msg),
            place=tr(
                "{file}, line {line}, column {column}", file=source, line=error.lineno, column=error.colno
            ),
            way_out=way_out,
        ) from None
    except ValueError:
        raise InputError(
            tr("is not valid JSON: {msg}.", msg=_too_long()), place=source, way_out=way_out
        ) from None
    except RecursionError:
        raise InputError(tr("is nested too deeply."), place=source, way_out=way_out) from None
