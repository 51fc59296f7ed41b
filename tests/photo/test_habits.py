"""One board, one kit: what the other prints say of how a maker prints speaks for each reading of a print."""

from __future__ import annotations

import pytest

from snapcheck.kit import ValueForm, bundled_kit
from snapcheck.photo._cells import Print
from snapcheck.photo._habits import USUAL, traits, with_habits
from snapcheck.photo._weigh import ODD, values_of

KIT = bundled_kit()
OHMS, FARADS = ValueForm.OHMS, ValueForm.FARADS


@pytest.mark.parametrize(
    ("text", "form", "shown"),
    [
        ("4k7", OHMS, {("mark", "letter"), ("kilo", "k"), ("ohm", "none"), ("gap", "none")}),
        ("4,7 kΩ", OHMS, {("mark", "comma"), ("kilo", "k"), ("ohm", "sign"), ("gap", "gap")}),
        (".33uF", FARADS, {("mark", "point"), ("nought", "left out"), ("micro", "u"), ("gap", "none")}),
        ("0.47 mfd", FARADS, {("mark", "point"), ("nought", "told"), ("micro", "mfd"), ("gap", "gap")}),
        ("ORANGE", ValueForm.COLOUR, {("case", "upper")}),
        ("2N\n3904", ValueForm.TYPE, {("parted", "parted")}),
        ("BC547", ValueForm.TYPE, {("parted", "whole")}),
        ("", OHMS, set()),
    ],
)
def test_a_print_shows_its_makers_habits(text: str, form: ValueForm, shown: set[tuple[str, str]]) -> None:
    assert set(traits(text, form)) == shown
    assert all(choice in USUAL[trait] for trait, choice in shown)


def test_shares_of_every_trait_add_up() -> None:
    assert all(sum(choices.values()) == pytest.approx(1) for choices in USUAL.values())


def habits_beside(others: list[str], own: str = "33uF") -> float:
    """How much the others speak for .33uF over 33uF."""
    lines = {i: Print(text, 1.0, ()) for i, text in enumerate(others)}
    lines[99] = Print(own, 0.6, ((".33uF", 0.4),))
    habits = with_habits(lines, dict.fromkeys(lines, FARADS))[99].habits
    assert habits is not None
    return habits.speaks_for(".33uF", FARADS) / habits.speaks_for("33uF", FARADS)


def test_a_nought_that_the_others_leave_out_may_be_left_out_here() -> None:
    assert habits_beside([".1uF", ".22uF", ".47uF"]) > 1.5
    assert habits_beside(["0.1uF", "0.22uF", "0.47uF"]) < 0.8
    assert habits_beside([]) == pytest.approx(1)


def test_nothing_is_learnt_from_a_print_for_itself() -> None:
    assert habits_beside([], ".33uF") == pytest.approx(1)


def test_habits_of_the_board_weigh_the_values_of_a_print() -> None:
    lines = {i: Print(text, 1.0, ()) for i, text in enumerate([".1uF", ".22uF", ".47uF", ".68uF"])}
    lines[9] = Print(".33uF", 0.9, (("33uF", 0.1),))
    told = with_habits(lines, dict.fromkeys(lines, FARADS))[9]
    capacitor = KIT["capacitor"]

    def chance(line: Print) -> float:
        return next(p for said, _, p in values_of(capacitor, line)[0] if said.value == pytest.approx(3.3e-7))

    assert chance(told) > chance(lines[9])


def test_a_print_that_makes_no_sense_is_no_likelier_than_an_odd_value() -> None:
    """YELLDW is no colour: it is YELLOW misread, unless it is some other word."""
    led = KIT["led"]
    line = Print("YELLOW", 0.9, (("YELLDW", 0.1),))
    assert values_of(led, line)[0][0][2] == pytest.approx(0.9 / (0.9 + 0.1 * ODD))
    unlisted = Print("YELLOW", 0.9, ())  # nothing is known of what else it may say
    assert values_of(led, unlisted)[0][0][2] == pytest.approx(0.9)
