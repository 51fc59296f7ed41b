"""Verbs nets, rules and compare: words, JSON, exit codes, mistakes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from lampplan import LAMP

from snapcheck.cli import main


@pytest.fixture
def plan(tmp_path: Path) -> str:
    file = tmp_path / "plan.board"
    file.write_text(LAMP, encoding="utf-8")
    return str(file)


def written(tmp_path: Path, text: str, name: str = "built.board") -> str:
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    return str(file)


def test_nets_names_every_terminal(plan: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["nets", plan, "--metal"]) == 0
    out = capsys.readouterr().out
    assert "4 parts, 4 nets with parts" in out
    assert "net 0, the plate:" in out and "the cathode of the light-emitting diode red at D2" in out
    assert "A1 right" in out


def test_nets_as_json(plan: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["nets", plan, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {p["cell"]: p["nets"] for p in told["parts"]}["A2"]["minus"] == 0
    assert [n["number"] for n in told["nets"]] == list(range(len(told["nets"])))
    assert told["nets"][0]["contacts"][0]["metal"] in ("body", "contact")


def test_rules_pass_a_good_board(plan: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", plan]) == 0
    assert "Ready to power." in capsys.readouterr().out


@pytest.mark.parametrize("extra", [[], ["--structure-only"]])
def test_rules_stop_a_short(tmp_path: Path, capsys: pytest.CaptureFixture[str], extra: list[str]) -> None:
    bare = LAMP.replace("C1 resistor 470", "C1 straight")
    short = written(tmp_path, bare.replace("D2 led red anode=up", "D2 straight turn=90"))
    assert main(["rules", short, *extra]) == 11
    out = capsys.readouterr().out
    assert out.startswith("Do not power.") and out.index("DANGER:") < 120


def test_rules_as_json_and_switched_off(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bare = written(tmp_path, LAMP.replace("C1 resistor 470", "C1 straight"))
    assert main(["rules", bare, "--json", "--structure-only"]) == 11
    told = json.loads(capsys.readouterr().out)
    assert told["verdict"] == "do-not-power" and told["simulated"] is False
    assert told["findings"][0]["rule"] == "no-current-limit"
    assert main(["rules", bare, "--structure-only", "--without", "no-current-limit"]) == 0
    assert main(["rules", bare, "--without", "no-such-rule"]) == 21
    assert "no-current-limit" in capsys.readouterr().err  # the accepted names are told


def test_rules_with_a_book_of_ones_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bare = written(tmp_path, LAMP.replace("C1 resistor 470", "C1 straight"))
    book = written(tmp_path, '[no-current-limit]\nseverity = "deviation"\n', "book.toml")
    assert main(["rules", bare, "--structure-only", "--book", book]) == 10
    wrong = written(tmp_path, "[no-current-limt]\n", "wrong.toml")
    assert main(["rules", bare, "--book", wrong]) == 22
    error = capsys.readouterr().err
    assert "wrong.toml" in error and "Did you mean 'no-current-limit'?" in error


def test_rules_can_be_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rules", "--list"]) == 0
    assert "supply-shorted" in capsys.readouterr().out
    assert main(["rules", "--list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["rules"]["over-rating"]["severity"] == "fault"
    assert main(["rules"]) == 21


@pytest.mark.parametrize(
    ("old", "new", "code", "words"),
    [
        ("", "", 0, "Ready to power."),
        ("C1 resistor 470", "C1 resistor 1k", 10, "1k instead of 470"),
        ("D2 led red anode=up", "D2 led red anode=down", 13, "the wrong way round"),
        ("C1 resistor 470", "C1 straight", 11, "Do not power."),
        ("B1 switch\nC1 resistor 470", "B1 resistor 470\nC1 switch", 0, "same circuit"),
    ],
)
def test_compare_gives_the_verdict_by_exit_code(
    plan: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, code: int, words: str
) -> None:
    built = written(tmp_path, LAMP.replace(old, new) if old else LAMP)
    assert main(["compare", plan, built]) == code
    assert words in capsys.readouterr().out
    assert main(["compare", plan, built, "--json", "--structure-only"]) == code
    told = json.loads(capsys.readouterr().out)
    assert set(told) >= {"verdict", "circuits", "alignment", "changed_cells", "findings"}


def test_compare_takes_json_in_the_truth_format(plan: str, tmp_path: Path) -> None:
    truth = {
        "columns": 6, "rows": 4, "taps": [], "leads": [],
        "cubes": [
            {"at": "A1", "kind": "corner", "turn": 0, "value": None},
            {"at": "A2", "kind": "battery", "turn": 90, "value": 9.0},
            {"at": "A3", "kind": "ground", "turn": 0, "value": None},
            {"at": "B1", "kind": "switch", "turn": 180, "value": None},
            {"at": "C1", "kind": "resistor", "turn": 180, "value": 470.0},
            {"at": "D1", "kind": "corner", "turn": 90, "value": None},
            {"at": "D2", "kind": "led", "turn": 90, "value": "red"},
            {"at": "D3", "kind": "ground", "turn": 0, "value": None},
        ],
    }  # fmt: skip
    assert main(["compare", plan, written(tmp_path, json.dumps(truth), "read.json")]) == 0


@pytest.mark.parametrize("verb", [["nets"], ["rules"], ["compare", "PLAN"]])
@pytest.mark.parametrize(
    ("content", "place"),
    [("plate 3 x 3\nA1 transistor\n", "line 2"), ("{", "line 1"), ("", "empty"), ("\x00\x01", "zero byte")],
)
def test_bad_input_is_an_error_with_its_place(
    plan: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], verb: list[str], content: str, place: str
) -> None:
    words = [plan if w == "PLAN" else w for w in verb]
    assert main([*words, written(tmp_path, content)]) == 21
    error = capsys.readouterr().err
    assert "built.board" in error and place in error and "Traceback" not in error
