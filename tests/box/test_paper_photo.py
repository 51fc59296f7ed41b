"""Paper tiles on the printed plate, photographed, are read as what was laid. `tests/paperphoto.py` measures
all sample designs and more angles."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from paperphoto import laid, photographed

from snapcheck.board import Cell, Design, load_design
from snapcheck.check import Verdict
from snapcheck.kit import bundled_kit
from snapcheck.photo import Reading, picture_of_array, read_picture, score
from snapcheck.pipeline import check_build

KIT = bundled_kit()
DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"


def read_from_paper(design: Design, tilt: float) -> Reading:
    rng = np.random.default_rng(424)
    picture = photographed(laid(design, KIT, rng), rng, tilt)
    return read_picture(picture_of_array(picture, "paper", colours="bgr"), "paper", KIT)


@pytest.mark.parametrize(
    ("name", "tilt"), [("night-lamp", 8.0), ("two-lamp-flasher", 5.0), ("loudspeaker-amplifier", 12.0)]
)
def test_a_design_laid_out_of_paper_is_read_back(name: str, tilt: float) -> None:
    """Also where nothing lies between cubes: a plain dark square there was once taken for a cube unseen."""
    design = load_design(DESIGNS / f"{name}.board", KIT)
    seen = read_from_paper(design, tilt)
    told = score.Score()
    score.add(told, design.board, seen, KIT)
    assert told.mistakes == []
    assert (seen.columns, seen.rows) == (design.board.columns, design.board.rows)
    assert seen.board.taps == design.board.taps and set(seen.board.leads) == set(design.board.leads)
    assert len(seen.unsure) <= 1
    assert check_build(seen, design, KIT).verdict is Verdict.READY


@pytest.mark.parametrize(("name", "gone"), [("loudspeaker-amplifier", "C3"), ("night-lamp", "A3")])
def test_a_tile_that_is_not_there_is_missed(name: str, gone: str) -> None:
    """The fine grid of the plate is no cube, and nothing that a plan may turn into one."""
    design = load_design(DESIGNS / f"{name}.board", KIT)
    cell = Cell.parse(gone)
    cubes = {c: cube for c, cube in design.board.cubes.items() if c != cell}
    seen = read_from_paper(replace(design, board=replace(design.board, cubes=cubes)), 6.0)
    said = check_build(seen, design, KIT)
    assert said.verdict is not Verdict.READY
    assert [f.rule for f in said.findings if cell in f.cells] == ["cube-missing"]
