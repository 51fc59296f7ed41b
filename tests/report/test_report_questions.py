"""What a photo leaves open is never passed: unsure cubes, taps, leads and remarks become questions."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from snapcheck.board import Cell, Cube, Design, Lead, TapEnd, design_from_json, load_design, write_layout
from snapcheck.check import Verdict
from snapcheck.cli import main
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit
from snapcheck.photo import Reading, State, reading_from_truth, reading_to_json
from snapcheck.pipeline import CheckResult, check_build
from snapcheck.report._tables import unsure_words

KIT = bundled_kit()
PHOTOS = Path(__file__).parents[2] / "fixtures" / "photos"
TRUTH = json.loads((PHOTOS / "mixed-cubes.json").read_text(encoding="utf-8"))
DESIGN = design_from_json(TRUTH, KIT)
METER = json.loads((PHOTOS / "level-meter-bench-4.json").read_text(encoding="utf-8"))


def good() -> tuple[Reading, Design]:
    """A build with a tap that passes when everything is sure, and its plan."""
    data = {
        "columns": 6, "rows": 3, "size": [600, 300], "taps": [{"between": ["C1", "D1"]}], "leads": [],
        "cubes": [
            {"at": "A1", "kind": "corner", "turn": 0},
            {"at": "A2", "kind": "battery", "turn": 90, "value": 9.0},
            {"at": "A3", "kind": "ground", "turn": 0}, {"at": "B1", "kind": "switch", "turn": 0},
            {"at": "C1", "kind": "resistor", "turn": 0, "value": 470.0},
            {"at": "D1", "kind": "corner", "turn": 90},
            {"at": "D2", "kind": "led", "turn": 90, "value": "red"},
            {"at": "D3", "kind": "ground", "turn": 0},
        ],
    }  # fmt: skip
    reading = reading_from_truth(data, "bench.jpg", KIT)
    return reading, design_from_json(data, KIT)


def checked(reading: Reading, design: Design) -> CheckResult:
    return check_build(reading, design, KIT)


def rules(result: CheckResult, severity: Severity) -> list[str]:
    return [f.rule for f in result.findings if f.severity is severity]


def test_a_sure_reading_of_the_plan_passes() -> None:
    reading, design = good()
    result = checked(reading, design)
    assert (result.verdict, rules(result, Severity.QUESTION)) == (Verdict.READY, [])


def test_an_unsure_tap_is_asked_for() -> None:
    reading, design = good()
    taps = tuple(replace(t, state=State.UNSURE, confidence=0.6) for t in reading.taps)
    result = checked(replace(reading, taps=taps), design)
    assert result.verdict is Verdict.CANT_TELL and result.verdict.exit_code == 12
    assert rules(result, Severity.QUESTION) == ["tap-unsure"]


def test_a_remark_on_the_picture_is_no_pass() -> None:
    reading, design = good()
    result = checked(replace(reading, notes=("A corner of the plate lies outside the picture.",)), design)
    assert result.verdict is Verdict.CANT_TELL
    (finding,) = [f for f in result.findings if f.severity is Severity.QUESTION]
    assert finding.title == "A corner of the plate lies outside the picture." and finding.mend
    assert finding.title not in result.notes  # told once


@pytest.mark.parametrize("state", [State.UNSURE, State.HIDDEN])
def test_an_unsure_cube_is_asked_for(state: State) -> None:
    reading, design = good()
    cell = Cell.parse("C1")
    other = Cube("resistor", 0, 47.0)
    unsure = replace(reading.cubes[cell], state=state, alternatives=((other, 0.3),), reason="glare")
    result = checked(replace(reading, cubes={**reading.cubes, cell: unsure}), design)
    assert "answered" in unsure_words(result)  # figures are told with a grain of salt
    assert result.verdict is Verdict.CANT_TELL
    (finding,) = [f for f in result.findings if f.severity is Severity.QUESTION]
    assert finding.cells[0] == cell and "470R or resistor 47R" in finding.title


def test_an_unsure_cube_is_not_told_as_a_fault_as_well() -> None:
    reading, design = good()
    cell = Cell.parse("C1")
    wrong, other = Cube("resistor", 0, 4.7), Cube("resistor", 0, 47.0)
    unsure = replace(reading.cubes[cell], cube=wrong, state=State.UNSURE, alternatives=((other, 0.3),))
    result = checked(replace(reading, cubes={**reading.cubes, cell: unsure}), design)
    told = [f for f in result.findings if f.cells[:1] == (cell,) and f.severity is not Severity.DANGER]
    assert [f.rule for f in told] == ["cell-unsure"]


@pytest.mark.parametrize("state", [State.UNSURE, State.HIDDEN])
def test_an_unsure_cube_without_another_choice_is_no_pass(state: State) -> None:
    reading, design = good()
    cell = Cell.parse("C1")
    unsure = replace(reading.cubes[cell], state=state, alternatives=(), reason="glare")
    result = checked(replace(reading, cubes={**reading.cubes, cell: unsure}), design)
    assert result.verdict is Verdict.CANT_TELL
    assert [f.cells[0] for f in result.findings if f.severity is Severity.QUESTION] == [cell]


def test_a_written_reading_keeps_its_doubts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    reading, design = good()
    plan, file = tmp_path / "plan.board", tmp_path / "read.json"
    plan.write_text(write_layout(design, KIT), encoding="utf-8")
    sure = reading_to_json(reading)
    for doubt, code in ((False, 0), (True, 12)):
        if doubt:
            next(c for c in sure["cubes"] if c["at"] == "C1")["state"] = "hidden"
        file.write_text(json.dumps(sure), encoding="utf-8")
        assert main(["check", str(file), str(plan), "--structure-only", "--json"]) == code
    assert '"cant-tell"' in capsys.readouterr().out


def test_a_danger_outweighs_a_question() -> None:
    """The reversed electrolytic is certain and dangerous: it decides, whatever else is open."""
    design = load_design(PHOTOS / "level-meter.board", KIT)
    reading = reading_from_truth(METER, "bench.jpg", KIT)
    result = checked(replace(reading, notes=("Glare.",)), design)
    assert result.verdict is Verdict.DO_NOT_POWER and result.findings[0].severity is Severity.DANGER
    assert rules(result, Severity.QUESTION) == ["picture-remark"]


def test_an_unsure_lead_makes_its_fault_a_question() -> None:
    """A lead that was misread in a right build must not be called wrong."""
    reading = reading_from_truth(TRUTH, "mixed-cubes.jpg", KIT)
    (read,) = reading.leads
    third = next(t.seam for t in reading.taps if str(t.seam) == "C4|C5")
    misread = replace(read, lead=Lead(read.lead.start, TapEnd(third)), state=State.UNSURE, confidence=0.5)
    sure = checked(replace(reading, leads=(replace(misread, state=State.READ),)), DESIGN)
    doubted = checked(replace(reading, leads=(misread,)), DESIGN)
    (fault,) = [f for f in sure.findings if f.lead == misread.lead]
    (question,) = [f for f in doubted.findings if f.lead == misread.lead]
    assert fault.severity is Severity.FAULT and sure.verdict is Verdict.DOES_NOT_WORK
    assert question.severity is Severity.QUESTION and fault.title in question.title
    assert doubted.verdict is Verdict.CANT_TELL


def test_a_question_names_a_few_choices_and_keeps_all_for_machines() -> None:
    reading, design = good()
    cell = Cell.parse("C1")
    others = tuple((Cube("resistor", 0, float(v)), 0.1) for v in (47, 4.7, 4700, 47000, 470000))
    unsure = replace(reading.cubes[cell], state=State.UNSURE, alternatives=others)
    result = checked(replace(reading, cubes={**reading.cubes, cell: unsure}), design)
    (question,) = [f for f in result.findings if f.severity is Severity.QUESTION]
    assert question.title.endswith("or something else?") and question.title.count("resistor") == 3
    assert len(question.data["choices"]) == 6  # type: ignore[arg-type]
