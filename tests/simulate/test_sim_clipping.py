"""The search for the greatest clean sine, and what counts as a signal at all."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from snapcheck.board import Cell, load_design
from snapcheck.circuit import build_circuit
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator, is_available
from snapcheck.simulate._transient import CLIPPED, SineResponse, Waveforms, clipping

DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
KIT = bundled_kit()
WAVES = Waveforms(np.zeros(1), {}, 1.0)


def by_halving(run, usual: float) -> SineResponse | None:
    """The same answer the long way: factors of four (or eight) first, then halving down to 2 %."""
    amplitude, good, bad_at = usual, None, math.inf
    trial = run(amplitude)
    for _ in range(40):
        if trial.output_swing_V > 1e-6 and trial.distortion <= CLIPPED:
            good = trial
            if amplitude > 100:
                break
        else:
            bad_at = amplitude
        if math.isinf(bad_at):
            amplitude *= 4
        elif good is None:
            amplitude /= 8
            if amplitude < 1e-7:
                return None
        elif bad_at / good.source_V < 1.02:
            break
        else:
            amplitude = math.sqrt(good.source_V * bad_at)
        trial = run(amplitude)
    return good


class Stage:
    """An invented stage: distortion grows as a power of the amplitude and jumps where the rails end."""

    def __init__(self, clips_at: float, power: float, floor: float) -> None:
        self.clips_at, self.power, self.floor, self.runs = clips_at, power, floor, 0

    def __call__(self, volts: float) -> SineResponse:
        self.runs += 1
        over = volts / self.clips_at
        dirt = (
            self.floor + (CLIPPED - self.floor) * over**self.power
            if over <= 1
            else 0.1 + 0.3 * (1 - 1 / over)
        )
        return SineResponse(1000.0, volts, volts, 20 * volts, dirt, WAVES)


@example(5.0, 4.0, 0.0, 5.0)
@example(0.01 * 4 ** (63.5 / 128), 1.0, 0.05, 0.01)
@given(
    st.floats(-5.5, 1.9).map(lambda e: 10**e),
    st.floats(0.5, 12),
    st.floats(0, 0.09),
    st.none() | st.floats(-5, 2.2).map(lambda e: 10**e),
)
def test_the_search_finds_what_halving_finds_wherever_it_begins(clips_at, power, floor, near):
    quick, slow = Stage(clips_at, power, floor), Stage(clips_at, power, floor)
    ours, plain = clipping(quick, 0.01, near), by_halving(slow, 0.01)
    assert (ours is None) == (plain is None)
    if ours is not None:
        assert ours.source_V == pytest.approx(plain.source_V, rel=1e-9)
    again = Stage(clips_at, power, floor)
    if ours is not None:
        clipping(again, 0.01, ours.source_V)
        assert again.runs <= 3  # a build like its plan costs the foot, the answer and the rung above


def test_where_nothing_comes_out_one_run_is_enough():
    runs = []

    def mute(volts: float) -> SineResponse:
        runs.append(volts)
        return SineResponse(1000.0, volts, volts, 0.0, 0.0, WAVES)

    assert clipping(mute, 0.01, 0.3) is None and runs == [0.01]


@pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")
def test_distortion_of_what_only_creeps_through_is_not_met():
    """Without its transistor a stage still lets a trace pass, and that trace is clean."""
    design = load_design(DESIGNS / "speech-stage.board", KIT)
    cubes = {cell: cube for cell, cube in design.board.cubes.items() if cell != Cell.parse("E4")}
    with Simulator() as simulator:
        figures = [
            {f.expectation.quantity: f for f in simulator.evaluate(design, build_circuit(board, KIT))}
            for board in (design.board, replace(design.board, cubes=cubes))
        ]
    whole, broken = (f["distortion"] for f in figures)
    assert whole.met and whole.value is not None
    assert not broken.met and broken.value is None and "no signal" in broken.reason
    assert figures[1]["gain"].value < 0
