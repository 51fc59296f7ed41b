"""What chips, gates and junctions stand at their legs, and lights and capacitors that help each other."""

from __future__ import annotations

from dataclasses import replace

import pytest
from handmade import Entry, handmade
from test_rule_limits import BATTERY, Solved, r, supply, told

from snapcheck.circuit import check_rules
from snapcheck.findings import Finding, Severity
from snapcheck.kit import chips_kit

KIT = chips_kit()
#: two followers at half the supply, and the neighbour's legs
HALVES = [r(1, 2), r(2, 0)]
CHIP = {"plus": 1, "minus": 0, "non1": 2, "inv1": 3, "out1": 3, "non2": 2, "inv2": 4, "out2": 4}
TIMER = {"plus": 1, "minus": 0, "trigger": 2, "threshold": 2, "discharge": 5, "out": 6, "reset": 1,
         "control": 7}  # fmt: skip


def of(rule: str, *entries: Entry, point: Solved | None = None) -> list[Finding]:
    return [f for f in check_rules(handmade(*entries, kit=KIT), point) if f.rule == rule]


def opamp(kind: str = "LM358", **legs: int) -> Entry:
    return "comparator" if kind == "LM393" else "opamp", kind, CHIP | legs


def shorts(entry: Entry, *more: Entry) -> list[tuple[Severity, str]]:
    return [
        (f.severity, f.title.split(" of ")[0]) for f in of("output-shorted", BATTERY, *HALVES, entry, *more)
    ]


def test_an_output_on_the_plate_on_the_supply_or_on_another_output() -> None:
    """LM358 and NE555: 20 mA and 0.2 A at most, so that 9 V make 0.18 W and 1.8 W of 0.6 W."""
    assert shorts(opamp()) == []
    assert shorts(opamp(out1=0)) == [(Severity.FAULT, "The out1")] == shorts(opamp(out1=1))
    closed: Entry = ("switch", None, {"a": 4, "b": 0})
    assert shorts(opamp(), closed) == [(Severity.FAULT, "The out2")]
    assert len(shorts(opamp(out2=3))) == 1 and len(shorts(opamp(), opamp(out1=3, out2=5))) == 1
    timer: Entry = ("timer", "NE555", TIMER | {"out": 0})
    assert shorts(timer) == [(Severity.DANGER, "The out")]


def test_an_open_collector_may_lie_on_minus_and_on_another_one() -> None:
    assert shorts(opamp("LM393", out1=0)) == [] == shorts(opamp("LM393", out1=4), r(1, 4))
    assert shorts(opamp("LM393", out1=1)) == [(Severity.FAULT, "The out1")]
    assert len(shorts(opamp("LM393", out1=4, out2=5), opamp(), r(1, 5))) == 1  # a pushing one beside it
    assert shorts(("timer", "NE555", TIMER | {"discharge": 6})) == []  # they never want different voltages


@pytest.mark.parametrize(("kind", "volts", "severity"), [
    ("TL072", 9.2, None), ("TL072", 9.4, Severity.FAULT), ("LM358", 31.0, None),
    ("LM358", 33.0, Severity.FAULT), ("LM358", -0.2, None), ("LM358", -0.4, Severity.DANGER),
    ("NE555", 9.4, Severity.FAULT),
])  # fmt: skip
def test_an_input_beyond_the_supply(kind: str, volts: float, severity: Severity | None) -> None:
    """To plus for TL072 and NE555, 32 V whatever plus is for LM358; 0.3 V below minus (data sheets)."""
    feed = supply(8, 0, volts) if volts > 0 else supply(0, 8, -volts)
    chip = ("timer", kind, TIMER | {"trigger": 8}) if kind == "NE555" else opamp(kind, non1=8)
    parts = [BATTERY, *HALVES, feed, r(5, 1), r(6, 0), r(7, 0)]
    assert [f.severity for f in of("input-beyond-supply", *parts, chip)] == (
        [] if severity is None else [severity]
    )
    apart = ("timer", kind, TIMER) if kind == "NE555" else opamp(kind)
    assert of("input-beyond-supply", *parts, r(8, 2), apart) == []  # a resistor limits what flows in


def test_a_knob_that_leads_an_input_below_minus() -> None:
    knob: Entry = ("potentiometer", 1e4, {"a": 1, "wiper": 9, "b": 8})
    for low, told_of in ((9.0, 1), (0.2, 0)):
        found = of("input-beyond-supply", BATTERY, *HALVES, supply(0, 8, low), knob, opamp(non2=9))
        assert [f.severity for f in found] == [Severity.FAULT] * told_of


@pytest.mark.parametrize(("entry", "volts", "severity"), [
    (opamp(), 36.0, Severity.DANGER), (("timer", "NE555", TIMER), 18.0, Severity.FAULT),
    (("timer", "NE555", TIMER), 18.5, Severity.DANGER),
    (("nmos", "2N7000", {"gate": 1, "drain": 3, "source": 0}), 23.0, Severity.DANGER),
    (("npn", "BC547", {"base": 0, "collector": 3, "emitter": 1}), 9.0, Severity.DANGER),
])  # fmt: skip
def test_what_breaks_through_at_once_is_a_danger(entry: Entry, volts: float, severity: Severity) -> None:
    """Absolute maximum: 32 V (LM358), 18 V (NE555, made for 16), 20 V at a gate, 6 V at an emitter."""
    point = Solved({0: 0.0, 1: volts, 2: volts / 2, 3: 1.0, 4: 1.0, 5: 1.0, 6: 1.0, 7: 1.0})
    (found,) = of("over-rating", supply(1, 0, volts), *HALVES, r(1, 3), entry, point=point)
    assert found.severity is severity
    hot = replace(point, part_powers_W={"Q101": 1.45 * 0.35})  # more overloaded, and no danger
    (found,) = of("over-rating", supply(1, 0, volts), *HALVES, r(1, 3), entry, point=hot)
    assert found.severity is severity
    behind: Entry = (*entry[:2], {leg: 9 if net == 1 else net for leg, net in entry[2].items()})
    point.net_voltages_V[9] = volts
    (found,) = of("over-rating", supply(1, 0, volts), *HALVES, r(1, 3), r(1, 9), behind, point=point)
    assert found.severity is Severity.FAULT


def led(anode: int, cathode: int) -> Entry:
    return "led", "red", {"anode": anode, "cathode": cathode}


@pytest.mark.parametrize(("beside", "severity"), [
    (led(2, 0), Severity.NOTE), (led(0, 2), Severity.FAULT), (r(2, 0), Severity.FAULT),
    (("diode", "1N4148", {"anode": 2, "cathode": 0}), Severity.FAULT),
])  # fmt: skip
def test_one_of_two_lights_the_other_way_round_stays_dark(beside: Entry, severity: Severity) -> None:
    found = told(
        "reversed-in-circuit", BATTERY, r(1, 2), led(0, 2), beside, net_voltages_V={0: 0, 1: 9, 2: 1.8}
    )
    assert found[0].severity is severity


def test_two_electrolytics_back_to_back() -> None:
    def pair(*more: Entry) -> list[Finding]:
        caps = [("electrolytic", 1e-4, {"plus": p, "minus": 3}) for p in (2, 0)]
        return told("electrolytic-reversed", BATTERY, r(1, 2), r(2, 0), *caps, *more,
                    net_voltages_V={0: 0.0, 1: 9.0, 2: 4.5, 3: 1.06})  # fmt: skip

    assert pair() == []
    assert len(pair(r(3, 1))) == 1  # what holds their middle reverses one of them for good


def lit(amperes: float, *entries: Entry) -> list[tuple[str, Severity, tuple[str, ...]]]:
    point = Solved({0: 0.0}, {"D101": amperes, "D102": amperes, "Q101": amperes, "B101": -2.0}, {"Q101": 5.0})
    found = check_rules(handmade(BATTERY, *entries), point, only=["resistor-missing", "over-rating"])
    return [(f.rule, f.severity, f.named) for f in found]


@pytest.mark.parametrize("device", [
    ("npn", "BC337", {"base": 3, "collector": 2, "emitter": 0}),
    ("nmos", "2N7000", {"gate": 3, "drain": 2, "source": 0}),
])  # fmt: skip
def test_a_light_that_only_a_transistor_limits(device: Entry) -> None:
    parts = [r(1, 3, 1e4), device, led(1, 2)]
    both = ("D101", "Q101")
    assert lit(0.9, *parts) == [("resistor-missing", Severity.DANGER, both)]
    assert lit(0.03, *parts)[0] == ("resistor-missing", Severity.FAULT, both)
    assert {rule for rule, *_ in lit(0.021, *parts)} == {"over-rating"}  # that of the transistor's 5 W
    two = [r(1, 3, 1e4), device, led(4, 2), led(1, 4)]
    assert [rule for rule, *_ in lit(0.9, *two)] == ["resistor-missing"]
    behind = [r(1, 3, 1e4), device, led(4, 2), r(1, 4, 47.0)]
    assert "resistor-missing" not in {rule for rule, *_ in lit(0.9, *behind)}


def test_the_tank_of_an_oscillator_is_no_switched_coil() -> None:
    """Colpitts: coil from plus to collector, capacitors from there over the emitter to the plate."""

    def tank(*more: Entry, kind: str = "inductor") -> list[Finding]:
        q: Entry = ("npn", "BC547", {"base": 2, "collector": 3, "emitter": 4})
        coil: Entry = ("inductor", 1e-3, {"a": 1, "b": 3})
        if kind == "relay":
            coil = ("relay", 12.0, {"coil1": 1, "coil2": 3, "com": 6, "rest": 7, "work": 8})
        return of("flyback-missing", BATTERY, q, r(4, 0), coil, *more)

    bias = [r(1, 2), r(2, 0)]
    first, second = (("capacitor", 1e-8, {"a": a, "b": b}) for a, b in ((3, 4), (4, 0)))
    assert tank(*bias, first, second) == []
    assert tank(*bias, ("capacitor", 1e-8, {"a": 3, "b": 1})) == []
    assert tank(*bias, first) and tank(*bias)
    assert tank(*bias, first, second, kind="relay")
    button: Entry = ("pushbutton", None, {"a": 1, "b": 5})
    assert tank(button, r(5, 2), first, second)  # it is switched
