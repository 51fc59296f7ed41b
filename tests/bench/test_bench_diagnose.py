"""What a fault dictionary costs, against a piece of Python of fixed size."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from stopwatch import YARDSTICK_S, Race

from snapcheck.board import load_design
from snapcheck.diagnose import bundled_priors, dictionary
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator

pytestmark = pytest.mark.bench
THREE_STAGES = Path(__file__).parents[2] / "fixtures" / "designs" / "loudspeaker-amplifier.board"


def test_three_hundred_faults_cost_six_seconds_of_one_core() -> None:
    """So that two cores have them in three: by one process here, whoever else is at work."""
    kit = bundled_kit()
    design = load_design(THREE_STAGES, kit)
    with Simulator() as simulator:
        made = dictionary(design, kit, simulator, bundled_priors(), processes=1)
        goal = 6.0 * (len(made.faults) - 1) / 300 / YARDSTICK_S

        def work() -> None:
            dictionary(design, kit, simulator, bundled_priors(), processes=1)

        (spent,) = Race([work], clock=time.perf_counter).run(goal, rounds=1, most=5)
    assert len(made.faults) > 300
    assert spent <= goal
