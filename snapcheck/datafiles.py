"""Opening the data files that a teacher may change: kits, rule books."""

from __future__ import annotations

from pathlib import Path

from snapcheck.errors import DataError, InputError
from snapcheck.words import tr


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
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError(
            tr("cannot be opened: {why}.", why=error.strerror), place=path, way_out=way_out
        ) from error
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
