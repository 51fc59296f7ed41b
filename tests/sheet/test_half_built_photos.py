"""Pictures of builds on the way: the step they have reached, and nothing called wrong.

Laid out of the printed tiles and photographed by `tests/paperphoto.py`, which no network was trained with."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from paperphoto import laid, photographed

from snapcheck.api import so_far
from snapcheck.board import load_design
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit
from snapcheck.sheet import course_of

KIT = bundled_kit()
DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"


@pytest.mark.parametrize(("name", "step"), [("night-lamp", 2), ("two-lamp-flasher", 3), ("speech-stage", 4)])
def test_a_picture_of_a_half_built_board(name: str, step: int) -> None:
    course = course_of(load_design(DESIGNS / f"{name}.board", KIT), KIT)
    assert 0 < step < len(course.steps)
    board = course.board_after(step)
    rng = np.random.default_rng(77)
    picture = photographed(laid(replace(course.design, board=board), KIT, rng), rng, 6.0)
    found = so_far(picture, course.design, among=[], colours="bgr", calculate=False)
    assert (found.done, found.ahead, found.complete) == (step, (), False)
    wrong = [f.title for f in found.findings if f.severity is not Severity.NOTE]  # "taken as planned" is one
    assert wrong == []
    assert set(found.right) == set(board.cubes) and found.another is None
