"""Rules at their limits: from both sides, with either sign, for either sort of transistor."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pytest
from edits import edited
from handmade import Entry, handmade
from ruleboards import LOOP, check

from snapcheck.board import Spot
from snapcheck.circuit import bundled_rules, check_rules
from snapcheck.findings import Finding, Severity
from snapcheck.kit import bundled_kit

BATTERY: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})


@dataclass
class Solved:
    """A made-up operating point: volts by net, amperes and watts by part."""

    net_voltages_V: dict[int, float] = field(default_factory=dict)
    part_currents_A: dict[Spot, float] = field(default_factory=dict)
    part_powers_W: dict[Spot, float] = field(default_factory=dict)


def r(a: int, b: int, ohms: float = 1000.0) -> Entry:
    return "resistor", ohms, {"a": a, "b": b}


def supply(plus: int, minus: int, volts: float | None = 9.0) -> Entry:
    return "battery", volts, {"plus": plus, "minus": minus}


def plus_minus(kind: str, plus: int, minus: int, value: float | str | None = 1e-5) -> Entry:
    return kind, value, {"plus": plus, "minus": minus}


def told(rule: str, *entries: Entry, **solved: dict) -> list[Finding]:  # type: ignore[type-arg]
    circuit = handmade(*entries)
    point = Solved(**solved) if solved else None
    return [f for f in check_rules(circuit, point) if f.rule == rule]


def limit(rule: str, name: str) -> float:
    return bundled_rules().limit(rule, name)


# ---------------------------------------------------------------- supplies


def test_a_split_supply_is_not_reversed() -> None:
    upper, lower = supply(1, 0), supply(0, 2)
    loads = [r(1, 0), r(2, 0)]
    assert told("supply-reversed", upper, lower, *loads) == []
    (alone,) = told("supply-reversed", lower, r(2, 0))
    assert alone.named == ("B101",) and alone.severity is Severity.DANGER


def test_a_supply_that_is_shorted_or_feeds_nothing_is_not_told_as_reversed_too() -> None:
    assert told("supply-reversed", supply(0, 0)) == []
    almost = supply(0, 1), r(1, 0, 0.5)
    assert told("supply-shorted", *almost) and told("supply-reversed", *almost) == []
    board = "plate 3 x 4\nA1 ground stem=down\nA2 battery 9V plus=up\nC1 resistor 1k\n"
    assert "supply-reversed" not in {f.rule for f in check(board)}


@pytest.mark.parametrize(("volts", "over"), [(30.0, False), (31.0, True)])
def test_both_halves_of_a_split_supply_count(volts: float, over: bool) -> None:
    """60 V between the outer ends, whatever either end has against the plate."""
    found = told("above-extra-low", supply(1, 0, volts), supply(0, 2, volts), r(1, 2))
    assert bool(found) is over


@pytest.mark.parametrize(("volts", "fights"), [(9.04, False), (9.06, True), (8.96, False), (8.94, True)])
def test_sources_within_the_limit_are_equal(volts: float, fights: bool) -> None:
    pair = supply(1, 0), supply(1, 0, volts)
    assert bool(told("supplies-fighting", *pair)) is fights
    assert bool(told("supplies-parallel", *pair)) is not fights


def test_two_that_oppose_and_two_in_series() -> None:
    (found,) = told("batteries-opposed", supply(2, 1), supply(2, 0), r(1, 0))
    assert found.named == ("B101", "B102")
    assert told("batteries-opposed", supply(1, 2), supply(2, 0), r(1, 0)) == []


@pytest.mark.parametrize(("ohms", "short"), [(1.9, True), (2.0, False), (10.0, False)])
def test_from_how_many_ohms_on_a_resistor_is_no_short(ohms: float, short: bool) -> None:
    assert bool(told("supply-shorted", BATTERY, r(1, 0, ohms))) is short


@pytest.mark.parametrize("amperes", [0.11, -0.11, 0.09, -0.09])
def test_a_fuse_blows_in_either_direction(amperes: float) -> None:
    fuse: Entry = ("fuse", 0.1, {"a": 1, "b": 2})
    found = told("fuse-blows", BATTERY, fuse, r(2, 0, 90.0), part_currents_A={"F101": amperes})
    assert bool(found) is (abs(amperes) > 0.1)


# ---------------------------------------------------------------- nothing limits the current


LIMIT_NEEDED = [
    ("diode", "1N4148", {"anode": 1, "cathode": 0}),
    ("npn", "BC547", {"base": 1, "collector": 2, "emitter": 0}),
    ("pnp", "BC557", {"emitter": 1, "collector": 2, "base": 0}),
    ("pnp", "BC557", {"collector": 1, "emitter": 2, "base": 0}),
    ("npn", "BC547", {"base": 1, "emitter": 2, "collector": 0}),
    ("nmos", "2N7000", {"source": 1, "drain": 0, "gate": 2}),
]


@pytest.mark.parametrize(("kind", "value", "nets"), LIMIT_NEEDED)
def test_every_junction_straight_across_a_supply(kind: str, value: str, nets: dict[str, int]) -> None:
    """The direction of each junction by the arrow of its symbol (IEC 60617); the other way it blocks."""
    other = r(1, 2) if 2 in nets.values() else r(1, 0)
    assert told("no-current-limit", BATTERY, (kind, value, nets), other)
    around = {t: {0: 1, 1: 0}.get(n, n) for t, n in nets.items()}
    assert told("no-current-limit", BATTERY, (kind, value, around), other) == []


@pytest.mark.parametrize(("volts", "told_of"), [(0.85, False), (0.95, True)])
def test_the_margin_lies_above_the_forward_voltage(volts: float, told_of: bool) -> None:
    """A silicon junction takes 0.7 V (common practice); the margin is 0.2 V."""
    assert limit("no-current-limit", "margin_V") == 0.2
    q: Entry = ("npn", "BC547", {"base": 1, "collector": 2, "emitter": 0})
    assert bool(told("no-current-limit", supply(1, 0, volts), q, r(1, 2))) is told_of


@pytest.mark.parametrize(("volts", "told_of"), [(5.2, False), (5.4, True)])
def test_a_zener_in_reverse_takes_its_printed_voltage(volts: float, told_of: bool) -> None:
    z: Entry = ("zener", 5.1, {"anode": 0, "cathode": 1})
    assert bool(told("no-current-limit", supply(1, 0, volts), z)) is told_of


@pytest.mark.parametrize(("low", "told_of"), [(7.0, True), (8.2, False)])
def test_a_junction_between_two_rails_gets_their_difference(low: float, told_of: bool) -> None:
    d: Entry = ("led", "red", {"anode": 1, "cathode": 2})
    low -= 1.2  # an LED takes 1.85 V
    found = told("no-current-limit", BATTERY, supply(2, 0, low), d)
    assert bool(found) is told_of
    assert (
        told("no-current-limit", BATTERY, supply(2, 0, low), ("led", "red", {"anode": 2, "cathode": 1})) == []
    )


def test_at_one_end_of_a_knob_it_is_a_fault_without_one_a_danger() -> None:
    led: Entry = ("led", "red", {"anode": 2, "cathode": 0})
    knob: Entry = ("potentiometer", 1000.0, {"a": 1, "wiper": 2, "b": 3})
    (found,) = told("no-current-limit", BATTERY, knob, led)
    assert found.severity is Severity.FAULT and "travel" in found.title
    (found,) = told("no-current-limit", BATTERY, ("led", "red", {"anode": 1, "cathode": 0}))
    assert found.severity is Severity.DANGER


# ---------------------------------------------------------------- polarity


@pytest.mark.parametrize(
    ("volts", "severity"),
    [
        (0.3, None), (-0.29, None), (-0.31, Severity.NOTE), (-0.99, Severity.NOTE), (-1.0, Severity.NOTE),
        (-1.01, Severity.DANGER), (5.0, None),
    ],
)  # fmt: skip
def test_how_much_reverse_voltage_an_electrolytic_stands(volts: float, severity: Severity | None) -> None:
    parts = BATTERY, r(1, 2), plus_minus("electrolytic", 2, 3), r(3, 0)
    found = told("electrolytic-reversed", *parts, net_voltages_V={2: 2.0 + volts, 3: 2.0, 1: 9.0, 0: 0.0})
    assert [f.severity for f in found] == ([] if severity is None else [severity])


@pytest.mark.parametrize(("volts", "over"), [(10.0, False), (10.1, True), (-12.0, False)])
def test_the_rated_voltage_of_an_electrolytic_has_no_slack(volts: float, over: bool) -> None:
    found = [
        f.rule
        for f in check(
            edited(LOOP, "B1 tee stem=down", "B2 electrolytic 10uF/10V plus=up", "B3 resistor 10k turn=90",
                   "B4 ground stem=up"),
            volts={"B2 plus": 20.0, "B2 minus": 20.0 - volts},
        )
    ]  # fmt: skip
    assert ("electrolytic-overvoltage" in found) is over


def test_two_supplies_without_a_common_end_say_nothing_about_each_other() -> None:
    """Plus on the low end of one ring, minus on the high end of another: no voltage is certain."""
    between = plus_minus("electrolytic", 0, 2)
    apart = [BATTERY, r(1, 0), supply(2, 3), r(2, 3)]
    assert told("electrolytic-reversed", *apart, between) == []
    drawn = [r(5, 0), plus_minus("electrolytic", 5, 6), r(6, 2)]  # and no more through resistors
    assert told("electrolytic-reversed", *apart, *drawn) == []
    assert told("electrolytic-reversed", BATTERY, supply(2, 0, 5.0), *drawn)
    assert told("electrolytic-reversed", BATTERY, r(1, 0), supply(2, 0, 5.0), r(2, 0), between)


@pytest.mark.parametrize(("volts", "wrong"), [(0.3, False), (-0.25, False), (-0.35, True)])
def test_what_works_one_way_round_only(volts: float, wrong: bool) -> None:
    parts = BATTERY, r(1, 2), ("led", "red", {"anode": 2, "cathode": 0})
    found = told("reversed-in-circuit", *parts, net_voltages_V={2: volts, 1: 9.0, 0: 0.0})
    assert bool(found) is wrong


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("amperes", "over"), [(0.004, False), (0.006, True)])
def test_direct_current_through_a_loudspeaker_either_way(sign: int, amperes: float, over: bool) -> None:
    parts = BATTERY, ("speaker", 8.0, {"a": 2, "b": 0}), r(1, 2)
    assert bool(told("speaker-direct-current", *parts, part_currents_A={"LS101": sign * amperes})) is over


# ---------------------------------------------------------------- ratings


@pytest.mark.parametrize(("factor", "severity"), [
    (1.05, None), (1.15, Severity.FAULT), (2.9, Severity.FAULT), (3.1, Severity.DANGER),
])  # fmt: skip
@pytest.mark.parametrize("sign", [1, -1])
def test_a_current_is_let_pass_a_little_above_its_rating(
    factor: float, severity: Severity | None, sign: int
) -> None:
    parts = BATTERY, r(1, 2), ("led", "red", {"anode": 2, "cathode": 0})
    rated = handmade(*parts).part_named["D101"].ratings["max_current_A"]
    found = told("over-rating", *parts, part_currents_A={"D101": sign * factor * rated})
    assert [f.severity for f in found] == ([] if severity is None else [severity])


def test_a_short_may_lead_through_several_parts() -> None:
    (short,) = told("supply-shorted", BATTERY, r(1, 2, 0.1), r(2, 3, 0.1), r(3, 0, 0.1), r(1, 0))
    assert short.severity is Severity.DANGER
    assert told("supply-shorted", BATTERY, r(1, 2, 0.1), r(2, 3), r(3, 0, 0.1)) == []


@pytest.mark.parametrize(("anode", "over"), [(-32.0, False), (-34.0, True), (32.0, False), (34.0, False)])
def test_reverse_voltage_counts_backwards_only(anode: float, over: bool) -> None:
    parts = BATTERY, r(1, 2), ("diode", "BAT85", {"anode": 2, "cathode": 0})
    assert handmade(*parts).part_named["D101"].ratings["max_reverse_V"] == 30
    found = told("over-rating", *parts, net_voltages_V={2: anode, 1: 9.0, 0: 0.0})
    assert ["reverse_V" in f.data for f in found] == ([True] if over else [])


def test_a_reversed_diode_in_a_string_carries_no_forward_current() -> None:
    diode = [("diode", "1N4148", {"anode": 2, "cathode": 0}), ("diode", "1N4148", {"anode": 0, "cathode": 2})]
    assert [bool(told("over-rating", BATTERY, r(1, 2, 30.0), d)) for d in diode] == [True, False]
    for a, k in ((2, 0), (0, 2)):
        found = told("over-rating", BATTERY, r(1, 2, 100.0), ("led", "red", {"anode": a, "cathode": k}))
        assert ["current_A" in f.data for f in found if f.named == ("D101",)] == [True] * (a == 2)


@pytest.mark.parametrize(("ohms", "over"), [(330.0, False), (280.0, True)])
def test_power_of_a_resistor_goes_with_the_square_of_its_current(ohms: float, over: bool) -> None:
    """U²/R: 81 V² / 330 ohm is 0.245 W, 81 V² / 280 ohm 0.289 W; a quarter of a watt and a tenth."""
    found = told("over-rating", BATTERY, r(1, 0, ohms))
    assert bool(found) is over
    if over:
        assert found[0].data["power_W"] == pytest.approx(81 / ohms)
        assert found[0].mend == "Use a larger resistance."


@pytest.mark.parametrize(("volts", "over"), [(6.0, False), (7.5, False), (7.7, True), (4.0, False)])
def test_a_lamp_stands_a_little_more_than_its_print(volts: float, over: bool) -> None:
    """Fifteen hundredths of itself (the kit says so), and the slack of all ratings on top: 7.59 V for 6 V."""
    assert bool(told("over-rating", supply(1, 0, volts), ("lamp", "6V/0.1A", {"a": 1, "b": 0}))) is over


@pytest.mark.parametrize(("volts", "over"), [(7.2, False), (7.3, True)])
def test_a_lamp_of_which_a_kit_says_nothing_stands_a_tenth_more_than_its_print(
    volts: float, over: bool
) -> None:
    """Common practice, no source; and the slack of all ratings on top: 7.26 V for 6 V."""
    usual = bundled_kit()
    lamp = usual["lamp"]
    plain = replace(lamp, parameters={k: v for k, v in lamp.parameters.items() if k != "overload_fraction"})
    kit = replace(usual, kinds={**usual.kinds, "lamp": plain})
    circuit = handmade(supply(1, 0, volts), ("lamp", "6V/0.1A", {"a": 1, "b": 0}), kit=kit)
    assert ("over-rating" in [f.rule for f in check_rules(circuit)]) is over


# ---------------------------------------------------------------- transistors


@pytest.mark.parametrize(("kind", "value", "high", "low", "control"), [
    ("npn", "BC547", "collector", "emitter", "base"),
    ("pnp", "BC557", "emitter", "collector", "base"),
    ("nmos", "2N7000", "drain", "source", "gate"),
])  # fmt: skip
@pytest.mark.parametrize(("volts", "wrong"), [(5.0, False), (0.1, False), (-0.25, False), (-0.35, True)])
def test_which_leg_belongs_on_the_higher_side(
    kind: str, value: str, high: str, low: str, control: str, volts: float, wrong: bool
) -> None:
    parts = BATTERY, r(1, 2), r(1, 3), r(4, 0), (kind, value, {high: 3, low: 4, control: 2})
    found = told("transistor-swapped", *parts, net_voltages_V={3: 4 + volts, 4: 4.0, 2: 4.0, 1: 9.0, 0: 0.0})
    assert bool(found) is wrong
    around = told("transistor-swapped", BATTERY, r(1, 2), r(1, 3), r(4, 0),
                  (kind, value, {high: 4, low: 3, control: 2}))  # fmt: skip
    assert len(around) == 1  # and from the structure alone


@pytest.mark.parametrize("kind", ["npn", "pnp"])
@pytest.mark.parametrize(("ohms", "over"), [(60.0, True), (100.0, False)])
def test_base_current_counts_from_the_far_side_of_its_junction(kind: str, ohms: float, over: bool) -> None:
    """(9 - 0.7) V over 60 ohm is 138 mA, over 100 ohm 83 mA; a tenth of an ampere and a tenth of it."""
    far, near = (1, 0) if kind == "npn" else (0, 1)
    q: Entry = (kind, "BC337" if kind == "npn" else "BC327", {"base": 2, "collector": 3, "emitter": near})
    found = told("over-rating", BATTERY, r(far, 2, ohms), r(far, 3, 1e4), q)
    mine = [f for f in found if "base_current_A" in f.data]
    assert bool(mine) is over
    if over:
        assert mine[0].data["base_current_A"] == pytest.approx(8.3 / ohms)


@pytest.mark.parametrize("kind", ["npn", "pnp"])
@pytest.mark.parametrize(("ohms", "watts"), [(100.0, 0.689), (10e3, None)])
def test_a_resistor_before_a_base_has_the_rest_of_the_supply(
    kind: str, ohms: float, watts: float | None
) -> None:
    """(9 - 0.7) V on 100 ohm are 0.69 W: far more than a quarter of a watt, whatever a model's base adds."""
    far, near = (1, 0) if kind == "npn" else (0, 1)
    q: Entry = (kind, "BC337" if kind == "npn" else "BC327", {"base": 2, "collector": 3, "emitter": near})
    found = told("over-rating", BATTERY, r(far, 2, ohms), r(far, 3, 1e4), q)
    powers = [f.data["power_W"] for f in found if "power_W" in f.data]
    assert powers == ([] if watts is None else [pytest.approx(watts, abs=5e-4)])
    high = told("over-rating", BATTERY, r(far, 2, ohms), r(far, 3, 1e4), r(near, 4, 10.0),
                (kind, q[1], {"base": 2, "collector": 3, "emitter": 4}))  # fmt: skip
    assert not [f for f in high if "power_W" in f.data]  # the emitter may follow the base


def test_every_resistor_at_a_base_counts_with_its_sign() -> None:
    q: Entry = ("npn", "BC337", {"base": 2, "collector": 3, "emitter": 0})
    two = [r(1, 2, 120.0), r(1, 2, 121.0), r(1, 3, 1e4)]
    found = [f for f in told("over-rating", BATTERY, q, *two) if "base_current_A" in f.data]
    assert found[0].data["base_current_A"] == pytest.approx(8.3 / 120 + 8.3 / 121)
    away = [f for f in told("over-rating", BATTERY, q, *two, r(2, 0, 20.0)) if "base_current_A" in f.data]
    assert not away  # 0.7 V / 20 ohm flow away from the base


def test_a_collector_without_a_way_is_told_as_an_emitter_is() -> None:
    q = {"base": 2, "collector": 3, "emitter": 4}
    lost = {}
    for leg, net in (("collector", 3), ("emitter", 4)):
        rest = [r(1, 3)] if leg == "emitter" else [r(4, 0)]
        lost[leg] = told("emitter-no-return", BATTERY, r(1, 2), ("npn", "BC547", q), *rest,
                         ("capacitor", 1e-7, {"a": net, "b": 0}))  # fmt: skip
    assert all(len(found) == 1 and leg in found[0].title for leg, found in lost.items())


def test_a_knob_between_source_and_base_is_no_block() -> None:
    source: Entry = ("audio-in", None, {"signal": 5, "plate": 0})
    knob: Entry = ("potentiometer", 1e4, {"a": 5, "b": 0, "wiper": 2})
    stage = [BATTERY, r(1, 2, 1e5), r(1, 3), ("npn", "BC547", {"base": 2, "collector": 3, "emitter": 0})]
    assert told("input-without-block", *stage, source, knob)
    apart = ("capacitor", 1e-6, {"a": 6, "b": 2})
    knob = ("potentiometer", 1e4, {"a": 5, "b": 0, "wiper": 6})
    assert told("input-without-block", *stage, source, knob, apart) == []


def test_only_gates_float_while_a_switch_is_open() -> None:
    button: Entry = ("pushbutton", None, {"a": 1, "b": 2})
    field_effect: Entry = ("nmos", "2N7000", {"gate": 2, "drain": 3, "source": 0})
    base: Entry = ("npn", "BC547", {"base": 4, "collector": 3, "emitter": 0})
    assert told("gate-floats-open", BATTERY, button, field_effect, r(1, 3))
    assert told("gate-floats-open", BATTERY, button, r(2, 4, 1e4), base, r(1, 3)) == []
    assert told("gate-floats-open", BATTERY, button, field_effect, r(1, 3), r(2, 0, 1e5)) == []


# ---------------------------------------------------------------- coils, capacitors, taps


COIL: list[Entry] = [
    BATTERY, r(1, 2), ("nmos", "2N7000", {"gate": 2, "drain": 3, "source": 0}),
    ("inductor", 0.1, {"a": 1, "b": 3}),
]  # fmt: skip


def diode(anode: int, cathode: int) -> Entry:
    return "diode", "1N4001", {"anode": anode, "cathode": cathode}


def test_a_coil_is_caught_across_itself_or_to_a_rail() -> None:
    assert told("flyback-missing", *COIL)
    assert told("flyback-missing", *COIL, diode(3, 1)) == []
    assert told("flyback-missing", *COIL, supply(5, 0, 24.0), r(5, 0, 1e4), diode(3, 5)) == []
    assert told("flyback-missing", *COIL, diode(3, 6), r(6, 7), r(7, 0))
    no_rail = [BATTERY, r(1, 2), COIL[2], r(1, 4, 50.0), ("inductor", 0.1, {"a": 4, "b": 3})]
    assert told("flyback-missing", *no_rail) == []  # a resistor takes part of it


def stages(count: int, *more: Entry) -> list[Finding]:
    parts: list[Entry] = [BATTERY]
    for n in range(count):
        base, collector = 10 + 2 * n, 11 + 2 * n
        parts += [r(1, base, 1e5), r(1, collector), ("npn", "BC547", {"base": base, "collector": collector,
                                                                       "emitter": 0})]  # fmt: skip
    return told("decoupling-missing", *parts, *more)


def test_where_a_supply_of_several_stages_needs_a_capacitor() -> None:
    assert [bool(stages(n)) for n in (1, 2, 3)] == [False, True, True]
    assert stages(2, plus_minus("electrolytic", 1, 0)) == []
    for ohms, missing in ((1000.0, False), (1100.0, True)):  # behind a filter resistor
        filtered = [r(1, 5, ohms), plus_minus("electrolytic", 5, 0), r(5, 0, 1e5)]
        assert bool(stages(2, *filtered)) is missing
    assert stages(2, ("capacitor", 1e-7, {"a": 1, "b": 11}))  # from the rail to a collector is none


def test_a_joined_part_names_what_joins_it() -> None:
    board = edited(LOOP, "D1 tee stem=down", "E1 resistor 1k", "F1 ground stem=left", "D2 straight turn=90")
    (found,) = [f for f in check(board) if f.rule == "terminals-joined"]
    assert "plate" in found.found
    (metal,) = told("terminals-joined", BATTERY, r(1, 2), r(2, 2), r(2, 0))
    assert "plate" not in metal.found


def test_only_a_tap_without_contact_is_loose() -> None:
    """An end of a lead that hangs in the air is no loose tap."""
    board = edited(LOOP, "tap A1|B1", "F1 socket signal=right", "lead A1|B1 to C1|D1 loose")
    rules = [f.rule for f in check(board)]
    assert "lead-loose" in rules and "tap-loose" not in rules


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("factor", "over"), [(0.9, False), (1.1, True)])
def test_a_microphone_beyond_its_current_either_way(sign: int, factor: float, over: bool) -> None:
    parts = BATTERY, r(1, 2), plus_minus("microphone", 2, 0, None)
    name = handmade(*parts).parts[2].name
    rated = handmade(*parts).parts[2].ratings["max_current_A"]
    found = told("microphone-direct-current", *parts, part_currents_A={name: sign * factor * rated})
    assert bool(found) is over
