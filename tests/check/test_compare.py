"""What a comparison says about builds whose faults are known."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from edits import edited
from ruleboards import LOOP

from snapcheck.board import Board, Cell, Cube, board_from_json, parse_layout
from snapcheck.check import Comparison, Electrical, Verdict, compare, parse_settings
from snapcheck.errors import DataError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import bundled_kit

KIT = bundled_kit()
BUILDS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[2] / "fixtures/builds/faulty-builds.json").read_text(encoding="utf-8")
)
RULE = {
    "extra": "cube-extra", "missing": "cube-missing", "ground missing": "cube-missing",
    "reversed": "reversed", "turned": "turned", "swapped": "swapped", "wrong kind": "wrong-kind",
    "wrong value": "wrong-value",
}  # fmt: skip

# an amplifier stage with a lamp beside it: every sort of cube that matters here
PLAN = """plate 10 x 6
A1 corner turn=0
B1 straight
C1 tee stem=down
D1 tee stem=down
E1 corner turn=90
A2 battery 9V plus=up
A3 ground stem=up
C2 resistor 470k turn=90
D2 resistor 2k2 turn=90
E2 lamp 12V/100mA turn=90
E3 ground stem=up
A4 audio-in signal=right
B4 capacitor 1u
C3 straight turn=90
C4 tee stem=up
D3 straight turn=90
D4 npn BC547 base=left
D5 ground stem=up
H2 socket signal=right
I2 resistor 1k
J2 ground stem=left
tap D3|D4
lead D3|D4 to H2
"""


def board(text: str) -> Board:
    return parse_layout(text, "test", KIT).board


def changed(*lines: str, base: str = PLAN) -> Board:
    """The plan with some lines changed, see `edited`."""
    return board(edited(base, *lines))


def told(result: Comparison) -> list[tuple[str, str]]:
    return [(f.rule, " ".join(map(str, f.cells))) for f in result.findings]


def only(result: Comparison) -> Finding:
    (finding,) = result.findings
    return finding


@pytest.mark.parametrize("build", BUILDS, ids=[f"{i}-{b['name']}" for i, b in enumerate(BUILDS)])
def test_every_known_fault_is_named_and_nothing_else(build: dict[str, Any]) -> None:
    plan, built = board_from_json(build["plan"], KIT), board_from_json(build["built"], KIT)
    result = compare(plan, built, KIT)
    wanted = {(RULE[f["fault"]], f["at"]) for f in build["faults"]}
    assert {(f.rule, str(f.cells[0])) for f in result.findings} == wanted
    assert result.verdict not in (Verdict.READY, Verdict.CANT_TELL)


# ---------------------------------------------------------------- one change, in words


def test_missing_wire_is_one_finding_that_says_what_it_separates() -> None:
    finding = only(compare(board(PLAN), changed("-C3"), KIT))
    assert (finding.rule, finding.severity) == ("cube-missing", Severity.FAULT)
    assert "C3 is empty" in finding.title and "straight wire" in finding.title
    assert "resistor 470k at C2" in finding.effect
    assert finding.expected_cube == Cube("straight", 90) and finding.found_cube is None
    assert "C3" in finding.mend


def test_shifted_cube_is_one_finding() -> None:
    finding = only(compare(board(PLAN), changed("-B4", "B5 capacitor 1u"), KIT))
    assert finding.rule == "moved" and [str(c) for c in finding.cells] == ["B4", "B5"]
    assert "one cell too far down" in finding.found


def test_shifted_row_is_one_finding() -> None:
    away = ("-E1", "-E2", "-E3", "D1 corner turn=90")
    plan = changed(*away)
    built = changed(*away, "-H2", "-I2", "-J2", "-lead D3|D4 to H2", "H3 socket signal=right",
                    "I3 resistor 1k", "J3 ground stem=left", "lead D3|D4 to H3")  # fmt: skip
    result = compare(plan, built, KIT)
    finding = only(result)
    assert finding.rule == "moved" and "one cell too far down" in finding.found
    assert result.verdict is Verdict.EQUIVALENT  # the socket's lead went along, so nothing is lost


def test_reversed_electrolytic_is_a_danger_and_says_where_plus_is() -> None:
    plan = changed("B4 electrolytic 1u plus=right")
    finding = only(compare(plan, changed("B4 electrolytic 1u plus=left"), KIT))
    assert finding.severity is Severity.DANGER and finding.rule == "reversed"
    assert finding.expected == "Plus is on the right." and finding.found == "Plus is on the left."
    assert finding.mend.startswith("Do not power.")
    assert compare(plan, changed("B4 electrolytic 1u plus=left"), KIT).verdict is Verdict.DO_NOT_POWER


@pytest.mark.parametrize(
    ("value", "severity", "verdict"),
    [
        ("2k2", None, Verdict.READY),
        ("2.25k", Severity.NOTE, Verdict.EQUIVALENT),
        ("3k3", Severity.DEVIATION, Verdict.WORKS_DIFFERENTLY),
        ("10k", Severity.DEVIATION, Verdict.WORKS_DIFFERENTLY),
        ("220k", Severity.FAULT, Verdict.DOES_NOT_WORK),
    ],
)
def test_values_by_classes_of_nearness(value: str, severity: Severity | None, verdict: Verdict) -> None:
    result = compare(board(PLAN), changed(f"D2 resistor {value} turn=90"), KIT)
    assert result.verdict is verdict
    assert [f.severity for f in result.findings] == ([] if severity is None else [severity])


def test_another_value_and_the_wrong_way_round_tells_both() -> None:
    plan = changed("B4 electrolytic 1u plus=right")
    finding = only(compare(plan, changed("B4 electrolytic 100u plus=left"), KIT))
    assert finding.rule == "wrong-value" and finding.severity is Severity.DANGER
    assert "100u instead of 1u" in finding.title and "also turned" in finding.title
    assert "plus on the right" in finding.mend and finding.mend.startswith("Do not power.")


def test_moved_and_swapped_say_which_way_round() -> None:
    moved = only(compare(board(PLAN), changed("-E2", "F2 lamp 12V/100mA turn=90"), KIT))
    assert moved.expected_cube is not None and moved.found_cube == moved.expected_cube
    assert "from F2 to E2, contacts at the top and at the bottom" in moved.mend
    swapped = only(compare(board(PLAN), changed("D3 npn BC547 base=left", "D4 straight turn=90"), KIT))
    assert swapped.rule == "swapped" and "at D4 base on the left" in swapped.mend


def test_swapped_neighbours_are_one_finding() -> None:
    built = changed("C2 resistor 2k2 turn=90", "D2 resistor 470k turn=90")
    assert told(compare(board(PLAN), built, KIT)) == [("swapped", "C2 D2")]


def test_lead_in_the_wrong_socket_names_both() -> None:
    finding = only(compare(board(PLAN), changed("-lead D3|D4 to H2", "lead D3|D4 to H2 W"), KIT))
    assert finding.rule == "lead-wrong"
    assert "plate socket of H2" in finding.title and "signal socket of H2" in finding.title
    assert "the collector" in finding.effect


def test_lead_with_its_tap_elsewhere_is_one_finding() -> None:
    built = changed("-lead D3|D4 to H2", "-tap D3|D4", "tap C3|C4", "lead C3|C4 to H2")
    assert [r for r, _ in told(compare(board(PLAN), built, KIT))] == ["lead-wrong"]


def test_lead_to_another_place_of_the_same_net_is_harmless() -> None:
    built = changed("-lead D3|D4 to H2", "-tap D3|D4", "tap D2|D3", "lead D2|D3 to H2")
    result = compare(board(PLAN), built, KIT)
    assert result.verdict is Verdict.EQUIVALENT and only(result).severity is Severity.NOTE


def test_a_wire_that_shorts_the_supply_is_one_danger() -> None:
    result = compare(board(PLAN), changed("E2 straight turn=90"), KIT)
    finding = only(result)
    assert finding.rule == "wrong-kind" and finding.severity is Severity.DANGER
    assert "shorted" in finding.effect and finding.mend.startswith("Do not power.")
    assert finding.data["rules"] == ["supply-shorted"]


def test_value_that_was_not_read_is_a_question() -> None:
    built = board(PLAN)
    cubes = dict(built.cubes) | {Cell.parse("D2"): Cube("resistor", 90)}
    result = compare(board(PLAN), Board(10, 6, cubes, built.taps, built.leads), KIT)
    assert only(result).severity is Severity.QUESTION and result.verdict is Verdict.CANT_TELL


def test_many_missing_cubes_are_one_finding() -> None:
    result = compare(board(PLAN), changed("-C3", "-C4", "-D3", "-D4", "-D5", "-I2", "-J2", "-B1"), KIT)
    missing = [f for f in result.findings if f.rule == "cubes-missing"]
    assert len(missing) == 1 and len(missing[0].cells) == 8
    assert not [f for f in result.findings if f.rule == "cube-missing"]


# ---------------------------------------------------------------- the whole build shifted or turned


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_faults_are_found_under_a_shift_and_a_turn(turn: int) -> None:
    built = changed("D4 npn BC547 base=up", "-C2", "B4 inductor 10mH", "E2 led red anode=up",
                    "D2 resistor 22k turn=90").turned(turn)  # fmt: skip
    larger = Board(built.columns + 3, built.rows + 3, built.cubes, built.taps, built.leads).shifted(2, 3)
    result = compare(board(PLAN), larger, KIT)
    assert result.alignment.turn == turn
    place = result.alignment.to_built
    wanted = {
        ("turned", "D4"),
        ("cube-missing", "C2"),
        ("wrong-kind", "B4"),
        ("wrong-kind", "E2"),
        ("wrong-value", "D2"),
    }
    assert {(r, c) for r, c in told(result) if r != "build-shifted"} == {
        (r, str(place(Cell.parse(c)))) for r, c in wanted
    }
    assert result.alignment.to_plan(place(Cell.parse("D4"))) == Cell.parse("D4")


def test_plan_that_reaches_beyond_the_built_plate() -> None:
    """The build was shifted to the left, so that its first column found no place."""
    whole = board(PLAN)
    cubes = {Cell(c.row, c.column - 1): q for c, q in whole.cubes.items() if c.column}
    result = compare(whole, Board(10, 6, cubes), KIT)
    assert (result.alignment.columns, result.alignment.rows) == (-1, 0)
    gone = [f for f in result.findings if "off this plate" in f.title]
    assert len(gone) == 4 and all(not f.cells for f in gone)  # the four cubes of column A


# ---------------------------------------------------------------- built differently, same circuit


@pytest.mark.parametrize(
    "lines",
    [
        pytest.param(("B1 tee stem=down", "B2 ground stem=down", "-B2"), id="unused-arm"),
        pytest.param(("C3 cross",), id="cross-for-straight"),
        pytest.param(("-J2", "J2 corner turn=90", "J3 ground stem=up"), id="ground-elsewhere"),
        pytest.param(("J3 ground stem=up", "J2 corner turn=90"), id="detour-to-ground"),
        pytest.param(("tap A1|B1",), id="spare-tap"),
    ],
)
def test_harmless_ways_of_building(lines: tuple[str, ...]) -> None:
    result = compare(board(PLAN), changed(*lines), KIT)
    assert result.electrical is Electrical.EQUIVALENT and result.verdict is Verdict.EQUIVALENT
    assert all(f.severity is Severity.NOTE for f in result.findings)


def test_series_parts_in_another_order_are_the_same_circuit() -> None:
    built = changed("B1 led red anode=left", "D2 switch turn=90", base=LOOP)
    result = compare(board(LOOP), built, KIT)
    assert result.electrical is Electrical.EQUIVALENT and result.verdict is Verdict.EQUIVALENT
    reversed_led = changed("B1 led red anode=right", "D2 switch turn=90", base=LOOP)
    assert compare(board(LOOP), reversed_led, KIT).electrical is Electrical.DIFFERENT


OWN_WAY = """plate 8 x 8
H8 battery 9V plus=left
G8 led red anode=right
F8 resistor 220
E8 resistor 250
D8 switch
C8 corner turn=270
C7 corner turn=0
D7 straight
E7 straight
F7 straight
G7 straight
H7 ground stem=left
"""


def test_a_layout_of_its_own_passes_when_it_is_the_same_circuit() -> None:
    """Two resistors in series for one, another order, another way round the plate."""
    result = compare(board(LOOP), changed("-H7", "H7 corner turn=90", "-H8", "H8 corner turn=180",
                     "G8 battery 9V plus=left", "F8 led red anode=right", "E8 resistor 470",
                     "D8 switch", base=OWN_WAY), KIT)  # fmt: skip
    assert result.own_layout and result.verdict is Verdict.EQUIVALENT
    assert result.parts[Cell.parse("D2")] == Cell.parse("F8")


def test_a_layout_of_its_own_says_what_is_wrong_electrically() -> None:
    own = changed("-H7", "H7 corner turn=90", "-H8", "H8 corner turn=180", "G8 battery 9V plus=left",
                  "F8 led red anode=left", "E8 resistor 470", "D8 switch", base=OWN_WAY)  # fmt: skip
    result = compare(board(LOOP), own, KIT)
    assert result.own_layout and result.electrical is Electrical.DIFFERENT
    assert result.verdict is Verdict.DOES_NOT_WORK
    assert ("reversed", "F8") in told(result)


# ---------------------------------------------------------------- unsure cells


D2, D4 = Cell.parse("D2"), Cell.parse("D4")


def test_unsure_cell_is_a_question_and_never_a_pass() -> None:
    built = changed("D2 resistor 22k turn=90")
    result = compare(board(PLAN), built, KIT, unsure={D2: [Cube("resistor", 90, 2200.0)]})
    finding = only(result)
    assert finding.severity is Severity.QUESTION and result.verdict is Verdict.CANT_TELL
    assert "D2" in finding.title and "22k" in finding.title and "2k2" in finding.title


def test_unsure_between_equal_turns_is_no_question() -> None:
    result = compare(board(PLAN), board(PLAN), KIT, unsure={D2: [Cube("resistor", 270, 2200.0)]})
    assert result.verdict is Verdict.READY and not result.findings


def test_unsure_between_cubes_that_join_the_same_is_no_question() -> None:
    result = compare(board(PLAN), board(PLAN), KIT, unsure={Cell.parse("C3"): [Cube("cross")]})
    assert result.verdict is Verdict.READY


def test_unreadable_cell_is_asked_about_even_where_the_plan_says_what_belongs_there() -> None:
    built = changed("-D2")
    result = compare(board(PLAN), built, KIT, unsure={D2: []})
    assert told(result) == [("cell-unsure", "D2")] and result.verdict is Verdict.CANT_TELL


@pytest.mark.parametrize("spelt", ["2k2", None])
def test_unsure_cell_without_any_other_choice_is_asked_about(spelt: str | None) -> None:
    """A reading may call a cell covered and name nothing but what it seems to be."""
    seen = Cube("resistor", 90, 2200.0, spelt)
    result = compare(board(PLAN), board(PLAN), KIT, unsure={D2: [seen]})
    assert told(result) == [("cell-unsure", "D2")] and result.verdict is Verdict.CANT_TELL
    assert "2k2" in only(result).found


def test_unsure_cells_that_only_matter_together_are_asked_about() -> None:
    """Each wire ends blindly by itself; both together carry the plus of the battery to the plate."""
    plan = changed("-H2", "-I2", "-J2", "-lead D3|D4 to H2", "-tap D3|D4", "B1 tee stem=down")
    b2, b3 = Cell.parse("B2"), Cell.parse("B3")
    wire, ground = Cube("straight", 90), Cube("ground", 0)
    one = compare(plan, plan, KIT, unsure={b2: [wire]})
    other = compare(plan, plan, KIT, unsure={b3: [ground]})
    assert one.verdict is other.verdict is Verdict.READY
    both = compare(plan, plan, KIT, unsure={b2: [wire], b3: [ground]})
    assert both.verdict is Verdict.CANT_TELL
    assert {c for f in both.findings for c in f.cells} == {b2, b3}


def test_unsure_cell_that_differs_in_any_case_is_a_certain_fault() -> None:
    built = changed("D2 resistor 22k turn=90")
    result = compare(board(PLAN), built, KIT, unsure={D2: [Cube("resistor", 90, 220.0)]})
    assert ("wrong-value", "D2") in told(result)
    assert result.verdict is not Verdict.READY


def test_unsure_cell_that_may_be_dangerous_says_look_before_power() -> None:
    result = compare(board(PLAN), board(PLAN), KIT, unsure={Cell.parse("E2"): [Cube("straight", 90)]})
    assert result.verdict is Verdict.CANT_TELL
    assert "before you power" in only(result).why


def test_danger_elsewhere_outweighs_a_question() -> None:
    built = changed("E2 straight turn=90")
    result = compare(board(PLAN), built, KIT, unsure={D4: [Cube("npn", 90, "BC547")]})
    assert result.verdict is Verdict.DO_NOT_POWER


# ---------------------------------------------------------------- verdicts and limits


def test_exit_codes_are_as_documented() -> None:
    assert {v.value: v.exit_code for v in Verdict} == {
        "ready": 0, "equivalent": 0, "works-differently": 10, "do-not-power": 11, "cant-tell": 12,
        "does-not-work": 13,
    }  # fmt: skip


def test_danger_in_the_plan_itself_is_told() -> None:
    shorted = changed("E2 straight turn=90")
    result = compare(shorted, shorted, KIT)
    assert result.electrical is Electrical.IDENTICAL and result.verdict is Verdict.DO_NOT_POWER


def test_limits_can_be_changed_and_mistakes_are_named() -> None:
    strict = parse_settings("far_ratio = 3\n", "mine.toml")
    built = changed("D2 resistor 10k turn=90")
    assert compare(board(PLAN), built, KIT, settings=strict).verdict is Verdict.DOES_NOT_WORK
    for text, place in (("far = 3", "key far"), ("far_ratio = 0.5", "key far_ratio"), ("x", "mine.toml")):
        with pytest.raises(DataError) as error:
            parse_settings(text, "mine.toml")
        assert place in str(error.value)


def test_the_spelling_of_a_colour_is_no_difference() -> None:
    """A board that a program makes need not spell its words as the layout file does."""
    plan = changed("E2 led green anode=up")
    cubes = {**plan.cubes, Cell.parse("E2"): Cube("led", plan.cubes[Cell.parse("E2")].turn, "GREEN")}
    result = compare(plan, Board(plan.columns, plan.rows, cubes, plan.taps, plan.leads), KIT)
    assert [f.rule for f in result.findings if f.rule.startswith("wrong")] == []


def test_a_danger_that_another_fault_hides_is_told_before_it_is_mended() -> None:
    """Without its resistor the diode burns as soon as the missing ground is put in."""
    built = changed("-D3", "C1 straight", base=LOOP)
    result = compare(board(LOOP), built, KIT)
    assert result.verdict is Verdict.DO_NOT_POWER
    (danger,) = [f for f in result.findings if f.severity is Severity.DANGER]
    assert danger.cells == (Cell.parse("C1"),) and "everything else is mended" in danger.effect
    assert danger.mend.startswith("Do not power.")
    assert ("cube-missing", "D3") in told(result)


def test_a_harmless_exchange_is_not_blamed_where_one_cube_is_unsure() -> None:
    """Two parts in series have changed places; the unsure one is asked about, nothing is called wrong."""
    plan = board(LOOP)
    built = changed("B1 led red anode=left", "D2 switch turn=90", base=LOOP)
    assert compare(plan, built, KIT).verdict is Verdict.EQUIVALENT
    result = compare(plan, built, KIT, unsure={D2: [plan.cubes[D2]]})
    assert {f.severity for f in result.findings} <= {Severity.QUESTION, Severity.NOTE}
    assert result.verdict is Verdict.CANT_TELL
