"""Pulse length, average and RMS, thresholds and the level of the input, against handbook formulas.

Books are cited by chapter, from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from handmade import Entry, handmade

from snapcheck.board import (
    Conditions,
    Design,
    Expectation,
    Probe,
    design_from_json,
    design_to_json,
    parse_layout,
    write_layout,
)
from snapcheck.circuit import Circuit
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator
from snapcheck.simulate._transient import mean_and_rms

KIT = bundled_kit()
BATTERY = ("battery", 9.0, {"plus": 1, "minus": 0})


def resistor(ohm: float, a: int, b: int) -> Entry:
    return ("resistor", float(ohm), {"a": a, "b": b})


def capacitor(farad: float, a: int, b: int) -> Entry:
    return ("capacitor", farad, {"a": a, "b": b})


def transistor(base: int, collector: int, emitter: int) -> Entry:
    return ("npn", "BC547", {"base": base, "collector": collector, "emitter": emitter})


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def measured(
    simulator: Simulator, circuit: Circuit, quantity: str, net: int, part: str = "", **more
) -> float:
    place = next(
        Probe(p.at, t) for p in circuit.parts for t, n in p.nets.items() if n == net and part in ("", p.name)
    )
    expectation = Expectation(quantity, place, None, -1e9, 1e9, conditions=more.pop("conditions", None))
    (figure,) = simulator.evaluate(Design(circuit.board, expectations=(expectation,), **more), circuit)
    assert figure.value is not None, figure.text
    return figure.value


# ---------------------------------------------------------------- pulse


@pytest.mark.parametrize(("ohm", "farad"), [(47e3, 10e-6), (100e3, 1e-6), (22e3, 100e-6)])
def test_pulse_of_a_monostable(simulator, ohm, farad):
    """t = ln 2·R·C. Tietze, Schenk: Electronic Circuits, monostable multivibrators; Horowitz, Hill. 9 V stand
    beside 0.7 V, and the capacitor charges to a little less, hence 8 %."""
    button = ("pushbutton", None, {"a": 1, "b": 6})
    circuit = handmade(
        BATTERY, button, transistor(4, 2, 0), transistor(5, 3, 0), resistor(1000, 1, 2), resistor(1000, 1, 3),
        resistor(ohm, 1, 5), capacitor(farad, 2, 5), resistor(22e3, 3, 4), capacitor(10e-9, 6, 7),
        resistor(100e3, 6, 0), resistor(10e3, 7, 4), resistor(100e3, 4, 0),
    )  # fmt: skip
    pressed = Conditions(switches={"S101": True})
    found = measured(simulator, circuit, "pulse", 3, conditions=pressed)
    assert found == pytest.approx(math.log(2) * ohm * farad, rel=0.08)


def test_what_never_comes_back_is_no_pulse(simulator):
    circuit = handmade(BATTERY, ("pushbutton", None, {"a": 1, "b": 2}), resistor(1000, 2, 0))
    expectation = Expectation(
        "pulse", Probe("R101", "a"), None, 0, 1, conditions=Conditions(switches={"S101": True})
    )
    (figure,) = simulator.evaluate(Design(circuit.board, expectations=(expectation,)), circuit)
    assert figure.value is None and "no pulse was seen" in figure.reason


# ---------------------------------------------------------------- average and RMS


@pytest.mark.parametrize("duty", [0.1, 0.5, 0.8])
def test_mean_and_rms_of_a_rectangle(duty):
    """Mean D·A, RMS √D·A; of a sine 0 and A/√2 (IEC 60050-103)."""
    time = np.linspace(0, 10, 100_001)
    mean, rms = mean_and_rms(time, 3.0 * (time % 1 < duty), 5, 1.0)
    assert (mean, rms) == pytest.approx((3 * duty, 3 * math.sqrt(duty)), rel=1e-3)
    mean, rms = mean_and_rms(time, 3.0 * np.sin(2 * math.pi * time), 4.7, 1.0)
    assert (mean, rms) == pytest.approx((0.0, 3 / math.sqrt(2)), abs=1e-3)


def flasher() -> Circuit:
    return handmade(
        BATTERY, transistor(4, 2, 0), transistor(5, 3, 0), resistor(470, 1, 2), resistor(470, 1, 3),
        resistor(47e3, 1, 4), resistor(47e3, 1, 5), ("electrolytic", 10e-6, {"plus": 2, "minus": 5}),
        ("electrolytic", 10e-6, {"plus": 3, "minus": 4}),
    )  # fmt: skip


def test_current_of_a_flashing_load(simulator):
    """On for half of the time: mean I/2, RMS I/√2 (as above); what charges the capacitor adds little."""
    circuit, load = flasher(), "R101"
    on = (9 - 0.05) / 470
    average = measured(simulator, circuit, "average-current", 1, load)
    rms = measured(simulator, circuit, "rms-current", 1, load)
    assert average == pytest.approx(on / 2, rel=0.08)
    assert rms == pytest.approx(on / math.sqrt(2), rel=0.05)
    assert rms > average


def test_voltage_of_a_flashing_load(simulator):
    average = measured(simulator, flasher(), "average-voltage", 2)
    rms = measured(simulator, flasher(), "rms-voltage", 2)
    assert average == pytest.approx(4.5, rel=0.08) and rms == pytest.approx(9 / math.sqrt(2), rel=0.06)


def test_at_rest_the_average_is_the_direct_value(simulator):
    circuit = handmade(BATTERY, resistor(1000, 1, 2), resistor(2000, 2, 0))
    for quantity in ("average-voltage", "rms-voltage"):
        assert measured(simulator, circuit, quantity, 2) == pytest.approx(6.0, rel=0.01)


# ---------------------------------------------------------------- thresholds


def test_thresholds_of_a_schmitt_trigger(simulator):
    """Emitter-coupled: up where the input meets the second base, U·R2/(Rc + R1 + R2); down where the first
    transistor has drawn that base to the input. Tietze, Schenk, Schmitt trigger."""
    circuit = handmade(
        ("supply", 9.0, {"plus": 1, "minus": 0}), resistor(1000, 6, 4), transistor(4, 2, 3),
        resistor(4700, 1, 2), resistor(4700, 3, 0), resistor(10e3, 2, 5), resistor(22e3, 5, 0),
        transistor(5, 7, 3), resistor(1000, 1, 7), resistor(1e6, 6, 0),
    )  # fmt: skip
    given = Probe("R107", "a")
    upper = measured(simulator, circuit, "threshold-up", 7, input=given)
    lower = measured(simulator, circuit, "threshold-down", 7, input=given)
    share = 22 / 36.7
    assert upper == pytest.approx(9 * share, abs=0.25)
    assert lower == pytest.approx((9 * share + 0.65 * share) / (1 + share), abs=0.25)


def test_without_hysteresis_both_thresholds_are_one(simulator):
    circuit = handmade(
        ("supply", 9.0, {"plus": 1, "minus": 0}),
        resistor(10e3, 2, 3),
        transistor(3, 4, 0),
        resistor(1000, 1, 4),
    )
    given = Probe("R101", "a")
    upper = measured(simulator, circuit, "threshold-up", 4, input=given)
    lower = measured(simulator, circuit, "threshold-down", 4, input=given)
    assert upper == pytest.approx(lower, abs=0.01) and 0.6 < upper < 1.2


# ---------------------------------------------------------------- level of the input

STAGE = """plate 4 x 4
input A1 {level}
output C2 a
expect gain at 1 kHz -4 to -2 dB
A1 audio-in signal=right
B1 resistor 1k ends=left+right
C1 tee stem=down
C2 capacitor 100n ends=up+down
C3 ground stem=up
"""


@pytest.mark.parametrize(("level", "volts"), [("signal 20 mV", 0.02), ("0,5 V", 0.5), ("", None)])
def test_the_level_of_the_input_stands_in_the_layout(level, volts):
    design = parse_layout(STAGE.format(level=level), "x", KIT)
    assert design.input_V == volts
    assert parse_layout(write_layout(design, KIT), "x", KIT).input_V == volts
    assert design_from_json(design_to_json(design), KIT).input_V == volts


def test_it_is_the_level_of_the_sine(simulator):
    from snapcheck.circuit import build_circuit

    design = parse_layout(STAGE.format(level="20 mV"), "x", KIT)
    survey = simulator.survey(design, build_circuit(design.board, KIT))
    assert survey.sine.source_V == 0.02


@pytest.mark.parametrize("level", ["20 mA", "-5 V", "500 V", "20 mV loud"])
def test_a_level_that_is_none_is_refused(level):
    with pytest.raises(InputError):
        parse_layout(STAGE.format(level=level), "x", KIT)
