"""A danger behind a gap is told before somebody closes the gap (common practice, no source)."""

from __future__ import annotations

import re

import pytest
from edits import edited
from ruleboards import DRIVER

import snapcheck
from snapcheck.board import parse_layout
from snapcheck.circuit import build_circuit, bundled_rules, check_rules, with_dangers_ahead
from snapcheck.findings import Finding, Severity
from snapcheck.kit import bundled_kit
from snapcheck.simulate import is_available

KIT = bundled_kit()
DIODE = """
plate 5 x 4
A1 corner ends=right+down
B1 straight
C1 corner ends=left+down
A2 battery 9V plus=up
C2 led green anode=up
A3 ground stem=up
"""


def told(text: str) -> list[Finding]:
    circuit = build_circuit(parse_layout(text, "test", KIT).board, KIT)
    return with_dangers_ahead(circuit, check_rules(circuit), bundled_rules())


def ahead(found: list[Finding]) -> list[list[str]]:
    return [f.data["ahead"] for f in found if "ahead" in f.data]


def test_a_diode_that_burns_once_its_ground_is_there() -> None:
    found = told(DIODE)
    assert ahead(found) == [["no-current-limit"]] and found[0].severity is Severity.FAULT
    assert "Beware: once the gap is closed, this may be a danger" in found[0].mend
    assert "no-current-limit" in [f.rule for f in told(DIODE + "C3 ground stem=up\n")]  # and it is one


def test_a_diode_with_its_resistor_has_no_danger_ahead() -> None:
    assert ahead(told(DIODE.replace("B1 straight", "B1 resistor 470"))) == []


def test_a_wire_that_would_close_a_short() -> None:
    text = DIODE.replace("B1 straight\n", "").replace("C2 led green anode=up", "C2 ground stem=up")
    assert ahead(told(text)) == [["supply-shorted"]]


def test_two_gaps_that_are_a_danger_only_together() -> None:
    found = told(DIODE.replace("B1 straight\n", ""))
    assert ahead(found) == [["no-current-limit"]]
    assert all(f.severity is not Severity.DANGER for f in found)


def test_it_is_told_of_the_gap_and_of_no_other_fault() -> None:
    lower = re.sub(r"\b([A-C])([1-3])", lambda m: f"{m[1]}{int(m[2]) + 2}", DIODE).replace("5 x 4", "5 x 6")
    found = told(lower + "A1 resistor 470\n")
    assert [("ahead" in f.data, str(f.cells[0])) for f in found if f.severity is Severity.FAULT] == [
        (False, "A1"), (False, "A1"), (True, "C4"),
    ]  # fmt: skip


def test_what_is_a_danger_now_comes_first() -> None:
    """Nothing is told of later where there is a danger now."""
    text = DIODE + "E1 ground stem=down\nE2 battery 9V plus=up\nE3 ground stem=up\n"
    assert [f for f in told(text) if f.severity is Severity.DANGER] and ahead(told(text)) == []


@pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")
def test_a_danger_that_only_calculation_shows() -> None:
    """A transistor with 0.8 mA into its base lets a diode of 20 mA have some 100 times that."""
    text = edited(DRIVER, "-C4")
    assert ahead(list(snapcheck.rules(text, calculate=False).findings)) == []
    (rules,) = ahead(list(snapcheck.rules(text).findings))
    assert set(rules) == {"resistor-missing"}


@pytest.mark.parametrize(("turned", "rules"), [
    ("B1 straight ends=up+down", [["no-current-limit"]]),
    ("C2 led green anode=left", [["no-current-limit"]]),  # of its two turns that meet the neighbours, one
    ("B1 resistor 470 ends=up+down", []),
])  # fmt: skip
def test_a_cube_that_burns_once_another_or_itself_is_turned_to_meet_its_neighbours(
    turned: str, rules: list[list[str]]
) -> None:
    cell = turned.split(maxsplit=1)[0]
    lines = [line for line in (DIODE + "C3 ground stem=up\n").splitlines() if not line.startswith(cell)]
    assert ahead(told("\n".join([*lines, turned]) + "\n")) == rules
