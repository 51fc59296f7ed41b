"""Paper tiles on the printed plate, photographed, are read as what was laid. `tests/paperphoto.py` measures
all sample designs and more angles."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from paperphoto import laid, photographed

from snapcheck.board import load_design
from snapcheck.kit import bundled_kit
from snapcheck.photo import picture_of_array, read_picture, score

KIT = bundled_kit()
DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"


@pytest.mark.parametrize(("name", "tilt"), [("night-lamp", 8.0), ("two-lamp-flasher", 5.0)])
def test_a_design_laid_out_of_paper_is_read_back(name: str, tilt: float) -> None:
    design = load_design(DESIGNS / f"{name}.board", KIT)
    rng = np.random.default_rng(424)
    picture = photographed(laid(design, KIT, rng), rng, tilt)
    seen = read_picture(picture_of_array(picture, name, colours="bgr"), name, KIT)
    told = score.Score()
    score.add(told, design.board, seen, KIT)
    assert told.mistakes == []
    assert (seen.columns, seen.rows) == (design.board.columns, design.board.rows)
    assert seen.board.taps == design.board.taps and set(seen.board.leads) == set(design.board.leads)
    assert len(seen.unsure) <= 4
