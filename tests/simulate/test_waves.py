"""Measures on waves and curves made by arithmetic, held against their closed forms; no simulator needed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from handmade import Entry, handmade
from hypothesis import given, settings
from hypothesis import strategies as st

from snapcheck.board import Expectation
from snapcheck.kit import chips_kit
from snapcheck.simulate._figures import ripple_of, says_no_direction
from snapcheck.simulate._response import FrequencyResponse
from snapcheck.simulate._transient import _edge, mean_and_rms, time_constants_s
from snapcheck.simulate._waveform import crossings, distortion, rhythm, swing

TIME = np.linspace(0, 1, 20001)


def pulses(hertz: float, duty: float, low: float = 0.0, high: float = 5.0) -> np.ndarray:
    return np.where((TIME * hertz) % 1 < duty, high, low)


@pytest.mark.parametrize("duty", [0.1, 0.3, 0.5, 0.8])
@pytest.mark.parametrize(("low", "high"), [(0.0, 5.0), (-5.0, 0.0), (2.0, 2.5)])
def test_rhythm_of_pulses(duty: float, low: float, high: float) -> None:
    found = rhythm(TIME, pulses(10, duty, low, high))
    assert found is not None
    assert found.frequency_Hz == pytest.approx(10, rel=1e-3) and found.duty == pytest.approx(duty, abs=2e-3)
    assert found.swing_V == high - low and found.periods in (8, 9) and found.jitter < 1e-3


def test_turned_over_it_is_low_for_as_long_as_it_was_high() -> None:
    one, two = (rhythm(TIME, sign * pulses(10, 0.3)) for sign in (1, -1))
    assert one is not None and two is not None
    assert two.duty == pytest.approx(1 - one.duty, abs=2e-3)
    assert two.frequency_Hz == pytest.approx(one.frequency_Hz)


def test_ripple_on_the_edges_is_no_crossing() -> None:
    """Within a tenth of the swing; beyond it, it is an oscillation of its own."""
    wave = np.sin(2 * math.pi * 5 * TIME)
    ripple = np.sin(2 * math.pi * 500 * TIME)
    quiet, loud = (rhythm(TIME, wave + share * ripple) for share in (0.05, 0.4))
    assert quiet is not None and quiet.frequency_Hz == pytest.approx(5, rel=0.02)
    assert loud is not None and loud.frequency_Hz > 10


def test_a_period_that_grows_has_jitter() -> None:
    found = rhythm(TIME, np.sin(2 * math.pi * (5 * TIME + 10 * TIME**2)))
    assert found is not None and found.jitter > 0.2


@pytest.mark.parametrize("count", [2, 3, 4])
def test_three_rises_make_a_rhythm(count: int) -> None:
    wave = np.where((TIME * count + 0.75) % 1 < 0.5, 1.0, 0.0)
    assert (rhythm(TIME, wave) is not None) is (count >= 3)


def test_crossings_are_interpolated_and_have_a_direction() -> None:
    up, down = crossings(np.array([0.0, 1, 2, 3]), np.array([0.0, 4, 4, 0]), 1.0)
    assert up == pytest.approx([0.25]) and down == pytest.approx([2.75])
    assert swing(np.array([-1.0, 4.0, 2.0])) == 5.0


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 0.3), st.floats(0.0, 0.3), st.floats(-1, 1), st.floats(0.1, 10))
def test_distortion_is_harmonics_over_fundamental(two: float, three: float, drift: float, v: float) -> None:
    """THD_F of IEC 60268-3, with a linear drift taken away."""
    angle = 2 * math.pi * 10 * TIME
    wave = v * (np.sin(angle) + two * np.sin(2 * angle + 1) + three * np.sin(3 * angle)) + drift * TIME
    found, amplitude = distortion(TIME, wave, 10, 4)
    assert amplitude == pytest.approx(v, rel=0.01)
    assert found == pytest.approx(math.hypot(two, three), abs=0.01)


@pytest.mark.parametrize(("wave", "mean", "rms"), [
    (3.0 + 0 * TIME, 3.0, 3.0), (2 * np.sin(2 * math.pi * 10 * TIME), 0.0, math.sqrt(2)),
    (1 + 2 * np.sin(2 * math.pi * 10 * TIME), 1.0, math.sqrt(3)), (pulses(10, 0.25, 0, 4), 1.0, 2.0),
    (pulses(10, 0.25, -4, 0), -3.0, math.sqrt(12)),
])  # fmt: skip
def test_mean_and_rms_over_whole_periods(wave: np.ndarray, mean: float, rms: float) -> None:
    """IEC 60050-103; also of a run that holds more than whole periods."""
    for periods in (4.0, 4.7, 0.5):
        found = mean_and_rms(TIME, wave, periods, 0.1)
        assert found == (pytest.approx(mean, abs=0.01), pytest.approx(rms, abs=0.01))


# ---------------------------------------------------------------- frequency


HERTZ = np.logspace(0, 6, 601)


def band_pass(low: float, high: float, gain: float = 1.0) -> FrequencyResponse:
    """First order at both ends."""
    j = 1j * HERTZ
    passed = gain * (j / low / (1 + j / low)) / (1 + j / high)
    return FrequencyResponse(HERTZ, passed, 1e3 + 0 * j, 50 + 0 * j, HERTZ)


@pytest.mark.parametrize("gain", [0.01, 1.0, -100.0])
def test_the_band_ends_where_half_of_the_power_is_left(gain: float) -> None:
    found = band_pass(50.0, 20e3, gain)
    low, high = found.band()
    assert low == pytest.approx(50, rel=0.01) and high == pytest.approx(20e3, rel=0.01)
    assert found.gain_dB(1e3) == pytest.approx(20 * math.log10(abs(gain)), abs=0.03)
    assert found.gain_dB(50) == pytest.approx(20 * math.log10(abs(gain)) - 3.01, abs=0.05)
    assert found.gain_dB(5) == pytest.approx(20 * math.log10(abs(gain) / math.hypot(1, 10)), abs=0.05)
    assert found.peak[0] == pytest.approx(1e3, rel=0.05)
    assert abs(found.phase_deg()[300]) == pytest.approx(0 if gain > 0 else 180, abs=1)


def test_without_an_end_there_is_none() -> None:
    flat = FrequencyResponse(HERTZ, np.ones(601, complex))
    assert flat.band() == (None, None) and flat.input_impedance(1e3) is None
    low, high = FrequencyResponse(HERTZ, 1 / (1 + 1j * HERTZ / 1e3)).band()
    assert low is None and high == pytest.approx(1e3, rel=0.01)
    low, high = FrequencyResponse(HERTZ, 1 / (1 - 1j * 1e3 / HERTZ)).band()
    assert low == pytest.approx(1e3, rel=0.01) and high is None


def test_impedances_are_magnitudes() -> None:
    some = FrequencyResponse(HERTZ, np.ones(601), 1e3 + 1j * HERTZ, 3 - 4j + 0 * HERTZ, HERTZ)
    assert some.input_impedance(1e3) == pytest.approx(math.hypot(1e3, 1e3), rel=1e-3)
    assert some.output_impedance(1e3) == pytest.approx(5)


# ---------------------------------------------------------------- circuits and figures


def test_time_constants_of_what_shares_a_net() -> None:
    """R·C with the greatest resistance at the capacitor, 2π√(LC) of coil and capacitor (Thomson)."""
    parts: list[Entry] = [
        ("battery", 9.0, {"plus": 1, "minus": 0}), ("resistor", 1e3, {"a": 1, "b": 2}),
        ("resistor", 1e4, {"a": 2, "b": 0}), ("resistor", 1e6, {"a": 3, "b": 0}),
        ("capacitor", 1e-6, {"a": 2, "b": 0}),
    ]  # fmt: skip
    assert time_constants_s(handmade(*parts)) == pytest.approx([1e-2])
    coil: Entry = ("inductor", 0.01, {"a": 1, "b": 3})
    assert time_constants_s(handmade(*parts, coil)) == pytest.approx([2 * math.pi * 1e-4, 1e-2])
    assert time_constants_s(handmade(*parts[:4])) == []
    relay: Entry = ("relay", 12.0, {"coil1": 1, "coil2": 0, "com": 1, "rest": 2, "work": 3})
    assert time_constants_s(handmade(*parts, relay, kit=chips_kit())) == pytest.approx([1e-2])  # volts


@pytest.mark.parametrize("last_clean", range(3, 40, 4))
def test_the_edge_between_clean_and_not(last_clean: int) -> None:
    assert _edge(lambda rung: float(rung - last_clean) - 0.5, 0, 50) == last_clean
    assert _edge(lambda rung: -1e-3 if rung <= last_clean else 1e3, 0, 50) == last_clean


def test_only_the_mains_brings_ripple() -> None:
    load: Entry = ("resistor", 1e3, {"a": 1, "b": 0})
    battery, supply = (handmade((kind, 9.0, {"plus": 1, "minus": 0}), load) for kind in ("battery", "supply"))
    assert ripple_of(battery)[0] == 0 and ripple_of(supply)[0] > 0 and ripple_of(supply)[1] == 100


@pytest.mark.parametrize(("kind", "low", "high", "none"), [
    ("resistor", 1.0, 2.0, True), ("resistor", 0.0, math.inf, True), ("resistor", -math.inf, 2.0, True),
    ("resistor", -math.inf, -1.0, False), ("resistor", -2.0, -1.0, False), ("resistor", -1.0, 1.0, False),
    ("diode", 1.0, 2.0, False),
])  # fmt: skip
def test_a_current_s_sign_says_nothing_where_a_part_stands_either_way(
    kind: str, low: float, high: float, none: bool
) -> None:
    legs = ("a", "b") if kind == "resistor" else ("anode", "cathode")
    part = handmade((kind, 1e3 if kind == "resistor" else "1N4148", {legs[0]: 1, legs[1]: 0})).parts[0]
    assert says_no_direction(part, Expectation("current", None, None, low, high)) is none
