"""Circuits that stand on no plate: parts go by their names, in findings, settings and sentences."""

from __future__ import annotations

import pytest
from handmade import handmade

from snapcheck.board import Conditions, Probe
from snapcheck.circuit import PartSpec, check_rules, circuit_of, part_words, terminal_words
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit, chips_kit

KIT = bundled_kit()
BATTERY = ("battery", 9.0, {"plus": 1, "minus": 0})


def test_parts_go_by_their_names() -> None:
    circuit = circuit_of(
        [
            PartSpec("battery", {"plus": 1, "minus": 0}, 9.0),
            PartSpec("resistor", {"a": 1, "b": 2}, 1000.0, name="Rload"),
            PartSpec("meter", {"plus": 2, "minus": 0}, 0.1, unit="A"),
        ],
        KIT,
    )
    assert [part.name for part in circuit.parts] == ["B101", "Rload", "P101"]
    assert [part.at for part in circuit.parts] == ["B101", "Rload", "P101"]
    load = circuit.part_at["Rload"]
    assert load.label == "Rload" and part_words(load) == "the resistor 1k Rload"
    assert terminal_words(load, "a") == "the a of the resistor 1k Rload"
    assert circuit.net_of("Rload", "b") == 2 and circuit.net_of("R101", "b") is None
    assert [str(t) for t in circuit.nets[2].terminals] == ["Rload b", "P101 plus"]
    with pytest.raises(ValueError, match="stands on no plate"):
        _ = load.cell


def test_findings_name_the_part() -> None:
    circuit = handmade(BATTERY, ("led", "red", {"anode": 1, "cathode": 0}))
    found = {f.rule: f for f in check_rules(circuit)}
    assert found["no-current-limit"].cells == () and found["no-current-limit"].named == ("D101",)
    assert "D101" in found["no-current-limit"].title


def test_two_like_faults_are_two_findings() -> None:
    leds = [("led", "red", {"anode": 0, "cathode": net}) for net in (2, 3)]
    loads = [("resistor", 1000.0, {"a": 1, "b": net}) for net in (2, 3)]
    found = [f for f in check_rules(handmade(BATTERY, *leds, *loads)) if f.rule == "reversed-in-circuit"]
    assert [f.named for f in found] == [("D101",), ("D102",)]


def test_what_has_no_ends_is_told() -> None:
    circuit = handmade(BATTERY, ("resistor", 1000.0, {"a": 1, "b": 2}))
    (found,) = (f for f in check_rules(circuit) if f.rule == "terminal-open")
    assert found.named == ("R101",) and "R101" in found.title


def test_a_short_circuit_is_told_without_a_way() -> None:
    (found, *_) = check_rules(handmade(("battery", 9.0, {"plus": 0, "minus": 0})))
    assert found.rule == "supply-shorted" and found.named == ("B101",) and found.found == ""


@pytest.mark.parametrize(
    ("spec", "message"),
    [
        (PartSpec("resistance", {"a": 1, "b": 0}), "no part of the kit"),
        (PartSpec("straight", {"wire": 1}), "no part of the kit"),
        (PartSpec("resistor", {"a": 1}), "has the terminals a, b"),
        (PartSpec("resistor", {"a": 1, "b": -1}), "has the terminals a, b"),
        (PartSpec("resistor", {"a": 1, "b": 0}, name="x\n.control"), "is no name of a part"),
        (PartSpec("resistor", {"a": 1, "b": 0}, name="B101"), "two parts are called B1"),
    ],
)
def test_what_is_no_circuit_is_said(spec: PartSpec, message: str) -> None:
    with pytest.raises(InputError, match=message):
        circuit_of([PartSpec("battery", {"plus": 1, "minus": 0}, 9.0), spec], KIT)


def test_settings_and_places_take_names() -> None:
    assert str(Probe("R101", "a")) == "R101 a"
    assert Conditions(pots={"RV101": 0.2}).pots["RV101"] == 0.2


def test_a_bridge_joins_the_supply_to_the_plate() -> None:
    """Parts on the plate behind a bridge have their way back through it."""
    bridge = ("bridge", None, {"ac1": 1, "ac2": 2, "plus": 3, "minus": 0})
    supply = ("battery", 9.0, {"plus": 1, "minus": 2})
    load = ("resistor", 1000.0, {"a": 3, "b": 0})
    assert check_rules(handmade(supply, bridge, load, kit=chips_kit())) == []
    apart = [supply, ("resistor", 1000.0, {"a": 1, "b": 2}), ("resistor", 1000.0, {"a": 3, "b": 0}), load]
    assert "no-ground" in {f.rule for f in check_rules(handmade(*apart))}
