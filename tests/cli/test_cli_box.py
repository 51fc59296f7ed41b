"""The verbs around a lesson: box, parts, count, paper, adopt, and draw as PDF."""

from __future__ import annotations

import builtins
import json
import sys
from pathlib import Path

import pytest

from snapcheck.board import load_design
from snapcheck.box import parse_box
from snapcheck.cli import main
from snapcheck.kit import bundled_kit

ROOT = Path(__file__).parents[2] / "fixtures"
LIGHT = str(ROOT / "designs" / "first-light.board")
FILTER = str(ROOT / "designs" / "hiss-filter.board")
PHOTO = str(ROOT / "photos" / "first-light-good.jpg")
GLARE = str(ROOT / "photos" / "delay-timer-glare.jpg")


@pytest.fixture
def box(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """The box file that one begins with."""
    path = tmp_path / "ours.toml"
    assert main(["new", "box", str(path)]) == 0 and capsys.readouterr().out
    assert parse_box(path.read_text(encoding="utf-8"), "ours", bundled_kit()).cubes
    return str(path)


def test_box_says_what_fits_and_what_is_short(box: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["box", box, LIGHT, "--benches", "8"]) == 0
    assert "fits; the box serves 8 benches" in capsys.readouterr().out
    assert main(["box", box, LIGHT, FILTER, "--benches", "2", "--as-it-is"]) == 1
    told = capsys.readouterr().out
    assert "does not fit (the box serves 0 of 2)" in told
    assert "capacitor 4n7: 2 needed, 0 there, 2 missing" in told and "stand in" not in told
    assert main(["box", box]) == 0
    assert main(["box"]) == 21
    assert main(["box", box, LIGHT, "--benches", "0"]) == 21


def test_parts_are_told_and_written(box: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["parts", LIGHT, "--benches", "3"]) == 0
    assert "    6  corner wire" in capsys.readouterr().out
    for name in ("list.csv", "list.html", "list.pdf"):
        assert main(["parts", LIGHT, "--box", box, "-o", str(tmp_path / name)]) == 0
    assert (tmp_path / "list.csv").read_text(encoding="utf-8").startswith("kind,print,per bench")
    assert (tmp_path / "list.pdf").read_bytes().startswith(b"%PDF")
    assert main(["parts", LIGHT, "-o", str(tmp_path / "list.doc")]) == 21
    assert main(["parts", FILTER, "--box", box]) == 1
    capsys.readouterr()
    assert main(["parts", FILTER, "--box", box, "-o", str(tmp_path / "list.csv")]) == 1
    assert "missing: 3." in capsys.readouterr().out  # why it ends with 1


def test_a_table_is_told_to_be_no_box(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = tmp_path / "box.csv"
    table.write_text("kind;print;count\nresistor;470;3\n")
    assert main(["box", str(table), LIGHT]) == 22
    assert "is no box file: these are TOML. Give a box file" in capsys.readouterr().err
    assert main(["box", str(tmp_path / "none.csv"), LIGHT]) == 21


def test_count_says_what_is_missing_by_its_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["count", PHOTO, "--of", LIGHT]) == 0
    assert "Everything is there." in capsys.readouterr().out
    assert main(["count", PHOTO, "--of", LIGHT, "--answer", "remove D2"]) == 1
    assert "light-emitting diode red: 1 wanted, 0 seen, 1 MISSING" in capsys.readouterr().out


def test_paper_is_written_in_each_form(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("kit.pdf", "kit.html", "kit.svg"):
        assert main(["paper", LIGHT, "-o", str(tmp_path / name)]) == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == [
        "kit-1.svg", "kit-2.svg", "kit-3.svg", "kit.html", "kit.pdf",
    ]  # fmt: skip
    assert "8 tiles on 3 pages" in capsys.readouterr().out
    for wrong in (["--plate", "8by6"], ["--only", "lid"], ["--paper", "a9"], ["-o", "kit.doc"]):
        assert main(["paper", LIGHT, *wrong]) == 21


def test_a_primer_is_printed_with_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["primer", "--only", "led", "--only", "fuse", "--plate", "3x2", "-o", str(tmp_path), "--print"]
    assert main([*asked, str(tmp_path / "all.html")]) == 0
    said, page = capsys.readouterr().out, (tmp_path / "all.html").read_text(encoding="utf-8")
    command = "snapcheck teach bundled PHOTO... --plate 3x2 --only led --only fuse"
    assert "4 cubes on 2 boards of 3 by 2" in said and command in said and "power nothing of it" in said
    assert page.count("<div") == page.count(command) == page.count("power nothing of it") == 2
    assert page.count(">fuse<") == page.count(">led<") == 2 and "photos of all layouts" in page
    assert main(["primer", "--only", "led", "--plate", "4x3", "-o", str(tmp_path)]) == 0
    assert "2 cubes on one board of 4 by 3. Lay it" in capsys.readouterr().out
    assert main([*asked, str(tmp_path / "all.txt")]) == 21


def test_a_board_is_drawn_as_pdf(tmp_path: Path) -> None:
    assert main(["draw", LIGHT, "-o", str(tmp_path / "a.pdf"), "--paper", "letter"]) == 0
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")


def test_adopt_asks_before_it_writes_and_takes_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan.board"
    assert main(["adopt", GLARE, "-o", str(out), "--json"]) == 12
    told = json.loads(capsys.readouterr().out)
    assert not out.exists() and told["written"] is None and told["questions"]
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True)
    monkeypatch.setattr(builtins, "input", lambda _: "")
    assert main(["adopt", GLARE, "-o", str(out)]) == 12  # a person who gives up
    assert "--answer '" in capsys.readouterr().out
    monkeypatch.setattr(builtins, "input", lambda _: "1")
    assert main(["adopt", GLARE, "-o", str(out), "--title", "Timer"]) == 0
    made = load_design(out, bundled_kit())
    truth = load_design(ROOT / "designs" / "delay-timer.board", bundled_kit())
    assert made.title == "Timer" and made.expectations and made.board.cubes.keys() == truth.board.cubes.keys()


def test_adopt_leaves_a_plan_of_the_photo_s_name_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    mine = tmp_path / "first-light-good.board"
    mine.write_text("# hours of work\n")
    assert main(["adopt", PHOTO]) == 21
    assert "is there already. Give the plan's name with --out" in capsys.readouterr().err
    assert mine.read_text() == "# hours of work\n"
