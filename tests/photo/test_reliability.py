"""How far confidences can be trusted: tables and bounds, on numbers made by hand."""

from __future__ import annotations

import pytest
from scipy.stats import binom

from snapcheck.photo import score as scoring

Seen = scoring.Seen


def seen(confidence: float, right: bool) -> Seen:
    return Seen("p.jpg", confidence, right, confidence > 0.9, confidence, right, None, right)


def test_the_reliability_table_holds_said_against_true() -> None:
    score = scoring.Score(sure=[seen(0.6, True), seen(0.7, False), seen(0.995, True), seen(1.0, True)])
    table = scoring.reliability(score)
    assert [(row["from"], row["cubes"], row["right"]) for row in table] == [
        (0.5, 2, 0.5),
        (0.99, 1, 1.0),
        (0.999, 1, 1.0),
    ]
    assert table[0]["confidence"] == pytest.approx(0.65)


def test_risk_grows_as_less_sure_cubes_are_taken() -> None:
    score = scoring.Score(sure=[seen(0.9, True), seen(0.5, False), seen(0.99, True), seen(0.5, True)])
    assert scoring.risk_coverage(score) == [(0.25, 0.0), (0.5, 0.0), (1.0, 0.25)]  # equals come together


@pytest.mark.parametrize(("wrong", "of"), [(0, 29_956), (1, 47_437), (3, 1000), (0, 10)])
def test_the_bound_is_that_of_clopper_and_pearson(wrong: int, of: int) -> None:
    """Clopper and Pearson 1934: at the upper bound so few errors are seen once in twenty. The first two
    are the numbers of cases that a share of 1 in 10,000 takes."""
    bound = scoring.at_most(wrong, of)
    assert binom.cdf(wrong, of, bound) == pytest.approx(0.05, rel=1e-6)
    if of > 20_000:
        assert bound == pytest.approx(1e-4, rel=2e-4)
    assert scoring.at_most(5, 5) == 1.0


def test_a_cell_without_a_top_is_likelier_empty_but_a_clear_symbol_stands() -> None:
    import numpy as np

    from snapcheck.photo._cells import Symbols
    from snapcheck.photo._nets import names
    from snapcheck.photo._read import _with_tops

    kinds = len(names()[0])
    share = np.full((3, kinds), 1e-6)
    share[:, -1] = (0.2, 0.2, 0.001)
    share[:, 0] = 1 - share[:, 1:].sum(1)
    nothing = np.zeros((3, 4))
    seen = Symbols(np.log(share), nothing, nothing, np.zeros(3), nothing, np.zeros(3), np.zeros(3))
    told = np.exp(_with_tops(seen, np.array([0.1, 0.6, 0.1])).kind)
    assert told.sum(1) == pytest.approx([1, 1, 1])
    assert told[0].argmax() == kinds - 1  # a shadow, or a lead across it
    assert told[1].argmax() == 0 and told[1, 0] == pytest.approx(share[1, 0])
    assert told[2].argmax() == 0 and told[2, 0] > 0.85


def test_trust_sharpens_and_softens_about_one_half() -> None:
    from snapcheck.photo._weigh import trusted

    assert trusted(0.9, 1.0) == pytest.approx(0.9)
    assert trusted(0.9, 0.5) == pytest.approx(81 / 82)  # the odds squared
    assert trusted(0.9, 2.0) == pytest.approx(0.75)  # their root
    assert trusted(0.5, 3.0) == 0.5 and 0 < trusted(0.0, 1.0) < trusted(1.0, 1.0) < 1
