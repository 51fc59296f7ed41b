"""Names, titles and prints may hold anything: no terminal, browser or spreadsheet obeys it."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path

import pytest

from snapcheck.cli import main

ROOT = Path(__file__).parents[2]
EVIL = "\x1b]0;gone\x07\x1b[31m[_x][guest]\n\u202egpj\x9b2J\u2028"
#: control characters but the end of a line; ends of lines; Bidi_Control (UAX #9) but isolates of our own
RAW = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066\u2067]")


@pytest.fixture
def course(tmp_path: Path) -> Path:
    """A course in which everything that may be named is named evilly."""
    folder = tmp_path / "course"
    (folder / "submissions").mkdir(parents=True)
    text = (ROOT / "fixtures/designs/first-light.board").read_text(encoding="utf-8")
    text = re.sub("title.*", "title \u202eevil\x85 [/x] נעה", text).replace(
        "resistor 470", 'resistor 470 printed="4\\n\\u202e"'
    )
    (folder / "plan.board").write_text(text, encoding="utf-8")
    (folder / "course.toml").write_text(
        'title = "C\\u001b[31m\\u202e[/x]"\npatterns = ["{student} {any}"]\n'
        '[task.light]\ntitle = "T\\u001b[2J[/x]"\ndesign = "plan.board"\n'
    )
    (folder / "roster.csv").write_text(
        'number,name\nT-1,"Evil \x1b[31m[/x]\u202e[guest];=2"\nT-2,"=cmd|x\ny"\nT-3,נעה [guest]\n',
        encoding="utf-8",
    )
    (folder / "submissions" / f"T-1 {EVIL}.jpg").write_bytes(b"")
    (folder / "submissions" / f"nobody {EVIL}.jpg").write_bytes(b"x")
    os.close(os.open(os.fsencode(folder / "submissions") + b"/T-2 \xff\xfe.jpg", os.O_CREAT | os.O_WRONLY))
    return folder


def clean(text: str) -> None:
    found = RAW.search(text)
    assert not found, ascii(text[max(found.start() - 80, 0) : found.end() + 20])


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_boards(course: Path, more: list[str], capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = str(shutil.copy(course / "plan.board", tmp_path / f"{EVIL}.board"))
    for words in (
        ["layout", file], ["nets", file], ["rules", file, "--structure-only"],
        ["spice", file, "-o", str(tmp_path / "n")],
        ["draw", file, "-o", str(tmp_path / "d.svg")], ["compare", file, file, "--structure-only"],
        ["check", file, file, "--structure-only", "--no-pdf", "--out", str(tmp_path / "out")],
        ["value", EVIL, "--on", "resistor"], ["kit", EVIL], ["read", f"{EVIL}.jpg"], ["grade", EVIL],
    ):  # fmt: skip
        assert main([*words, *more]) in (0, 1, 20, 21, 22), words
        out, err = capsys.readouterr()
        clean(out)
        clean(err)
        assert out + err and err.count("\n") <= 2
        if more:
            json.loads(out)
    for made in ("out/report.html", "out/report.json", "d.svg"):
        clean((tmp_path / made).read_text(encoding="utf-8"))
    page = (tmp_path / "out/report.html").read_text(encoding="utf-8")
    assert "\u2068\\u202eevil [/x] נעה\u2069" in page  # set apart from what stands around it


def test_a_course(course: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    name, out = str(course), tmp_path / "out"
    shown = {}
    for words in (
        ["grade", name, "--workers", "1", "--gradebook", str(tmp_path / "g.csv")], ["review", name],
        ["review", name, "--page", str(tmp_path / "r.html")],
        ["decide", name, "T-1", "light", "unreadable", "--reason", EVIL], ["review", name, "--history"],
        ["export", name, "gradebook", "feedback", "overview", "audit", "pseudonymous", "--out", str(out)],
        ["alike", name], ["cards", name, "--out", str(tmp_path / "c.svg")], ["forget", name, "T-3"],
    ):  # fmt: skip
        assert main(words) in (0, 1), (words, capsys.readouterr())
        told = capsys.readouterr()
        clean(told.out)
        clean(told.err)
        shown[words[0]] = told.out
    assert "[guest]" in shown["grade"] and "[/x]" in shown["grade"]  # no markup for rich
    assert "the file is empty" in (tmp_path / "r.html").read_text(encoding="utf-8")
    assert main(["export", name, "audit", "--out", str(out)]) == 0  # read again: every line is one
    for made in [
        *out.rglob("*.html"),
        out / "audit.jsonl",
        *tmp_path.glob("*.html"),
        *tmp_path.glob("*.svg"),
    ]:
        clean(made.read_text(encoding="utf-8"))
    for table in (out / "gradebook.csv", out / "pseudonymous.csv", tmp_path / "g.csv"):
        clean(table.read_text(encoding="utf-8"))
    rows = (out / "gradebook.csv").read_text(encoding="utf-8")
    assert ";'=2\"" in rows and "\nT-2,\"'=cmd" in rows and "נעה [guest]" in rows and "\u2068" not in rows


@pytest.mark.skipif(os.name != "posix", reason="a terminal of Unix")
def test_a_layout_written_to_a_terminal(course: Path) -> None:
    """Its text goes to a pipe as it stands, and to a terminal safe to show."""
    import pty
    import subprocess
    import sys

    command = [sys.executable, "-m", "snapcheck", "layout", str(course / "plan.board"), "--write", "-"]
    env = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"}
    piped = subprocess.run(command, env=env, capture_output=True, text=True, check=True, encoding="utf-8")
    assert "title \u202eevil" in piped.stdout
    ours, theirs = pty.openpty()
    child = subprocess.Popen(command, env=env, stdout=theirs, stderr=subprocess.DEVNULL)
    os.close(theirs)
    seen = b""
    try:
        while piece := os.read(ours, 4096):
            seen += piece
    except OSError:  # the other end is closed
        pass
    os.close(ours)
    assert child.wait(120) == 0
    told = seen.decode("utf-8").replace("\r\n", "\n")
    clean(told)
    assert "title \\u202eevil" in told
