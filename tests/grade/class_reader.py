"""A reader for tests: takes the written reading of a picture of the sample class."""

from __future__ import annotations

import json
from pathlib import Path

from snapcheck.errors import PhotoError
from snapcheck.photo import Reading, reading_from_json

READINGS = Path(__file__).parents[2] / "fixtures" / "class" / "readings"


def read_class(path: Path) -> Reading:
    """The written reading; a picture without one cannot be read."""
    file = READINGS / f"{path.stem}.json"
    if not file.exists():
        raise PhotoError("nothing can be made out.", place=path.name, way_out="Take it again.")
    return reading_from_json({**json.loads(file.read_text(encoding="utf-8")), "photo": path.name})
