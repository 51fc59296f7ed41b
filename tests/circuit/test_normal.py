"""The normal form: what adds up and how, what is idle, which way round a chain lies."""

from __future__ import annotations

import itertools

import pytest
from handmade import Entry, handmade
from hypothesis import given, settings
from hypothesis import strategies as st

from snapcheck.circuit import PartSpec, circuit_of, equivalence, normal_form
from snapcheck.circuit._normal import Element, value_of
from snapcheck.kit import bundled_kit

BATTERY: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})
#: beside everything else, so that no load becomes a chain with the battery
LAMP: Entry = ("lamp", "9V/0.1A", {"a": 1, "b": 0})


def two(kind: str, a: int, b: int, value: float | str) -> Entry:
    legs = {"electrolytic": ("plus", "minus"), "led": ("anode", "cathode"), "diode": ("anode", "cathode")}
    one, other = legs.get(kind, ("a", "b"))
    return kind, value, {one: a, other: b}


def elements(*entries: Entry, keep: tuple[int, ...] = ()) -> list[Element]:
    form = normal_form(handmade(BATTERY, LAMP, *entries), keep)
    return [e for e in form.elements if e.links[0][0] not in ("battery", "lamp")]


@pytest.mark.parametrize(
    ("kind", "values", "parallel", "series"),
    [
        ("resistor", (300.0, 600.0), 200.0, 900.0),
        ("inductor", (0.3, 0.6), 0.2, 0.9),
        ("capacitor", (3e-7, 6e-7), 9e-7, 2e-7),
        ("electrolytic", (1e-5, 4.7e-5), 5.7e-5, None),
    ],
)
def test_how_two_add_up(
    kind: str, values: tuple[float, float], parallel: float, series: float | None
) -> None:
    """Handbook: resistances and inductances add in series, capacitances in parallel."""
    beside = [two(kind, 1, 0, v) for v in values]
    (element,) = elements(*beside)
    assert element.links[0][1] == pytest.approx(parallel) and len(element.members) == 2
    (chain,) = elements(two(kind, 1, 2, values[0]), two(kind, 2, 0, values[1]))
    if series is None:
        assert [v for _, v, _ in chain.links] == list(values)  # each has a plus: not made one
    else:
        assert [v for _, v, _ in chain.links] == pytest.approx([series])


def test_electrolytics_the_other_way_round_do_not_add() -> None:
    assert len(elements(two("electrolytic", 1, 0, 1e-5), two("electrolytic", 0, 1, 1e-5))) == 2
    assert len(elements(two("electrolytic", 1, 0, 1e-5), two("electrolytic", 1, 0, 1e-5))) == 1


def test_leds_side_by_side_stay_two() -> None:
    assert len(elements(two("led", 1, 0, "red"), two("led", 1, 0, "red"))) == 2


@pytest.mark.parametrize("source", [
    ("battery", 9.0, {"plus": 2, "minus": 2}),
    ("supply", 9.0, {"plus": 2, "minus": 2}),
    ("audio-in", None, {"signal": 2, "plate": 2}),
])  # fmt: skip
def test_a_shorted_source_is_not_idle_a_shorted_resistor_is(source: Entry) -> None:
    around = [BATTERY, two("resistor", 1, 2, 1e3), two("resistor", 2, 0, 1e3)]
    assert not equivalence(handmade(*around), handmade(*around, source))
    assert equivalence(handmade(*around), handmade(*around, two("resistor", 2, 2, 1e3)))


def test_a_measured_net_is_no_end_of_the_line() -> None:
    """A resistor to a net that is measured carries no current, and yet says what is measured there."""
    parts = two("resistor", 1, 0, 1e3), two("resistor", 1, 2, 1e4)
    assert len(elements(*parts)) == 1 and len(elements(*parts, keep=(2,))) == 2


def test_a_measured_net_parts_a_chain() -> None:
    parts = two("resistor", 1, 2, 1e3), two("resistor", 2, 0, 1e4)
    assert len(elements(*parts)) == 1 and len(elements(*parts, keep=(2,))) == 2


def meter(value: float, unit: str) -> PartSpec:
    return PartSpec("meter", {"plus": 1, "minus": 0}, value, unit=unit)


def test_the_unit_of_a_meter_is_part_of_its_value() -> None:
    kit = bundled_kit()
    volts, amperes = (circuit_of([meter(10.0, unit)], kit) for unit in ("V", "A"))
    assert value_of(volts.parts[0]) != value_of(amperes.parts[0])
    resistor = circuit_of([PartSpec("resistor", {"a": 1, "b": 0}, 10.0)], kit)
    assert value_of(resistor.parts[0]) == 10.0


#: a string from the supply to the plate: kind, value, and whether it may point either way
STRING = [("led", "red"), ("diode", "1N4148"), ("resistor", 470.0), ("electrolytic", 1e-5), ("resistor", 1e3)]


def string(order: tuple[int, ...], points: tuple[bool, ...]) -> list[Entry]:
    """The parts of STRING in an order, each pointing towards the plate or (False) away from it."""
    nets = [1, 2, 3, 4, 5, 0]
    out = [BATTERY]
    for n, index in enumerate(order):
        a, b = (nets[n], nets[n + 1]) if points[index] else (nets[n + 1], nets[n])
        out.append(two(STRING[index][0], a, b, STRING[index][1]))
    return out


@settings(max_examples=60, deadline=None)
@given(st.permutations(range(5)), st.permutations(range(5)), st.tuples(*[st.booleans()] * 5),
       st.tuples(*[st.booleans()] * 5))  # fmt: skip
def test_in_a_string_the_order_is_nothing_and_the_direction_everything(
    order: list[int], other: list[int], points: tuple[bool, ...], other_points: tuple[bool, ...]
) -> None:
    one, two_ = handmade(*string(tuple(order), points)), handmade(*string(tuple(other), other_points))
    marked = [n for n, (kind, _) in enumerate(STRING) if kind != "resistor"]
    assert bool(equivalence(one, two_)) is all(points[n] == other_points[n] for n in marked)


def test_every_single_part_turned_round_in_a_string_is_seen() -> None:
    """Also of two that are equal, one of them turned, and where the supply stands the other way."""
    for points in itertools.product((True, False), repeat=2):
        pair = [BATTERY, two("led", *((1, 2) if points[0] else (2, 1)), "red"),
                two("led", *((2, 0) if points[1] else (0, 2)), "red")]  # fmt: skip
        plan = [BATTERY, two("led", 1, 2, "red"), two("led", 2, 0, "red")]
        assert bool(equivalence(handmade(*plan), handmade(*pair))) is (points == (True, True))
