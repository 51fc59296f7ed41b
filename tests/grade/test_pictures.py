"""Pictures for a person to look at, where snapcheck itself cannot read them."""

from __future__ import annotations

import datetime
import io
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from PIL import Image

from snapcheck.grade._pictures import Pictures
from snapcheck.kit import bundled_kit


def test_a_picture_too_small_to_be_read_is_shown_and_a_damaged_one_is_not(tmp_path: Path) -> None:
    Image.new("RGB", (40, 30), (20, 90, 60)).save(tmp_path / "small.png")
    (tmp_path / "damaged.jpg").write_bytes(b"\xff\xd8\xff nothing more")
    course: Any = SimpleNamespace(submissions=tmp_path, zone=datetime.UTC, kit=bundled_kit())
    pictures = Pictures(course)
    shown = pictures.crop("small.png", None, [], px=80)
    assert shown is not None
    with Image.open(io.BytesIO(shown)) as picture:
        assert picture.size == (80, 60)
    assert pictures.crop("damaged.jpg", None, []) is None
