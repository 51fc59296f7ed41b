"""Test points and checks: what a meter should show, and whether it may be powered for that."""

from __future__ import annotations

from dataclasses import replace

import pytest
from samples import KIT, designs

from snapcheck.board import parse_layout
from snapcheck.circuit import build_circuit, check_rules
from snapcheck.findings import Severity
from snapcheck.sheet import Expected, course_of, make_sheet, sheet_json
from snapcheck.sheet._readings import expected_readings
from snapcheck.sheet._steps import board_of
from snapcheck.simulate import Simulator

DESIGNS = {file.stem: design for file, design in designs()}

DIVIDER = """plate 3 x 4
A1 corner ends=right+down
B1 corner ends=left+down
A2 battery 9V plus=up
B2 resistor 10k turn=90
A3 ground stem=up
B3 tee stem=right
C3 socket signal=left
B4 ground stem=up
"""


def test_the_band_of_a_divider_is_that_of_its_parts(simulator: Simulator) -> None:
    """Worst case of a divider of two resistors: U·R2/(R1+R2) with each at its limit (Ohm's law)."""
    text = DIVIDER.replace("plate 3 x 4", "plate 3 x 5").replace(
        "B4 ground stem=up", "B4 resistor 10k turn=90"
    )
    sheet = make_sheet(parse_layout(text + "B5 ground stem=up\n", "divider", KIT), KIT, simulator)
    points = {p.words: p.readings[0] for p in sheet.expected.points}
    supply, middle = points["A2 plus"], points["B2 down"]
    assert supply is not None and middle is not None
    assert middle.volts == pytest.approx(supply.volts / 2, rel=1e-3)
    part = KIT["resistor"].tolerance
    least = supply.low * (1 - part) / (1 - part + 1 + part)
    most = supply.high * (1 + part) / (1 - part + 1 + part)
    assert least - 0.06 < middle.low < middle.volts < middle.high < most + 0.06  # 1 % of a meter and 10 mV
    assert middle.high - middle.low > 0.5 * (most - least)


def test_test_points_are_few_and_tell_most(simulator: Simulator) -> None:
    expected = expected_readings(course_of(DESIGNS["speech-stage"], KIT), simulator)
    assert next(p.words for p in expected.points) == "A2 plus" and len(expected.points) <= 6
    told = {p.words: p.readings[0] for p in expected.points}
    assert {"E4 base", "E4 collector", "E4 emitter"} <= set(told)
    collector = told["E4 collector"]
    # the design promises 4 to 6 V; a meter's own error is in the band
    assert collector is not None and collector.low + 0.2 >= 4 and collector.high <= 6
    assert [p.number for p in expected.points] == list(range(1, len(expected.points) + 1))


def test_readings_under_each_condition_that_a_figure_asks_for(simulator: Simulator) -> None:
    sheet = make_sheet(DESIGNS["night-lamp"], KIT, simulator)
    (point,) = [p for p in sheet.expected.points if p.words == "D3 collector"]
    lit, dark = point.readings
    assert lit is not None and dark is not None and lit.volts > 5.5 and dark.volts < 0.4
    assert sheet_json(sheet)["conditions"][1] == "Light 1 lux"


def test_a_stage_is_checked_where_it_may_be_powered(simulator: Simulator) -> None:
    course = course_of(DESIGNS["loudspeaker-amplifier"], KIT)
    checks = expected_readings(course, simulator).checks
    assert [c.stage for c in checks] == [0, 1, 2] and checks[0].reading.words == "D4 collector"
    for check in checks:
        cells = [c for s in course.stages[: check.stage + 1] for c in s.cells]
        circuit = build_circuit(board_of(course.circuit, [*cells, *check.power]), KIT)
        point = simulator.operating_point(circuit)
        assert not [f for f in check_rules(circuit, point) if f.severity is Severity.DANGER]
        net = circuit.net_of(check.reading.place.cell, check.reading.place.terminal)
        assert net is not None and point.voltage(net) == pytest.approx(check.reading.volts, rel=1e-6, abs=0.2)
        assert check.reading.low < check.reading.volts < check.reading.high


def test_a_stage_is_not_powered_where_that_is_dangerous(simulator: Simulator) -> None:
    """The diode comes without its resistor in the first stage: the supply must not be put in."""
    text = (
        "plate 4 x 3\nA1 corner ends=right+down\nB1 tee stem=down\nC1 tee stem=down\n"
        "D1 corner ends=left+down\n"
        "A2 battery 9V plus=up\nB2 led red anode=up\nC2 resistor 470 turn=90\nD2 resistor 470 turn=90\n"
        "A3 ground stem=up\nB3 ground stem=up\nC3 ground stem=up\nD3 ground stem=up\n"
    )
    safe = text.replace("B2 led red anode=up", "B2 resistor 1k turn=90").replace(
        "C2 resistor 470", "C2 resistor 1k"
    )
    for layout, some in ((text, False), (safe, False)):
        design = parse_layout(layout + "stage First: A1 B1 B2 B3\nstage Second: C1 C2 C3\n", "plan", KIT)
        checks = expected_readings(course_of(design, KIT), simulator).checks
        assert bool(checks) == some  # in the safe one, nothing lies between plate and supply
    middle = text.replace("plate 4 x 3", "plate 4 x 4").replace(
        "B3 ground", "B3 resistor 1k turn=90\nB4 ground"
    )
    design = parse_layout(middle + "stage First: A1 B1 B2 B3 B4\nstage Second: C1 C2 C3\n", "plan", KIT)
    (check, *_) = expected_readings(course_of(design, KIT), simulator).checks
    assert check.stage == 0 and check.reading.words == "B2 cathode"
    assert 9 - 2.3 < check.reading.volts < 9 - 1.5  # a red diode's forward voltage is below the supply


def test_an_oscillator_is_said_to_move(simulator: Simulator) -> None:
    expected = expected_readings(course_of(DESIGNS["two-lamp-flasher"], KIT), simulator)
    assert expected.moving and [p.words for p in expected.points] == ["A2 plus"]


def test_without_a_simulator_the_sheet_does_without(simulator: Simulator) -> None:
    sheet = make_sheet(DESIGNS["first-light"], KIT)
    assert replace(sheet.expected, note="") == Expected() and sheet.figures == ()
    unsolvable = parse_layout("plate 2 x 1\nA1 resistor 470\n", "plan", KIT)
    assert make_sheet(unsolvable, KIT, simulator).course.steps
