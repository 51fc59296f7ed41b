"""Values that are likely where print is covered: their spellings, and how well they fit what is seen."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from snapcheck.board import Cube
from snapcheck.kit import ValueForm, bundled_kit, parse_value
from snapcheck.photo import _likely
from snapcheck.photo._cells import Line
from snapcheck.photo._nets import calibration, names
from snapcheck.photo._read import _against, _one_way_up, _valued

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


def seen(text: str, covered: int, taken_for: str) -> Line:
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
    return Line(wrong, 0.3, (), (np.array(frames),))


@pytest.mark.parametrize(
    ("kind", "text", "covered", "taken_for"),
    [("npn", "2N3904", 2, "0"), ("resistor", "6k8", 2, "5"), ("led", "green", 3, "A")],
)
def test_a_covered_letter_is_filled_in_but_for_a_person_to_confirm(
    kind: str, text: str, covered: int, taken_for: str
) -> None:
    form = KIT[kind].value_form
    cube, p, _, _ = _valued(kind, 0, form, seen(text, covered, taken_for), KIT, calibration())
    assert cube.value == parse_value(text, form).value
    assert p < calibration()["text_threshold"]


def test_a_legible_odd_value_stays_as_read() -> None:
    cube, p, _, why = _valued("resistor", 0, ValueForm.OHMS, Line("4k8", 0.995, ()), KIT, calibration())
    assert (cube.printed, cube.value, why) == ("4k8", 4800.0, "") and p > 0.9


@pytest.mark.parametrize(
    ("kind", "up", "down", "value"),
    [("speaker", "16", "91", 16.0), ("speaker", "91", "16", 16.0), ("resistor", "68", "89", 68.0)],
)
def test_print_that_makes_sense_both_ways_up_is_never_sure(
    kind: str, up: str, down: str, value: float
) -> None:
    line, turned = _one_way_up(Line(up, 0.999, ()), Line(down, 0.998, ()), KIT[kind], KIT)
    cube, p, others, _ = _valued(kind, 0, KIT[kind].value_form, line, KIT, calibration())
    assert cube.value == value and turned == (line.text != up)
    assert p < calibration()["text_threshold"]
    assert {c.printed for c, _ in others} == {up, down} - {line.text}


def test_print_that_makes_sense_one_way_up_stays_sure() -> None:
    for up, down in (("180", "081R?"), ("4k7", "LH")):
        line, turned = _one_way_up(Line(up, 0.999, ()), Line(down, 0.6, ()), KIT["resistor"], KIT)
        assert (line.text, line.confidence, turned) == (up, 0.999, False)


@pytest.mark.parametrize(
    ("kind", "value", "rival"), [("capacitor", 100e-6, "electrolytic"), ("electrolytic", 4.7e-9, "capacitor")]
)
def test_a_value_of_the_rival_kind_leaves_a_symbol_doubtful_unless_it_is_clear(
    kind: str, value: float, rival: str
) -> None:
    """Plus and minus hang on it: 100 µF on a plain capacitor is an electrolytic whose sign was not seen."""
    cube = Cube(kind, 0, value, None, "F")
    blurred = 0.99 * _against(cube, 0.99, {rival: 0.01})
    assert blurred == pytest.approx(0.99 * 0.1 / (0.99 * 0.1 + 0.01), abs=1e-9)
    assert 0.9999 * _against(cube, 0.9999, {rival: 1e-7}) > 0.9998


def test_usual_values_take_nothing_from_a_symbol() -> None:
    for kind, value, rival in (("capacitor", 100e-9, "electrolytic"), ("electrolytic", 100e-6, "capacitor")):
        assert _against(Cube(kind, 0, value, None, "F"), 0.6, {rival: 0.4}) == 1.0
    assert _against(Cube("led", 0, "red", None, ""), 0.6, {}) == 1.0
