"""A mistake costs points once, as the sheet says: figures missed because of it cost no more; others do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from snapcheck.board import load_design, parse_layout
from snapcheck.grade import Facts, Grade, Rubric, facts_of, grade, parse_rubric, sample_rubric
from snapcheck.grade.out import sheet_page
from snapcheck.kit import bundled_kit
from snapcheck.pipeline import check_build
from snapcheck.simulate import Simulator, is_available

DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


def facts(design: str, *edits: str, promise: str = "") -> Facts:
    """A design with some lines changed, held against it (with one more promise)."""
    kit, text = bundled_kit(), (DESIGNS / f"{design}.board").read_text(encoding="utf-8")
    plan = load_design(DESIGNS / f"{design}.board", kit)
    if promise:
        more = parse_layout(f"{text}\n{promise}\n", "plan", kit).expectations
        plan = replace(plan, expectations=more)
    lines = text.splitlines()
    for edit in edits:
        lines = [x for x in lines if not x.startswith(edit.removeprefix("remove ").split()[0] + " ")]
        if not edit.startswith("remove "):
            lines.append(edit)
    board = parse_layout("\n".join(x for x in lines if not x.startswith("expect")), "build", kit).board
    with Simulator() as simulator:
        return facts_of(check_build(board, plan, kit, simulator))


def item(graded: Grade, name: str) -> tuple[str, str]:
    line = next(x for x in graded.lines if x.name == name)
    return line.points, line.most


def test_a_swap_costs_once() -> None:
    """Fixed and light-dependent resistor exchanged: -1.5 for the places, nothing for the figures missed."""
    found = facts("night-lamp", "C2 photoresistor 10k ends=up+down", "C4 resistor 10k ends=up+down")
    assert sum(not f.met for f in found.figures) >= 3
    graded = grade(found, sample_rubric())
    assert (item(graded, "placement"), item(graded, "function")) == (("1.5", "3"), ("5", "5"))
    told = next(x for x in graded.lines if x.name == "function").reasons
    assert all("follows from what is counted already" in words and cost == "0" for words, cost in told)
    assert graded.points == "17.5" and not graded.changes  # without a note; no cap for what is counted


def test_a_figure_that_no_mistake_explains_costs() -> None:
    """A promise that the plan itself does not keep is missed with everything mended, too."""
    found = facts("first-light", "D2 led red anode=down", promise="expect current at D2 anode 900 to 901 mA")
    assert [f.explained for f in found.figures] == [True] * (len(found.figures) - 1) + [False]


def test_what_no_item_takes_points_for_is_told_by_the_figures() -> None:
    """In a rubric without an item for the mistake the missed figures count, and the sheet does not differ."""
    text = """
        title = "Function"
        [[item]]
        name = "values"
        title = "Values"
        points = 4
        by = "findings"
        rules = ["wrong-value"]
        each = 1
        [[item]]
        name = "function"
        title = "Function"
        points = 4
        by = "figures"
    """
    rubric: Rubric = parse_rubric(text, "test")
    reversed_only = grade(facts("first-light", "D2 led red anode=down"), rubric)
    value_only = grade(facts("first-light", "C1 resistor 470k ends=left+right"), rubric)
    both = grade(facts("first-light", "D2 led red anode=down", "C1 resistor 470k ends=left+right"), rubric)
    assert item(reversed_only, "function")[0] == "2"  # two of four are missed, and nothing else takes points
    assert (item(value_only, "values")[0], item(value_only, "function")[0]) == ("3", "4")
    assert (item(both, "values")[0], item(both, "function")[0]) == ("3", "2")


def test_sheet_and_cap_say_so() -> None:
    page = sheet_page(sample_rubric())
    assert "because of a mistake that costs points already costs no more" in page
    assert "no mistake counted above is why" in page
