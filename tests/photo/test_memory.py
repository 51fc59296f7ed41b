"""Pictures that are small as files and large in memory are refused, or read within the bound that is told."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from bombs import png, sparse, webp

pytest.importorskip("resource", reason="memory is asked of a Unix system")
HERE = Path(__file__).parent


def opened(*files: Path) -> tuple[list[str], int]:
    """What was said of each file, and how much memory (MB) all that took at most."""
    command = [sys.executable, str(HERE / "bombs.py"), *map(str, files)]
    env = {**os.environ, "PYTHONPATH": str(HERE.parents[1])}
    done = subprocess.run(command, env=env, capture_output=True, text=True, check=True, timeout=300)
    told = json.loads(done.stdout.splitlines()[-1])
    return told["told"], told["more_MB"]


def test_too_many_pixels_are_refused_before_anything_is_decoded(tmp_path: Path) -> None:
    files = (
        png(tmp_path / "a.png", 32000, 32000, 1),  # 1,024 megapixels in 0.2 MB
        png(tmp_path / "b.png", 12000, 12000, 1),  # below what Pillow itself refuses
        webp(tmp_path / "c.webp", 16383, 16383),
    )
    told, more_MB = opened(*files)
    assert all("megapixels; at most 64 are read" in words for words in told), told
    assert more_MB < 60


def test_a_huge_file_is_refused_without_being_read(tmp_path: Path) -> None:
    told, more_MB = opened(sparse(tmp_path / "a.jpg", 3_000_000_000))
    assert "larger than 120 MB" in told[0]
    assert more_MB < 200


def test_the_largest_pictures_take_no_more_memory_than_is_told(tmp_path: Path) -> None:
    """0.6 GB beyond what the libraries take themselves, as `open_picture` says; 1.7 GB once."""
    told, more_MB = opened(
        png(tmp_path / "a.png", 8000, 8000, 16, 6), png(tmp_path / "b.png", 8000, 8000, 16)
    )
    assert told == ["4000x4000x3"] * 2
    assert more_MB < 700
