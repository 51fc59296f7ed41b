"""What several verbs share: options and output."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.cli import _output
from snapcheck.errors import InputError
from snapcheck.kit import Kit, bundled_kit, load_kit
from snapcheck.outfiles import write_whole
from snapcheck.words import system_says, tr

if TYPE_CHECKING:
    from snapcheck.check import Verdict


def add_kit(parser: argparse.ArgumentParser) -> None:
    """``--kit FILE``."""
    parser.add_argument(
        "--kit",
        metavar="FILE",
        help="a kit of your own (TOML) instead of the bundled one, or 'chips' for that with chips",
    )


def add_photos(parser: argparse.ArgumentParser) -> None:
    """``PHOTO... DESIGN``: what a build is, and its plan."""
    parser.add_argument(
        "photos",
        metavar="PHOTO",
        nargs="+",
        help="picture of the build, or several from different sides (or a layout file, or JSON)",
    )
    parser.add_argument("design", metavar="DESIGN", help="the plan: a layout file, or JSON")


def add_among(parser: argparse.ArgumentParser) -> None:
    """``--among PLANS``."""
    parser.add_argument(
        "--among",
        metavar="PLANS",
        action="append",
        help="other plans, or a folder of them, that it may be a build of (default: those beside DESIGN)",
    )


def add_structure_only(parser: argparse.ArgumentParser) -> None:
    """``--structure-only``."""
    parser.add_argument(
        "--structure-only",
        action="store_true",
        help="judge by how parts are joined alone, without calculating voltages and currents",
    )


def kit_of(args: argparse.Namespace) -> Kit:
    """The kit that the command line asks for."""
    return load_kit(args.kit) if args.kit else bundled_kit()


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
            tr("the folder cannot be made: {why}.", why=system_says(error)),
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
            tr("cannot be written: {why}.", why=system_says(error)),
            place=path,
            way_out=tr("Choose another place for the file."),
        ) from None


def plate_of(text: str | None) -> tuple[int, int] | None:
    """Columns and rows out of text such as 9x7. Raises InputError."""
    if text is None:
        return None
    match = re.fullmatch(r"(\d{1,2})\s*[x×]\s*(\d{1,2})", text)
    if match is None or not all(1 <= int(n) <= 26 for n in match.groups()):
        raise InputError(tr("'{text}' is no size of a plate.", text=text), way_out="--plate 8x6")
    return int(match[1]), int(match[2])
