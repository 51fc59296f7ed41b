"""The tutorial does what it says."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

from snapcheck.simulate import is_available

ROOT = Path(__file__).parents[2]


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_the_tutorial_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testfile(
        str(ROOT / "snapcheck" / "TUTORIAL.md"), module_relative=False, optionflags=doctest.ELLIPSIS
    )
    assert failed == 0 and tried > 15
