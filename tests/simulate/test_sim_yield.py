"""The yield counts figures that need runs in time, too."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from snapcheck.board import load_design
from snapcheck.circuit import build_circuit
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator

DESIGN = Path(__file__).parents[2] / "fixtures" / "designs" / "two-lamp-flasher.board"


def test_a_slow_figure_that_is_never_met_leaves_no_yield() -> None:
    kit = bundled_kit()
    design = load_design(DESIGN, kit)
    figure = next(e for e in design.expectations if e.quantity == "frequency")
    with Simulator() as simulator:
        for low, high, want in ((0.0, 1e6, 1.0), (1e5, 2e5, 0.0)):
            asked = replace(design, expectations=(replace(figure, low=low, high=high),))
            result = simulator.tolerance(asked, build_circuit(design.board, kit), samples=20, slow_samples=2)
            assert result.passed == want
