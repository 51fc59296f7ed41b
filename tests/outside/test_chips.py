"""Chips, bridge, relay and transformer against formulas of data sheets and handbooks, source beside each."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from snapcheck.board import Conditions, Design, Expectation, Probe
from snapcheck.circuit import Circuit, PartSpec, check_rules, circuit_of
from snapcheck.kit import chips_kit, parse_kit
from snapcheck.simulate import Simulator
from snapcheck.simulate._netlist import Stimulus
from snapcheck.simulate._transient import run

KIT = chips_kit()


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def part(kind: str, value: float | str | None, **nets: int) -> PartSpec:
    return PartSpec(kind, nets, value)


def resistor(ohm: float, a: int, b: int) -> PartSpec:
    return part("resistor", ohm, a=a, b=b)


def capacitor(farad: float, a: int, b: int) -> PartSpec:
    return part("capacitor", farad, a=a, b=b)


def supply(volts: float, plus: int, minus: int = 0) -> PartSpec:
    return part("supply", volts, plus=plus, minus=minus)


def opamp(non: int, inv: int, out: int, plus: int = 1, minus: int = 0, idle: int = 30) -> PartSpec:
    """One half in use, the other one a follower of the plate."""
    return PartSpec(
        "opamp",
        {"out1": out, "inv1": inv, "non1": non, "minus": minus, "non2": 0, "inv2": idle, "out2": idle,
         "plus": plus},
        "LM358",
    )  # fmt: skip


def circuit(*parts: PartSpec) -> Circuit:
    return circuit_of(parts, KIT)


# ---------------------------------------------------------------- operational amplifier


@pytest.mark.parametrize(("r1", "r2"), [(1e3, 10e3), (10e3, 10e3), (4.7e3, 33e3)])
def test_non_inverting_amplifier(simulator, r1, r2):
    """Gain 1 + R2/R1. Horowitz, Hill: The Art of Electronics, chapter 4."""
    built = circuit(supply(12, 1), supply(0.5, 2), opamp(2, 3, 4), resistor(r1, 3, 0), resistor(r2, 4, 3))
    point = simulator.operating_point(built)
    assert point.voltage(4) == pytest.approx(0.5 * (1 + r2 / r1), rel=2e-3)
    assert check_rules(built, operating_point=point) == []


def test_inverting_amplifier_on_two_supplies(simulator):
    """Gain -R2/R1. Horowitz, Hill: The Art of Electronics, chapter 4."""
    built = circuit(
        supply(12, 1), supply(12, 0, 5), supply(0.7, 2), opamp(0, 3, 4, minus=5),
        resistor(1e3, 2, 3), resistor(4.7e3, 3, 4),
    )  # fmt: skip
    assert simulator.operating_point(built).voltage(4) == pytest.approx(-4.7 * 0.7, rel=2e-3)


def test_bandwidth_of_an_amplifier(simulator):
    """Gain times bandwidth is the transit frequency: 1 MHz / 11. Horowitz, Hill, chapter 4; data sheet of the
    LM358 for 1 MHz, from memory."""
    built = circuit(
        supply(12, 1), supply(0.5, 2), resistor(1.0, 2, 6), opamp(6, 3, 4),
        resistor(1e3, 3, 0), resistor(10e3, 4, 3),
    )  # fmt: skip
    response = simulator.frequency_response(built, input=Probe("R101", "b"), output=Probe("U101", "out1"))
    assert response.gain_dB(1000) == pytest.approx(20 * math.log10(11), abs=0.05)
    assert response.band()[1] == pytest.approx(1e6 / 11, rel=0.03)


def test_currents_of_a_chip_add_up_and_leave_through_its_legs(simulator):
    """Kirchhoff: the output's current comes from the supply leg."""
    built = circuit(supply(12, 1), supply(5, 2), opamp(2, 4, 4), resistor(1e3, 4, 0))
    point = simulator.operating_point(built)
    currents = {leg: point.current("U101", leg) for leg in built.part_at["U101"].nets}
    assert currents["out1"] == pytest.approx(-5e-3, rel=1e-3)
    assert sum(currents.values()) == pytest.approx(0, abs=1e-8)
    assert currents["plus"] == pytest.approx(5e-3 + 12 / 2e4, rel=0.02)


def test_output_stays_within_its_swing_and_its_current(simulator):
    """LM358: 1.5 V below plus, some 20 mA (data sheet, from memory)."""
    high = circuit(supply(12, 1), supply(5, 2), opamp(2, 3, 4), resistor(1e3, 3, 0), resistor(10e3, 4, 3))
    assert simulator.operating_point(high).voltage(4) == pytest.approx(10.5, abs=0.2)
    loaded = circuit(supply(12, 1), supply(5, 2), opamp(2, 4, 4), resistor(10.0, 4, 0))
    assert simulator.operating_point(loaded).current("R101", "a") == pytest.approx(0.02, rel=0.02)


def test_a_chip_the_wrong_way_round_is_told():
    built = circuit(supply(9, 1), opamp(2, 4, 4, plus=0, minus=1), resistor(1e3, 2, 1), resistor(1e3, 4, 0))
    found = {f.rule: f for f in check_rules(built)}
    assert found["reversed-in-circuit"].named == ("U101",)


@pytest.mark.parametrize("kind", ["TL072", "LM358"])
def test_relaxation_oscillator(simulator, kind):
    """Tietze, Schenk: Electronic Circuits, multivibrator with a comparator: T = 2 R C ln(1 + 2 R2 / R1),
    which is 2 R C ln 3 for equal resistors, if the output swings as far down as up (an LM358: further)."""
    chip = replace(opamp(2, 3, 4, minus=5), value=kind)
    built = circuit(
        supply(12.0, 1), supply(12.0, 0, 5), chip, resistor(10e3, 4, 3), capacitor(100e-9, 3, 0),
        resistor(10e3, 4, 2), resistor(10e3, 2, 0),
    )  # fmt: skip
    found = simulator.oscillation(built, place=Probe("U101", "out1"))
    assert found is not None
    low, high = {"TL072": (0.99, 1.01), "LM358": (0.96, 1.0)}[kind]
    assert low < found[0].frequency_Hz * 2 * 10e3 * 100e-9 * math.log(3) < high


# ---------------------------------------------------------------- comparator


def trigger(volts: float) -> Circuit:
    """Comparator with hysteresis: divider 10k/10k, 100k from the output, 1k to the supply."""
    legs = {"out1": 4, "inv1": 2, "non1": 3, "minus": 0, "non2": 0, "inv2": 1, "out2": 5, "plus": 1}
    return circuit(
        supply(9, 1), supply(volts, 2), PartSpec("comparator", legs, "LM393"), resistor(10e3, 1, 3),
        resistor(10e3, 3, 0), resistor(100e3, 4, 3), resistor(1e3, 1, 4), resistor(10e3, 1, 5),
    )  # fmt: skip


def test_thresholds_of_a_comparator_with_hysteresis(simulator):
    """The divider's voltage with the output high (its resistor in series with the feedback) and low, by
    superposition. Horowitz, Hill: The Art of Electronics, chapter 4, Schmitt trigger."""
    volts = np.linspace(4.0, 5.0, 51)
    swept = simulator.sweep(trigger(4.5), what="supply", cell="G102", values=list(volts))
    there, back = swept.voltage(4), swept.voltage(4, back=True)
    upper = volts[np.argmax(there < 4.5)]
    lower = volts[np.argmax(back < 4.5)]
    low_V = float(back[-1])  # the open collector's own
    g = 1 / 10e3
    assert upper == pytest.approx((9 * g + 9 / 101e3) / (2 * g + 1 / 101e3), abs=0.04)
    assert lower == pytest.approx((9 * g + low_V / 100e3) / (2 * g + 1 / 100e3), abs=0.04)


def test_both_states_of_a_trigger_are_told(simulator):
    (remark,) = simulator.operating_point(trigger(4.5)).remarks
    assert remark.kind == "states" and "2 states" in remark.text and "U101 out1" in remark.text


# ---------------------------------------------------------------- timer


def timer(ra: float, rb: float, farad: float) -> Circuit:
    legs = {"minus": 0, "trigger": 2, "out": 3, "reset": 1, "control": 5, "threshold": 2, "discharge": 4,
            "plus": 1}  # fmt: skip
    return circuit(
        supply(9, 1), PartSpec("timer", legs, "NE555"), resistor(ra, 1, 4), resistor(rb, 4, 2),
        capacitor(farad, 2, 0), capacitor(10e-9, 5, 0), resistor(1e3, 3, 0),
    )  # fmt: skip


@pytest.mark.parametrize(("ra", "rb", "farad"), [(10e3, 47e3, 1e-6), (4.7e3, 10e3, 100e-9)])
def test_astable_timer(simulator, ra, rb, farad):
    """f = 1.44/((RA + 2·RB)·C), high for (RA + RB)/(RA + 2·RB) of a period. Data sheet of the NE555, astable
    operation."""
    found = simulator.oscillation(timer(ra, rb, farad), place=Probe("U101", "out"))
    assert found is not None
    assert found[0].frequency_Hz == pytest.approx(1.44 / ((ra + 2 * rb) * farad), rel=0.04)
    assert found[0].duty == pytest.approx((ra + rb) / (ra + 2 * rb), abs=0.02)


@pytest.mark.parametrize(("ohm", "farad"), [(100e3, 10e-6), (10e3, 1e-6)])
def test_monostable_timer(simulator, ohm, farad):
    """t = 1.1·R·C. Data sheet of the NE555, monostable operation. A short pulse comes through a capacitor."""
    legs = {"minus": 0, "trigger": 2, "out": 3, "reset": 1, "control": 5, "threshold": 4, "discharge": 4,
            "plus": 1}  # fmt: skip
    built = circuit(
        supply(9, 1), PartSpec("timer", legs, "NE555"), resistor(ohm, 1, 4), capacitor(farad, 4, 0),
        capacitor(10e-9, 5, 0), resistor(10e3, 1, 2), capacitor(10e-9, 2, 6), resistor(1e6, 1, 6),
        part("pushbutton", None, a=6, b=0), resistor(1e3, 3, 0),
    )  # fmt: skip
    pressed = Conditions(switches={"S101": True})
    expectation = Expectation("pulse", Probe("U101", "out"), None, 0, 10, "", pressed)
    (figure,) = simulator.evaluate(Design(built.board, expectations=(expectation,)), built)
    assert figure.value == pytest.approx(1.1 * ohm * farad, rel=0.03), figure.text


# ---------------------------------------------------------------- bridge rectifier

INLET = """
name = "inlet"
title = "with a winding"
based_on = "chips"
[kind.winding]
title = "winding"
contacts = { E = "signal" }
plate = true
model = "source"
prefix = "T"
parameters = { source_ohm = 1.0 }
"""


def test_bridge_passes_either_direction_less_two_junctions(simulator):
    """U - 2·U_D. Horowitz, Hill: The Art of Electronics, chapter 1, full-wave bridge."""
    for volts, legs in ((9, {"ac1": 1, "ac2": 0}), (9, {"ac1": 0, "ac2": 1})):
        built = circuit(
            supply(volts, 1), PartSpec("bridge", {**legs, "plus": 2, "minus": 3}), resistor(1e3, 2, 3)
        )
        point = simulator.operating_point(built)
        drop = point.across("G101", "plus", "minus") - point.across("R101", "a", "b")
        assert drop == pytest.approx(2 * 0.68, abs=0.1)
        assert check_rules(built, operating_point=point) == []


def test_ripple_behind_a_bridge(simulator):
    """Peak less two junctions, and a ripple of I/(2·f·C), a little less because it is recharged for a part of
    the time. Horowitz, Hill: The Art of Electronics, chapter 1, power-supply filtering."""
    farad, ohm, hertz, peak = 1000e-6, 100.0, 50.0, 12.0
    strong = parse_kit(INLET, "inlet")  # a transformer's winding, one end on the plate
    built = circuit_of(
        [PartSpec("bridge", {"ac1": 1, "ac2": 0, "plus": 2, "minus": 3}), resistor(ohm, 2, 3),
         part("electrolytic", farad, plus=2, minus=3), part("winding", None, signal=1, plate=0)],
        strong,
    )  # fmt: skip
    source = built.part_at["T101"]
    waves = run(
        simulator.worker, built, Conditions(), Stimulus(input=source, sine=(peak, hertz)), [2, 3], 0.4, 1e-4
    )
    late = waves.time_s > 0.3
    volts = (waves.voltage(2) - waves.voltage(3))[late]
    ripple = float(volts.max() - volts.min())
    amperes = float(volts.mean()) / ohm
    assert 0.7 * amperes / (2 * hertz * farad) < ripple <= 1.02 * amperes / (2 * hertz * farad)
    assert float(volts.max()) == pytest.approx(peak - 2 * 0.8, abs=0.9)


# ---------------------------------------------------------------- transformer


def transformer(ratio: int, ohm: float) -> Circuit:
    """A generator's net 1 at the primary, a resistor across the secondary."""
    windings = {"pri1": 1, "pri2": 0, "sec1": 2, "sec2": 0}
    return circuit(
        part("audio-in", None, signal=1, plate=0), PartSpec("transformer", windings, f"{ratio}TO1"),
        resistor(ohm, 2, 0),
    )  # fmt: skip


@pytest.mark.parametrize(("ratio", "ohm"), [(10, 8.2), (4, 47.0)])
def test_a_transformer_divides_volts_and_reflects_ohms(simulator, ratio, ohm):
    """Z = n²·Z_L, winding resistances added, in parallel with the primary's inductance; U_2 = U_1/n less the
    drop in the windings. Horowitz, Hill: The Art of Electronics, chapter 1, transformers (from memory)."""
    built = transformer(ratio, ohm)
    p, hertz = built.part_at["T101"].parameters, 3000.0
    figures = tuple(Expectation(what, None, hertz, -99, 1e6, "") for what in ("gain", "input-impedance"))
    at, out = Probe("J101", "signal"), Probe("T101", "sec1")
    design = Design(built.board, input=at, output=out, expectations=figures)
    gain, impedance = simulator.evaluate(design, built)
    reflected = p["primary_ohm"] + ratio**2 * (p["secondary_ohm"] + ohm)
    assert impedance.value == pytest.approx(reflected, rel=0.01)
    assert gain.value == pytest.approx(20 * math.log10(ratio * ohm / reflected), abs=0.05)


def test_a_transformer_passes_no_direct_voltage(simulator):
    windings = {"pri1": 2, "pri2": 0, "sec1": 3, "sec2": 0}
    fed = PartSpec("transformer", windings, "10TO1")
    built = circuit(supply(9, 1), resistor(1e3, 1, 2), fed, resistor(8.2, 3, 0))
    point = simulator.operating_point(built)
    assert point.voltage(3) == pytest.approx(0, abs=1e-6)
    assert point.current("T101", "pri1") == pytest.approx(9 / (1e3 + 40 + 0.9), rel=1e-3)


# ---------------------------------------------------------------- relay


def test_a_relay_pulls_in_and_drops_out_at_its_own_voltages(simulator):
    """70 and 25 % of the printed voltage; makers state between 10 % (must release) and 75 % (must operate),
    IEC 61810-1 the terms (from memory). The contact changes over: one of the two ways is open."""
    legs = {"coil1": 1, "coil2": 0, "com": 2, "rest": 3, "work": 4}
    built = circuit_of(
        [part("winding", None, signal=1, plate=0), supply(9, 2), PartSpec("relay", legs, 12.0),
         resistor(1e3, 3, 0), resistor(1e3, 4, 0)],
        parse_kit(INLET, "inlet"),
    )  # fmt: skip
    slowly = Stimulus(input=built.part_at["T101"], ramp=(12.0, 2.0))
    waves = run(simulator.worker, built, Conditions(), slowly, [1, 3, 4], 4.0, 4e-3)
    coil, work, rest = (waves.voltage(net) for net in (1, 4, 3))
    assert ((work > 4.5) != (rest > 4.5)).all() and np.allclose(np.maximum(work, rest), 9, rtol=0.01)
    on = np.flatnonzero(work > 4.5)
    assert coil[on[0]] == pytest.approx(0.7 * 12, abs=0.1)
    assert coil[on[-1]] == pytest.approx(0.25 * 12, abs=0.1)
    assert (np.diff(on) == 1).all()


@pytest.mark.parametrize("volts", [12.0, -12.0])
def test_a_relay_s_coil(simulator, volts):
    """I = P/U of its data sheet, whichever way it flows."""
    built = circuit(
        supply(abs(volts), 1), supply(9, 2),
        PartSpec("relay", {"coil1": 1 if volts > 0 else 0, "coil2": 0 if volts > 0 else 1, "com": 2,
                           "rest": 3, "work": 4}, 12.0),
        resistor(1e3, 3, 0), resistor(1e3, 4, 0),
    )  # fmt: skip
    point = simulator.operating_point(built)
    assert point.current("K101", "coil1") == pytest.approx(0.36 / volts, rel=5e-3)
    assert point.voltage(4) == pytest.approx(9, rel=2e-3) and point.voltage(3) == pytest.approx(0, abs=1e-3)


def test_a_relay_without_a_diode_and_with_too_many_volts_is_told(simulator):
    legs = {"coil1": 1, "coil2": 2, "com": 1, "rest": 3, "work": 4}
    base = [
        supply(12, 1), resistor(4.7e3, 1, 5), part("npn", "BC547", base=5, collector=2, emitter=0),
        resistor(1e3, 3, 0), resistor(1e3, 4, 0),
    ]  # fmt: skip
    bare = circuit(*base, PartSpec("relay", legs, 12.0))
    assert [f.rule for f in check_rules(bare, only=("flyback-missing",))] == ["flyback-missing"]
    held = circuit(*base, PartSpec("relay", legs, 12.0), part("diode", "1N4001", anode=2, cathode=1))
    assert check_rules(held, operating_point=simulator.operating_point(held)) == []
    burnt = circuit(*base, PartSpec("relay", legs, 5.0), part("diode", "1N4001", anode=2, cathode=1))
    found = check_rules(burnt, operating_point=simulator.operating_point(burnt))
    assert "K101" in {name for f in found for name in f.named}
