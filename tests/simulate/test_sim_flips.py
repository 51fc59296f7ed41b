"""What a circuit that flips to and fro does to its capacitors is told, not what an unseen balance does."""

from __future__ import annotations

import pytest
from handmade import Entry, handmade

from snapcheck.circuit import check_rules
from snapcheck.findings import Severity
from snapcheck.kit import chips_kit
from snapcheck.simulate import Simulator

KIT = chips_kit()
BATTERY: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})


def r(a: int, b: int, ohms: float) -> Entry:
    return "resistor", ohms, {"a": a, "b": b}


def multivibrator(turned: bool) -> list[Entry]:
    """Bases 2 and 3, collectors 4 and 5; the capacitor from the first collector may be turned."""
    first, second = (4, 3) if not turned else (3, 4)
    return [
        BATTERY, r(1, 4, 1e3), r(1, 5, 1e3), r(1, 2, 47e3), r(1, 3, 47e3),
        ("electrolytic", 1e-5, {"plus": first, "minus": second}),
        ("electrolytic", 1e-5, {"plus": 5, "minus": 2}),
        ("npn", "BC547", {"base": 2, "collector": 4, "emitter": 0}),
        ("npn", "BC547", {"base": 3, "collector": 5, "emitter": 0}),
    ]  # fmt: skip


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def found(simulator, *entries: Entry):
    circuit = handmade(*entries, kit=KIT)
    point, others = simulator.operating_point(circuit), simulator.other_positions(circuit)
    told = check_rules(circuit, point, positions=others)
    return point, [f for f in told if f.rule == "electrolytic-reversed"], told


def test_a_multivibrator_whose_capacitors_stand_right_is_left_alone(simulator) -> None:
    point, told, _ = found(simulator, *multivibrator(turned=False))
    assert told == [] and not point.moving


def test_a_turned_capacitor_of_a_multivibrator_is_a_danger(simulator) -> None:
    """Its collector is at 9 V while the other base is at 0.7 V (Tietze, Schenk: Electronic Circuits)."""
    _, (told,), _ = found(simulator, *multivibrator(turned=True))
    assert told.severity is Severity.DANGER and told.named == ("C101",)
    assert told.title.startswith("With Q101 off: ") and told.data["voltage_V"] < -1.5


@pytest.mark.parametrize("turned", [False, True])
def test_of_a_timer_that_never_rests_no_moment_is_told_as_rest(simulator, turned: bool) -> None:
    """Its loudspeaker hangs behind a capacitor: no direct current, wherever ngspice stops."""
    plus, minus = (7, 8) if not turned else (8, 7)
    point, told, everything = found(
        simulator, BATTERY, r(1, 2, 10e3), r(2, 3, 47e3), ("capacitor", 1e-8, {"a": 3, "b": 0}),
        ("timer", "NE555", {"plus": 1, "reset": 1, "minus": 0, "trigger": 3, "threshold": 3, "discharge": 2,
                            "control": 4, "out": 7}),
        ("electrolytic", 1e-4, {"plus": plus, "minus": minus}), r(8, 9, 150.0),
        ("speaker", 64.0, {"a": 9, "b": 0}),
    )  # fmt: skip
    assert point.moving and "moving" in [remark.kind for remark in point.remarks]
    assert "speaker-direct-current" not in [f.rule for f in everything]
    assert [f.severity for f in told] == ([Severity.DANGER] if turned else [])
