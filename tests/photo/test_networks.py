"""The networks as they are shipped: 8-bit sums against the same weights reckoned with as floats."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from snapcheck.kit import bundled_kit
from snapcheck.photo import _nets, read_photo

PHOTO = Path(__file__).parents[2] / "fixtures" / "photos" / "level-meter-bench-4.jpg"


def test_processors_without_whole_products_give_the_same_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    fast = read_photo(PHOTO, bundled_kit())
    _nets._session.cache_clear()
    monkeypatch.setattr(_nets, "whole_products", lambda: False)
    try:
        slow = read_photo(PHOTO, bundled_kit())
    finally:
        _nets._session.cache_clear()
    what = lambda r: {c: (x.cube.kind, x.cube.turn, x.cube.value) for c, x in r.cubes.items()}  # noqa: E731
    assert what(slow) == what(fast) and slow.board.taps == fast.board.taps
    apart = [abs(slow.cubes[c].confidence - fast.cubes[c].confidence) for c in fast.cubes]
    assert np.median(apart) < 0.01


def test_the_files_are_small_enough_to_be_carried_along() -> None:
    files = list(_nets.models_dir().glob("*.onnx"))
    assert {f.stem for f in files} == {"locate", "symbols", "text", "points", "wires", "follow", "walk"}
    assert sum(f.stat().st_size for f in files) < 20e6
