"""Simulated figures against formulas of published handbooks; each check names its source.

Where a formula neglects something (base-emitter voltage, Early effect, leakage), the tolerance says
how much, and the parts are chosen so that the neglect is small. Books are cited by chapter, from memory.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from handmade import handmade

from snapcheck.board import Conditions, Design, Expectation, Probe
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator

BATTERY = ("battery", 9.0, {"plus": 1, "minus": 0})
SUPPLY = ("supply", 9.0, {"plus": 1, "minus": 0})
INPUT = ("audio-in", None, {"signal": 2, "plate": 0})
#: thermal voltage kT/q at 25 °C, V (CODATA 2018: k = 1.380649e-23 J/K, q = 1.602176634e-19 C)
THERMAL_V = 1.380649e-23 * 298.15 / 1.602176634e-19


def resistor(ohm: float, a: int, b: int):
    return ("resistor", float(ohm), {"a": a, "b": b})


def capacitor(farad: float, a: int, b: int):
    return ("capacitor", float(farad), {"a": a, "b": b})


def kit_with(kind: str, **parameters: float):
    """The bundled kit with other model parameters for one kind."""
    kit = bundled_kit()
    changed = replace(kit[kind], parameters={**kit[kind].parameters, **parameters}, parameters_by_value={})
    return replace(kit, kinds={**kit.kinds, kind: changed})


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def test_voltage_divider(simulator):
    """U2 = U·R2/(R1 + R2). Horowitz, Hill: The Art of Electronics, 3rd ed., chapter 1."""
    point = simulator.operating_point(handmade(BATTERY, resistor(6800, 1, 2), resistor(2200, 2, 0)))
    assert point.voltage(2) / point.voltage(1) == pytest.approx(2200 / 9000, rel=1e-6)


def test_lowpass_corner(simulator):
    """f = 1/(2πRC), gain there −3.01 dB. Horowitz, Hill, chapter 1 (RC filters)."""
    circuit = handmade(INPUT, resistor(15e3, 2, 3), capacitor(10e-9, 3, 0))
    response = simulator.frequency_response(circuit, output=Probe("R101", "b"))
    low, high = response.band()
    assert low is None
    assert high == pytest.approx(1 / (2 * math.pi * 15e3 * 10e-9), rel=2e-3)


def test_highpass_corner(simulator):
    """The same source, high-pass: the corner of a coupling capacitor with the resistance behind it."""
    circuit = handmade(INPUT, capacitor(100e-9, 2, 3), resistor(10e3, 3, 0))
    low, _ = simulator.frequency_response(circuit, output=Probe("R101", "a")).band()
    assert low == pytest.approx(1 / (2 * math.pi * 10e3 * 100e-9), rel=2e-3)


def test_one_time_constant(simulator):
    """After RC a capacitor has 1 − 1/e = 63.2 % of its charge. Horowitz, Hill, chapter 1 (RC in time)."""
    circuit = handmade(BATTERY, resistor(100e3, 1, 2), capacitor(1e-6, 2, 0))
    waves = simulator.transient(circuit, duration_s=0.5, step_s=2e-4, power_on=True)
    at = float(np.interp(0.1, waves.time_s, waves.voltage(2)))
    assert at / 9 == pytest.approx(1 - math.exp(-1), rel=2e-3)


def test_half_way_is_reached_after_ln2(simulator):
    """t = RC·ln 2 to half way: from the same exponential."""
    circuit = handmade(BATTERY, resistor(100e3, 1, 2), capacitor(1e-6, 2, 0))
    found = simulator.delay(circuit, Conditions(), None, place=Probe("C101", "a"))
    assert found.seconds == pytest.approx(0.1 * math.log(2), rel=2e-3)


def test_common_emitter_gain(simulator):
    """A = −gm·(Rc ∥ ro), gm = Ic/(kT/q), ro = (VA + Uce)/Ic. Sedra, Smith: Microelectronic Circuits,
    chapter on bipolar amplifiers (hybrid-π model); Gray, Meyer et al., Analysis and Design, chapter 1.

    Base and emitter resistance, emission coefficient and high-level injection, which the formula
    neglects, are set aside.
    """
    kit = kit_with("npn", RB=1e-3, RE=1e-3, RC=1e-3, NF=1.0, IKF=1e3, ISE=0.0, VAF=63.0)
    circuit = handmade(
        SUPPLY, ("audio-in", None, {"signal": 2, "plate": 0}), capacitor(1e-3, 3, 2),
        resistor(1.5e6, 1, 3), resistor(3300, 1, 4),
        ("npn", "BC547", {"base": 3, "collector": 4, "emitter": 0}), kit=kit,
    )  # fmt: skip
    point = simulator.operating_point(circuit)
    amperes, volts = point.current("Q101", "collector"), point.voltage(4)
    assert 1 < volts < 8
    gm, ro = amperes / THERMAL_V, (63.0 + volts - point.voltage(3)) / amperes
    gain = simulator.frequency_response(circuit, output=Probe("Q101", "collector")).gain_dB(1000)
    assert 10 ** (gain / 20) == pytest.approx(gm * (3300 * ro / (3300 + ro)), rel=0.01)


def test_emitter_follower_output_resistance(simulator):
    """Rout = 1/gm + Rsource/β, in parallel with the emitter's resistor. Horowitz, Hill, chapter 2."""
    circuit = handmade(
        SUPPLY, ("audio-in", None, {"signal": 2, "plate": 0}),
        ("electrolytic", 1e-3, {"plus": 3, "minus": 2}),
        resistor(220e3, 1, 3), resistor(220e3, 3, 0),
        ("npn", "BC547", {"base": 3, "collector": 1, "emitter": 4}), resistor(2200, 4, 0),
    )  # fmt: skip
    point = simulator.operating_point(circuit)
    beta = point.current("Q101", "collector") / point.current("Q101", "base")
    gm = point.current("Q101", "collector") / THERMAL_V
    expected = 1 / gm + (600 + 100) / beta  # the model's base resistance is 100 ohm
    found = simulator.frequency_response(circuit, output=Probe("Q101", "emitter")).output_impedance(1000)
    assert found == pytest.approx(expected, rel=0.08)


@pytest.mark.parametrize(("ohm", "farad"), [(47e3, 10e-6), (33e3, 470e-9)])
def test_astable_period(simulator, ohm, farad):
    """T = 0.693·(R1·C1 + R2·C2) (ln 2 per half). Tietze, Schenk: Electronic Circuits, multivibrators;
    valid where the supply is large beside the base-emitter voltage, hence 12 V and 8 %. Transistors whose
    emitter junction breaks down below the supply would shorten it; the models do not."""
    circuit = handmade(
        ("supply", 12.0, {"plus": 1, "minus": 0}), resistor(1000, 1, 2), resistor(1000, 1, 3),
        resistor(ohm, 1, 4), resistor(2 * ohm, 1, 5), capacitor(farad, 2, 5), capacitor(farad, 3, 4),
        ("npn", "BC547", {"base": 4, "collector": 2, "emitter": 0}),
        ("npn", "BC547", {"base": 5, "collector": 3, "emitter": 0}),
    )  # fmt: skip
    beat, _ = simulator.oscillation(circuit, place=Probe("Q101", "collector"))
    assert 1 / beat.frequency_Hz == pytest.approx(0.693 * (ohm * farad + 2 * ohm * farad), rel=0.08)
    assert min(beat.duty, 1 - beat.duty) == pytest.approx(1 / 3, abs=0.03)


def test_phase_shift_oscillator_frequency(simulator):
    """f = 1/(2πRC·√(6 + 4·Rc/R)) for three RC sections behind a collector resistor. Millman, Halkias:
    Integrated Electronics, phase-shift oscillator; needs h_fe > 23 + 29·R/Rc + 4·Rc/R.

    The last R is the stage's input resistance in series with what is missing, so 12 % are allowed.
    """
    ohm, farad, collector = 10e3, 10e-9, 3300.0
    circuit = handmade(
        SUPPLY, resistor(collector, 1, 2), capacitor(farad, 2, 3), resistor(ohm, 3, 0),
        capacitor(farad, 3, 4),
        resistor(ohm, 4, 0), capacitor(farad, 4, 5), resistor(ohm - 2500, 5, 6),
        ("npn", "BC549", {"base": 6, "collector": 2, "emitter": 7}), resistor(680e3, 2, 6),
        resistor(1, 7, 0),
    )  # fmt: skip
    found = simulator.oscillation(circuit, place=Probe("Q101", "collector"))
    assert found is not None
    expected = 1 / (2 * math.pi * ohm * farad * math.sqrt(6 + 4 * collector / ohm))
    assert found[0].frequency_Hz == pytest.approx(expected, rel=0.12)


def test_zener_regulator(simulator):
    """Worked as in Malvino, Bates: Electronic Principles, chapter on special-purpose diodes: the series
    resistor carries (Us − Uz)/Rs, the load Uz/RL, the diode the rest; a load change moves Uz little."""
    volts, series, load = 12.0, 220.0, 1000.0

    def solved(load_ohm: float):
        return simulator.operating_point(
            handmade(
                ("supply", volts, {"plus": 1, "minus": 0}), resistor(series, 1, 2),
                ("zener", 6.2, {"anode": 0, "cathode": 2}), resistor(load_ohm, 2, 0),
            )
        )  # fmt: skip

    point = solved(load)
    total, through_load = (volts - 6.2) / series, 6.2 / load
    assert point.current("R101", "a") == pytest.approx(total, rel=0.03)
    assert point.current("R102", "a") == pytest.approx(through_load, rel=0.03)
    assert point.current("D101", "cathode") == pytest.approx(total - through_load, rel=0.05)
    assert solved(500).voltage(2) == pytest.approx(point.voltage(2), abs=0.1)
    # below Uz the diode no longer conducts: a plain divider remains
    heavy = solved(100)
    assert heavy.voltage(2) == pytest.approx(volts * 100 / 320, rel=0.01)


def test_zener_stands_at_its_printed_voltage(simulator):
    """The printed voltage holds at the test current, 5 mA for 0.5 W types (common data sheets)."""
    kit = bundled_kit()
    for volts in (2.7, 3.3, 3.9, 4.7, 5.1, 5.6, 6.2, 6.8, 8.2, 9.1, 12.0, 15.0):
        circuit = handmade(
            ("supply", 30.0, {"plus": 1, "minus": 0}), resistor((30 - volts) / 5e-3, 1, 2),
            ("zener", volts, {"anode": 0, "cathode": 2}), kit=kit,
        )  # fmt: skip
        assert simulator.operating_point(circuit).voltage(2) == pytest.approx(volts, rel=0.01), volts


@pytest.mark.parametrize(
    ("colour", "volts"), [("red", 1.85), ("yellow", 2.0), ("green", 2.1), ("blue", 3.0), ("white", 3.05)]
)
def test_led_forward_voltage(simulator, colour, volts):
    """Forward voltage near 10 mA (from memory of common data sheets); Shockley's equation with series
    resistance, U = N·kT/q·ln(I/IS) + I·RS, is what the model must follow."""
    circuit = handmade(
        SUPPLY, resistor((9 - volts) / 0.01, 1, 2), ("led", colour, {"anode": 2, "cathode": 0})
    )
    assert simulator.operating_point(circuit).voltage(2) == pytest.approx(volts, abs=0.1)


def two_stage(gain_kit, feedback: bool):
    """Two common-emitter stages; feedback from the second collector to the first emitter (series-shunt)."""
    parts = [
        SUPPLY, ("audio-in", None, {"signal": 2, "plate": 0}),
        ("electrolytic", 1e-4, {"plus": 3, "minus": 2}),
        resistor(100e3, 1, 3), resistor(22e3, 3, 0), resistor(10e3, 1, 4),
        ("npn", "BC547", {"base": 3, "collector": 4, "emitter": 5}), resistor(100, 5, 6),
        resistor(1500, 6, 0),
        ("electrolytic", 1e-3, {"plus": 6, "minus": 0}),
        ("npn", "BC547", {"base": 4, "collector": 7, "emitter": 8}), resistor(3300, 1, 7),
        resistor(2200, 8, 0),
        ("electrolytic", 1e-3, {"plus": 8, "minus": 0}),
    ]  # fmt: skip
    if feedback:
        parts += [("electrolytic", 1e-3, {"plus": 7, "minus": 9}), resistor(4700, 9, 5)]
    return handmade(*parts, kit=gain_kit)


def test_feedback_lowers_gain_and_its_spread(simulator):
    """A' = A/(1 + A·β), and the spread of A shrinks by the same factor. H. S. Black: Stabilized Feedback
    Amplifiers, Bell System Technical Journal 13 (1934), 1–18; β = 100/(100 + 4700) from the divider."""

    def gain(beta_forward: float, feedback: bool) -> float:
        circuit = two_stage(kit_with("npn", BF=beta_forward), feedback)
        probe = Probe(circuit.parts[10].at, "collector")
        return 10 ** (simulator.frequency_response(circuit, output=probe).gain_dB(1000) / 20)

    open_loop, closed = gain(300, False), gain(300, True)
    fraction = 100 / 4800
    # the feedback network also loads the second collector, which lowers the open-loop gain itself
    loaded = open_loop * (4800 / (4800 + 3300))
    assert closed == pytest.approx(loaded / (1 + loaded * fraction), rel=0.08)
    assert closed < open_loop / 5
    spread_open = (gain(500, False) - gain(150, False)) / open_loop
    spread_closed = (gain(500, True) - gain(150, True)) / closed
    assert 0 < spread_closed < spread_open / 4


def test_supply_ripple_behind_an_rc_filter(simulator):
    """Ripple is divided by √(1 + (2πfRC)²). Horowitz, Hill, chapter 1; the supply's ripple is the kit's."""
    kit = bundled_kit()
    volts, hertz = kit["supply"].parameters["ripple_V"], kit["supply"].parameters["ripple_Hz"]
    circuit = handmade(
        SUPPLY, resistor(100, 1, 2), ("electrolytic", 470e-6, {"plus": 2, "minus": 0}), kit=kit
    )
    expectation = Expectation("ripple", Probe("R101", "b"), None, 0, 1)
    (figure,) = simulator.evaluate(Design(circuit.board, expectations=(expectation,)), circuit)
    series = 0.5  # of the electrolytic, from the kit
    turn = 2 * math.pi * hertz * 470e-6
    expected = volts * math.hypot(1, turn * series) / math.hypot(1, turn * (100 + 0.3 + series))
    assert figure.value == pytest.approx(expected, rel=0.01)
    assert figure.value == pytest.approx(volts / math.hypot(1, turn * 100), rel=0.02)


def test_resistors_and_film_capacitors_work_either_way_round(simulator):
    """Common practice, no source."""

    def answer(turned: bool):
        a, b = (3, 2) if turned else (2, 3)
        circuit = handmade(
            BATTERY, INPUT, resistor(4700, a, b), capacitor(1e-7, *((0, 3) if turned else (3, 0)))
        )
        return simulator.frequency_response(circuit, output=Probe("R101", "a" if turned else "b"))

    assert np.allclose(answer(False).gain, answer(True).gain, rtol=1e-9)


def test_dissipation_of_a_resistor(simulator):
    """P = U²/R (Joule's law; IEC 60050-131, active power)."""
    point = simulator.operating_point(handmade(SUPPLY, resistor(470, 1, 0)))
    assert point.power("R101") == pytest.approx(point.voltage(1) ** 2 / 470, rel=1e-6)


def test_thermistor_by_its_beta(simulator):
    """R = R25·exp(B·(1/T − 1/T25)). IEC 60539-1: at 50 °C a 10 kΩ, B = 3950 K part has 3.59 kΩ."""
    circuit = handmade(SUPPLY, ("thermistor", 10e3, {"a": 1, "b": 2}), resistor(3588, 2, 0))
    point = simulator.operating_point(circuit, Conditions(temperature_C=50.0))
    assert point.voltage(2) / point.voltage(1) == pytest.approx(0.5, abs=2e-3)


def test_photoresistor_by_its_gamma(simulator):
    """γ = log(R1/R2)/log(E2/E1) between 10 and 100 lx, 0.7 for common CdS cells (data sheets)."""
    circuit = handmade(SUPPLY, ("photoresistor", 10e3, {"a": 1, "b": 2}), resistor(1000, 2, 0))

    def ohm(lux: float) -> float:
        point = simulator.operating_point(circuit, Conditions(light_lux=lux))
        return (point.voltage(1) - point.voltage(2)) / point.current("R102", "a")

    assert math.log10(ohm(10) / ohm(100)) == pytest.approx(0.7, abs=1e-3)
    assert ohm(10) == pytest.approx(10e3, rel=1e-3)


def test_lamp_current_grows_like_the_root_of_its_voltage(simulator):
    """I ∝ U^0.5…0.6 for tungsten lamps near their nominal voltage (IESNA Lighting Handbook, lamp
    characteristics; exponent 0.55 from memory), and the cold filament has about a tenth of the hot one."""
    circuit = handmade(("supply", 6.0, {"plus": 1, "minus": 0}), ("lamp", "6V/0.1A", {"a": 1, "b": 0}))
    volts = np.array([3.0, 4.5, 6.0, 7.5])
    amperes = simulator.sweep(circuit, what="supply", values=list(volts)).current("H101", "a")
    slope = np.polyfit(np.log(volts), np.log(amperes), 1)[0]
    assert 0.45 < slope < 0.62
    assert amperes[2] == pytest.approx(0.1, rel=0.02)
    cold = simulator.operating_point(circuit, Conditions(supply_V={"G101": 0.01}))
    assert cold.voltage(1) / cold.current("H101", "a") == pytest.approx(6.0, rel=0.1)
