"""Scale letters of a netlist's numbers as the ngspice program takes them."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from snapcheck.circuit import parse_netlist
from snapcheck.kit import bundled_kit

PROGRAM = shutil.which("ngspice")
WORDS = ("4700", "4.7k", "4.7KOhm", "0.47Meg", "3.3MEGohm", "500m", "1G", "2.2e3", "1000mil", ".5T", "2E-1k")


@pytest.mark.skipif(PROGRAM is None, reason="the ngspice program is not installed")
def test_numbers_mean_what_ngspice_takes_them_for(tmp_path: Path) -> None:
    parts = "\n".join(f"R{i} x{i} 0 {word}" for i, word in enumerate(WORDS))
    ours = [float(str(p.value)) for p in parse_netlist(f"scales\n{parts}\n", bundled_kit())]
    # a nanoampere through each makes nanovolts of ohms
    sources = "\n".join(f"I{i} 0 x{i} 1n" for i in range(len(WORDS)))
    path = tmp_path / "scales.cir"
    path.write_text(f"scales\n{parts}\n{sources}\n.op\n.options gmin=1e-30\n.end\n", encoding="utf-8")
    done = subprocess.run([PROGRAM, "-b", str(path)], capture_output=True, text=True, timeout=60, check=False)
    table = {int(n): float(v) for n, v in re.findall(r"^\s*x(\d+)\s+([-+0-9.e]+)", done.stdout, re.M)}
    assert len(table) == len(WORDS), done.stdout + done.stderr
    for i, ohm in enumerate(ours):
        assert table[i] * 1e9 == pytest.approx(ohm, rel=1e-5), WORDS[i]
