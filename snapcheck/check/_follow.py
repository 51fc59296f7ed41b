"""A design's places and settings on a build whose parts stand elsewhere: they follow the parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from snapcheck.board import OF_A_PART, Cell, Conditions, Design, Expectation, Probe
from snapcheck.check._comparison import Match
from snapcheck.circuit import Circuit, Part

T = TypeVar("T")


@dataclass(frozen=True)
class Followed:
    """A design on the cells of a build.

    Attributes:
        design: the build's board with input, output, conditions and expectations of the design.
        places: each of the design's expectations to the one in `design`, in order; None where its place has
            no counterpart (inside a chain of parts that is built in another order, or at a missing part).
    """

    design: Design
    places: tuple[Expectation | None, ...]


def follow(design: Design, match: Match) -> Followed:
    """The design where its parts stand in the build."""
    here = _Places(match.plan_circuit, match.built_circuit, match.parts, match.nets)
    conditions = here.conditions(design.conditions)
    output = here.probe(design.output)
    places: list[Expectation | None] = []
    for e in design.expectations:
        place = here.through(e.place) if e.quantity in OF_A_PART else here.probe(e.place)
        if (e.place is not None and place is None) or (e.place is None and output is None):
            places.append(None)
            continue
        own = None if e.conditions is None else here.conditions(e.conditions)
        places.append(replace(e, place=place, conditions=own))
    followed = replace(
        design,
        board=match.built_circuit.board,
        input=here.probe(design.input),
        output=output,
        conditions=conditions,
        expectations=tuple(e for e in places if e is not None),
    )
    return Followed(followed, tuple(places))


@dataclass(frozen=True)
class _Places:
    plan: Circuit
    built: Circuit
    parts: Mapping[Cell, Cell]
    nets: Mapping[int, int]

    def part(self, cell: Cell) -> Part | None:
        """The build's part for the one in a cell of the plan."""
        there = self.parts.get(cell)
        return None if there is None else self.built.part_at.get(there)

    def net(self, number: int) -> int | None:
        """The build's net for one of the plan; inside a chain, the one that the same parts share."""
        found = self.nets.get(number)
        if found is not None and found >= 0:
            return found
        shared: set[int] | None = None
        for part, _ in self.plan.parts_on(number):
            other = self.part(part.cell)
            around = set() if other is None else set(other.nets.values())
            shared = around if shared is None else shared & around
        return shared.pop() if shared is not None and len(shared) == 1 else None

    def probe(self, probe: Probe | None) -> Probe | None:
        """A terminal on the net where the probe is in the plan, of the same part where it has one there.

        None also where the build's plate is another net than the plan's: voltages count from the plate.
        """
        if self.plan.nets[0].terminals and self.net(0) not in (0, None):
            return None
        number = None if probe is None else self.plan.net_of(probe.cell, probe.terminal)
        net = None if number is None else self.net(number)
        if probe is None or net is None:
            return None
        part = self.part(probe.cell)
        names = [] if part is None else [t for t in (probe.terminal, *part.nets) if part.nets.get(t) == net]
        if part is not None and names:
            return Probe(part.cell, names[0])
        terminal = next(iter(self.built.nets[net].terminals), None)
        return None if terminal is None else Probe(terminal.cell, terminal.name)

    def through(self, probe: Probe | None) -> Probe | None:
        """The same end of the same part; of one that may stand either way round, by the nets at its ends."""
        part = None if probe is None else self.part(probe.cell)
        if probe is None or part is None or probe.terminal not in part.nets:
            return None
        planned = self.plan.part_at[probe.cell]
        if not planned.kind.either_way or len(part.nets) != 2:
            return Probe(part.cell, probe.terminal)
        (other,) = (t for t in part.nets if t != probe.terminal)
        ends = {t: self.net(planned.nets[t]) for t in planned.nets}
        turned = part.nets[other] == ends[probe.terminal] or part.nets[probe.terminal] == ends[other]
        return Probe(part.cell, other if turned else probe.terminal)

    def conditions(self, conditions: Conditions) -> Conditions:
        """The settings of parts that are there."""

        def moved(settings: Mapping[Cell, T]) -> dict[Cell, T]:
            return {part.cell: value for cell, value in settings.items() if (part := self.part(cell))}

        return replace(
            conditions,
            supply_V=moved(conditions.supply_V),
            switches=moved(conditions.switches),
            pots=moved(conditions.pots),
        )
