"""A written reading keeps its doubts in every verb that takes a board: no unsure cell passes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from lampplan import LAMP

from snapcheck.cli import main

PLAN = f"{LAMP}tap C1|D1\n"
CUBES = [
    ("A1", "corner", 0, None), ("A2", "battery", 90, 9.0), ("A3", "ground", 0, None),
    ("B1", "switch", 0, None), ("C1", "resistor", 0, 470.0), ("D1", "corner", 90, None),
    ("D2", "led", 90, "red"), ("D3", "ground", 0, None),
]  # fmt: skip


def reading() -> dict[str, Any]:
    """What `read` writes for a build that is exactly as planned, everything sure."""
    return {
        "photo": "bench.jpg", "columns": 6, "rows": 4, "size": [600, 400], "leads": [], "notes": [],
        "cubes": [{"at": a, "kind": k, "turn": t, "value": v, "state": "read"} for a, k, t, v in CUBES],
        "taps": [{"between": ["C1", "D1"], "state": "read"}],
    }  # fmt: skip


def cube(data: dict[str, Any], at: str) -> dict[str, Any]:
    return next(c for c in data["cubes"] if c["at"] == at)


def doubt(data: dict[str, Any], which: str) -> None:
    match which:
        case "unsure":
            other = {"kind": "resistor", "turn": 0, "value": 47.0, "probability": 0.3}
            cube(data, "C1").update(state="unsure", alternatives=[other])
        case "hidden":
            cube(data, "C1").update(state="hidden")
        case "tap":
            data["taps"][0]["state"] = "unsure"
        case "remark":
            data["notes"] = ["A corner of the plate lies outside the picture."]
        case "no-size":
            cube(data, "C1").update(state="hidden")
            del data["size"]


def verbs(plan: Path, file: Path) -> dict[str, list[str]]:
    return {
        "check": ["check", str(file), str(plan)],
        "compare": ["compare", str(plan), str(file)],
        "rules": ["rules", str(file)],
    }


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    plan = tmp_path / "plan.board"
    plan.write_text(PLAN, encoding="utf-8")
    return plan, tmp_path / "read.json"


@pytest.mark.parametrize("which", ["unsure", "hidden", "tap", "remark", "no-size"])
@pytest.mark.parametrize("verb", ["check", "compare", "rules"])
def test_no_verb_passes_a_reading_with_a_doubt(
    files: tuple[Path, Path], capsys: pytest.CaptureFixture[str], verb: str, which: str
) -> None:
    plan, file = files
    words = [*verbs(plan, file)[verb], "--structure-only", "--json"]
    data = reading()
    file.write_text(json.dumps(data), encoding="utf-8")
    assert main(words) == 0 and json.loads(capsys.readouterr().out)["verdict"] == "ready"
    doubt(data, which)
    file.write_text(json.dumps(data), encoding="utf-8")
    assert main(words) == 12
    told = json.loads(capsys.readouterr().out)
    questions = [f for f in told["findings"] if f["severity"] == "question"]
    assert told["verdict"] == "cant-tell" and len(questions) == 1
    if which in ("unsure", "hidden", "no-size"):
        assert questions[0]["cells"] == ["C1"]


def test_a_fault_beside_an_unsure_cube_is_a_question_to_rules(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What stands at D1 was not seen: that C1 leads to nothing is no more sure than that."""
    data = reading()
    del data["taps"][0]
    cube(data, "D1").update(turn=0, state="unsure", alternatives=[])
    (tmp_path / "read.json").write_text(json.dumps(data), encoding="utf-8")
    assert main(["rules", str(tmp_path / "read.json")]) == 12
    told = capsys.readouterr().out
    assert "fault:" not in told and "If the photo was read rightly: " in told and "Can't tell" in told
    cube(data, "D1").update(state="read")
    (tmp_path / "read.json").write_text(json.dumps(data), encoding="utf-8")
    assert main(["rules", str(tmp_path / "read.json")]) == 13


def test_a_picture_given_for_a_layout_is_told_where_it_belongs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bench.board").write_bytes(b"\xff\xd8\xff\xe0 and so on")
    assert main(["rules", str(tmp_path / "bench.board")]) == 21
    assert "the photo first, then the plan" in capsys.readouterr().err


@pytest.mark.parametrize("verb", ["check", "compare", "rules"])
def test_danger_stays_danger_beside_a_doubt(files: tuple[Path, Path], verb: str) -> None:
    plan, file = files
    data = reading()
    for at, turn in (("C1", 0), ("D2", 90)):
        cube(data, at).update(kind="straight", turn=turn, value=None)
    doubt(data, "remark")
    file.write_text(json.dumps(data), encoding="utf-8")
    assert main([*verbs(plan, file)[verb], "--structure-only", "--json"]) == 11


@pytest.mark.parametrize("verb", ["check", "compare"])
def test_a_doubtful_reading_is_no_plan(
    files: tuple[Path, Path], capsys: pytest.CaptureFixture[str], verb: str
) -> None:
    plan, file = files
    data = reading()
    doubt(data, "hidden")
    file.write_text(json.dumps(data), encoding="utf-8")
    words = {"check": ["check", str(plan), str(file)], "compare": ["compare", str(file), str(plan)]}[verb]
    assert main(words) == 21
    assert "read.json" in (said := capsys.readouterr().err) and "C1" in said


@pytest.mark.parametrize(
    "spoil",
    [
        lambda d: cube(d, "C1").update(state="perhaps"),
        lambda d: cube(d, "C1").update(state="unsure", alternatives=[{"turn": 0}]),
        lambda d: cube(d, "C1").update(state="unsure", alternatives=7),
        lambda d: cube(d, "C1").update(state="unsure", confidence="high"),
        lambda d: d.update(notes=3),
    ],
)
@pytest.mark.parametrize("verb", ["check", "compare", "rules"])
def test_a_spoilt_reading_is_an_error_with_its_file(
    files: tuple[Path, Path], capsys: pytest.CaptureFixture[str], verb: str, spoil: Any
) -> None:
    plan, file = files
    data = reading()
    spoil(data)
    file.write_text(json.dumps(data), encoding="utf-8")
    assert main(verbs(plan, file)[verb]) == 21
    said = capsys.readouterr().err
    assert "read.json" in said and "Traceback" not in said


def test_layout_of_a_photo_keeps_its_doubts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = Path(__file__).parents[2] / "fixtures" / "photos" / "mixed-cubes.jpg"
    main(["read", str(photo), "--out", str(tmp_path)])
    board = tmp_path / "mixed-cubes-read.board"
    text = board.read_text(encoding="utf-8")
    written = json.loads(board.with_suffix(".json").read_text(encoding="utf-8"))
    open_ones = [c["at"] for c in written["cubes"] if c["state"] != "read"]
    assert [line.split()[1] for line in text.splitlines() if line.startswith("doubt")][: len(open_ones)] == (
        open_ones
    )
    settled = tmp_path / "settled.board"
    settled.write_text(text.split("\ndoubt")[0], encoding="utf-8")
    capsys.readouterr()
    if "\ndoubt" in text:
        assert main(["compare", str(settled), str(board)]) == 21
        assert "doubt" in capsys.readouterr().err
    assert main(["compare", str(settled), str(settled)]) == 0


def test_doubt_line_is_told_with_its_place(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "read.board"
    file.write_text("plate 4 x 3\nA1 switch\n\ndoubt A1 the symbol is not clear\n", encoding="utf-8")
    assert main(["rules", str(file)]) == 21
    told = capsys.readouterr().err
    assert "line 4" in told and "A1 the symbol is not clear" in told and ".json" in told


@pytest.mark.parametrize("doubt", ["a lead's end", "another lead"])
def test_a_missing_lead_is_a_question_while_leads_are_in_doubt(
    doubt: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = tmp_path / "plan.board"
    extra = "E1 socket turn=0\nF1 socket turn=0\nE3 socket turn=0\nlead E1 to F1\n"
    plan.write_text(PLAN + extra, encoding="utf-8")
    data = reading()
    data["cubes"] += [
        {"at": at, "kind": "socket", "turn": 0, "value": None, "state": "read"} for at in ("E1", "F1", "E3")
    ]
    built = tmp_path / "reading.json"
    built.write_text(json.dumps(data), encoding="utf-8")
    main(["compare", str(plan), str(built), "--json"])
    rules = {f["rule"]: f["severity"] for f in json.loads(capsys.readouterr().out)["findings"]}
    assert rules["lead-missing"] != "question"
    if doubt == "another lead":
        data["leads"] = [{"from": "socket E3 W", "to": "socket E3 E", "state": "unsure"}]
    else:
        data["notes"] = ["Perhaps a lead starts at F1; its other end is not found."]
    built.write_text(json.dumps(data), encoding="utf-8")
    assert main(["compare", str(plan), str(built), "--json"]) == 12
    told = json.loads(capsys.readouterr().out)["findings"]
    assert {f["severity"] for f in told if f["rule"].startswith("lead")} == {"question"}


def test_do_not_power_is_the_first_thing_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.board").write_text(PLAN.replace("C1 resistor 470", "C1 straight"), encoding="utf-8")
    (tmp_path / "plan.board").write_text(PLAN, encoding="utf-8")
    for words in (["rules", "bad.board"], ["compare", "plan.board", "bad.board"]):
        assert main([words[0], *(str(tmp_path / name) for name in words[1:])]) == 11
        assert capsys.readouterr().out.startswith("Do not power. Leave the supply off")


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = Path(__file__).parents[2] / "fixtures" / "photos" / "mixed-cubes.jpg"
    (tmp_path / "taken").write_text("", encoding="utf-8")
    assert main(["read", str(photo), "--out", str(tmp_path / "taken" / "out")]) == 21
    said = capsys.readouterr().err
    assert "taken" in said and "--out" in said and "Traceback" not in said
