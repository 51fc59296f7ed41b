"""What a caller may give for a board, a plan, a picture or a data file, and what is made of it.

A `str` with a line end in it, or that begins with ``{``, is text (a layout file's, or JSON); any other is a
path, as is every `os.PathLike`. A mapping is JSON that has been read. Nothing is written to a file.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Literal

import numpy as np

from snapcheck.board import Board, Design, design_from_json, design_from_text, read_text, text_of
from snapcheck.check import ComparisonSettings, bundled_settings, load_settings
from snapcheck.circuit import RuleBook, bundled_rules, load_rules
from snapcheck.datafiles import finite, json_value
from snapcheck.errors import InputError
from snapcheck.kit import Kit, bundled_kit, load_kit, parse_kit
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.photo import Picture, Reading

PathLike = str | os.PathLike[str]
#: a plan: layout text or JSON as text or path, JSON as a mapping, or an object
DesignLike = Design | Board | PathLike | Mapping[str, Any]
#: a board file has one of these endings; any other path is that of a picture
BOARD_ENDINGS = (".board", ".json", ".txt", ".layout")
Colours = Literal["rgb", "bgr"]
if TYPE_CHECKING:
    #: a build without a picture: as a plan, or a reading
    BoardLike = DesignLike | Reading
    #: a picture: path, the bytes of its file, an open binary file, or an array (see `snapcheck.read`)
    PictureLike = PathLike | bytes | bytearray | memoryview | BinaryIO | np.ndarray | Picture
    #: anything that shows a build
    BuiltLike = BoardLike | PictureLike
    KitLike = Kit | PathLike | None


def kit_of(given: KitLike = None) -> Kit:
    """A kit; None is the bundled one. Raises InputError and DataError."""
    if given is None or isinstance(given, Kit):
        return given or bundled_kit()
    text = _text(given)
    return load_kit(os.fspath(given)) if text is None else parse_kit(text, "kit")


def book_of(given: RuleBook | PathLike | None) -> RuleBook:
    """A rule book; None is the bundled one. Raises InputError and DataError."""
    if given is None or isinstance(given, RuleBook):
        return given or bundled_rules()
    return load_rules(os.fspath(given))


def limits_of(given: ComparisonSettings | PathLike | None) -> ComparisonSettings:
    """Limits of the comparison; None are the bundled ones. Raises InputError and DataError."""
    if given is None or isinstance(given, ComparisonSettings):
        return given or bundled_settings()
    return load_settings(os.fspath(given))


def plan_of(given: DesignLike, kit: Kit) -> Design:
    """A plan. A reading that leaves something open is nobody's plan.

    Raises:
        InputError: names the file, the place in it, and what is accepted.
    """
    design, reading, name = _board_of(given, kit)
    if reading is not None:
        places = [str(cell) for cell in reading.unsure]
        raise InputError(
            tr("is a reading that leaves something open: {places}.", places=", ".join(places[:8]))
            if places
            else tr("is a reading that leaves something open."),
            place=name,
            way_out=tr("Write it with 'snapcheck layout', put right what is doubtful, and give that file."),
        )
    return design


def board_of(given: BoardLike, kit: Kit) -> tuple[Design, Reading | None]:
    """A board with what its file says of it, and the reading that it comes from where that is not sure of
    everything.

    Raises:
        InputError: names the file, the place in it, and what is accepted.
    """
    design, reading, _ = _board_of(given, kit)
    return design, reading


def shows_a_board(given: object) -> bool:
    """True where `board_of` is to be asked: no picture."""
    if isinstance(given, os.PathLike) or (isinstance(given, str) and _text(given) is None):
        return Path(given).suffix.lower() in BOARD_ENDINGS
    if isinstance(given, str | Design | Board | Mapping):
        return True
    from snapcheck.photo import Reading

    return isinstance(given, Reading)


def picture_of(given: PictureLike, name: str = "", colours: Colours = "rgb") -> tuple[Picture, str]:
    """An opened picture and its name (that of its file).

    Raises:
        InputError: there is no such file, or it is nothing that can be a picture.
        PhotoError: it is no picture, is damaged, too small or too large.
    """
    from snapcheck import photo

    if isinstance(given, photo.Picture):
        return given, name or "picture"
    if isinstance(given, str | os.PathLike):
        path = Path(given)
        return photo.open_picture(path), name or path.name
    name = name or "picture"
    if isinstance(given, bytes | bytearray | memoryview):
        return photo.picture_of(bytes(given), Path(name)), name
    if hasattr(given, "read"):
        return photo.picture_of(given.read(photo.MAX_BYTES + 1), Path(name)), name
    if hasattr(given, "__array__"):
        return photo.picture_of_array(np.asarray(given), name, colours=colours), name
    raise _not_taken(given)


def reading_of(given: Reading | PathLike | Mapping[str, Any], kit: Kit, photo: str = "") -> Reading:
    """A reading as ``read`` wrote it, for a photo of this name.

    Raises:
        InputError: it is no such file.
    """
    from snapcheck.photo import Reading

    if isinstance(given, Reading):
        return given
    place: PathLike = "reading"
    way_out = tr("Give a file that 'read' wrote.")
    data: Any = given
    if not isinstance(given, Mapping):
        text = _text(given)
        if text is None:
            place, text = given, read_text(os.fspath(given))
        data = json_value(text, str(place), way_out)
    if not isinstance(data, Mapping):
        raise InputError(tr("this is no reading."), place=str(place), way_out=way_out)
    return _reading({**data, "photo": photo or data.get("photo", "")}, str(place), kit)


def _board_of(given: BoardLike, kit: Kit) -> tuple[Design, Reading | None, str]:
    """As `board_of`, and the name for messages."""
    if isinstance(given, Design):
        return given, None, ""
    if isinstance(given, Board):
        return Design(given), None, ""
    if not isinstance(given, str | os.PathLike | Mapping):
        from snapcheck.photo import Reading

        if not isinstance(given, Reading):
            raise _not_taken(given)
        sure = not (given.unsure or given.unsure_taps or given.unsure_leads or given.remarks)
        return Design(given.board), None if sure else given, given.photo
    data: Mapping[str, Any] = {}
    if isinstance(given, Mapping):
        name, data, design = "board", given, design_from_json(given, kit)
    else:
        said = _text(given)
        if said is None:
            name, text = os.fspath(given), read_text(os.fspath(given))
        else:
            name, text = "board", text_of(said.encode("utf-8", "surrogatepass"), "board")
        design = design_from_text(text, name, kit)
        if text.lstrip().startswith("{"):
            data = json_value(text, name)
    if not data:
        return design, None, name
    from snapcheck.photo import leaves_open

    return design, _reading(data, name, kit) if leaves_open(data) else None, name


def _reading(data: Mapping[str, Any], name: str, kit: Kit) -> Reading:
    from snapcheck.photo import reading_from_json

    # where no picture is at hand, its size does not matter
    size = [100 * min(max(int(finite(data.get(key)) or 1), 1), 99) for key in ("columns", "rows")]
    try:
        return reading_from_json({"size": size, **data}, kit)
    except InputError as error:
        place = f"{name}, {error.place}" if error.place else name
        raise InputError(error.message, place=place, way_out=error.way_out) from None
    except (AttributeError, LookupError, TypeError, ValueError) as error:
        raise InputError(
            tr("this is no reading ({why}).", why=f"{type(error).__name__} {error}"),
            place=name,
            way_out=tr("Give a file that 'read' wrote."),
        ) from None


def _text(given: object) -> str | None:
    """Text that is at hand, None for a path."""
    if isinstance(given, os.PathLike):
        return None
    if not isinstance(given, str):
        raise _not_taken(given)
    return given if "\n" in given or given.lstrip().startswith("{") else None


def _not_taken(given: object) -> InputError:
    return InputError(
        tr("nothing can be made of '{type}' here.", type=type(given).__name__),
        way_out=tr("Give a path, text, bytes of a picture, an array, JSON data, or an object of snapcheck."),
    )
