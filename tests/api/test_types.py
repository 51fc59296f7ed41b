"""Type checkers see functions and results, also where a room has the same name as a verb."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PROGRAM = """
import snapcheck

result = snapcheck.check("bench.jpg", "plan.board")
reveal_type(result)
reveal_type(snapcheck.simulate("plan.board"))
reveal_type(snapcheck.grade(result))
reveal_type(snapcheck.read(b"").questions)
snapcheck.check(3, "plan.board")
"""


def test_a_program_is_typed(tmp_path: Path) -> None:
    pytest.importorskip("mypy", reason="mypy is not installed")
    program = tmp_path / "program.py"
    # never twice the same: what mypy remembers of an equal file, it tells with that file's old path
    program.write_text(f"{PROGRAM}# {tmp_path}\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", program],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    told = [line.split(": ", 2)[2] for line in done.stdout.splitlines() if line.startswith(str(program))]
    assert [line.split('"')[1] for line in told[:4]] == [
        "snapcheck.api._seen.BuildCheck",
        "snapcheck.api._results.Simulation",
        "snapcheck.grade._score.Grade",
        "tuple[snapcheck.decisions.Question, ...]",
    ], done.stdout + done.stderr
    assert 'Argument 1 to "check"' in told[4] and len(told) == 5
