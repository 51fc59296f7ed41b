"""A rubric shown: what it does to a sample, and the sheet that students get."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from snapcheck.cli import main
from snapcheck.grade import parse_rubric, sample_rubric
from snapcheck.grade.out import preview, sample_builds, sheet_page
from snapcheck.simulate import is_available
from snapcheck.words import use_language

ROOT = Path(__file__).parents[2]


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_the_sample_is_what_checking_the_sample_class_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    """Apart from figures in their last digits, which depend on the simulator's release."""
    monkeypatch.setattr(sys, "path", [str(ROOT / "fixtures" / "class"), *sys.path])
    from preview import sample  # type: ignore[import-not-found]

    def plain(builds: object) -> object:
        if isinstance(builds, float):
            return float(f"{builds:.3g}")
        if isinstance(builds, dict):
            return {k: plain(v) for k, v in builds.items()}
        return [plain(v) for v in builds] if isinstance(builds, list | tuple) else builds

    assert plain(sample()) == plain(sample_builds()), "run: python fixtures/class/preview.py"


def test_points_are_written_as_the_language_writes_them() -> None:
    use_language("de")
    page = sheet_page(sample_rubric())
    assert (
        "1,5 weniger" in page
        and "0,5" in page
        and "1.5" not in page.split("<table", 1)[1].split("</table")[0]
    )


def test_preview_follows_the_rubric() -> None:
    text = """
        title = "Only polarity"
        [[item]]
        name = "polarity"
        title = "The right way round"
        points = 10
        by = "findings"
        rules = ["reversed"]
        each = 4
    """
    rows = {r.title: r for r in preview(parse_rubric(text, "test"))}
    assert rows["first-light: D2 led red anode=down"].grade.points == "6"
    assert rows["first-light: D2 led red anode=down"].usual.points == "17"
    assert rows["first-light: remove D3"].grade.points == "10"


def test_sheet_says_everything_that_costs_points() -> None:
    rubric = sample_rubric()
    page = sheet_page(rubric)
    for words in (
        *(i.title for i in rubric.items),
        *(c.reason for c in rubric.caps),
        rubric.bonuses[0].title,
    ):
        assert words in page.replace("&#39;", "'")
    assert "2 points off for each day begun" in page and "15 minutes cost nothing" in page
    assert "At most 6 points are taken off" in page and "<b>20</b>" in page


def test_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet = tmp_path / "sheet.pdf"
    assert main(["rubric", "--sheet", str(sheet)]) == 0
    told = capsys.readouterr().out
    assert sheet.read_bytes().startswith(b"%PDF-") and "17 / 20" in told and f"Sheet: {sheet}" in told
    wrong = tmp_path / "rubric.toml"
    wrong.write_text('title = "x"\n[[item]]\nname = "a"\ntitle = "A"\npoints = 3\nby = "finding"\n')
    assert main(["rubric", str(wrong)]) == 22
    assert "item a.by" in capsys.readouterr().err
