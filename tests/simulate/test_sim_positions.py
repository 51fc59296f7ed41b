"""What destroys a part in some position of a switch is told, wherever the switch stands now."""

from __future__ import annotations

import pytest
from handmade import handmade

from snapcheck.board import Cell, Conditions, parse_layout
from snapcheck.circuit import build_circuit, check_rules, is_closed, switch_positions
from snapcheck.cli import main
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator
from snapcheck.simulate._stress import knobs_of

KIT = bundled_kit()
BURNS = """plate 6 x 4
A1 corner turn=0
A2 battery 9V plus=up
A3 ground stem=up
B1 switch turn=0
C1 resistor {ohm} turn=0
D1 corner turn=90
D2 led red anode=up
D3 ground stem=up
"""


def circuit_of(ohm: str):
    return build_circuit(parse_layout(BURNS.format(ohm=ohm), "test", KIT).board, KIT)


@pytest.mark.parametrize("closed", [False, True])
def test_an_overload_behind_an_open_switch_is_told(closed: bool) -> None:
    circuit, here = circuit_of("47"), Conditions(switches={Cell.parse("B1"): closed})
    with Simulator() as simulator:
        point = simulator.operating_point(circuit, here)
        positions = simulator.other_positions(circuit, here)
    found = check_rules(circuit, point, positions=positions)
    burning = {str(f.cells[0]): f for f in found if f.rule == "over-rating"}
    assert set(burning) == {"C1", "D2"}
    for finding in burning.values():
        assert finding.severity is Severity.DANGER
        assert finding.title.startswith("With B1 closed: ") is not closed
    alone = [f for f in check_rules(circuit, point) if f.rule == "over-rating"]
    assert bool(alone) is closed


def test_a_sound_circuit_is_sound_in_every_position() -> None:
    circuit = circuit_of("470")
    with Simulator() as simulator:
        positions = simulator.other_positions(circuit, Conditions())
        point = simulator.operating_point(circuit, Conditions())
    assert len(positions) == 1
    assert [f for f in check_rules(circuit, point, positions=positions) if f.severity < Severity.NOTE] == []


@pytest.mark.parametrize(("count", "expected"), [(1, 1), (2, 3), (4, 15), (5, 6), (40, 41)])
def test_positions_are_bounded(count: int, expected: int) -> None:
    cells = "\n".join(f"A{row} switch turn=0" for row in range(1, count + 1))
    circuit = build_circuit(parse_layout(f"plate 4 x 60\n{cells}\n", "test", KIT).board, KIT)
    usual = Conditions()
    positions = switch_positions(circuit, usual)
    assert len(positions) == expected
    now = [is_closed(p, usual) for p in circuit.parts]
    for position in positions.values():
        assert [is_closed(p, position) for p in circuit.parts] != now


def test_the_verdict_counts_it(tmp_path, capsys) -> None:
    path = tmp_path / "burns.board"
    path.write_text(BURNS.format(ohm="47") + "set B1 open\n", encoding="utf-8")
    assert main(["rules", str(path)]) == 11
    assert "With B1 closed: The resistor 47 at C1 is overloaded." in capsys.readouterr().out
    assert main(["compare", str(path), str(path)]) == 11


def test_light_and_warmth_are_turned_through_all_that_a_bench_may_see() -> None:
    """Common practice, no source: a dark cupboard to the sun outdoors, a cold cellar to a hot car."""
    sensing = handmade(
        ("photoresistor", 10e3, {"a": 1, "b": 0}), ("thermistor", 10e3, {"a": 1, "b": 0}),
        ("potentiometer", 10e3, {"a": 1, "b": 0, "wiper": 0}),
    )  # fmt: skip
    turned = {knob.what: (min(values), max(values)) for knob, values in knobs_of(sensing)}
    assert turned["light"][0] <= 0.2 and turned["light"][1] >= 100_000
    assert turned["temperature"][0] <= -10 and turned["temperature"][1] >= 60
    assert turned["pot"] == (0, 1)
    assert [knob for knob, _ in knobs_of(circuit_of("470"))] == []


def half_way(*divider):
    """A lamp's load of 3.3 ohm behind a MOSFET that light, warmth or a knob turns on."""
    return handmade(
        ("supply", 12.0, {"plus": 1, "minus": 0}), ("nmos", "IRLZ44", {"gate": 2, "drain": 3, "source": 0}),
        ("resistor", 3.3, {"a": 1, "b": 3}), *divider,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("divider", "words"),
    [
        ([("photoresistor", 10e3, {"a": 2, "b": 0}), ("resistor", 100e3, {"a": 1, "b": 2})], "light"),
        ([("potentiometer", 10e3, {"a": 0, "b": 1, "wiper": 2})], "%"),
        ([("thermistor", 10e3, {"a": 1, "b": 2}), ("resistor", 1500.0, {"a": 2, "b": 0})], "temperature"),
    ],
)
def test_heat_half_way_is_found_wherever_the_knob_stands(divider, words) -> None:
    """What a transistor in series with R turns into heat is greatest half way: P = U²/(4·R) (maximum power
    transfer; Horowitz, Hill: The Art of Electronics, chapter 1). Fully on or off it stays cool."""
    circuit = half_way(*divider)
    off = Conditions(temperature_C=-10.0, pots={"RV101": 0.0})
    with Simulator() as simulator:
        point = simulator.operating_point(circuit, off)
        positions = simulator.other_positions(circuit, off)
    assert point.power("Q101") < 2
    ohm = 3.3 + 0.3  # the supply's own is part of the load
    most = max(p.power("Q101") for p in positions.values())
    assert 0.6 * 144 / (4 * ohm) < most <= 1.01 * 144 / (4 * ohm)
    told = [f for f in check_rules(circuit, point, positions=positions) if "MOSFET" in f.title]
    assert [f.severity for f in told] == [Severity.DANGER]
    assert words in told[0].title.partition(":")[0]
