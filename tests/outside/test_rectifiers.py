"""Rectifiers at a winding of 50 Hz, calculated in time, against the formulas of textbooks.

Mean, effective value and ripple: Horowitz, Hill: The Art of Electronics, 3rd ed., chapter 1, rectification
and power-supply filtering; peak inverse voltage, and what a junction takes off the mean (half of its forward
voltage where one half wave passes): Sedra, Smith: Microelectronic Circuits, rectifier circuits. From memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from snapcheck.board import Conditions
from snapcheck.circuit import check_rules
from snapcheck.simulate import Simulator
from snapcheck.simulate._netlist import Stimulus
from snapcheck.simulate._transient import run
from tests.circuit.test_alternating import BRIDGE, DIODE, INLET, cap, d, r, winding
from tests.handmade import Entry, handmade

HERTZ, CREST_V, FORWARD_V = 50.0, 12.0, 0.7
HALF_WAVE = [d(1, 2)]
CUBE: list[Entry] = [("bridge", None, {"ac1": 1, "ac2": 0, "plus": 2, "minus": 3})]
DIODES = {
    "half": (HALF_WAVE, 0, 1),
    "full": (BRIDGE, 3, 2),
    "cube": (CUBE, 3, 2),
}  # parts, lower end, junctions in the way


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def waves(simulator, *entries: Entry) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Volts of nets 1, 2 and 3 over the last two periods of eight; nothing false is said of the circuit."""
    built = handmade(INLET, *entries, kit=winding(CREST_V))
    assert check_rules(built, operating_point=simulator.operating_point(built)) == []
    source = built.part_at["T101"]
    found = run(
        simulator.worker,
        built,
        Conditions(),
        Stimulus(input=source, sine=(CREST_V, HERTZ)),
        [1, 2, 3],
        0.16,
        5e-5,
    )
    even = np.linspace(0.12, 0.16, 4001)[:-1]  # its own steps are unlike
    nets = [found.voltage(n) if built.net_count > n else 0 * found.time_s for n in (1, 2, 3)]
    return tuple(np.interp(even, found.time_s, volts) for volts in nets)


@pytest.mark.parametrize(
    ("wave", "mean", "effective"), [("half", 1 / math.pi, 1 / 2), ("full", 2 / math.pi, 0.5**0.5)]
)
def test_mean_and_effective_value(simulator, wave: str, mean: float, effective: float) -> None:
    """Mean Vp/π and 2·Vp/π, effective value Vp/2 and Vp/√2 of a half wave and of both."""
    diodes, low, junctions = DIODES[wave]
    _, plus, minus = waves(simulator, *diodes, r(2, low, 1e3))
    load = plus - (minus if low else 0)
    assert load.max() == pytest.approx(CREST_V - junctions * FORWARD_V, abs=0.2)
    off = junctions * FORWARD_V * (1 / 2 if wave == "half" else 1)
    assert load.mean() == pytest.approx(mean * CREST_V - off, rel=0.03)
    assert math.sqrt((load**2).mean()) == pytest.approx(
        effective * (CREST_V - junctions * FORWARD_V), rel=0.04
    )


@pytest.mark.parametrize(("wave", "a_period"), [("half", 1), ("full", 2), ("cube", 2)])
def test_ripple_of_a_charged_capacitor(simulator, wave: str, a_period: int) -> None:
    """ΔV = I/(f·C), half of it where both half waves charge: an upper bound, as charging takes its time."""
    diodes, low, _ = DIODES[wave]
    farad, ohm = 470e-6, 470.0
    _, plus, minus = waves(simulator, *diodes, cap(2, low, farad), r(2, low, ohm))
    load = plus - (minus if low else 0)
    ripple = load.mean() / ohm / (a_period * HERTZ * farad)
    assert 0.75 * ripple < load.max() - load.min() <= 1.02 * ripple


@pytest.mark.parametrize(("wave", "times"), [("half", 2), ("full", 1)])
def test_peak_inverse_voltage_is_what_the_rule_says(simulator, wave: str, times: int) -> None:
    """2·Vp for a half wave with a capacitor, Vp in a bridge; the rule counts no forward voltages."""
    diodes, low, _ = DIODES[wave]
    load = cap(2, low, 100e-6), r(2, low, 10e3)
    inlet, plus, _ = waves(simulator, *diodes, *load)
    assert (plus - inlet).max() == pytest.approx(times * CREST_V, rel=0.08)
    rated = winding(1.0)["diode"].ratings_for(DIODE)["max_reverse_V"]
    for crest, over in ((1.05 * 1.1 * rated / times, True), (0.95 * rated / times, False)):
        told = check_rules(handmade(INLET, *diodes, *load, kit=winding(crest)), only=["over-rating"])
        assert bool(told) is over
