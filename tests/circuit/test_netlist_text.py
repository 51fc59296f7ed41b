"""SPICE netlists read as parts and nets: what is taken, and what is refused with its line."""

from __future__ import annotations

from dataclasses import replace

import pytest

from snapcheck.circuit import PartSpec, circuit_of, parse_netlist
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit, chips_kit
from snapcheck.simulate import export_netlist

KIT = bundled_kit()

STAGE = """Speech stage
* a comment, then capitals and a continued line
V1 VCC 0 DC 9
vin in gnd SIN(0 10m 1k)
C1 in b 4.7u
R1 vcc b
+ 47kOhm ; beside it a comment
Q1 c b e BC547
R2 e 0 470
C2 c out 220n
D1 c 0 DZ
D2 vcc x led_red
M1 d g 0 0 2n7000
L1 d vcc 10mH
.model DZ D(IS=1e-14 BV=5.1)
.tran 1m 10m
.end
R9 nobody reads this
"""


def parts(text: str) -> dict[str, PartSpec]:
    return {p.name: p for p in parse_netlist(text, KIT)}


def test_parts_values_and_nets_of_a_stage() -> None:
    found = parts(STAGE)
    number = {
        "0": 0,
        "vcc": 1,
        "in": 2,
        "b": 3,
        "c": 4,
        "e": 5,
        "out": 6,
        "x": 7,
        "d": 8,
        "g": 9,
    }  # as they come
    wanted = {
        "V1": ("battery", 9.0, {"plus": "vcc", "minus": "0"}),
        "vin": ("audio-in", None, {"signal": "in", "plate": "0"}),
        "C1": ("electrolytic", 4.7e-6, {"plus": "in", "minus": "b"}),
        "R1": ("resistor", 47e3, {"a": "vcc", "b": "b"}),
        "Q1": ("npn", "BC547", {"collector": "c", "base": "b", "emitter": "e"}),
        "R2": ("resistor", 470.0, {"a": "e", "b": "0"}),
        "C2": ("capacitor", 220e-9, {"a": "c", "b": "out"}),
        "D1": ("zener", 5.1, {"anode": "c", "cathode": "0"}),
        "D2": ("led", "red", {"anode": "vcc", "cathode": "x"}),
        "M1": ("nmos", "2N7000", {"drain": "d", "gate": "g", "source": "0"}),
        "L1": ("inductor", 10e-3, {"a": "d", "b": "vcc"}),
    }
    assert {name: (p.kind, p.value, p.nets) for name, p in found.items()} == {
        name: (kind, value, {leg: number[node] for leg, node in nodes.items()})
        for name, (kind, value, nodes) in wanted.items()
    }


def test_a_netlist_is_a_circuit() -> None:
    circuit = circuit_of(parse_netlist(STAGE, KIT), KIT)
    assert {(p.name, leg) for p, leg in circuit.parts_on(0)} == {
        ("V1", "minus"), ("vin", "plate"), ("R2", "b"), ("D1", "cathode"), ("M1", "source"),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("word", "ohm"),
    [
        # Ngspice User's Manual, chapter "Circuit Description", section "Some naming conventions": "1000,
        # 1000.0, 1000Hz, 1e3, 1.0e3, 1kHz, and 1k all represent the same number"; M and m are milli, Meg is
        # mega (from memory of the manual)
        *((word, 1000.0) for word in ("1000", "1000.0", "1000Hz", "1e3", "1.0e3", "1kHz", "1k")),
        ("1Meg", 1e6),
        ("2.2MEGohm", 2.2e6),
        ("500m", 0.5),
        ("1G", 1e9),
        ("0.1T", 1e11),
        ("1000mil", 25.4e-3),
    ],
)
def test_scale_letters(word: str, ohm: float) -> None:
    (part,) = parse_netlist(f"title\nR1 a b {word}\n", KIT)
    assert part.value == pytest.approx(ohm, rel=1e-12)


def test_a_kind_behind_the_value_says_what_is_meant() -> None:
    found = parts("t\nC1 a b 2.2u capacitor\nR1 a b 10k photoresistor\nR2 a b 10k thermistor\n")
    assert [p.kind for p in found.values()] == ["capacitor", "photoresistor", "thermistor"]


def test_a_negative_voltage_is_a_battery_the_other_way_round() -> None:
    (part,) = parse_netlist("t\nV1 low 0 -9\n", KIT)
    assert (part.value, dict(part.nets)) == (9.0, {"plus": 0, "minus": 1})


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("R1 a b 10k\nR2 b 0 1k\n", 1, "title"),
        ("t\nR1 a b\n", 2, "no value"),
        ("t\nR1 a b 4k7x7\n", 2, "no number"),
        ("t\n* c\nR1 a b 1M\n", 3, "1Meg"),
        ("t\nR1 a b -5\n", 2, "above zero"),
        ("t\nC1 a b 1F\n", 2, "femto"),
        ("t\nQ1 c b e NOBODY\n", 2, "BC547"),
        ("t\nD1 a k\n", 2, "1N4148"),
        ("t\nM1 d g s b 2N7000\n", 2, "bulk"),
        ("t\nI1 a 0 1m\n", 2, "source of current"),
        ("t\nXamp a b c STAGE\n", 2, "subcircuits"),
        ("t\n.include other.lib\n", 2, ".include"),
        ("t\nE1 a 0 b 0 10\n", 2, "E1"),
        ("t\nV1 a b SIN(0 1 1k)\n", 2, "node 0"),
        ("t\nR1 a b 1k\nr1 c d 1k\n", 3, "line 2"),
        ("t\nR1 a b 10k lamp\n", 2, "photoresistor"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(text: str, line: int, says: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_netlist(text, KIT, "amp.cir")
    assert caught.value.place == f"amp.cir, line {line}"
    assert says in str(caught.value)


@pytest.mark.parametrize("text", ["", "only a title\n", "t\n.end\n", "t\n*\n\n"])
def test_a_netlist_without_parts_is_none(text: str) -> None:
    with pytest.raises(InputError, match="no part"):
        parse_netlist(text, KIT)


def test_a_relay_or_transformer_does_not_stand_for_a_coil() -> None:
    kit = chips_kit()
    bare = replace(kit, kinds={name: kind for name, kind in kit.kinds.items() if name != "inductor"})
    with pytest.raises(InputError):
        parse_netlist("stage\nV1 1 0 DC 9\nL1 1 0 10m\n.end\n", bare)


def test_a_netlist_written_to_be_calculated_is_no_list_of_parts() -> None:
    specs = [PartSpec("battery", {"plus": 1, "minus": 0}, 9.0), PartSpec("resistor", {"a": 1, "b": 0}, 470.0)]
    own = export_netlist(circuit_of(specs, KIT))
    with pytest.raises(InputError, match="written by 'snapcheck spice'"):
        parse_netlist(own, KIT, "own.cir")
