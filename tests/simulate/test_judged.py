"""A promised range holds with both of its ends, and what has no value is not met."""

from __future__ import annotations

import math

import pytest

from snapcheck.board import Board, Cell, Design, Expectation, Probe
from snapcheck.simulate import judge

DESIGN = Design(Board(1, 1))


@pytest.mark.parametrize(("low", "high", "value", "met"), [
    (1.0, 2.0, 1.0, True), (1.0, 2.0, 2.0, True), (1.0, 2.0, 0.999, False), (1.0, 2.0, 2.001, False),
    (1.0, 2.0, None, False), (1.0, 2.0, -1.5, False), (-2.0, -1.0, -1.5, True), (-2.0, -1.0, 1.5, False),
    (5.0, math.inf, 1e9, True), (5.0, math.inf, 4.9, False), (-math.inf, 5.0, -1e9, True),
    (1.0, 2.0, math.nan, False), (0.0, 0.0, 0.0, True),
])  # fmt: skip
def test_within(low: float, high: float, value: float | None, met: bool) -> None:
    figure = judge(Expectation("voltage", None, None, low, high), DESIGN, value)
    assert figure.met is met and figure.value is value
    assert value is not None or "cannot be measured" in figure.text


def test_without_a_frequency_a_gain_is_meant_at_one_kilohertz() -> None:
    """The usual test tone of audio measurements (IEC 60268-1: 1 kHz; from memory)."""
    assert judge(Expectation("gain", None, None, 1.0, 2.0), DESIGN, 1.5).text.startswith(
        "gain at 1 kHz: 1.5 dB"
    )


@pytest.mark.parametrize(
    ("quantity", "named"), [("power", "power at C4: "), ("current", "current at C4 base: ")]
)
def test_power_is_that_of_a_part_and_not_of_a_leg(quantity: str, named: str) -> None:
    place = Probe(Cell.parse("C4"), "base")
    assert judge(Expectation(quantity, place, None, 0.0, 1.0), DESIGN, 0.5).text.startswith(named)
