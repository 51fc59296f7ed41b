"""A plan that was measured ahead costs nothing again, and says the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from snapcheck.board import load_design
from snapcheck.circuit import build_circuit
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator, is_available

pytestmark = pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")
KIT = bundled_kit()
DESIGN = Path(__file__).parents[2] / "fixtures" / "designs" / "speech-stage.board"


def asked(simulator: Simulator, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """One entry for every question that the simulator is asked from now on."""
    questions: list[int] = []
    solve = simulator.worker.solve
    monkeypatch.setattr(simulator.worker, "solve", lambda *a, **k: (questions.append(1), solve(*a, **k))[1])
    return questions


def test_a_plan_measured_ahead_is_not_measured_again(monkeypatch: pytest.MonkeyPatch) -> None:
    design = load_design(DESIGN, KIT)
    built = build_circuit(design.board, KIT)
    with Simulator() as simulator:
        whole = asked(simulator, monkeypatch)
        fresh = simulator.what_if(design, built)
    with Simulator() as simulator:
        questions = asked(simulator, monkeypatch)
        simulator.measure_plan(design, KIT)
        ahead = len(questions)
        again = simulator.what_if(load_design(DESIGN, KIT), built)  # another object, the same design
        assert again == fresh
        assert 0 < len(questions) - ahead < 0.6 * len(whole)  # the build alone
        other = simulator.what_if(load_design(DESIGN.with_name("hiss-filter.board"), KIT), built)
        assert other.designed != again.designed
