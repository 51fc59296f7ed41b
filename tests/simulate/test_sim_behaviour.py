"""Frequency response, waveforms, sweeps, tolerance, figures, what-if: on circuits made by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from handmade import handmade

from snapcheck.board import Conditions, Design, Expectation, Probe
from snapcheck.errors import InputError, SimulationError
from snapcheck.simulate import Simulator, export_netlist, figure_text, is_available, plots_of
from snapcheck.simulate._crew import WorkerCrew
from snapcheck.simulate._simulator import _what_if
from snapcheck.simulate._specimens import draw, rest_of, spreads
from snapcheck.simulate._waveform import distortion, rhythm
from snapcheck.simulate._write import write_netlist

BATTERY = ("battery", 9.0, {"plus": 1, "minus": 0})


def resistor(ohm: float, a: int, b: int):
    return ("resistor", float(ohm), {"a": a, "b": b})


def amplifier(collector_ohm: float = 2200.0, bypass: tuple[int, int] = (5, 0), divider: int = 3):
    """A common-emitter stage; input B1, output at the transistor in G1."""
    return handmade(
        BATTERY,
        ("audio-in", None, {"signal": 2, "plate": 0}),
        ("electrolytic", 1e-5, {"plus": 3, "minus": 2}),
        resistor(47e3, 1, 3),
        resistor(10e3, divider, 0),
        resistor(collector_ohm, 1, 4),
        ("npn", "BC547", {"base": 3, "collector": 4, "emitter": 5}),
        resistor(470, 5, 0),
        ("electrolytic", 1e-4, {"plus": bypass[0], "minus": bypass[1]}),
    )


OUT, IN = Probe("Q101", "collector"), Probe("J101", "signal")


def flasher():
    return handmade(
        ("battery", 6.0, {"plus": 1, "minus": 0}), resistor(1000, 1, 2), resistor(1000, 1, 3),
        resistor(47e3, 1, 4), resistor(47e3, 1, 5),
        ("electrolytic", 1e-5, {"plus": 2, "minus": 5}), ("electrolytic", 1e-5, {"plus": 3, "minus": 4}),
        ("npn", "BC547", {"base": 4, "collector": 2, "emitter": 0}),
        ("npn", "BC547", {"base": 5, "collector": 3, "emitter": 0}),
    )  # fmt: skip


def design_of(circuit, *expectations, **more):
    more = {"input": IN, "output": OUT, **more}
    return Design(circuit.board, title="stage", expectations=expectations, **more)


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def test_simulation_is_available_here():
    assert is_available()


# ---------------------------------------------------------------- response


def test_response_of_a_stage(simulator):
    found = simulator.frequency_response(amplifier(), output=OUT)
    low, high = found.band()
    assert 41 < found.gain_dB(1000) < 44
    assert found.gain_dB(low) == pytest.approx(found.peak[1] - 3.0103, abs=0.05)
    assert found.gain_dB(high) == pytest.approx(found.peak[1] - 3.0103, abs=0.05)
    assert found.input_impedance(1000) < 10e3 * 47e3 / 57e3
    assert found.output_impedance(1000) == pytest.approx(2200, rel=0.07)


def test_speaker_at_the_output_does_not_count_as_output_impedance(simulator):
    parts = (BATTERY, resistor(100, 1, 2), ("audio-in", None, {"signal": 3, "plate": 0}), resistor(1e6, 3, 2))
    bare = simulator.frequency_response(handmade(*parts), output=Probe("R101", "b"))
    loud = simulator.frequency_response(
        handmade(*parts, ("speaker", 8.0, {"a": 2, "b": 0})), output=Probe("R101", "b")
    )
    assert loud.output_impedance(1000) == pytest.approx(bare.output_impedance(1000), rel=1e-3)


def test_generator_at_any_net_carries_no_direct_current(simulator):
    circuit = handmade(BATTERY, resistor(10e3, 1, 2), resistor(10e3, 2, 0))
    probe = Probe("R101", "b")
    response = simulator.frequency_response(circuit, input=probe, output=probe)
    assert response.gain_dB(1000) == pytest.approx(0, abs=1e-6)
    assert response.input_impedance(1000) == pytest.approx(5000, rel=0.01)


def test_no_input_and_no_such_place_are_told(simulator):
    circuit = handmade(BATTERY, resistor(10e3, 1, 0))
    with pytest.raises(SimulationError, match="no input"):
        simulator.frequency_response(circuit, output=Probe("R101", "b"))
    with pytest.raises(SimulationError, match="has no wiper"):
        simulator.frequency_response(amplifier(), output=Probe("R101", "wiper"))


# ---------------------------------------------------------------- waveforms


def test_sine_clips_where_the_rails_end(simulator):
    small = simulator.sine_response(amplifier(), output=OUT, source_V=1e-4)
    clipped = simulator.clipping(amplifier(), output=OUT)
    huge = simulator.sine_response(amplifier(), output=OUT, source_V=1.0)
    gain = simulator.frequency_response(amplifier(), output=OUT).gain_dB(1000)
    assert 20 * math.log10(small.output_swing_V / 2 / small.input_V) == pytest.approx(gain, abs=0.2)
    assert small.distortion < 0.005 < clipped.distortion <= 0.1 < huge.distortion
    assert clipped.output_swing_V < huge.output_swing_V < 9


def test_astable_is_judged_by_its_waveform(simulator):
    found = simulator.oscillation(flasher(), place=Probe("Q101", "collector"))
    assert found is not None
    beat, waves = found
    assert beat.frequency_Hz == pytest.approx(1.48, rel=0.05)
    assert beat.duty == pytest.approx(0.5, abs=0.02)
    assert beat.jitter < 0.01
    assert waves.voltage(0).max() == 0


def test_amplifier_does_not_oscillate(simulator):
    assert simulator.oscillation(amplifier(), place=OUT) is None


def test_delay_after_a_button_is_released(simulator):
    circuit = handmade(
        BATTERY,
        ("pushbutton", None, {"a": 1, "b": 2}),
        ("capacitor", 1e-4, {"a": 2, "b": 0}),
        resistor(1e5, 2, 0),
    )
    button = circuit.parts[1].at
    pressed, released = Conditions(switches={button: True}), Conditions(switches={button: False})
    place = Probe("R101", "a")
    found = simulator.delay(circuit, pressed, released, place=place)
    assert found.seconds == pytest.approx(10 * math.log(2), rel=0.01)
    assert simulator.delay(circuit, pressed, pressed, place=place) is None


def test_lamp_is_cold_at_first(simulator):
    circuit = handmade(
        ("supply", 6.0, {"plus": 1, "minus": 0}), ("lamp", "6V/0.1A", {"a": 1, "b": 2}), resistor(1, 2, 0)
    )
    steady = simulator.operating_point(circuit).current("H101", "a")
    waves = simulator.transient(circuit, duration_s=1.0, step_s=1e-3, power_on=True)
    rush = waves.voltage(2).max()
    assert steady == pytest.approx(0.1, rel=0.05)
    assert 4 < rush / steady < 11
    assert waves.voltage(2)[-1] == pytest.approx(steady, rel=0.03)


def test_reversed_electrolytic_conducts_and_the_right_way_round_does_not(simulator):
    right = handmade(BATTERY, resistor(1000, 1, 2), ("electrolytic", 1e-5, {"plus": 2, "minus": 0}))
    wrong = handmade(BATTERY, resistor(1000, 1, 2), ("electrolytic", 1e-5, {"plus": 0, "minus": 2}))
    assert simulator.operating_point(right).voltage(2) > 8.99
    assert 1.5 < simulator.operating_point(wrong).voltage(2) < 4


def test_measures_on_waves_made_by_arithmetic():
    time = np.linspace(0, 1, 20001)
    wave = (
        np.sin(2 * math.pi * 10 * time)
        + 0.03 * np.sin(2 * math.pi * 20 * time)
        + 0.04 * np.sin(2 * math.pi * 30 * time)
    )
    thd, first = distortion(time, wave + 0.5 * time, 10, 4)
    assert (thd, first) == (pytest.approx(0.05, abs=1e-3), pytest.approx(1.0, abs=1e-3))
    square = np.where((time * 7) % 1 < 0.3, 5.0, 0.0)
    beat = rhythm(time, square)
    assert beat.frequency_Hz == pytest.approx(7, rel=1e-3) and beat.duty == pytest.approx(0.3, abs=2e-3)
    assert rhythm(time, np.ones_like(time)) is None
    assert rhythm(time, time) is None


# ---------------------------------------------------------------- sweeps


def test_sweeps_turn_the_knob(simulator):
    circuit = handmade(
        BATTERY, ("potentiometer", 10e3, {"a": 1, "b": 0, "wiper": 2}),
        ("photoresistor", 10e3, {"a": 1, "b": 3}), resistor(10e3, 3, 0),
        ("thermistor", 10e3, {"a": 1, "b": 4}), resistor(10e3, 4, 0),
    )  # fmt: skip
    turned = simulator.sweep(circuit, what="pot", values=[0, 0.5, 1]).voltage(2)
    assert list(turned) == pytest.approx([9, 4.5, 0], abs=0.05)
    brighter = simulator.sweep(circuit, what="light", values=[1, 10, 100, 1000]).voltage(3)
    assert all(np.diff(brighter) > 0) and brighter[1] == pytest.approx(4.5, abs=0.02)
    warmer = simulator.sweep(circuit, what="temperature", values=[0, 25, 50]).voltage(4)
    assert all(np.diff(warmer) > 0) and warmer[1] == pytest.approx(4.5, abs=0.02)
    supply = simulator.sweep(circuit, what="supply", values=[3, 6])
    assert supply.voltage(1)[1] == pytest.approx(2 * supply.voltage(1)[0], rel=1e-6)
    assert supply.current("R102", "a")[1] > 0


def test_unclear_knob_is_told(simulator):
    with pytest.raises(InputError, match="no pot on this board"):
        simulator.sweep(amplifier(), what="pot", values=[0, 1])
    with pytest.raises(InputError, match="cannot be swept"):
        simulator.sweep(amplifier(), what="moon", values=[0, 1])


def test_transistor_temperature_is_swept_too(simulator):
    volts = simulator.sweep(amplifier(), what="temperature", values=[0, 50]).voltage(4)
    assert volts[1] < volts[0]  # a warmer base-emitter junction takes more current


# ---------------------------------------------------------------- figures and tolerance

ALL = (
    Expectation("voltage", None, None, 4.5, 5.5),
    Expectation("current", Probe("R103", "a"), None, 1e-3, 2e-3),
    Expectation("power", Probe("Q101", "base"), None, 0, 0.01),
    Expectation("gain", None, 1000.0, 40, 44),
    Expectation("band-low", None, None, 50, 150),
    Expectation("band-high", None, None, 1e6, math.inf),
    Expectation("input-impedance", None, None, 1e3, 5e3),
    Expectation("output-impedance", None, None, 1.5e3, 2.5e3),
    Expectation("swing", None, None, 3, 9),
    Expectation("distortion", None, None, 0, 0.1),
    Expectation("ripple", None, None, 0, 0.1),
)


def test_every_quantity_is_measured(simulator):
    circuit = amplifier()
    figures = simulator.evaluate(design_of(circuit, *ALL), circuit)
    assert [f.text for f in figures if not f.met] == []
    assert len(figures) == len(ALL)
    slow = (
        Expectation("frequency", None, None, 1.4, 1.6),
        Expectation("duty", None, None, 0.45, 0.55),
        Expectation("swing", None, None, 5, 6),
    )
    blinking = flasher()
    design = Design(blinking.board, output=Probe("Q101", "collector"), expectations=slow)
    assert all(f.met for f in simulator.evaluate(design, blinking))


def test_figure_that_is_not_met_and_one_that_cannot_be_measured(simulator):
    circuit = amplifier()
    design = design_of(
        circuit,
        Expectation("gain", None, 1000.0, 50, 60),
        Expectation("frequency", None, None, 1, 2),
        Expectation("voltage", Probe("Q140", "collector"), None, 1, 2),
    )
    low, silent, nowhere = simulator.evaluate(design, circuit)
    assert not low.met and low.value == pytest.approx(42.5, abs=1)
    assert not silent.met and silent.value is None
    assert "no oscillation was seen" in silent.reason and "within 50 s" in silent.reason
    assert not nowhere.met and "empty cell" in nowhere.reason


def test_what_oscillates_unevenly_is_said_to(simulator):
    """Three phase shifts behind a stage that is hardly biased: 0.07 to 8.9 V, in no even time."""
    parts = [BATTERY, resistor(4700, 1, 2), ("npn", "BC549", {"base": 5, "collector": 2, "emitter": 0})]
    shifts = [("capacitor", 1e-8, {"a": a, "b": b}) for a, b in ((2, 3), (3, 4), (4, 5))]
    circuit = handmade(*parts, *shifts, resistor(4700, 3, 0), resistor(4700, 4, 0), resistor(4.7e6, 1, 5))
    design = design_of(circuit, Expectation("frequency", OUT, None, 400, 600), input=None)
    (figure,) = simulator.evaluate(design, circuit)
    assert figure.value is None and not figure.met
    assert "oscillates unevenly: 8.8" in figure.reason and "standard deviation" in figure.reason


def test_figure_under_its_own_conditions(simulator):
    circuit = handmade(BATTERY, ("photoresistor", 10e3, {"a": 1, "b": 2}), resistor(10e3, 2, 0))
    place = Probe("R101", "b")
    design = Design(
        circuit.board,
        expectations=(
            Expectation("voltage", place, None, 0, 2, conditions=Conditions(light_lux=0.5)),
            Expectation("voltage", place, None, 7, 9, conditions=Conditions(light_lux=500)),
        ),
    )
    assert all(f.met for f in simulator.evaluate(design, circuit))


def test_altering_in_place_agrees_with_a_fresh_netlist(simulator):
    circuit = amplifier()
    varied = spreads(circuit)
    factors = draw(varied, 4, seed=3)
    _, names, answers = rest_of(WorkerCrew(simulator.worker), circuit, Conditions(), varied, factors)
    for (row,), factor in zip(answers, factors, strict=True):
        scales = {s.part.name: float(f) for s, f in zip(varied, factor, strict=True)}
        netlist = write_netlist(circuit, Conditions(), scales=scales)
        (fresh,) = simulator.worker.solve(netlist.lines, frozenset(netlist.nodes), [("op", ["n4", "n5"])])
        # leakage follows a capacitor's value only in the fresh netlist
        assert [row[names.index("n4")], row[names.index("n5")]] == pytest.approx(fresh, rel=2e-3)


def test_a_supply_has_an_output_impedance_without_any_input(simulator):
    circuit = handmade(BATTERY, resistor(10e3, 1, 2), resistor(15e3, 2, 0))
    place = Probe("R101", "b")
    wanted = Expectation("output-impedance", place, None, 5.9e3, 6.1e3)  # 10 k parallel to 15 k: 6 k
    design = Design(circuit.board, output=place, expectations=(wanted,))
    (figure,) = simulator.evaluate(design, circuit)
    assert figure.met and figure.value == pytest.approx(6000, rel=1e-3)
    tolerance = simulator.tolerance(design, circuit, samples=50)
    assert tolerance.slow_samples == 0 and 0.3 < tolerance.passed < 1
    on_plate = replace(design, expectations=(replace(wanted, place=Probe("R102", "b")),))
    (figure,) = simulator.evaluate(on_plate, circuit)
    assert not figure.met and "plate" in figure.reason


def test_tolerance_finds_yield_and_the_part_that_matters(simulator):
    circuit = amplifier()
    tolerance = simulator.tolerance(design_of(circuit, *ALL[:8]), circuit, samples=300)
    by = {f.expectation.quantity: f for f in tolerance.figures}
    assert by["output-impedance"].shares[0][0].name == "R103"  # the collector resistor
    assert by["input-impedance"].shares[0][0].name == "Q101"  # its current gain
    assert by["band-low"].shares[0][0].name == "C102"  # the emitter capacitor
    assert 0.4 < by["current"].passed < 1.0 and by["power"].passed == 1.0
    assert 0 < tolerance.passed <= min(f.passed for f in tolerance.figures)
    for figure in tolerance.figures:
        assert figure.percentile(5) < figure.nominal < figure.percentile(95)
        assert sum(share for _, share in figure.shares) <= 1.0001
    again = simulator.tolerance(design_of(circuit, *ALL[:8]), circuit, samples=300)
    assert again.passed == tolerance.passed


def test_tolerance_of_an_oscillator(simulator):
    circuit = flasher()
    design = Design(
        circuit.board,
        output=Probe("Q101", "collector"),
        expectations=(Expectation("frequency", None, None, 1.3, 1.7),),
    )
    tolerance = simulator.tolerance(design, circuit, samples=20, slow_samples=12)
    (figure,) = tolerance.figures
    assert tolerance.slow_samples == len(figure.values) == 12
    assert np.isfinite(figure.values).all() and 1.1 < figure.percentile(50) < 1.9
    assert {part.name for part, _ in figure.shares[:4]} & {"C101", "C102", "R103", "R104"}


# ---------------------------------------------------------------- what if


def told(simulator, built):
    return _what_if.what_if(simulator.worker, design_of(amplifier(), *ALL[:1]), amplifier(), built).sentences


def test_a_build_like_the_design_has_nothing_to_tell(simulator):
    assert told(simulator, amplifier()) == ()


def test_reversed_electrolytic_is_told_in_volts_and_decibels(simulator):
    sentences = told(simulator, amplifier(bypass=(0, 5)))
    assert any(s.startswith("C102 sees −") and "V" in s for s in sentences)
    # 0.9 V the wrong way round do not yet make it conduct, and none is claimed
    assert not any("gain" in s for s in sentences)


def test_reversed_electrolytic_that_conducts_costs_gain(simulator):
    def follower(plus: int, minus: int):
        return handmade(
            BATTERY, ("audio-in", None, {"signal": 2, "plate": 0}),
            ("electrolytic", 1e-5, {"plus": plus, "minus": minus}),
            resistor(100e3, 1, 3), resistor(100e3, 3, 0),
            ("npn", "BC547", {"base": 3, "collector": 1, "emitter": 4}), resistor(1e3, 4, 0),
        )  # fmt: skip

    design = Design(follower(3, 2).board, input=IN, output=Probe("Q101", "emitter"))
    found = _what_if.what_if(simulator.worker, design, follower(3, 2), follower(2, 3))
    assert any(s.startswith("C101 sees −1.") for s in found.stresses)
    assert any("Q101" in s or "falls from" in s for s in found.sentences)


def test_broken_divider_is_told_as_a_region_and_a_voltage(simulator):
    sentences = told(simulator, amplifier(divider=6))
    assert any("Q101 is fully on instead of amplifying" in s for s in sentences)
    assert any("voltage falls from" in s for s in sentences)


def test_shorted_build_is_told_by_its_cause(simulator):
    shorted = handmade(("battery", 9.0, {"plus": 0, "minus": 0}), resistor(1000, 1, 0))
    (sentence,) = told(simulator, shorted)
    assert "shorted" in sentence and "Do not power" in sentence


def test_overheated_part_is_told(simulator):
    assert any(s.startswith("gain at 1 kHz falls") for s in told(simulator, amplifier(collector_ohm=22.0)))
    hot = handmade(BATTERY, resistor(47, 1, 0))
    cool = handmade(BATTERY, resistor(4700, 1, 0))
    found = _what_if.what_if(simulator.worker, Design(cool.board), cool, hot)
    assert any(s.startswith("R101 turns 1.") and "rated 250 mW" in s for s in found.sentences)


# ---------------------------------------------------------------- texts, netlist, plots


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4.527, "V", "4.53 V"), (0.0123, "A", "12.3 mA"), (43.14, "dB", "43.1 dB"), (2200, "ohm", "2.2 kΩ"),
        (0.369, "", "36.9 %"), (-3.9, "V", "−3.9 V"), (0, "A", "0 A"), (1e-9, "A", "1 nA"),
        (999.96, "Hz", "1 kHz"), (math.inf, "Hz", "∞"), (100, "V", "100 V"),
        (-0.04, "dB", "0.0 dB"), (-0.06, "dB", "−0.1 dB"),
    ],
)  # fmt: skip
def test_figures_as_people_say_them(value, unit, text):
    assert figure_text(value, unit) == text


def test_netlist_names_no_text_of_a_cube():
    text = export_netlist(amplifier())
    assert text.splitlines()[0].startswith("snapcheck ") and text.rstrip().endswith(".end")
    assert "BC547" not in text and "* Q101: npn\n" in text and "\nq_q101 n" in text


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_plots_are_pictures(simulator, theme):
    import xml.etree.ElementTree as Tree

    circuit = amplifier()
    design = design_of(circuit, *ALL[:4])
    survey = simulator.survey(design, circuit)
    tolerance = simulator.tolerance(design, circuit, samples=30)
    sweep = simulator.sweep(circuit, what="supply", values=[3, 6, 9, 12])
    plots = {plot.name: plot for plot in plots_of(survey, tolerance, sweep)}
    assert set(plots) == {"response", "sine", "clipping", "sweep", "tolerance"}
    assert plots["response"].title.startswith("Gain 42.5 dB at 1 kHz")
    for plot in plots.values():
        assert plot.render("png", theme).startswith(b"\x89PNG")
    svg = plots["response"].render("svg", theme)
    assert Tree.fromstring(svg).tag.endswith("svg")
    assert svg == plots["response"].render("svg", theme)  # the same picture every time


def test_plot_of_an_oscillation_and_a_delay(simulator):
    circuit = flasher()
    place = Probe("Q101", "collector")
    survey = simulator.survey(Design(circuit.board, output=place), circuit)
    assert [plot.name for plot in plots_of(survey)] == ["oscillation"]
    charging = handmade(BATTERY, resistor(1e4, 1, 2), ("capacitor", 1e-5, {"a": 2, "b": 0}))
    output = Probe("C101", "a")
    design = Design(
        charging.board, output=output, expectations=(Expectation("delay", None, None, 0.06, 0.08),)
    )
    survey = simulator.survey(design, charging)
    assert survey.figures[0].met and [plot.name for plot in plots_of(survey)] == ["delay"]


def test_survey_of_a_design_with_other_conditions(simulator):
    circuit = amplifier()
    design = replace(design_of(circuit), conditions=Conditions(supply_V={"B101": 3.0}))
    assert simulator.survey(design, circuit).point.voltage(1) == pytest.approx(3, abs=0.01)
