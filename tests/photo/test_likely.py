"""Values that are likely where print is covered: their spellings, and how well they fit what is seen."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from snapcheck.board import Cube
from snapcheck.kit import ValueForm, bundled_kit, parse_value
from snapcheck.photo import State, _likely
from snapcheck.photo._cells import Print, _stacked
from snapcheck.photo._nets import calibration, names
from snapcheck.photo._read import _one
from snapcheck.photo._weigh import cubes_of, likely, one_way_up, valued, values_of

KIT = bundled_kit()
LETTERS = names()[1]
PRINTED = [k for k in names()[0] if k in KIT and KIT[k].value_form is not ValueForm.NONE]


@pytest.mark.parametrize(
    ("value", "form", "some"),
    [
        (4700.0, ValueForm.OHMS, {"4k7", "4.7k", "4.7kΩ", "4.7 kΩ"}),
        (470.0, ValueForm.OHMS, {"470R", "470", "470Ω", "470 Ω"}),
        (1e6, ValueForm.OHMS, {"1M", "1MΩ", "1 MΩ"}),
        (2.2e-9, ValueForm.FARADS, {"2n2", "2.2n", "2.2nF", "2.2 nF"}),
        (1e-4, ValueForm.FARADS, {"100µ", "100µF", "100 µF"}),
        (6.2, ValueForm.VOLTS, {"6V2", "6.2V", "6.2 V"}),
        (0.1, ValueForm.AMPERES, {"0.1A", "0.1 A", "0A1"}),
    ],
)
def test_values_are_spelt_as_people_print_them(value: float, form: ValueForm, some: set[str]) -> None:
    """Letters for points after IEC 60062; the others common practice, no source."""
    assert some <= _likely.spellings(value, form)


@pytest.mark.parametrize("kind", PRINTED)
def test_every_likely_print_makes_sense_on_its_cube(kind: str) -> None:
    words = _likely.words(KIT[kind].value_form, KIT[kind].values)
    for word in words:
        parse_value(word, KIT[kind].value_form)
    known = {v for v in KIT[kind].values if isinstance(v, str)}
    assert known <= set(words)


def test_a_word_is_as_likely_as_all_its_alignments_together() -> None:
    """Every path of letters and blanks over five places, tried one by one."""
    rng = np.random.default_rng(3)
    prob = np.zeros((5, len(LETTERS) + 1))
    some = [0, *(LETTERS.index(c) + 1 for c in "1k0")]
    prob[:, some] = rng.dirichlet(np.ones(4), size=5)
    noisy = (1 - _likely.SLIP) * prob + _likely.SLIP / prob.shape[1]
    for word in ("1k", "10", "11k"):
        total = 0.0
        for path in product(some, repeat=5):
            folded = [c for i, c in enumerate(path) if c and (i == 0 or path[i - 1] != c)]
            if "".join(LETTERS[c - 1] for c in folded) == word:
                total += float(np.prod(noisy[range(5), path]))
        assert _likely.likelihoods((word,), (prob,))[0] == pytest.approx(total, rel=1e-9)


def seen(text: str, covered: int, taken_for: str) -> Print:
    """A line read letter by letter, one of them under a lead and taken for another."""
    frames = []
    for i, c in enumerate(text):
        p = np.full(len(LETTERS) + 1, 1e-5)
        if i == covered:
            p += 0.7 / len(p)
            p[LETTERS.index(taken_for) + 1] += 0.3
        else:
            p[LETTERS.index(c) + 1] += 1
        blank = np.full(len(LETTERS) + 1, 1e-5)
        blank[0] = 1
        frames += [p / p.sum(), blank / blank.sum()]
    wrong = text[:covered] + taken_for + text[covered + 1 :]
    return Print(wrong, 0.3, (), (np.array(frames),))


@pytest.mark.parametrize(
    ("kind", "text", "covered", "taken_for"),
    [("npn", "2N3904", 2, "0"), ("resistor", "6k8", 2, "5"), ("led", "green", 3, "A")],
)
def test_a_covered_letter_is_filled_in_but_for_a_person_to_confirm(
    kind: str, text: str, covered: int, taken_for: str
) -> None:
    cube, p, _ = said(kind, seen(text, covered, taken_for))
    assert cube.value == parse_value(text, KIT[kind].value_form).value
    assert p < calibration()["text_threshold"]


def said(kind: str, line: Print) -> tuple[Cube, float, str]:
    """The cube of this kind with its likeliest value."""
    return valued(KIT[kind], 0, line, values_of(KIT[kind], line)[0])


def test_a_legible_odd_value_stays_as_read() -> None:
    cube, p, why = said("resistor", Print("4k8", 0.995, ()))
    assert (cube.printed, cube.value, why) == ("4k8", 4800.0, "") and p > 0.9


@pytest.mark.parametrize(
    ("kind", "up", "down", "value"),
    [("resistor", "18", "81", 18.0), ("resistor", "81", "18", 18.0), ("resistor", "68", "89", 68.0)],
)
def test_print_that_makes_sense_both_ways_up_is_never_sure(
    kind: str, up: str, down: str, value: float
) -> None:
    line, turned = one_way_up(Print(up, 0.999, ()), Print(down, 0.998, ()), KIT[kind])
    cube, p, _ = said(kind, line)
    assert cube.value == value and turned == (line.text != up)
    assert p < calibration()["text_threshold"]
    assert {text for _, text, _ in values_of(KIT[kind], line)[0]} == {up, down}


@pytest.mark.parametrize(("up", "down"), [("16", "91"), ("91", "16")])
def test_a_value_that_no_cube_comes_with_is_the_other_one_upside_down(up: str, down: str) -> None:
    line, turned = one_way_up(Print(up, 0.999, ()), Print(down, 0.998, ()), KIT["speaker"])
    assert (line.text, turned) == ("16", up == "91") and said("speaker", line)[1] > 0.99
    odd, _ = one_way_up(Print("89", 0.999, ()), Print("68", 0.998, ()), KIT["speaker"])  # neither is
    assert said("speaker", odd)[1] < calibration()["text_threshold"]


def test_print_that_reads_the_same_both_ways_up_is_no_rival_of_its_own() -> None:
    line, _ = one_way_up(Print("8", 0.999, ()), Print("8", 0.998, ()), KIT["speaker"])
    assert said("speaker", line)[1] > 0.99
    line, turned = one_way_up(Print("100000", 0.999, ()), Print("000001", 0.999, ()), KIT["thermistor"])
    assert not turned and said("thermistor", line)[1] > 0.99


def test_print_that_makes_senseone_way_up_stays_sure() -> None:
    for up, down in (("180", "081R?"), ("4k7", "LH")):
        line, turned = one_way_up(Print(up, 0.999, ()), Print(down, 0.6, ()), KIT["resistor"])
        assert (line.text, line.confidence, turned) == (up, 0.999, False)


@pytest.mark.parametrize(
    ("kind", "text", "rival"), [("capacitor", "100µ", "electrolytic"), ("electrolytic", "4n7", "capacitor")]
)
def test_a_value_of_the_rival_kind_leaves_a_symbol_doubtful_unless_it_is_clear(
    kind: str, text: str, rival: str
) -> None:
    """Plus and minus hang on it: 100 µF on a plain capacitor is an electrolytic whose sign was not seen."""
    line = Print(text, 1.0, ())
    blurred, _ = likely({kind: 0.99, rival: 0.01}, line, 1.0, KIT)
    odds = (
        99 * (0.03 + 0.97 * 0.1) / 1.0
    )  # Bayes' rule: as a print of this kind it is odd, of the other usual
    assert blurred[kind] == pytest.approx(odds / (1 + odds), abs=1e-9)
    clear, _ = likely({kind: 0.9999, rival: 1e-7}, line, 1.0, KIT)
    assert clear[kind] > 0.9998


def test_usual_values_take_nothing_from_a_symbol() -> None:
    for kind, text, rival in (("capacitor", "100n", "electrolytic"), ("electrolytic", "100µ", "capacitor")):
        assert likely({kind: 0.6, rival: 0.4}, Print(text, 1.0, ()), 1.0, KIT)[0][kind] >= 0.6
    assert likely({"led": 0.6}, Print("red", 1.0, ()), 1.0, KIT)[0]["led"] == pytest.approx(0.6)


def test_the_print_tells_kinds_apart_that_look_alike() -> None:
    """A colour is printed on light-emitting diodes, a type number on diodes; nothing on wires."""
    kinds = {"diode": 0.5, "led": 0.45, "straight": 0.05}
    weighed, values = likely(kinds, Print("RED", 0.98, ()), 0.99, KIT)
    assert weighed["led"] > 0.9 and 0.1 > weighed["diode"] > weighed["straight"]
    assert sum(weighed.values()) == pytest.approx(1.0)
    first = cubes_of(weighed, np.array([0.9, 0.05, 0.03, 0.02]), values, KIT)[0]
    assert (first[0].kind, first[0].value, first[0].turn) == ("led", "red", 0)


def test_two_lines_are_one_print() -> None:
    line = _stacked(Print("2N", 0.99, ()), Print("3904", 0.98, (("3984", 0.01),)))
    assert line.text == "2N\n3904" and line.confidence == pytest.approx(0.99 * 0.98)
    assert said("npn", line)[0].value == "2N3904"
    rated = _stacked(Print("47µF", 0.99, ()), Print("25V", 0.97, ()))
    assert said("electrolytic", rated)[0].value == 47e-6


@pytest.mark.parametrize(("rival", "p", "state"), [
    ("4.7µ", 0.006, State.UNSURE), ("47n", 0.006, State.UNSURE), (".47µ", 0.006, State.UNSURE),
    ("47µ", 0.006, State.READ), ("4.7µ", 0.003, State.READ), ("56µ", 0.006, State.READ),
])  # fmt: skip
def test_a_value_with_a_rival_decades_away_is_asked_about_sooner(rival: str, p: float, state: State) -> None:
    values = [(parse_value(t, ValueForm.FARADS), t, q) for t, q in (("47µ", 0.992), (rival, p))]
    turns, line = np.array([1.0, 0.0, 0.0, 0.0]), Print("47µ", 0.992, ())
    cube = _one({"electrolytic": 0.9999}, turns, 0, {"electrolytic": values}, line, 0.0, KIT, calibration())
    assert cube.state is state and cube.cube.value == pytest.approx(47e-6)
