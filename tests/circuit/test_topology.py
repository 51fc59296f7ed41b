"""What structure alone says of direct current: rails, pulls, strings of parts, in either direction."""

from __future__ import annotations

import math

import pytest
from handmade import Entry, handmade

from snapcheck.circuit import PartSpec, circuit_of
from snapcheck.circuit._topology import Pull, Topology, forward_V
from snapcheck.kit import bundled_kit

BATTERY: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})


def r(a: int, b: int, ohms: float = 1000.0) -> Entry:
    return "resistor", ohms, {"a": a, "b": b}


def supply(plus: int, minus: int, volts: float | None) -> Entry:
    return "battery", volts, {"plus": plus, "minus": minus}


def led(anode: int, cathode: int) -> Entry:
    return "led", "red", {"anode": anode, "cathode": cathode}


def topology(*entries: Entry) -> Topology:
    return Topology(handmade(*entries))


def volts(t: Topology, *nets: int) -> list[float | None]:
    return [t.rail_V(n) for n in nets]


def test_rails_count_from_the_plate_with_their_sign() -> None:
    assert volts(topology(supply(1, 0, 9.0), supply(0, 2, 5.0), r(1, 2)), 0, 1, 2) == [0.0, 9.0, -5.0]
    assert volts(topology(supply(1, 2, 9.0), supply(2, 0, 5.0), r(1, 0)), 0, 1, 2) == [0.0, 14.0, 5.0]


def test_without_the_plate_rails_count_from_the_lowest() -> None:
    assert volts(topology(supply(1, 2, 9.0), supply(2, 3, 5.0), r(1, 3)), 3, 2, 1) == [0.0, 5.0, 14.0]
    assert volts(topology(supply(3, 1, 9.0), r(3, 1), r(3, 0)), 1, 3, 0) == [0.0, 9.0, None]


def test_a_source_without_a_print_is_taken_for_nine_volts() -> None:
    assert volts(topology(supply(1, 0, None), r(1, 0)), 1) == [9.0]


def test_volts_across_have_a_direction() -> None:
    t = topology(BATTERY, r(1, 0), r(1, 2))
    one, two = t.circuit.parts[1:3]
    assert t.across(one, "a", "b") == 9.0 and t.across(one, "b", "a") == -9.0
    assert t.across(two, "a", "b") is None  # net 2 is no rail


def test_what_a_net_is_drawn_to() -> None:
    t = topology(BATTERY, r(1, 2), r(2, 0), r(1, 3), r(3, 4), ("capacitor", 1e-7, {"a": 4, "b": 0}))
    assert (t.pull(2).low, t.pull(2).high, t.pull(2).fixed) == (0.0, 9.0, False)
    assert (t.pull(4).low, t.pull(4).high, t.pull(4).fixed) == (9.0, 9.0, True)
    first = t.circuit.parts[1].at
    assert t.pull(2, first).high == 0.0  # leaving out the upper one
    assert not topology(BATTERY, r(1, 0), r(2, 3)).pull(2).reached


def test_never_above() -> None:
    low, high, wide = Pull(0.0, 0.0, True), Pull(9.0, 9.0, True), Pull(0.0, 9.0, True)
    assert low.below(high) and low.below(wide) and wide.below(high)
    assert not high.below(low) and not wide.below(low) and not high.below(wide)
    assert not wide.below(Pull(5.0, 9.0, True))  # it may be above
    assert not low.below(low) and not wide.below(wide)


@pytest.mark.parametrize(("a", "b"), [(2, 0), (0, 2)])
def test_current_of_a_string_has_the_direction_of_the_part(a: int, b: int) -> None:
    t = topology(BATTERY, r(1, 2, 470.0), r(a, b, 530.0))
    assert t.series_current_A(t.circuit.parts[2]) == pytest.approx(9e-3 if a == 2 else -9e-3)


def test_junctions_take_their_share_of_a_string() -> None:
    t = topology(BATTERY, r(1, 2), led(2, 3), led(3, 0))
    light = t.circuit.part_named["D101"]
    assert t.series_current_A(light) == pytest.approx((9 - 2 * forward_V(light)) / 1000)
    # forward voltage at 10 mA as the kit's own remark has it: 1.85 V, of which RS takes 40 mV
    assert forward_V(light) == pytest.approx(1.85, abs=0.01)
    weak = topology(supply(1, 0, 3.0), r(1, 2), led(2, 3), led(3, 0))
    assert weak.series_current_A(weak.circuit.part_named["D101"]) == 0.0


def test_a_transistor_that_is_on_takes_a_tenth_of_a_volt() -> None:
    t = topology(BATTERY, r(1, 2), led(2, 3), ("npn", "BC547", {"base": 4, "collector": 3, "emitter": 0}),
                 r(1, 4, 1e5))  # fmt: skip
    light = t.circuit.part_named["D101"]
    expected = (9 - 0.1 - forward_V(light)) / 1000
    assert t.series_current_A(light, through_transistors=True) == pytest.approx(expected)
    assert t.series_current_A(light) is None


@pytest.mark.parametrize(("unit", "joined"), [("A", True), ("mA", True), ("V", False)])
def test_an_ammeter_is_a_wire_a_voltmeter_is_none(unit: str, joined: bool) -> None:

    parts = [
        PartSpec("meter", {"plus": 1, "minus": 2}, 0.1, unit=unit),
        PartSpec("resistor", {"a": 2, "b": 0}, 1e3),
    ]
    t = Topology(circuit_of(parts, bundled_kit()))
    assert (t.tie[1] == t.tie[2]) is joined


def test_open_switches_join_nothing_and_fuses_always_do() -> None:
    parts: list[Entry] = [
        BATTERY,
        ("switch", None, {"a": 1, "b": 2}),
        ("fuse", 0.1, {"a": 2, "b": 3}),
        r(3, 0),
    ]
    for opened in (False, True):
        t = Topology(handmade(*parts), open_switches=opened)
        assert (t.tie[1] == t.tie[2]) is not opened and t.tie[2] == t.tie[3]


@pytest.mark.parametrize(("volts_of_other", "difference"), [(9.0, 0.0), (9.04, 0.0), (9.5, 0.5), (6.0, 3.0)])
def test_round_a_ring_of_sources(volts_of_other: float, difference: float) -> None:
    t = topology(BATTERY, supply(1, 0, volts_of_other))
    (conflict,) = t.conflicts
    assert conflict.difference_V == pytest.approx(difference) and math.isfinite(conflict.difference_V)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("upper", [True, False])
def test_a_junction_against_the_current_lets_nothing_through(sign: int, upper: bool) -> None:
    """Whichever side of the resistor it is on, and whichever pole of the supply is on the plate."""
    source = supply(1, 0, 9.0) if sign > 0 else supply(0, 1, 9.0)
    for forward in (True, False):
        a, b = (1, 2) if upper else (2, 0)
        light = led(a, b) if forward is (sign > 0) else led(b, a)
        resistor = r(2, 0) if upper else r(1, 2)
        t = topology(source, light, resistor)
        current = t.series_current_A(t.circuit.part_named["R101"])
        expected = sign * (9 - forward_V(t.circuit.part_named["D101"])) / 1000 if forward else 0.0
        assert current == pytest.approx(expected)
