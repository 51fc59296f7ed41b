"""What several verbs share: options and output."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.board import Board, Design, load_board, load_design, read_text
from snapcheck.cli import _output
from snapcheck.datafiles import finite, json_value
from snapcheck.errors import InputError
from snapcheck.kit import Kit, bundled_kit, load_kit
from snapcheck.outfiles import write_whole
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.check import Verdict
    from snapcheck.photo import Reading


def add_kit(parser: argparse.ArgumentParser) -> None:
    """``--kit FILE``."""
    parser.add_argument("--kit", metavar="FILE", help="a kit of your own (TOML) instead of the bundled one")


def kit_of(args: argparse.Namespace) -> Kit:
    """The kit that the command line asks for."""
    return load_kit(args.kit) if args.kit else bundled_kit()


def load_built(path: str | Path, kit: Kit) -> Board | Reading:
    """A build from a layout file or JSON; what a reading left open stays open.

    Raises:
        InputError: names the file, the place in it, and what is accepted.
    """
    board = load_board(path, kit)
    data = _doubtful(path)
    return board if data is None else _reading(data, path, kit)


def load_plan(path: str | Path, kit: Kit) -> Design:
    """A plan from a layout file or JSON. A reading that leaves something open is nobody's plan.

    Raises:
        InputError: names the file, the place in it, and what is accepted.
    """
    design = load_design(path, kit)
    data = _doubtful(path)
    if data is not None:
        places = [str(e["at"]) for e in data.get("cubes", ()) if e.get("state", "read") != "read"]
        raise InputError(
            tr("is a reading that leaves something open: {places}.", places=", ".join(places[:8]))
            if places
            else tr("is a reading that leaves something open."),
            place=path,
            way_out=tr("Write it with 'snapcheck layout', put right what is doubtful, and give that file."),
        )
    return design


def _doubtful(path: str | Path) -> dict[str, Any] | None:
    """JSON of a reading that is not sure of everything, None for any other file (already checked)."""
    text = read_text(path)
    if not text.lstrip().startswith("{"):
        return None
    data: dict[str, Any] = json_value(text, str(path))
    entries = [e for key in ("cubes", "taps", "leads") for e in data.get(key) or () if isinstance(e, dict)]
    if data.get("notes") or any(e.get("state", "read") != "read" for e in entries):
        return data
    return None


def reading_of(path: str | Path, kit: Kit, photo: str = "") -> Reading:
    """A reading from JSON as ``read`` wrote it, for a photo of this name.

    Raises:
        InputError: it is no such file.
    """
    data = json_value(read_text(path), str(path), tr("Give a file that 'read' wrote."))
    if not isinstance(data, dict):
        raise InputError(tr("this is no reading."), place=path, way_out=tr("Give a file that 'read' wrote."))
    return _reading({**data, "photo": photo or data.get("photo", "")}, path, kit)


def _reading(data: dict[str, Any], path: str | Path, kit: Kit) -> Reading:
    from snapcheck.photo import reading_from_json

    # where no picture is at hand, its size does not matter
    size = [100 * min(max(int(finite(data.get(key)) or 1), 1), 99) for key in ("columns", "rows")]
    try:
        return reading_from_json({"size": size, **data}, kit)
    except InputError as error:
        place = f"{path}, {error.place}" if error.place else str(path)
        raise InputError(error.message, place=place, way_out=error.way_out) from None
    except (AttributeError, LookupError, TypeError, ValueError) as error:
        raise InputError(
            tr("this is no reading ({why}).", why=f"{type(error).__name__} {error}"),
            place=path,
            way_out=tr("Give a file that 'read' wrote."),
        ) from None


def print_json(data: Any) -> None:
    """One JSON document on standard output."""
    _output.print_json(data, indent=2)


def verdict_json(verdict: Verdict) -> dict[str, Any]:
    """A verdict as every document tells it."""
    return {
        "verdict": verdict.value,
        "verdict_text": verdict.sentence,
        "exit_code": verdict.exit_code,
    }


def make_folder(folder: Path, way_out: str = "") -> None:
    """A folder for results; raises InputError where it cannot be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            tr("the folder cannot be made: {why}.", why=error.strerror or error),
            place=folder,
            way_out=way_out or tr("Choose another folder with --out."),
        ) from None


def write_file(path: str | Path, content: bytes | str) -> None:
    """Write a result, whole or not at all; raises InputError when the place cannot be written."""
    path = Path(path)
    try:
        write_whole(path, content)
    except OSError as error:
        raise InputError(
            tr("cannot be written: {why}.", why=error.strerror),
            place=path,
            way_out=tr("Choose another place for the file."),
        ) from None
