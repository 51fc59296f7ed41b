"""Resonances and circuits with two states of rest, against formulas of published handbooks.

Books are cited by chapter, from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from handmade import Entry, handmade

from snapcheck.board import Design, Expectation, Probe
from snapcheck.simulate import Region, Simulator

INPUT = ("audio-in", None, {"signal": 2, "plate": 0})
#: winding resistance of the kit's coils, ohm = 0.5 + 500 · henry; film insulation is neglected
LOSS_ohm = 0.5


def resistor(ohm: float, a: int, b: int) -> Entry:
    return ("resistor", float(ohm), {"a": a, "b": b})


def capacitor(farad: float, a: int, b: int) -> Entry:
    return ("capacitor", farad, {"a": a, "b": b})


def coil(henry: float, a: int, b: int) -> Entry:
    return ("inductor", henry, {"a": a, "b": b})


def transistor(base: int, collector: int, emitter: int, name: str = "BC547") -> Entry:
    kind = "pnp" if name == "BC557" else "npn"
    return (kind, name, {"base": base, "collector": collector, "emitter": emitter})


def supply(volts: float, plus: int) -> Entry:
    return ("supply", volts, {"plus": plus, "minus": 0})


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


# ---------------------------------------------------------------- resonances


@pytest.mark.parametrize(("henry", "farad"), [(10e-3, 100e-9), (1e-3, 1e-6), (1e-3, 10e-9)])
@pytest.mark.parametrize("detuned", [1.0, 0.99, 1.013, 1.03, 1.1])
def test_trap(simulator, henry, farad, detuned):
    """|H| = |Zs/(R + Zs)|, Zs = Rs + jωL + 1/(jωC): a series resonance across the path is a trap.
    Horowitz, Hill: The Art of Electronics, resonant circuits. Right within 0.05 dB between grid points."""
    ohm = 1000.0
    circuit = handmade(INPUT, resistor(ohm, 2, 3), coil(henry, 3, 4), capacitor(farad, 4, 0))
    response = simulator.frequency_response(circuit, output=Probe("R101", "b"))
    hertz = detuned / (2 * math.pi * math.sqrt(henry * farad))
    turn = 2j * math.pi * hertz
    trap = LOSS_ohm + 500 * henry + turn * henry + 1 / (turn * farad)
    assert response.gain_dB(hertz) == pytest.approx(20 * math.log10(abs(trap / (ohm + trap))), abs=0.05)


@pytest.mark.parametrize("ohm", [10e3, 100e3])
def test_band_of_a_tuned_circuit(simulator, ohm):
    """B = f0/Q between the -3 dB points of a parallel circuit behind a resistor, Q = R'/(ω0·L), with R' all
    that lies across it, the coil's own loss being (ω0·L)²/Rs. Horowitz, Hill, resonant circuits."""
    henry, farad = 1e-3, 100e-9
    circuit = handmade(INPUT, resistor(ohm, 2, 3), coil(henry, 3, 0), capacitor(farad, 3, 0))
    low, high = simulator.frequency_response(circuit, output=Probe("R101", "b")).band()
    turn = 1 / math.sqrt(henry * farad)
    across = 1 / (1 / ohm + (LOSS_ohm + 500 * henry) / (turn * henry) ** 2)
    assert high - low == pytest.approx(turn / (2 * math.pi) * (turn * henry) / across, rel=0.02)


def test_smooth_curves_cost_no_further_points(simulator):
    circuit = handmade(INPUT, resistor(15e3, 2, 3), capacitor(10e-9, 3, 0))
    response = simulator.frequency_response(circuit, output=Probe("R101", "b"))
    assert len(response.frequency_Hz) == 281  # 40 a decade from 1 Hz to 10 MHz


def test_specimens_of_a_tuned_circuit_have_its_band(simulator):
    henry, farad = 1e-3, 100e-9
    circuit = handmade(INPUT, resistor(10e3, 2, 3), coil(henry, 3, 0), capacitor(farad, 3, 0))
    probe = Probe("R101", "b")
    edges = (Expectation("band-low", probe, None, 0, 1e6), Expectation("band-high", probe, None, 0, 1e6))
    low, high = simulator.tolerance(Design(circuit.board, expectations=edges), circuit, samples=20).figures
    ratio = high.values / low.values
    nominal = high.nominal / low.nominal
    assert ratio == pytest.approx(np.full(20, nominal), rel=0.02)


# ---------------------------------------------------------------- two states


def bistable(farad: float | None = None) -> list[Entry]:
    parts = [
        supply(9.0, 1), resistor(1000, 1, 2), resistor(1000, 1, 3), resistor(22e3, 2, 5),
        resistor(22e3, 3, 4), transistor(4, 2, 0), transistor(5, 3, 0),
    ]  # fmt: skip
    return parts if farad is None else [*parts, capacitor(farad, 2, 5), capacitor(farad, 3, 4)]


@pytest.mark.parametrize("farad", [None, 100e-12, 1e-6])
def test_bistable_rests_with_one_transistor_on(simulator, farad):
    """Eccles-Jordan: one transistor off, its collector at U·(Rb + ...)/(Rb + Rc), the other saturated.
    Tietze, Schenk: Electronic Circuits, bistable multivibrators. Its balance, both collectors at 1.3 V, is
    what a solver finds and what no one ever sees."""
    point = simulator.operating_point(handmade(*bistable(farad)))
    assert {point.region("Q101"), point.region("Q102")} == {Region.OFF, Region.FULLY_ON}
    high, low = max(point.voltage(2), point.voltage(3)), min(point.voltage(2), point.voltage(3))
    assert high == pytest.approx(9 - (9 - 0.7) / 23e3 * 1e3, abs=0.1)
    assert low < 0.2
    (remark,) = [r for r in point.remarks if r.kind == "states"]
    assert "2 states" in remark.text and "off" in remark.text and "fully on" in remark.text


SCHMITT = [
    supply(9.0, 1), supply(5.0, 6), resistor(1000, 6, 4), transistor(4, 2, 3), resistor(4700, 1, 2),
    resistor(4700, 3, 0), resistor(10e3, 2, 5), resistor(22e3, 5, 0), transistor(5, 7, 3),
    resistor(1000, 1, 7),
]  # fmt: skip
#: thresholds of the trigger above, V: the second base with the first transistor off; and where the first
#: transistor's current has brought that base down to the input. Tietze, Schenk, Schmitt trigger
UPPER_V = 9 * 22 / 36.7
LOWER_V = (UPPER_V + 0.65 * 22 / 36.7) / (1 + 22 / 36.7)


def test_hysteresis_has_two_branches(simulator):
    circuit = handmade(*SCHMITT)
    volts = np.linspace(2.0, 7.0, 51)
    swept = simulator.sweep(circuit, what="supply", cell="G102", values=list(volts))
    there, back = swept.voltage(7), swept.voltage(7, back=True)
    assert there[0] == pytest.approx(back[0], abs=0.01) and there[-1] == pytest.approx(back[-1], abs=0.01)
    switched = (there[0] + there[-1]) / 2
    assert volts[np.argmax(there > switched)] == pytest.approx(UPPER_V, abs=0.25)
    assert volts[np.argmax(back > switched)] == pytest.approx(LOWER_V, abs=0.25)
    # each branch is one state throughout: nothing of the balance between them
    assert all(min(abs(v - there[0]), abs(v - there[-1])) < 0.3 for v in (*there, *back))


def test_a_circuit_without_memory_has_one_branch(simulator):
    circuit = handmade(
        supply(9.0, 1), resistor(100e3, 1, 2), transistor(2, 3, 0), resistor(1000, 1, 3), transistor(3, 4, 0),
        resistor(1000, 1, 4),
    )  # fmt: skip
    assert simulator.sweep(circuit, what="supply", values=[3.0, 6.0, 9.0]).back == ()


def test_an_amplifier_with_feedback_is_told_nothing_about_states(simulator):
    circuit = handmade(
        supply(9.0, 1), resistor(4700, 1, 2), transistor(3, 2, 4), resistor(470, 4, 0), transistor(2, 5, 6),
        resistor(1000, 1, 5), resistor(1000, 6, 0), resistor(22e3, 6, 3),
    )  # fmt: skip
    assert simulator.operating_point(circuit).remarks == ()
