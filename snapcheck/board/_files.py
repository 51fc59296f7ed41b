"""Opening boards and designs: layout files, or JSON in the truth format."""

from __future__ import annotations

from pathlib import Path

from snapcheck.board._board import Board
from snapcheck.board._design import Design
from snapcheck.board._json import design_from_json
from snapcheck.board._layout import parse_layout
from snapcheck.datafiles import json_value, read_bytes
from snapcheck.errors import InputError
from snapcheck.kit import Kit
from snapcheck.words import tr

#: a layout file of the largest plate, every cube with a long line, stays far below this
MAX_BYTES = 4_000_000


def load_board(path: str | Path, kit: Kit) -> Board:
    """The board in a layout file or a JSON file (truth format, reading). Raises InputError."""
    return load_design(path, kit).board


def load_design(path: str | Path, kit: Kit) -> Design:
    """The design in a layout file or a JSON file; a file without design data promises nothing.

    Raises:
        InputError: names file, line and column (or JSON key), and what is accepted.
    """
    return design_from_text(read_text(path), path, kit)


def design_from_text(text: str, path: str | Path, kit: Kit) -> Design:
    """As `load_design`, for a text that is at hand; `path` is for messages alone."""
    if text.lstrip().startswith(("{", "[")):
        again = tr("Is the file complete? Write it again with 'snapcheck read' or 'snapcheck layout'.")
        data = json_value(text, str(path), again)
        try:
            return design_from_json(data, kit)
        except InputError as error:
            place = f"{path}, {error.place}" if error.place else str(path)
            raise InputError(error.message, place=place, way_out=error.way_out) from None
    return parse_layout(text, str(path), kit)


def read_text(path: str | Path) -> str:
    """The text of a small UTF-8 file; raises InputError for a missing, huge, binary or empty one."""
    path = Path(path)
    return text_of(read_bytes(path, MAX_BYTES, tr("Check the name of the file.")), path)


def text_of(raw: bytes, path: str | Path) -> str:
    """As `read_text`, for bytes that are at hand; `path` is for messages alone."""
    if len(raw) > MAX_BYTES:
        raise InputError(
            tr("is too large for a board (over 4 MB)."), place=path, way_out=tr("Is it the right file?")
        )
    if raw.startswith((b"\xff\xd8\xff", b"\x89PNG", b"RIFF", b"%PDF")) or raw[4:8] == b"ftyp":
        raise InputError(
            tr("is a picture or a PDF, not a layout file."),
            place=path,
            way_out=tr(
                "A picture is checked by 'snapcheck check PHOTO DESIGN': the photo first, then the plan."
            ),
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            tr("is no text file (byte {start} is not UTF-8).", start=error.start),
            place=path,
            way_out=tr("Save it as UTF-8."),
        ) from None
    if "\0" in text:
        raise InputError(tr("is no text file (it holds a zero byte)."), place=path)
    if not text.strip():
        raise InputError(tr("is empty."), place=path)
    return text
