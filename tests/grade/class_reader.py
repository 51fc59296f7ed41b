"""A reader for tests: takes the written reading of a picture of the sample class."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from snapcheck.board import Cell, Cube
from snapcheck.errors import PhotoError
from snapcheck.photo import Reading, reading_from_json

TAKE_AGAIN = "Take the photo again, with the whole plate in view."
READINGS = Path(__file__).parents[2] / "fixtures" / "class" / "readings"


def read_class(path: Path, data: bytes | None = None) -> Reading:
    """The written reading; a picture without one cannot be read."""
    file = READINGS / f"{path.stem}.json"
    if not file.exists():
        raise PhotoError("nothing can be made out.", place=path.name, way_out=TAKE_AGAIN)
    return reading_from_json({**json.loads(file.read_text(encoding="utf-8")), "photo": path.name})


def read_covered(path: Path) -> Reading:
    """The same, but of T-104's transistor (D3) nothing is left to be seen."""
    reading = read_class(path)
    if path.stem != "T-104_2031-03-12T1650":
        return reading
    cell = Cell.parse("D3")
    seen = reading.cubes[cell]
    guesses = ((Cube("straight", 90), 0.08), (Cube("corner", 0), 0.05))
    covered = replace(seen, cube=Cube("ground", 0), confidence=0.1, alternatives=guesses, reason="covered")
    return replace(reading, cubes={**reading.cubes, cell: covered})
