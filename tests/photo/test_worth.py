"""What cross-validation says of a taught kit, on made-up answers: its own threshold, counted by cube."""

from __future__ import annotations

import numpy as np
import pytest

from snapcheck.photo._views import EMPTY, TESTED, Examples, Views
from snapcheck.photo._worth import Gain, Told, certified, gain_of, in_each, threshold

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
    laid = np.array([False, False, True, True, True])  # a course's cells warn, and are not counted
    assert certified(top, wrong, cubes, parts, FLOOR, laid) == (own, 1)
    assert certified(top, wrong, cubes, parts, FLOOR, np.arange(5) < 2) == (own, 0)


def test_a_cube_is_right_where_each_of_its_pictures_is() -> None:
    cubes = np.array(["a", "a", "b"])
    assert in_each(cubes, np.array([True, True, True])) == 2
    assert in_each(cubes, np.array([True, False, True])) == 1


def told(own_share: list[float], weight: list[float]) -> Told:
    """Two laid LEDs of two photos each, a free cell, and two of a course: how likely each is an LED."""
    names = ("led",) * 4 + (EMPTY,) + ("led",) * 2
    places = ("0 A1", "0 A1", "0 B1", "0 B1", "0 C1", "1 A1", "1 B1")
    share = np.array(own_share)
    p = np.full((7, 1 + TESTED, 8), 1e-9)
    p[:, :, 0], p[:, :, 4] = share[:, None], 1 - share[:, None]
    none = np.zeros((7, 0))
    examples = Examples(none, names, np.zeros(7, int), places, np.zeros(7, int))
    parts = np.array([0, 0, 1, 1, 0, 0, 1])
    return Told(examples, ("led", EMPTY), np.log(p), np.ones(7, bool), parts, {EMPTY: 1}, np.array(weight))


def test_a_head_is_worth_what_it_makes_of_laid_cubes_though_others_have_a_say_in_the_threshold() -> None:
    own, all_alike = np.arange(7) < 5, [1.0] * 7
    seen = Views(np.zeros((7, 4, 5, 1)), np.zeros((7, 4, 5, 8)))
    good = [0.999, 0.999, 0.999, 0.999, 0.001, 0.999, 0.999]
    _, worth = told(good, all_alike).worth(own, seen)
    assert (worth.tested, worth.right, worth.sure, worth.silent) == (2, 2, 2, 0)
    assert 0 < worth.expected < 0.02  # of two cubes, 0.999 sure each
    _, none = told(good, all_alike).worth(own & False, seen)
    assert (none.tested, none.right, none.sure, none.silent) == (0, 0, 0, 0)
    assert (none.expected, none.at_most) == (0, 1)
    hard = [*good[:5], 0.999, 1e-4]  # one of the course is wrong, and that sure
    _, less = told(hard, all_alike).worth(own, seen)
    assert (less.tested, less.right, less.sure, less.silent) == (2, 2, 0, 0) and less.sure_from > 0.999
    unheard = told(hard, [1.0] * 5 + [0.0] * 2)
    assert unheard.worth(own, seen)[1] == worth and unheard.limits(own)[1] == FLOOR
    _, wrong = told([0.999, 0.1, *good[2:]], all_alike).worth(own, seen)
    assert (wrong.tested, wrong.right) == (2, 1)
    before = told([*good[:5], 0.2, 0.2], [1.0] * 5 + [0.0] * 2)
    assert gain_of(before, told(good, all_alike), own, ~own) == Gain(2, 2, 2, 2, 2, 2, 0, 2)
