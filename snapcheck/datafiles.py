"""Opening the data files that a teacher may change: kits, rule books."""

from __future__ import annotations

from pathlib import Path

from snapcheck.errors import DataError, InputError


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
        raise InputError(f"cannot be opened: {error.strerror}.", place=path, way_out=way_out) from error
    if len(raw) > most_MB * 1_000_000:
        raise DataError(f"is too large for {what} (over {most_MB} MB).", place=path)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise DataError(
            f"is no text file (byte {error.start} is not UTF-8).", place=path, way_out="Save it as UTF-8."
        ) from error
