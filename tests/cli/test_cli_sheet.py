"""The verbs of build sheets, builds on the way, starter files and completion."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

import snapcheck
from snapcheck.cli import VERBS, main
from snapcheck.cli._completion import SHELLS
from snapcheck.words import use_language

FIXTURES = Path(__file__).parents[2] / "fixtures"
PLANS = FIXTURES / "designs"
LIGHT, LAMP = str(PLANS / "first-light.board"), str(PLANS / "night-lamp.board")


def test_a_sheet_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "sheet.pdf"
    code = main(["sheet", LIGHT, "--out", str(out), "--paper", "letter", "--no-figures"])
    if code == 25:
        pytest.skip("WeasyPrint or Pango is not installed")
    assert code == 0
    assert out.read_bytes().startswith(b"%PDF") and "3 steps in 2 stages" in capsys.readouterr().out
    page = tmp_path / "sheet.html"
    assert main(["sheet", LIGHT, "-o", str(page), "--no-figures"]) == 0
    assert "First light of the evening" in page.read_text(encoding="utf-8")
    assert main(["sheet", LIGHT, "-o", str(tmp_path / "sheet.doc")]) == 21
    capsys.readouterr()
    assert main(["sheet", LIGHT, "--stages"]) == 0
    assert "stage Supply: A2 A3" in capsys.readouterr().out


def test_the_door_makes_sheets_and_says_how_far(tmp_path: Path) -> None:
    sheet = snapcheck.sheet(LIGHT, calculate=False)
    assert sheet.save(tmp_path / "x.html").read_text(encoding="utf-8") == sheet.to_html()
    assert sheet.to_json()["steps"] and "stage" in sheet.stages_text()
    half = snapcheck.so_far(sheet.course.board_after(1), LIGHT, calculate=False)
    assert half.done == 1 and half.another is None and half.to_json()["next"]["number"] == 2


def test_how_far_a_build_has_come(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    half = tmp_path / "half.board"
    half.write_text("plate 5 x 4\nB1 switch\nC1 resistor 470\nD1 corner ends=left+down\n", encoding="utf-8")
    assert main(["so-far", str(half), LIGHT]) == 0
    told = capsys.readouterr().out
    assert "Steps done: 1 of 3; 3 cubes stand as planned." in told and "anode upwards" in told
    half.write_text(half.read_text(encoding="utf-8").replace("470", "4k7"), encoding="utf-8")
    assert main(["so-far", str(half), LIGHT]) in (10, 13)
    assert "Mend what is named above" in capsys.readouterr().out
    assert main(["so-far", LIGHT, LIGHT]) == 0
    assert "Everything is there" in capsys.readouterr().out


def test_a_photo_of_a_finished_build_is_the_last_step(capsys: pytest.CaptureFixture[str]) -> None:
    photo = str(FIXTURES / "photos" / "first-light-good.jpg")
    assert main(["so-far", photo, LIGHT, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["done"] == told["steps"] == 3 and told["complete"] and told["findings"] == []


def test_another_tasks_build_is_one_finding(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["so-far", LAMP, LIGHT, "--structure-only"]) == 13
    assert "night-lamp.board" in capsys.readouterr().out
    words = ["check", LAMP, LIGHT, "--structure-only", "--json"]
    assert main(words) == 13
    told = json.loads(capsys.readouterr().out)
    assert [f["rule"] for f in told["findings"]] == ["another-circuit"]
    alone = tmp_path / "plan.board"  # no other plan lies beside it
    shutil.copy(LIGHT, alone)
    main(["check", LAMP, str(alone), "--structure-only", "--json"])
    assert len(json.loads(capsys.readouterr().out)["findings"]) > 3
    main(["check", LAMP, str(alone), "--structure-only", "--json", "--among", str(PLANS)])
    assert [f["rule"] for f in json.loads(capsys.readouterr().out)["findings"]] == ["another-circuit"]
    for verb in ("check", "so-far"):
        assert main([verb, LAMP, str(alone), "--structure-only", "--among", str(tmp_path / "none")]) == 21
        assert "none: cannot be opened" in capsys.readouterr().err
    assert main(["check", LIGHT, LIGHT, "--structure-only", "--json"]) == 0


@pytest.mark.parametrize("language", ["en", "de"])
def test_starter_files_work_as_they_are(
    language: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    use_language(language)
    try:
        design, *_ = snapcheck.api.new("design", "lamp.board")
        course, roster, plan = snapcheck.api.new("course", "evening")
        kit, *_ = snapcheck.api.new("kit", "ours")
    finally:
        use_language("en")
    assert (str(design), str(kit)) == ("lamp.board", "ours.toml") and roster.name == "roster.csv"
    assert course.parent == Path("evening") and plan.parent == Path("evening/plans")
    text = design.read_text(encoding="utf-8")
    assert text.count("#") > 20 and ("Platte" in text) == (language == "de")
    made = snapcheck.layout(str(design))
    assert made is not None and snapcheck.rules(str(design), calculate=False).verdict.exit_code == 0
    uncommented = text.replace("# note  ", "note  ").replace("# stage ", "stage ")
    Path("staged.board").write_text(uncommented, encoding="utf-8")
    assert len(snapcheck.sheet("staged.board", calculate=False).design.stages) == 2
    assert "heater" in snapcheck.api.kit_of(str(kit)).kinds
    assert main(["grade", "evening"]) == 0


def test_nothing_is_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "lamp.board"
    file.write_text("mine", encoding="utf-8")
    assert main(["new", "design", str(file)]) == 21
    assert file.read_text(encoding="utf-8") == "mine" and "is there already" in capsys.readouterr().err
    assert main(["new", "design", str(tmp_path / "lamp")]) == 21
    assert main(["new", "design", str(file / "x")]) == 21


@pytest.mark.parametrize("shell", SHELLS)
def test_completion_knows_every_verb(shell: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", shell]) == 0
    script = capsys.readouterr().out
    assert all(verb in script for verb in VERBS) and "paper" in script and "letter" in script
    if shutil.which(shell):
        file = tmp_path / "script"
        file.write_text(script, encoding="utf-8")
        assert subprocess.run([shell, "-n", str(file)], check=False).returncode == 0


@pytest.mark.skipif(shutil.which("bash") is None, reason="there is no bash")
def test_bash_completes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["completion", "bash"])
    file = tmp_path / "script"
    file.write_text(
        capsys.readouterr().out + "\nfor last in so '--pa' ''; do\n  COMPREPLY=()\n  case $last in\n"
        "    so) COMP_WORDS=(snapcheck so); COMP_CWORD=1;;\n"
        "    --pa) COMP_WORDS=(snapcheck sheet --pa); COMP_CWORD=2;;\n"
        "    *) COMP_WORDS=(snapcheck sheet --paper ''); COMP_CWORD=3;;\n  esac\n"
        '  _shtab_snapcheck; echo "${COMPREPLY[@]}"\ndone\n',
        encoding="utf-8",
    )
    done = subprocess.run(["bash", str(file)], capture_output=True, text=True, check=False)
    assert done.stdout.split("\n")[:3] == ["so-far", "--paper", "a4 letter"]
