"""Identities that hold whatever was measured."""

from __future__ import annotations

import numpy as np
import pytest
from faultboards import design_named, dictionary_of
from hypothesis import given, settings
from hypothesis import strategies as st

from snapcheck.diagnose import (
    Ask,
    Dictionary,
    Reading,
    Way,
    believe,
    candidates,
    entropy,
    groups,
    information,
    log_prior,
    next_steps,
)


@pytest.fixture(scope="module")
def d(simulator) -> Dictionary:
    return dictionary_of(design_named("night-lamp"), simulator)


WORDS = {Way.CONTACT: ("good", "poor", "open"), Way.LIFTED: ("good", "open", "short", "value")}


def readings_of(d: Dictionary, numbers: list[tuple[int, float]]) -> list[Reading]:
    asks = candidates(believe(d, [], log_prior(d, True)))
    found = []
    for number, size in numbers:
        ask = asks[number % len(asks)]
        words = WORDS.get(ask.way)
        found.append(Reading(ask, 7 * size - 0.5 if words is None else words[int(size * 0.99 * len(words))]))
    return found


MANY = st.lists(st.tuples(st.integers(0, 500), st.floats(0, 1)), min_size=1, max_size=6)


@given(MANY, st.randoms())
@settings(max_examples=25)
def test_probabilities_add_up_to_one_and_order_does_not_count(d, numbers, random) -> None:
    readings = readings_of(d, numbers)
    prior = log_prior(d, True)
    one = believe(d, readings, prior)
    assert one.entries.sum() == pytest.approx(1) and one.faults.sum() == pytest.approx(1)
    assert (one.entries >= 0).all() and np.isfinite(one.log_likelihood).all()
    mixed = list(readings)
    random.shuffle(mixed)
    assert believe(d, mixed, prior).faults == pytest.approx(one.faults, abs=1e-9)


@given(MANY)
@settings(max_examples=10)
def test_information_is_never_negative_and_never_more_than_there_is_to_know(d, numbers) -> None:
    belief = believe(d, readings_of(d, numbers), log_prior(d, True))
    asks = candidates(belief)
    bits = information(belief, asks)
    assert (bits >= 0).all()
    assert bits.max() <= float(entropy(belief.faults)) + 0.05
    steps = next_steps(belief, most=99)
    assert [s.worth for s in steps] == pytest.approx(sorted((s.worth for s in steps), reverse=True), abs=2e-3)
    assert not {s.ask for s in steps} & {r.ask for r in belief.readings}


def test_more_readings_know_more_on_average(d) -> None:
    """The entropy after a reading that a fault makes is, over all faults, lower by the information told."""
    belief = believe(d, [], log_prior(d, True))
    (step, *_) = next_steps(belief, (Way.VOLTS,))
    after = 0.0
    random = np.random.default_rng(5)
    from snapcheck.diagnose._asks import expected

    e = expected(d, [step.ask])
    draws = random.choice(len(d.fault_of), size=300, p=belief.entries)
    for entry in draws:
        value = random.normal(e.mean[0, entry], e.spread[0, entry])
        told = believe(d, [Reading(step.ask, float(value))], belief.log_prior)
        after += float(entropy(told.faults)) / len(draws)
    assert float(entropy(belief.faults)) - after == pytest.approx(step.bits, abs=0.15)


def test_slopes_agree_with_other_specimens(d, simulator) -> None:
    """A dictionary's spread is that of builds with other parts, calculated one by one."""
    from snapcheck.diagnose import Specimen

    ask = Ask(Way.VOLTS, next(s for s in d.spots if str(getattr(s, "terminal", "")) == "base"))
    from snapcheck.diagnose._asks import expected

    e = expected(d, [ask])
    values = [float(Specimen(d, simulator, (), seed).measure(ask).value) for seed in range(60)]
    assert np.mean(values) == pytest.approx(e.mean[0, 0], abs=3 * e.spread[0, 0] / np.sqrt(60) + 0.02)
    assert np.std(values) == pytest.approx(e.spread[0, 0], rel=0.35)


def test_groups_hold_what_looks_alike(d) -> None:
    group = groups(d)
    assert len(group) == len(d.fault_of) and group[0] == 0
    from snapcheck.diagnose._asks import expected

    asks = [Ask(Way.VOLTS, s, setting=n) for n in range(len(d.settings)) for s in d.spots]
    e = expected(d, asks)
    wide = e.spread
    for number in set(group.tolist()):
        for other in np.flatnonzero(group == number):
            apart = np.abs(e.mean[:, number] - e.mean[:, other]) / np.hypot(wide[:, number], wide[:, other])
            assert apart.max() < 1.5
