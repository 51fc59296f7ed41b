"""What cross-validation says of a taught kit, on made-up answers: its own threshold, counted by cube."""

from __future__ import annotations

import numpy as np
import pytest

from snapcheck.photo._worth import certified, in_each, threshold

FLOOR = 0.985


def test_the_threshold_stands_beyond_the_surest_wrong_answer_and_never_below_the_usual_one() -> None:
    top = np.array([[0.999, 0.99], [0.6, 0.7]])
    right = np.zeros((2, 2), bool)
    assert threshold(top, right, FLOOR) == FLOOR
    assert threshold(top, np.array([[False, False], [True, True]]), FLOOR) == FLOOR
    assert threshold(top, np.array([[False, True], [False, False]]), FLOOR) == pytest.approx(0.995)


def test_a_wrong_answer_counts_against_what_the_other_part_would_have_asked_for() -> None:
    cubes = np.array(["a", "a", "b", "c", "d"])  # two photos of the first
    parts = np.array([0, 0, 1, 0, 1])
    top = np.full((5, 2), 0.9)
    top[0] = 0.9, 0.995
    wrong = np.zeros((5, 2), bool)
    assert certified(top, wrong, cubes, parts, FLOOR) == (FLOOR, 0)
    wrong[0, 1] = True  # one changed view
    own, silent = certified(top, wrong, cubes, parts, FLOOR)
    assert own == pytest.approx(0.9975) and silent == 1
    wrong[1], top[1] = True, 0.996  # the other photo of the same cube: it is one cube still
    assert certified(top, wrong, cubes, parts, FLOOR)[1] == 1
    wrong[4], top[4] = True, 0.9999  # the other part warns, though this part could not warn it
    own, silent = certified(top, wrong, cubes, parts, FLOOR)
    assert own > 0.9999 and silent == 1


def test_a_cube_is_right_where_each_of_its_pictures_is() -> None:
    cubes = np.array(["a", "a", "b"])
    assert in_each(cubes, np.array([True, True, True])) == 2
    assert in_each(cubes, np.array([True, False, True])) == 1
