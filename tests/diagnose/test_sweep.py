"""A small part of the sweep, always the same: see `sweep.py` for the whole."""

from __future__ import annotations

import pytest
from faultboards import design_named, dictionary_of
from sweep import pairs, singles


@pytest.mark.parametrize(("name", "every"), [("night-lamp", 5), ("glue-pot-alarm", 9), ("speech-stage", 17)])
def test_faults_are_among_the_first_three_suspects(simulator, name: str, every: int) -> None:
    tally = singles(dictionary_of(design_named(name), simulator), simulator, every)
    assert tally.tried >= 7
    assert tally.found >= 0.95 * tally.tried, tally.missed
    assert tally.readings / tally.tried <= tally.bound


def test_one_of_two_faults_is_among_the_first_five(simulator) -> None:
    tally = pairs(dictionary_of(design_named("night-lamp"), simulator), simulator, 5)
    assert tally.found >= 4, tally.missed
