"""What was calculated of the circuits asked about last, for others with the same parts at the same nets.

A photo that leaves something open is checked with each choice, and most choices make the same circuit; so do
students who build the plan as it is drawn.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TypeVar

from snapcheck.board import Cell, Conditions, Design
from snapcheck.circuit import Circuit
from snapcheck.kit import Kit
from snapcheck.simulate._judged import Figure
from snapcheck.simulate._operating import OperatingPoint
from snapcheck.simulate._what_if import WhatIf
from snapcheck.simulate._worker import Worker
from snapcheck.words import active_language

K = TypeVar("K")
T = TypeVar("T")

#: circuits of which something is kept
_MOST = 48


@dataclass
class Known:
    """What was calculated of one circuit.

    Attributes:
        kit: of the circuit; kept, so that no other ever has its id.
        points, positions: by conditions, what `Simulator.operating_point` and `other_positions` gave.
        figures, what_ifs: what `evaluate` and `what_if` gave, by the design and what else they follow from.
    """

    kit: Kit
    points: dict[Conditions, OperatingPoint] = field(default_factory=dict)
    positions: dict[Conditions, dict[str, OperatingPoint]] = field(default_factory=dict)
    figures: dict[object, list[Figure]] = field(default_factory=dict)
    what_ifs: dict[object, WhatIf] = field(default_factory=dict)


class KnownCircuits:
    """The circuits asked about last.

    Args:
        worker: has been asked; what it failed at is not kept, so that it is tried again.
    """

    def __init__(self, worker: Worker) -> None:
        self._worker = worker
        self._known: dict[object, Known] = {}

    def of(self, circuit: Circuit) -> Known:
        """What is known of a circuit."""
        key = _key(circuit)
        known = self._known.pop(key, None) or Known(circuit.kit)
        self._known[key] = known  # the last one is the newest
        while len(self._known) > _MOST:
            self._known.pop(next(iter(self._known)), None)
        return known

    def once(
        self, kept: dict[K, T], key: K, make: Callable[[], T], worth: Callable[[T], bool] = lambda _: True
    ) -> T:
        """What is kept under the key, else what is made now, and kept where it is worth that."""
        if key in kept:
            return kept[key]
        failures = self._worker.failures
        made = make()
        if self._worker.failures == failures and worth(made):
            kept[key] = made
        return made


def _key(circuit: Circuit) -> object:
    """Of everything that points of rest and their words follow from: wires say nothing but what they join."""
    if "known" not in circuit.notes:
        circuit.notes["known"] = (
            id(circuit.kit),
            circuit.net_count,
            tuple((p.place, p.cube, p.name, tuple(p.nets.items())) for p in circuit.parts),
        )
    return circuit.notes["known"], active_language()


def on(circuit: Circuit, point: OperatingPoint) -> OperatingPoint:
    """A point of another circuit with the same parts at the same nets as one of this."""
    return point if point.circuit is circuit else replace(point, circuit=circuit)


def measured(circuit: Circuit, design: Design) -> object:
    """A design, and which nets of the circuit it measures; what stands at its places, and its words, too."""
    probes = [design.input, design.output, *(e.place for e in design.expectations)]
    cubes = circuit.board.cubes
    places = tuple(
        p and (circuit.net_of(p.at, p.terminal), cubes.get(p.at) if isinstance(p.at, Cell) else None)
        for p in probes
    )
    return _Same(design), places, tuple(e.text for e in design.expectations)


@dataclass(frozen=True)
class _Same:
    """A design as a key; its board alone is hashed."""

    design: Design

    def __hash__(self) -> int:
        return hash(self.design.board)
