"""What each part writes into the netlist, and which way its currents count: no simulator needed."""

from __future__ import annotations

import math
from collections import defaultdict

import pytest
from handmade import Entry, handmade

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit, PartSpec, circuit_of
from snapcheck.errors import SimulationError
from snapcheck.kit import bundled_kit
from snapcheck.simulate import _stress
from snapcheck.simulate._models import (
    heat_resistance,
    light_resistance,
    microphone_slope,
)
from snapcheck.simulate._netlist import QUIET, Netlist, Stimulus
from snapcheck.simulate._write import write_netlist

BATTERY: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})


def r(a: int, b: int, ohms: float = 1000.0) -> Entry:
    return "resistor", ohms, {"a": a, "b": b}


def lines(circuit: Circuit, name: str, conditions: Conditions | None = None, stimulus: Stimulus = QUIET,
          **more: object) -> tuple[list[list[str]], Netlist]:  # fmt: skip
    """The words of the lines of one part (devices by its number; models and switches, too)."""
    netlist = write_netlist(circuit, conditions or Conditions(), stimulus, **more)  # type: ignore[arg-type]
    number = next(n for n, p in enumerate(netlist.solvable.parts, 1) if p.name == name)
    words = [line.split() for line in netlist.lines]
    mine = [
        w for w in words if w[0].lstrip("abcdefghijklmnopqrstuvwxyz").rstrip("abcdefhlmst") == str(number)
    ]
    return mine + [w for w in words if w[0] == ".model" and f"{number}" in w[1]], netlist


def first(circuit: Circuit, name: str, letter: str, *more: object, **named: object) -> list[str]:
    mine, _ = lines(circuit, name, *more, **named)  # type: ignore[arg-type]
    return next(w for w in mine if w[0].startswith(letter))


def ohms(circuit: Circuit, name: str, conditions: Conditions | None = None, suffix: str = "") -> float:
    mine, _ = lines(circuit, name, conditions)
    return next(float(w[3]) for w in mine if w[0].startswith("r") and w[0].endswith(suffix or w[0]))


EVERY: list[Entry] = [
    r(1, 2), ("capacitor", 1e-7, {"a": 1, "b": 2}), ("electrolytic", 1e-5, {"plus": 1, "minus": 2}),
    ("inductor", 0.1, {"a": 1, "b": 2}), ("lamp", "6V/0.1A", {"a": 1, "b": 2}),
    ("diode", "1N4148", {"anode": 1, "cathode": 2}), ("zener", 5.1, {"anode": 2, "cathode": 1}),
    ("led", "red", {"anode": 1, "cathode": 2}), ("fuse", 0.1, {"a": 1, "b": 2}),
    ("speaker", 8.0, {"a": 1, "b": 2}), ("switch", None, {"a": 1, "b": 2}),
    ("potentiometer", 1e3, {"a": 1, "wiper": 2, "b": 0}), ("buzzer", None, {"plus": 1, "minus": 2}),
    ("microphone", None, {"plus": 1, "minus": 2}), ("thermistor", 1e4, {"a": 1, "b": 2}),
    ("photoresistor", 1e4, {"a": 1, "b": 2}), ("battery", 6.0, {"plus": 1, "minus": 2}),
    ("npn", "BC547", {"base": 2, "collector": 1, "emitter": 0}),
    ("pnp", "BC557", {"base": 2, "collector": 0, "emitter": 1}),
    ("nmos", "2N7000", {"gate": 2, "drain": 1, "source": 0}),
]  # fmt: skip


@pytest.mark.parametrize("entry", EVERY, ids=lambda e: e[0])
def test_what_flows_into_a_part_flows_out_of_it(entry: Entry) -> None:
    """Kirchhoff's law, term by term, in the netlist's own account of every current."""
    circuit = handmade(("battery", 9.0, {"plus": 1, "minus": 0}), entry, r(2, 0), r(1, 2, 2e3))
    part = circuit.parts[1]
    netlist = write_netlist(circuit, Conditions())
    total: dict[tuple[str, str | None], float] = defaultdict(float)
    for terms in netlist.currents[part.name].values():
        for factor, plus, minus in terms:
            total[plus, minus] += factor
    assert total and all(abs(v) < 1e-15 for v in total.values())
    # into its first leg, or plus, a current counts as the part itself counts it: positive
    leg = next(t for t in ("plus", "anode", "collector", "drain", "a") if t in part.nets)
    assert netlist.currents[part.name][leg][0].factor > 0 or entry[0] == "electrolytic"


def test_a_reversed_electrolytic_conducts_from_minus_to_plus() -> None:
    """Its leak counts from plus to minus, what it conducts in reverse the other way."""
    circuit = handmade(BATTERY, r(1, 2), ("electrolytic", 1e-5, {"plus": 2, "minus": 0}))
    mine, netlist = lines(circuit, "C101")
    diode = next(w for w in mine if w[0].startswith("d"))
    assert diode[1:3] == ["0", "n2"]
    reverse = [t.factor for t in netlist.currents["C101"]["plus"] if t.plus.startswith("@d")]
    assert reverse == [-1] and [
        t.factor for t in netlist.currents["C101"]["minus"] if t.plus.startswith("@d")
    ] == [1]
    leak = next(w for w in mine if w[0].startswith("r") and w[0].endswith("l"))
    p = circuit.part_named["C101"].parameters
    assert float(leak[3]) == pytest.approx(p["leakage_ohm_F"] / 1e-5) and leak[1:3] == ["n2", "0"]
    plain = handmade(BATTERY, ("capacitor", 1e-7, {"a": 1, "b": 0}))
    assert not [w for w in lines(plain, "C101")[0] if w[0][0] == "d"]


@pytest.mark.parametrize(("unit", "full", "expected"), [
    ("A", 0.1, lambda p: p.get("burden_V", 0.1) / 0.1), ("mA", 0.1, lambda p: p.get("burden_V", 0.1) / 0.1),
    ("V", 15.0, lambda p: p.get("ohm_per_V", 2e4) * 15),
])  # fmt: skip
def test_a_meter_by_its_full_scale(unit: str, full: float, expected: object) -> None:
    meter = PartSpec("meter", {"plus": 1, "minus": 2}, full, unit=unit)
    circuit = circuit_of([PartSpec("battery", {"plus": 1, "minus": 0}, 9.0), meter,
                          PartSpec("resistor", {"a": 2, "b": 0}, 1e3)], bundled_kit())  # fmt: skip
    assert ohms(circuit, "P101") == pytest.approx(expected(circuit.part_named["P101"].parameters))  # type: ignore[operator]


def test_a_fuse_drops_its_burden_at_its_rated_current() -> None:
    fuses = [handmade(BATTERY, ("fuse", a, {"a": 1, "b": 2}), r(2, 0)) for a in (0.1, 1.0)]
    p = fuses[0].part_named["F101"].parameters
    assert [ohms(c, "F101") for c in fuses] == pytest.approx([p.get("burden_V", 0.2) / a for a in (0.1, 1.0)])


def test_light_makes_a_photoresistor_smaller_within_its_limits() -> None:
    """The reference is where R is the printed value; a decade of light divides by 10^gamma."""
    part = handmade(BATTERY, ("photoresistor", 1e4, {"a": 1, "b": 2})).parts[1]
    p = part.parameters
    reference, gamma = p.get("reference_lux", 10.0), p.get("gamma", 0.7)
    assert light_resistance(part, reference) == pytest.approx(1e4)
    assert light_resistance(part, 10 * reference) == pytest.approx(1e4 / 10**gamma)
    assert light_resistance(part, 1e9) == p.get("lowest_ohm", 100.0)
    assert light_resistance(part, 0.0) == p.get("highest_ohm", 2e7)
    circuit = handmade(BATTERY, ("photoresistor", 1e4, {"a": 1, "b": 2}), r(2, 0))
    name = circuit.parts[1].name
    assert ohms(circuit, name, Conditions(light_lux=reference)) == pytest.approx(1e4)


@pytest.mark.parametrize("celsius", [-20.0, 0.0, 25.0, 60.0])
def test_warmth_makes_a_thermistor_smaller(celsius: float) -> None:
    """R25 · exp(B (1/T - 1/T25)), IEC 60539-1."""
    part = handmade(BATTERY, ("thermistor", 1e4, {"a": 1, "b": 2})).parts[1]
    beta = part.parameters.get("beta_K", 3950.0)
    expected = 1e4 * math.exp(beta * (1 / (celsius + 273.15) - 1 / 298.15))
    assert heat_resistance(part, celsius) == pytest.approx(expected)
    assert (heat_resistance(part, celsius) > 1e4) is (celsius < 25)


@pytest.mark.parametrize("position", [0.0, 0.001, 0.3, 1.0])
def test_a_knob_turns_from_a_to_b(position: float) -> None:
    """At nought the wiper is at a; a little resistance is left at either end."""
    circuit = handmade(BATTERY, ("potentiometer", 1e3, {"a": 1, "wiper": 2, "b": 0}), r(2, 0))
    part = circuit.parts[1]
    end = part.parameters.get("end_ohm", 5.0)
    mine, _ = lines(circuit, part.name, Conditions(pots={part.at: position}))
    halves = {tuple(w[1:3]): float(w[3]) for w in mine if w[0].startswith("r")}
    assert halves == pytest.approx({
        ("n1", "n2"): max(1e3 * position, end), ("n2", "0"): max(1e3 * (1 - position), end),
    })  # fmt: skip


def test_a_coil_has_the_resistance_of_its_wire() -> None:
    for henry in (0.01, 1.0):
        circuit = handmade(BATTERY, ("inductor", henry, {"a": 1, "b": 2}), r(2, 0))
        p = circuit.part_named["L101"].parameters
        expected = p.get("series_ohm", 0.5) + p.get("ohm_per_H", 0.0) * henry
        assert ohms(circuit, "L101") == pytest.approx(expected)
        assert first(circuit, "L101", "l")[3] == f"{henry:g}"
    speaker = handmade(BATTERY, ("speaker", 8.0, {"a": 1, "b": 2}), r(2, 0))
    p = speaker.part_named["LS101"].parameters
    assert ohms(speaker, "LS101") == pytest.approx(p.get("dc_fraction", 0.85) * 8)


def test_a_lamp_by_its_print() -> None:
    """Hot it is 6 V over 0.1 A, and the heat of 0.6 W is one."""
    circuit = handmade(BATTERY, ("lamp", "6V/0.1A", {"a": 1, "b": 2}), r(2, 0))
    mine, _ = lines(circuit, circuit.parts[1].name)
    current, heat = [" ".join(w) for w in mine if w[0].startswith("b")]
    assert "/(60*pow(" in current and heat.endswith("/0.6")


@pytest.mark.parametrize(("kind", "value", "nets", "spice", "nodes"), [
    ("npn", "BC547", {"base": 2, "collector": 1, "emitter": 0}, "npn(", ["n1", "n2", "0"]),
    ("pnp", "BC557", {"base": 2, "collector": 0, "emitter": 1}, "pnp(", ["0", "n2", "n1"]),
])  # fmt: skip
def test_legs_of_a_transistor_in_the_order_of_spice(
    kind: str, value: str, nets: dict[str, int], spice: str, nodes: list[str]
) -> None:
    circuit = handmade(BATTERY, (kind, value, nets), r(2, 0), r(1, 2))
    assert first(circuit, "Q101", "q")[1:4] == nodes
    (model,) = [w for w in lines(circuit, "Q101")[0] if w[0] == ".model"]
    assert model[2].startswith(spice)
    emitter = write_netlist(circuit, Conditions()).currents["Q101"]["emitter"]
    assert [t.factor for t in emitter] == [-1, -1]


def test_a_field_effect_transistor_is_of_its_channel() -> None:
    circuit = handmade(BATTERY, ("nmos", "2N7000", {"gate": 2, "drain": 1, "source": 0}), r(2, 0), r(1, 2))
    name = circuit.parts[1].name
    (model,) = [w for w in lines(circuit, name)[0] if w[0] == ".model"]
    assert model[2].startswith("vdmos(nchan") and "vto=2" in " ".join(model)
    assert first(circuit, name, "m")[2:4] == ["n2", "0"]


def test_a_battery_keeps_its_inner_resistance_when_it_is_run_down() -> None:
    """It goes by the print, not by the volts of the moment."""
    circuit = handmade(BATTERY, r(1, 0))
    for given in (None, 6.0):
        conditions = Conditions(supply_V={} if given is None else {"B101": given})
        p = circuit.part_named["B101"].parameters
        expected = p.get("internal_ohm", p.get("internal_ohm_per_V", 0.1) * 9)
        assert ohms(circuit, "B101", conditions) == pytest.approx(expected)
        source = first(circuit, "B101", "v", conditions)
        assert source[3:5] == ["dc", f"{given or 9:g}"]


def test_only_what_hangs_on_the_mains_ripples() -> None:
    for kind, ripples in (("battery", False), ("supply", True)):
        circuit = handmade((kind, 9.0, {"plus": 1, "minus": 0}), r(1, 0))
        assert ("ac" in first(circuit, circuit.parts[0].name, "v", None, Stimulus(ripple=True))) is ripples
        assert "ac" not in first(circuit, circuit.parts[0].name, "v")


@pytest.mark.parametrize("closed", [True, False])
def test_a_switch_is_one_resistance_before_and_another_after(closed: bool) -> None:
    circuit = handmade(BATTERY, ("switch", None, {"a": 1, "b": 2}), r(2, 0))
    part = circuit.parts[1]
    on, off = part.parameters.get("closed_ohm", 0.05), part.parameters.get("open_ohm", 1e9)
    now, then = (Conditions(switches={part.at: state}) for state in (closed, not closed))
    assert ohms(circuit, part.name, now) == pytest.approx(on if closed else off)
    netlist = write_netlist(circuit, now, Stimulus(after=then))
    (model,) = [x for x in netlist.lines if " sw(" in x]
    before, later = (on, off) if closed else (off, on)
    assert f"ron={later:.12g}" in model and f"roff={before:.12g}" in model  # at t = 0 the control comes on


def test_specimens_scale_what_varies() -> None:
    zener = handmade(BATTERY, r(1, 2), ("zener", 5.1, {"anode": 0, "cathode": 2}))
    name = zener.parts[2].name
    netlist = write_netlist(zener, Conditions(), scales={name: 1.05, "R101": 0.9})
    breakdown = 1.05 * zener.parts[2].parameters.get("BV", 5.1)
    assert [v for _, v in netlist.changeable[name]] == pytest.approx([breakdown])
    assert [round(v, 6) for _, v in netlist.changeable["R101"]] == [900.0]
    assert any(f"bv={breakdown:.12g}" in x for x in netlist.lines)


def test_models_are_shared_between_like_parts_only() -> None:
    lights = [("led", c, {"anode": n, "cathode": 0}) for n, c in ((2, "red"), (3, "red"), (4, "green"))]
    circuit = handmade(BATTERY, *lights, r(1, 2), r(1, 3), r(1, 4))
    models = [x.split()[1] for x in write_netlist(circuit, Conditions()).lines if x.startswith(".model")]
    assert len(models) == 2
    own = write_netlist(circuit, Conditions(), own_models=True).lines
    assert len([x for x in own if x.startswith(".model")]) == 3


def test_a_current_into_a_net_comes_out_of_the_plate() -> None:
    circuit = handmade(BATTERY, r(1, 2), r(2, 0))
    netlist = write_netlist(circuit, Conditions(), Stimulus(into_net=2))
    assert "iout 0 n2 dc 0 ac 1" in netlist.lines


def test_nought_ohms_is_a_link_nought_farads_is_none() -> None:
    assert ohms(handmade(BATTERY, r(1, 2, 0.0), r(2, 0)), "R101") == 1e-3
    with pytest.raises(SimulationError, match="C101"):
        write_netlist(handmade(BATTERY, r(1, 2), ("capacitor", 0.0, {"a": 2, "b": 0})), Conditions())


def test_slope_of_a_capsule() -> None:
    """2·I/|U| of a junction FET at its bias."""
    assert microphone_slope({"bias_A": 3e-4, "saturation_V": 1.5}) == pytest.approx(4e-4)


# ---------------------------------------------------------------- strain


class Point:
    """An operating point of one part."""

    def __init__(self, amperes: dict[str, float], watts: float | None) -> None:
        self._amperes, self._watts = amperes, watts

    def current(self, part: object, terminal: str) -> float | None:
        return self._amperes.get(terminal)

    def power(self, part: object) -> float | None:
        return self._watts


def test_strain_is_heat_and_the_greatest_current_whatever_its_sign() -> None:
    part = handmade(("npn", "BC547", {"base": 1, "collector": 2, "emitter": 0})).parts[0]
    heat = _stress._strain(Point({"base": 0.001, "collector": 0.1, "emitter": -0.101}, 0.5), part)  # type: ignore[arg-type]
    assert heat == (0.5, 0.101)
    assert _stress._strain(Point({}, -2.0), part) == (0.0, 0.0)  # type: ignore[arg-type]


@pytest.mark.parametrize("by_ratio", [True, False])
def test_half_of_the_greatest_current_is_closed_in_on(by_ratio: bool) -> None:
    """A current that rises with the knob's logarithm (light) or with the knob: half of it is found."""
    part = handmade(("npn", "BC547", {"base": 1, "collector": 2, "emitter": 0})).parts[0]
    points: dict[float, Point] = {}

    def turn(value: float) -> None:
        share = math.log10(value) / 4 if by_ratio else value
        points.setdefault(value, Point({"collector": 1 / (1 + math.exp(-40 * (share - 0.37)))}, 0.0))

    ends = (1.0, 1e4) if by_ratio else (0.0, 1.0)
    for value in ends:
        turn(value)
    _stress._go_half_way(points, lambda p: _stress._strain(p, part)[1], turn, by_ratio=by_ratio)  # type: ignore[arg-type]
    assert len(points) == 2 + 7
    shares = sorted(abs((math.log10(v) / 4 if by_ratio else v) - 0.37) for v in points)
    assert shares[0] < 0.01
    second = 100.0 if by_ratio else 0.5
    assert second in points
