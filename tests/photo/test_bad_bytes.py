"""Damaged files by the thousand: no crash, no hang, bounded memory, a clear error each."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("resource", reason="memory is asked of a Unix system")
HERE = Path(__file__).parent
ROOT = HERE.parents[1]
COUNT, READ = 600, 16


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_damaged_files(form: str, tmp_path: Path) -> None:
    """In a process of its own: a decoder that crashes must not take the tests with it."""
    command = [
        sys.executable,
        str(HERE / "mutated_files.py"),
        str(tmp_path),
        form,
        str(COUNT),
        str(READ),
        "1",
    ]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}  # this very checkout, installed or not
    done = subprocess.run(command, env=env, capture_output=True, text=True, check=False)
    at = (tmp_path / "now").read_text() if (tmp_path / "now").exists() else "none"
    assert done.returncode == 0, f"{form} number {at}: {done.returncode}\n{done.stderr[-3000:]}"
    told = json.loads(done.stdout.splitlines()[-1])
    print(f"\n{form}: {told}")
    assert told["opened"] + told["refused"] == COUNT and told["read"] + told["not read"] == READ
    assert told["refused"] > COUNT / 10  # they are damaged indeed
    assert told["longest_s"] < 10 and told["more_MB"] < 400
