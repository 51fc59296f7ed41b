"""What rule checks want to know from a simulation; any object with these attributes will do."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, runtime_checkable

from snapcheck.board import Spot


@runtime_checkable
class OperatingPointLike(Protocol):
    """A solved direct-current state of one circuit.

    Attributes:
        net_voltages_V: net number to volts against net 0.
        part_currents_A: cell to amperes through the part: from its first terminal to its second for
            two-terminal parts (plus to minus, anode to cathode; a working battery is negative), into
            the collector or drain for transistors.
        part_powers_W: cell to watts turned into heat or sound in the part (a working battery is negative).

    A net or part that was not solved is simply missing from the mappings.
    """

    @property
    def net_voltages_V(self) -> Mapping[int, float]: ...

    @property
    def part_currents_A(self) -> Mapping[Spot, float]: ...

    @property
    def part_powers_W(self) -> Mapping[Spot, float]: ...
