"""A chip of eight legs with resistors inside, on a board with a battery box: volts by the voltage divider."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from largekit import LARGE_KIT

from snapcheck.board import parse_layout
from snapcheck.circuit import build_circuit, check_rules
from snapcheck.simulate import Simulator

# p8 and p7 lie 10 kΩ apart inside, p5 and p6 4.7 kΩ; outside, two leads make a divider of them
DIVIDER = """
plate 8 x 5
A1 corner ends=right+down
B1 corner ends=left+down
A2 battery-box 9V plus=up
B2 chip RN8 notch=up
C1 corner ends=down+right
D1 corner ends=left+down
D2 corner ends=up+left
D3 corner ends=left+down
D4 ground stem=up
A4 ground stem=up
"""


@pytest.fixture(scope="module")
def simulator() -> Iterator[Simulator]:
    with Simulator() as one:
        yield one


def test_a_divider_of_two_resistors_of_the_chip(simulator: Simulator) -> None:
    circuit = build_circuit(parse_layout(DIVIDER, "divider", LARGE_KIT).board, LARGE_KIT)
    assert not [f for f in check_rules(circuit) if not f.severity]
    point = simulator.operating_point(circuit)
    chip, box = circuit.part_named["U101"], circuit.part_named["BT101"]
    volts = point.net_voltages_V
    amperes = 9.0 / (10_000 + 4_700 + 1.0)  # Ohm's law; the box has 1 Ω inside
    assert volts[chip.nets["p8"]] == pytest.approx(amperes * 14_700, rel=1e-5)
    assert volts[chip.nets["p7"]] == volts[chip.nets["p6"]] == pytest.approx(amperes * 4_700, rel=1e-5)
    assert point.part_powers_W[chip.cell] == pytest.approx(amperes**2 * 14_700, rel=1e-4)
    assert point.part_currents_A[box.cell] == pytest.approx(-amperes, rel=1e-4)
