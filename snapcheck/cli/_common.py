"""What several verbs share: options and output."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from snapcheck.errors import InputError
from snapcheck.kit import Kit, bundled_kit, load_kit


def add_kit(parser: argparse.ArgumentParser) -> None:
    """``--kit FILE``."""
    parser.add_argument("--kit", metavar="FILE", help="a kit of your own (TOML) instead of the bundled one")


def kit_of(args: argparse.Namespace) -> Kit:
    """The kit that the command line asks for."""
    return load_kit(args.kit) if args.kit else bundled_kit()


def print_json(data: Any) -> None:
    """One JSON document on standard output."""
    json.dump(data, sys.stdout, ensure_ascii=False, indent=2, allow_nan=False)
    print()


def write_file(path: str | Path, content: bytes | str) -> None:
    """Write a result; raises InputError when the place cannot be written."""
    path = Path(path)
    try:
        if isinstance(content, str):
            path.write_text(content, encoding="utf-8")
        else:
            path.write_bytes(content)
    except OSError as error:
        raise InputError(
            f"cannot be written: {error.strerror}.", place=path, way_out="Choose another place for the file."
        ) from None
