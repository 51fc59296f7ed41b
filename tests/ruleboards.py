"""Two sound boards, a made-up operating point and one call to check rules, for the tests of rules."""

from __future__ import annotations

from dataclasses import dataclass, field

from snapcheck.board import Cell, parse_layout
from snapcheck.circuit import Circuit, build_circuit, check_rules
from snapcheck.findings import Finding
from snapcheck.kit import chips_kit

KIT = chips_kit()

LOOP = """plate 6 x 4
A1 corner turn=0
A2 battery 9V plus=up
A3 ground stem=up
B1 switch turn=0
C1 resistor 470 turn=0
D1 corner turn=90
D2 led red anode=up
D3 ground stem=up
"""


@dataclass
class Solved:
    """A made-up operating point: volts by "cell terminal", amperes and watts by cell."""

    circuit: Circuit
    volts: dict[str, float] = field(default_factory=dict)
    amperes: dict[str, float] = field(default_factory=dict)
    watts: dict[str, float] = field(default_factory=dict)

    @property
    def net_voltages_V(self) -> dict[int, float]:
        nets = {0: 0.0}
        for place, v in self.volts.items():
            cell, terminal = place.split()
            net = self.circuit.net_of(Cell.parse(cell), terminal)
            assert net is not None, place
            nets[net] = v
        return nets

    @property
    def part_currents_A(self) -> dict[Cell, float]:
        return {Cell.parse(c): a for c, a in self.amperes.items()}

    @property
    def part_powers_W(self) -> dict[Cell, float]:
        return {Cell.parse(c): w for c, w in self.watts.items()}


def check(layout: str, **solved: dict[str, float]) -> list[Finding]:
    circuit = build_circuit(parse_layout(layout, "test", KIT).board, KIT)
    return check_rules(circuit, Solved(circuit, **solved) if solved else None)


CHIP = """plate 8 x 6
A1 corner turn=0
A2 battery 9V plus=up
A3 ground stem=up
B1 straight
C1 corner turn=90
C2 opamp LM358 turn=0
B2 corner turn=0
B3 corner ends=up+right
C4 ground stem=up
D4 ground stem=up
"""

DRIVER = """plate 5 x 4
A1 corner turn=0
B1 tee stem=down
C1 corner turn=90
A2 battery 9V plus=up
B2 resistor 10k turn=90
C2 led green anode=up
A3 ground stem=up
B3 corner ends=up+right
C3 npn BC547 base=left
C4 ground stem=up
"""

AMP = """plate 8 x 6
A1 corner turn=0
B1 straight
C1 tee stem=down
D1 corner turn=90
A2 battery 9V plus=up
A3 ground stem=up
C2 resistor 470k turn=90
D2 resistor 2k2 turn=90
A4 audio-in signal=right
B4 capacitor 1u
C3 straight turn=90
C4 tee stem=up
D3 tee stem=right
E3 electrolytic 10u plus=left
F3 socket signal=left
D4 npn BC547 base=left
D5 ground stem=up
"""
