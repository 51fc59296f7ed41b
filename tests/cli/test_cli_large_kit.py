"""The command line with a kit of larger cubes: what it lists, draws, checks and calculates."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from largekit import BATTERY_BOX

from snapcheck.cli import main

KIT = 'name = "box"\ntitle = "Box"\nbased_on = "bundled"\n' + BATTERY_BOX
PLAN = """plate 4 x 5
A1 corner ends=right+down
B1 resistor 1k turn=0
C1 corner ends=left+down
A2 battery-box 9V plus=up
C2 straight turn=90
C3 straight turn=90
A4 ground stem=up
C4 ground stem=up
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "box.toml").write_text(KIT, encoding="utf-8")
    (tmp_path / "plan.board").write_text(PLAN, encoding="utf-8")
    (tmp_path / "built.board").write_text(PLAN.replace("plus=up", "plus=down"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_kit_says_what_a_kind_covers(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["kit", "battery-box", "--kit", "box.toml"]) == 0
    told = capsys.readouterr().out
    assert "1 x 2 cells" in told and "plus A1-N, minus A2-S" in told
    assert main(["kit", "battery-box", "--kit", "box.toml", "--json"]) == 0
    (kind,) = json.loads(capsys.readouterr().out)["kinds"]
    assert kind["footprint"] == [1, 2] and "contacts" not in kind
    assert kind["legs"][1] == {"name": "minus", "cell": "A2", "side": "S"}
    assert main(["kit", "npn", "--json"]) == 0
    (kind,) = json.loads(capsys.readouterr().out)["kinds"]
    assert kind["footprint"] == [1, 1]
    assert kind["contacts"] == {"W": "base", "N": "collector", "S": "emitter"}


def test_compare_layout_draw_nets_and_rules(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kit = ["--kit", "box.toml"]
    assert main(["compare", "plan.board", "built.board", "--json", *kit]) == 11
    found = json.loads(capsys.readouterr().out)["findings"]
    assert [f["rule"] for f in found][:1] == ["reversed"] and found[0]["cells"] == ["A2"]
    assert main(["layout", "plan.board", "--json", *kit]) == 0
    board = json.loads(capsys.readouterr().out)
    (folder / "plan.json").write_text(json.dumps(board.get("board", board)), encoding="utf-8")
    assert main(["compare", "plan.board", "plan.json", *kit]) == 0
    assert main(["draw", "plan.board", "-o", "plan.svg", *kit]) == 0
    assert 'height="208"' in (folder / "plan.svg").read_text(encoding="utf-8")
    capsys.readouterr()
    assert main(["nets", "plan.board", "--json", *kit]) == 0
    places = [
        [(c["cell"], c["side"]) for c in net["contacts"]]
        for net in json.loads(capsys.readouterr().out)["nets"]
    ]
    assert any(("A3", "S") in net and ("A4", "N") in net for net in places)
    assert main(["rules", "plan.board", *kit]) == 0


def test_a_cube_in_the_way_is_told_in_one_sentence(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "bad.board").write_text(PLAN + "A3 ground stem=up\n", encoding="utf-8")
    assert main(["layout", "bad.board", "--kit", "box.toml"]) == 21
    told = capsys.readouterr().err
    assert "bad.board, line 10, column 1: A3 is covered by the battery box in A2, line 5." in told
