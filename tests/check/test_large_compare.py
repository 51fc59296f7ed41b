"""Builds with cubes of several cells held against their plan: what is moved, turned, swapped, in the way."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from edits import edited
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from largekit import LARGE_KIT, large_board, large_boards

from snapcheck.board import Board, Cell, parse_layout
from snapcheck.check import Verdict, compare
from snapcheck.findings import Finding

PLAN = """
plate 9 x 6
B1 corner ends=right+down
C1 straight turn=0
D1 resistor 1k turn=0
E1 corner ends=left+down
B2 battery-box 9V plus=up
E2 chip RN8 notch=up
B4 corner ends=up+right
C4 straight turn=0
D4 straight turn=0
E4 corner ends=left+up
G2 big-speaker 8 ends=left
G5 resistor 470 turn=90
G4 corner ends=down+right
G6 ground stem=up
"""


def board(*lines: str) -> Board:
    return parse_layout(edited(PLAN, *lines), "plan", LARGE_KIT).board


def found(*lines: str) -> list[Finding]:
    """Findings of the comparison itself, without what rules object to."""
    result = compare(board(), board(*lines), LARGE_KIT)
    return [f for f in result.findings if f.source == "comparison with the plan"]


def told(findings: list[Finding]) -> list[tuple[str, str]]:
    return [(f.rule, " ".join(map(str, f.cells))) for f in findings]


def test_the_plan_itself_has_no_fault() -> None:
    assert not found()


def test_missing() -> None:
    (missing,) = found("-E2")
    assert told([missing]) == [("cube-missing", "E2")]
    assert missing.title == "E2 is empty; the plan has there: chip RN8."
    assert missing.expected == "Chip RN8. It covers E2, F2, E3 and F3."
    assert missing.mend == "Put the chip RN8 into E2, notch at the top."


def test_extra() -> None:
    (extra,) = found("H4 big-speaker 8 ends=right")
    assert told([extra]) == [("cube-extra", "H4")]
    assert extra.found == "Large loudspeaker 8. It covers H4, I4, H5 and I5."


def test_turned_in_its_place() -> None:
    (turned,) = found("E2 chip RN8 notch=right")
    assert told([turned]) == [("turned", "E2")]
    assert turned.mend.startswith("Turn the cube at E2 by a quarter turn to the left, notch at the top")


def test_reversed() -> None:
    (back,) = found("B2 battery-box 9V plus=down")
    assert told([back]) == [("reversed", "B2")]
    assert back.title == "The battery box 9V at B2 is the wrong way round."
    assert back.mend.startswith("Do not power.")


def test_two_neighbours_turned_in_their_places_are_not_swapped() -> None:
    plan = edited(PLAN, "C2 chip RN8 notch=up", "-E2")
    built = edited(plan, "C2 chip RN8 notch=right", "B2 battery-box 9V plus=down")
    boards = [parse_layout(text, "x", LARGE_KIT).board for text in (plan, built)]
    rules = {(f.rule, str(f.cells[0])) for f in compare(*boards, LARGE_KIT).findings if f.cells}
    assert rules >= {("turned", "C2"), ("reversed", "B2")} and not any(r == "swapped" for r, _ in rules)


def test_turned_onto_other_cells() -> None:
    """Lying, the battery box covers B2 and C2."""
    (turned,) = found("B2 battery-box 9V plus=left")
    assert told([turned]) == [("turned", "B2")]


def test_moved_by_one_cell_over_its_own_place() -> None:
    (moved,) = found("-G2", "H2 big-speaker 8 ends=left")
    assert told([moved]) == [("moved", "G2 H2")]
    assert moved.title == "The large loudspeaker 8 stands at H2 instead of G2."


def test_moved_far() -> None:
    (moved,) = found("-B2", "H4 battery-box 9V plus=up")
    assert told([moved]) == [("moved", "B2 H4")]


def test_two_large_cubes_moved_together() -> None:
    (moved,) = found("-E2", "-G2", "E3 chip RN8 notch=up", "G3 big-speaker 8 ends=left", "-E4", "-G4")[:1]
    assert moved.rule == "moved" and {str(c) for c in moved.cells} >= {"E2", "G2", "E3", "G3"}


def test_swapped_with_one_of_its_size() -> None:
    (swapped,) = found("E2 big-speaker 8 ends=left", "G2 chip RN8 notch=up")
    assert told([swapped]) == [("swapped", "E2 G2")]


def test_swapped_with_a_smaller_neighbour() -> None:
    """The resistor at D1 and a battery box lying beside it in E1 and F1 share cells the other way round."""
    plan = edited(PLAN, "-E1", "E1 battery-box 9V plus=left", "-B2")
    built = edited(plan, "-E1", "D1 battery-box 9V plus=left", "F1 resistor 1k turn=0")
    boards = [parse_layout(text, "x", LARGE_KIT).board for text in (plan, built)]
    findings = [f for f in compare(*boards, LARGE_KIT).findings if f.rule == "swapped"]
    (swapped,) = findings
    assert {str(c) for c in swapped.cells} == {"D1", "E1", "F1"}
    assert swapped.title == "The battery box 9V and the resistor 1k at E1 and D1 are swapped."
    assert swapped.found == "Resistor 1k at F1, battery box 9V at D1."


def test_a_large_cube_over_planned_ones_says_what_it_covers() -> None:
    findings = found("-D4", "-E4", "-C4", "C4 big-speaker 8 ends=left")
    covered = next(f for f in findings if str(f.cells[0]) == "D4")
    assert covered.rule == "cube-missing"
    assert covered.title == ("The large loudspeaker 8 at C4 covers D4; the plan has there: straight wire.")
    assert covered.found == "Large loudspeaker 8. It covers C4, D4, C5 and D5."
    assert ("wrong-kind", "C4") in told(findings) and ("cube-missing", "E4") in told(findings)


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_whole_build_turned_and_shifted_passes(turn: int) -> None:
    large = Board(12, 12, board().cubes)
    result = compare(board(), large.turned(turn), LARGE_KIT)
    assert result.electrical in ("identical", "equivalent") and not result.own_layout
    assert result.alignment.turn == turn
    assert all(f.rule == "build-shifted" for f in result.findings if f.source == "comparison with the plan")
    chip = Cell.parse("E2")
    assert result.plan_circuit.part_at[chip].kind.name == "chip"
    assert result.built_circuit.part_at[result.parts[chip]].kind.name == "chip"


def test_a_mirrored_build_is_told_so() -> None:
    plan = board("-E2", "-B2")
    mirror = {"left": "right", "right": "left"}
    lines = []
    for line in edited(PLAN, "-E2", "-B2").strip().splitlines()[1:]:
        cell, *words = line.split()
        width = 2 if "big-speaker" in line else 1
        column = chr(ord("A") + 9 - width - (ord(cell[0]) - ord("A")))
        key, _, sides = words[-1].partition("=")
        words[-1] = f"{key}={'+'.join(mirror.get(s, s) for s in sides.split('+'))}"
        lines.append(" ".join([f"{column}{cell[1:]}", *words]))
    built = parse_layout("plate 9 x 6\n" + "\n".join(lines), "mirror", LARGE_KIT).board
    result = compare(plan, built, LARGE_KIT)
    assert result.alignment.mirrored and result.electrical == "equivalent"
    assert result.parts[Cell.parse("G2")] == Cell.parse("B2")


@settings(max_examples=60, deadline=None)
@given(large_boards(), st.integers(0, 3))
def test_a_board_held_against_itself_turned_never_fails(plan: Board, quarters: int) -> None:
    result = compare(plan, plan.turned(90 * quarters), LARGE_KIT)
    assert result.electrical in ("identical", "equivalent", "gave-up")


@settings(max_examples=100, deadline=None)
@given(large_boards(), st.data())
def test_one_large_cube_missing_or_turned_is_told_at_its_anchor(plan: Board, data: st.DataObject) -> None:
    large = [c for c, q in plan.cubes.items() if q.large]
    assume(large)
    cell = data.draw(st.sampled_from(large))
    cube = plan.cubes[cell]
    half = replace(cube, turn=(cube.turn + 180) % 360)
    taken = data.draw(st.sampled_from([None, half]))
    result = compare(plan, plan.put({cell: taken}), LARGE_KIT)
    assume(not result.own_layout and not result.alignment.moved)
    assert result.changed_cells == (cell,)
    (told,) = [f for f in result.findings if f.source == "comparison with the plan"]
    other = "reversed" if cube.kind == "battery-box" else "turned"
    assert told.rule == ("cube-missing" if taken is None else other)
    assert told.cells == (cell,) and told.expected_cube == cube


@settings(max_examples=60, deadline=None)
@example(65)  # a socket box whose mirror image would lie across other cells
@given(st.integers(0, 2**32))
def test_two_random_boards_are_compared_without_a_crash(seed: int) -> None:
    rng = random.Random(seed)
    plan, built = (large_board(rng, rng.randint(4, 8), rng.randint(4, 7), 0.7) for _ in range(2))
    unsure = dict.fromkeys(rng.sample(list(built.cells()), 3), ())
    result = compare(plan, built, LARGE_KIT, unsure=unsure)
    assert isinstance(result.verdict, Verdict)
    assert all(built.named(c) == c or f.rule == "cell-unsure" for f in result.findings for c in f.cells[:1]
               if f.source != "comparison with the plan")  # fmt: skip
    some = dict(rng.sample(list(plan.cubes.items()), min(3, len(plan.cubes))))
    put = {c: q for c, q in some.items() if c.column + q.lies[0] <= built.columns
           and c.row + q.lies[1] <= built.rows}  # fmt: skip
    near = built
    for cell, cube in put.items():
        near = near.put({cell: cube})
    assert isinstance(compare(built, near, LARGE_KIT).verdict, Verdict)
