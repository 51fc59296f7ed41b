"""What the rules say where a winding of 12 V crest feeds the circuit, and what they must not say."""

from __future__ import annotations

import math

import pytest

from snapcheck.circuit import check_rules
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit, parse_kit
from tests.handmade import Entry, handmade


def winding(crest_V: float, ohm: float = 1.0) -> Kit:
    """The kit with chips, and an inlet of alternating current, whose one end is the plate."""
    return parse_kit(
        f"""
name = "inlet"
title = "with a winding"
based_on = "chips"
[kind.winding]
title = "winding"
contacts = {{ E = "signal" }}
plate = true
model = "source"
prefix = "T"
parameters = {{ source_ohm = {ohm}, amplitude_V = {crest_V} }}
""",
        "inlet",
    )


KIT = winding(12.0)
INLET: Entry = ("winding", None, {"signal": 1, "plate": 0})
DIODE, LIGHT = "1N4007", "red"


def d(anode: int, cathode: int, value: str = DIODE) -> Entry:
    return ("led" if value == LIGHT else "diode"), value, {"anode": anode, "cathode": cathode}


def r(a: int, b: int, ohm: float = 1000.0) -> Entry:
    return "resistor", ohm, {"a": a, "b": b}


def cap(plus: int, minus: int, farad: float = 1e-4) -> Entry:
    return "electrolytic", farad, {"plus": plus, "minus": minus}


#: winding 1 and plate 0, plus 2, minus 3
BRIDGE = [d(1, 2), d(0, 2), d(3, 1), d(3, 0)]


def found(*entries: Entry, kit: Kit = KIT) -> list[Finding]:
    return check_rules(handmade(INLET, *entries, kit=kit))


def rules(*entries: Entry, kit: Kit = KIT) -> set[str]:
    return {f.rule for f in found(*entries, kit=kit)}


@pytest.mark.parametrize(
    "entries",
    [
        [d(1, 2), r(2, 0)],
        [d(1, 2), cap(2, 0), r(2, 0)],
        [d(2, 1), cap(0, 2), r(2, 0)],  # the other half wave, a negative rail
        [*BRIDGE, r(2, 3)],
        [*BRIDGE, cap(2, 3), r(2, 3), d(2, 4, LIGHT), r(4, 3)],
        [d(1, 2), cap(2, 0), d(2, 3, LIGHT), r(3, 0)],
        [d(1, 2, LIGHT), d(2, 3), r(3, 0)],
        [("capacitor", 1e-6, {"a": 1, "b": 2}), d(0, 2), d(2, 3), cap(3, 0), r(3, 0, 1e5)],  # doubler
    ],
    ids=[
        "half-wave",
        "smoothed",
        "negative",
        "bridge",
        "bridge-smoothed",
        "light",
        "light-guarded",
        "doubler",
    ],
)
def test_nothing_is_said_of_a_sound_rectifier(entries: list[Entry]) -> None:
    assert rules(*entries) == set()


def test_an_electrolytic_behind_a_turned_diode() -> None:
    (told,) = (f for f in found(d(2, 1), cap(2, 0), r(2, 0)) if f.rule == "electrolytic-reversed")
    assert told.severity is Severity.DANGER and told.named == ("C101",)
    assert "electrolytic-reversed" in rules(*BRIDGE, cap(3, 2), r(2, 3))
    assert "alternating current" in found(cap(1, 2), r(2, 0))[0].title


def test_a_bridge_with_one_diode_turned_shorts_the_inlet() -> None:
    for turned in range(4):
        kind, value, ends = BRIDGE[turned]
        wrong: Entry = (kind, value, {"anode": ends["cathode"], "cathode": ends["anode"]})
        bridge = [wrong if n == turned else part for n, part in enumerate(BRIDGE)]
        (told,) = (f for f in found(*bridge, r(2, 3)) if f.rule == "no-current-limit")
        assert told.severity is Severity.DANGER and len(told.named) == 2 and f"D10{turned + 1}" in told.named
    assert "no-current-limit" in rules(d(1, 0))
    assert "no-current-limit" not in rules(d(1, 0), kit=winding(12.0, 600.0))  # limits the current itself


@pytest.mark.parametrize(("more_V", "told"), [(0.19, False), (0.21, True)])
def test_a_junction_is_destroyed_from_a_margin_above_its_forward_voltage(more_V: float, told: bool) -> None:
    """Forward voltage at 10 mA by Shockley's equation, with the kit's figures of this light."""
    p = handmade(d(1, 0, LIGHT), kit=KIT).parts[0].parameters
    forward_V = p["N"] * 0.02585 * math.log(0.01 / p["IS"]) + p["RS"] * 0.01
    assert ("no-current-limit" in rules(d(1, 0, LIGHT), kit=winding(forward_V + more_V))) is told


def test_a_half_wave_with_a_capacitor_asks_for_twice_the_crest() -> None:
    rated = KIT["diode"].ratings_for("1N4148")["max_reverse_V"]
    small = [d(1, 2, "1N4148"), r(2, 0)]
    for crest, smoothed, plain in (
        (0.56 * rated, True, False),
        (0.5 * rated, False, False),
        (1.2 * rated, 1, 1),
    ):
        kit = winding(crest)
        assert ("over-rating" in rules(*small, ("capacitor", 1e-6, {"a": 2, "b": 0}), kit=kit)) == smoothed
        assert ("over-rating" in rules(*small, kit=kit)) == plain
    (told,) = (f for f in found(d(1, 2, LIGHT), r(2, 0)) if f.rule == "over-rating")
    assert told.data["reverse_V"] == 12.0  # an LED blocks 5 V


def test_capacitors_between_inlet_and_diode_ask_for_twice_the_crest() -> None:
    """A clamped capacitor and the doubler (Sedra, Smith: Microelectronic Circuits; from memory)."""
    rated = KIT["diode"].ratings_for("1N4148")["max_reverse_V"]
    coupling: Entry = ("capacitor", 1e-6, {"a": 1, "b": 2})
    clamped = [coupling, d(0, 2, "1N4148"), r(2, 0, 1e5)]
    doubled = [coupling, d(0, 2), d(2, 3, "1N4148"), ("capacitor", 1e-6, {"a": 3, "b": 0}), r(3, 0, 1e5)]
    for entries in (clamped, doubled):
        assert "over-rating" in rules(*entries, kit=winding(0.56 * rated))
        assert "over-rating" not in rules(*entries, kit=winding(0.5 * rated))
    assert "over-rating" not in rules(coupling, r(2, 3), d(0, 3, "1N4148"), kit=winding(0.9 * rated))
    # right across the inlet nothing is held
    assert "over-rating" not in rules(d(1, 0, "1N4148"), r(1, 0), kit=winding(0.9 * rated, 600.0))


@pytest.mark.parametrize("beside", [d(0, 2, LIGHT), d(0, 2), ("zener", 4.7, {"anode": 2, "cathode": 0})])
def test_two_lights_the_other_way_round_guard_each_other(beside: Entry) -> None:
    """What a diode blocks is what the one beside it takes to conduct (common practice, no source)."""
    for before in (r(1, 2, 470.0), ("capacitor", 1e-6, {"a": 1, "b": 2})):
        assert "over-rating" not in {f.rule for f in found(before, d(2, 0, LIGHT), beside)}
    same_way = [r(1, 2, 470.0), d(2, 0, LIGHT), d(2, 0, LIGHT)]
    assert "over-rating" in rules(*same_way)


def test_crest_against_ratings_and_extra_low_voltage() -> None:
    small: Entry = ("electrolytic", 1e-4, {"plus": 2, "minus": 0})
    rated = handmade(small, kit=KIT).parts[0].ratings.get("max_voltage_V")
    assert rated is not None
    assert "electrolytic-overvoltage" in rules(d(1, 2), small, kit=winding(rated * 1.01))
    assert "electrolytic-overvoltage" not in rules(d(1, 2), small, kit=winding(rated * 0.99))
    assert "above-extra-low" in rules(r(1, 0), kit=winding(25.1 * 2**0.5))
    assert "above-extra-low" not in rules(r(1, 0), kit=winding(24.9 * 2**0.5))


def test_what_no_half_wave_feeds_and_what_is_shorted() -> None:
    assert "reversed-in-circuit" in rules(d(1, 2), r(2, 3), d(0, 3, LIGHT))
    assert "supply-shorted" in rules(("switch", None, {"a": 1, "b": 0}), r(1, 0))


def test_a_signal_and_a_circuit_with_a_battery_are_left_to_calculation() -> None:
    assert rules(cap(1, 2), r(2, 0), kit=winding(0.5)) == set()
    assert rules(cap(2, 1), r(2, 0)) == {"electrolytic-reversed"}
    biased = [cap(2, 1), r(2, 0), r(2, 3), ("battery", 9.0, {"plus": 3, "minus": 0})]
    assert "electrolytic-reversed" not in rules(*biased)
