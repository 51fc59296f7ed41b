"""One cause is told once, where it stands; what a circuit need not use is no mistake."""

from __future__ import annotations

import pytest
from handmade import Entry, handmade
from ruleboards import KIT

from snapcheck.circuit import check_rules
from snapcheck.findings import Finding, Severity
from snapcheck.kit import chips_kit

CHIPS = chips_kit()
BATTERY: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})
RELAY = {"coil1": 1, "coil2": 0, "com": 1}


def r(a: int, b: int, ohms: float = 1000.0) -> Entry:
    return "resistor", ohms, {"a": a, "b": b}


class Solved:
    """Made-up volts, by net, and amperes, by part."""

    def __init__(self, volts: dict[int, float], amperes: dict[str, float] | None = None) -> None:
        self.net_voltages_V, self.part_currents_A = volts, amperes or {}
        self.part_powers_W: dict[str, float] = {}


def told(*entries: Entry, point: Solved | None = None) -> list[Finding]:
    return [f for f in check_rules(handmade(*entries, kit=CHIPS), point) if f.severity < Severity.NOTE]


def test_what_nothing_limits_is_told_once_and_not_of_its_battery_too() -> None:
    led: Entry = ("led", "red", {"anode": 1, "cathode": 0})
    assert KIT.kinds["battery"].ratings["max_current_A"] < 0.9
    (found,) = told(BATTERY, led, point=Solved({0: 0.0, 1: 7.0}, {"B101": -0.9, "D101": 0.9}))
    assert (found.rule, found.named[0]) == ("no-current-limit", "D101")


def test_a_bridge_fed_backwards_is_two_diodes_across_the_supply() -> None:
    bridge: Entry = ("bridge", None, {"plus": 0, "minus": 1, "ac1": 2, "ac2": 3})
    (found,) = told(BATTERY, bridge, r(2, 3))
    assert (found.rule, found.named) == ("no-current-limit", ("D101",)) and found.data["drop_V"] == 1.4
    assert told(BATTERY, ("bridge", None, {"plus": 2, "minus": 0, "ac1": 1, "ac2": 0}), r(2, 0)) == []


@pytest.mark.parametrize(("free", "throw"), [("rest", "work"), ("work", "rest")])
def test_a_relay_contact_may_short_the_supply_and_its_other_throw_may_stay_free(
    free: str, throw: str
) -> None:
    (found,) = told(BATTERY, ("relay", 12.0, {**RELAY, throw: 0, free: 2}))
    assert (found.rule, found.severity) == ("supply-shorted", Severity.DANGER) and "K101" in found.named
    assert told(BATTERY, ("relay", 12.0, {**RELAY, throw: 3, free: 2}), r(3, 0)) == []


def test_a_relay_never_joins_both_throws() -> None:
    assert told(BATTERY, ("relay", 12.0, {**RELAY, "com": 2, "work": 1, "rest": 0}), r(2, 0)) == []


def test_a_relay_of_which_no_throw_is_used_does_nothing() -> None:
    assert [f.rule for f in told(BATTERY, ("relay", 12.0, {**RELAY, "rest": 2, "work": 3}))] == [
        "terminal-open"
    ] * 2


#: an amplifier of gain one, and its neighbour
FIRST = {"plus": 1, "minus": 0, "non1": 2, "inv1": 3, "out1": 3}


@pytest.mark.parametrize(("second", "rules"), [
    ({"non2": 4, "inv2": 5, "out2": 6}, []),  # not used
    ({"non2": 0, "inv2": 0, "out2": 6}, []),  # not used, inputs tied
    ({"non2": 4, "inv2": 6, "out2": 6}, ["terminal-open"]),  # used, but nothing leads into it
])  # fmt: skip
def test_half_of_a_dual_amplifier_may_stay_free(second: dict[str, int], rules: list[str]) -> None:
    chip: Entry = ("opamp", "LM358", FIRST | second)
    assert [f.rule for f in told(BATTERY, r(1, 2), r(2, 0), r(3, 0), chip)] == rules


def test_a_chip_fed_backwards_is_a_danger_told_once() -> None:
    chip: Entry = ("opamp", "LM358", FIRST | {"plus": 0, "minus": 1, "non2": 2, "inv2": 4, "out2": 4})
    (found,) = told(BATTERY, r(1, 2), r(2, 0), r(3, 0), chip, point=Solved({0: 0.0, 1: 9.0}))
    assert (found.rule, found.severity, found.named) == ("reversed-in-circuit", Severity.DANGER, ("U101",))


def test_a_light_whose_feed_is_open_is_not_told_to_stand_wrongly() -> None:
    """Calculated, its anode floats at the plate's voltage; what is open is told of."""
    led: Entry = ("led", "red", {"anode": 2, "cathode": 3})
    found = told(
        BATTERY, r(4, 2), led, r(1, 3), r(3, 0), point=Solved({0: 0.0, 1: 9.0, 2: 0.0, 3: 4.5, 4: 0.0})
    )
    assert [f.rule for f in found] == ["terminal-open"]


def test_no_direct_current_passes_a_capacitor_whatever_a_moment_shows() -> None:
    speaker: Entry = ("speaker", 64.0, {"a": 3, "b": 0})
    blocked: Entry = ("electrolytic", 1e-4, {"plus": 2, "minus": 3})
    assert told(BATTERY, r(1, 2), blocked, speaker, point=Solved({}, {"LS101": 0.02})) == []
    through = told(BATTERY, r(1, 3), speaker, point=Solved({}, {"LS101": 0.02}))
    assert [f.rule for f in through] == ["speaker-direct-current"]


@pytest.mark.parametrize("side", ["npn", "pnp"])
@pytest.mark.parametrize("right", [True, False])
def test_a_diode_across_a_coil_looks_to_the_plus_on_either_side(side: str, right: bool) -> None:
    far, near = (0, 1) if side == "npn" else (1, 0)
    up, down = (1, 2) if side == "npn" else (2, 0)
    diode = {"cathode": up, "anode": down} if right else {"anode": up, "cathode": down}
    coil: Entry = ("relay", 5.0, {"coil1": near, "coil2": 2, "com": 4, "rest": 5, "work": 1})
    transistor: Entry = (side, None, {"base": 3, "collector": 2, "emitter": far})
    found = told(BATTERY, r(3, near), transistor, coil, ("diode", "1N4148", diode), r(4, 0))
    assert [(f.rule, f.named[0]) for f in found] == ([] if right else [("clamp-reversed", "D101")])


def test_the_switch_that_sets_two_supplies_against_each_other_is_named() -> None:
    six: Entry = ("battery", 6.0, {"plus": 2, "minus": 0})
    switch: Entry = ("switch", None, {"a": 1, "b": 2})
    (found,) = told(BATTERY, six, switch, ("switch", None, {"a": 1, "b": 3}), r(3, 0))
    assert found.rule == "supplies-fighting" and set(found.named) == {"B101", "B102", "S101"}
    assert "S101 closed" in found.title
    (always,) = told(
        BATTERY, ("battery", 6.0, {"plus": 1, "minus": 0}), ("switch", None, {"a": 1, "b": 2}), r(2, 0)
    )
    assert set(always.named) == {"B101", "B102"} and "closed" not in always.title


def test_current_out_of_a_collector_whose_base_nothing_limits_is_not_told_as_swapped_legs() -> None:
    darlington: Entry = ("npn", "BC547", {"base": 1, "collector": 2, "emitter": 3})
    output: Entry = ("npn", "BC547", {"base": 3, "collector": 2, "emitter": 0})
    point = Solved({0: 0.0, 1: 2.0, 2: 0.8, 3: 1.2})
    assert [f.rule for f in told(BATTERY, darlington, output, r(1, 2), point=point)] == ["no-current-limit"]


def test_a_shorted_source_beside_a_current_that_nothing_limits_is_told_too() -> None:
    led: Entry = ("led", "red", {"anode": 1, "cathode": 0})
    found = told(BATTERY, led, ("battery", 9.0, {"plus": 0, "minus": 0}))
    assert {f.rule for f in found} == {"no-current-limit", "supply-shorted"}
