"""The terminal: everything, a little, hints; rich on a terminal, plain in a pipe, never a traceback."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import pytest
from reportmaker import FIXTURES, written
from rich.console import Console

from snapcheck.cli import main
from snapcheck.findings import Severity
from snapcheck.report import hint, print_result

PLAN = FIXTURES / "photos" / "level-meter.board"


def said(width: int = 100, terminal: bool = False, **options: int | bool) -> str:
    out = io.StringIO()
    console = Console(
        file=out, width=width, force_terminal=terminal, color_system="standard" if terminal else None,
        highlight=False, legacy_windows=False,
    )  # fmt: skip
    print_result(written(), console, **options)  # type: ignore[arg-type]
    return out.getvalue()


def test_everything_is_told_danger_first_with_a_picture() -> None:
    text = said()
    places = [text.index(f.title[:60]) for f in written().findings]
    assert text.startswith(" Do not power.") and places == sorted(places)
    assert "\x1b" not in text and "[1]" in text  # no colours in a pipe; finding 1 in the picture
    for f in written().findings:
        assert f.mend.split(".")[0][:40] in text


def test_a_terminal_gets_colours_and_its_own_width() -> None:
    assert "\x1b[" in said(terminal=True)
    assert max(len(line) for line in said(width=60, terminal=False).splitlines()) <= 100
    narrow = said(width=60, terminal=True)
    import re

    assert max(len(re.sub(r"\x1b\[[0-9;]*m", "", line)) for line in narrow.splitlines()) <= 60


def test_quiet_is_verdict_and_titles_and_verbose_is_more() -> None:
    quiet, usual, verbose = said(quiet=True), said(), said(verbose=True)
    assert len(quiet.splitlines()) == 1 + len(written().findings)
    assert len(quiet) < len(usual) < len(verbose)
    assert "source of the rule" in verbose and "source of the rule" not in usual


def test_a_student_gets_no_more_than_the_step() -> None:
    gravest = written().findings[0]
    assert gravest.severity is Severity.DANGER
    steps = hint(gravest, written().built)
    one, two, three = (said(student=n) for n in (1, 2, 3))
    assert steps.where in one and steps.which not in one and "--step 2" in one
    assert steps.which in two and gravest.title not in two
    assert gravest.title in three and "--step" not in three
    assert str(gravest.cells[0]) not in one  # not even in the picture


@pytest.mark.parametrize("extra", [[], ["--quiet"], ["--verbose"], ["--student", "--step", "2"], ["--json"]])
def test_a_pipe_gets_plain_text_and_nothing_on_standard_error(tmp_path: Path, extra: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "snapcheck", "check", str(PLAN), str(PLAN), "--structure-only", "--no-pdf",
         "--out", str(tmp_path / "out"), *extra],
        capture_output=True, check=False, timeout=120, cwd=FIXTURES.parent,
    )  # fmt: skip
    assert done.returncode == 0 and done.stderr == b"" and b"\x1b" not in done.stdout


@pytest.mark.parametrize(
    ("words", "code", "named"),
    [
        (["no-such.jpg", str(PLAN)], 21, "no-such.jpg"),
        ([str(PLAN), "no-such.board"], 21, "no-such.board"),
        ([str(FIXTURES), str(PLAN)], 21, "fixtures"),
        ([str(PLAN), str(PLAN), "--out", "/proc/no/such"], 21, "/proc/no"),
        ([str(PLAN), str(PLAN), "--from-reading", str(PLAN)], 21, "level-meter.board"),
        ([str(FIXTURES / "photos" / "level-meter-bench-4.jpg"), str(PLAN), "--from-reading", str(PLAN)], 21,
         "level-meter.board"),
        ([str(PLAN), str(PLAN), "--kit", "no-such.toml"], 21, "no-such.toml"),
    ],
)  # fmt: skip
def test_a_slip_is_one_sentence_with_its_place(
    capsys: pytest.CaptureFixture[str], words: list[str], code: int, named: str
) -> None:
    assert main(["check", *words, "--structure-only", "--no-pdf"]) in (code, 22, 23)
    error = capsys.readouterr().err
    assert error.startswith("snapcheck: ") and named in error and "Traceback" not in error
    assert len(error.splitlines()) == 1


def test_a_student_finds_no_answers_in_the_folder(tmp_path: Path) -> None:
    photos = FIXTURES / "photos"
    words = ["check", str(photos / "level-meter-bench-4.jpg"), str(PLAN), "--from-reading",
             str(photos / "level-meter-bench-4.json"), "--structure-only", "--student",
             "--out", str(tmp_path)]  # fmt: skip
    assert main(words) == 11
    assert {p.name for p in tmp_path.iterdir()} == {"picture.jpg", "report.html"}
