"""The outcome of a comparison."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from snapcheck.board import Board, Cell, Design
from snapcheck.check._align import Alignment
from snapcheck.check._verdict import Verdict
from snapcheck.circuit import Circuit
from snapcheck.findings import Finding


class Electrical(enum.StrEnum):
    """How the two circuits compare."""

    IDENTICAL = "identical"  #: the same parts in the same cells, joined alike
    EQUIVALENT = "equivalent"  #: the same circuit, built differently
    DIFFERENT = "different"
    GAVE_UP = "gave-up"  #: too regular to decide within the limit of steps


@dataclass(frozen=True)
class Match:
    """What corresponds between a plan and a build; worked out of how they are joined alone.

    Attributes:
        alignment: how the plan was turned and shifted to lie on the build.
        electrical: how the circuits compare.
        own_layout: True when the build is laid out in its own way, so that cells were not compared.
        parts: cell of the plan to cell of the build, for parts that correspond.
        nets: net of the plan's circuit to net of the build's, as far as they correspond.
        plan_circuit, built_circuit: the circuits.
    """

    alignment: Alignment
    electrical: Electrical
    own_layout: bool
    parts: Mapping[Cell, Cell]
    nets: Mapping[int, int]
    plan_circuit: Circuit = field(repr=False)
    built_circuit: Circuit = field(repr=False)

    @property
    def parts_moved(self) -> bool:
        """Whether cells of the plan say nothing about places in the build: only its parts do."""
        return self.own_layout or self.electrical is Electrical.EQUIVALENT

    def plan_cells(self, cells: Iterable[Cell], plan: Board) -> tuple[Cell, ...]:
        """Cells of the build on the plan, as far as they have a place there: for counting what goes wrong
        where, over many builds."""
        if self.own_layout:
            back = {built: planned for planned, built in self.parts.items()}
            places = [back[c] for c in cells if c in back]
        else:
            places = [plan.named(self.alignment.to_plan(c)) for c in cells]
        return tuple(c for c in places if 0 <= c.column < plan.columns and 0 <= c.row < plan.rows)


@dataclass(frozen=True)
class Comparison(Match):
    """A build held against its plan.

    Attributes:
        verdict: in one word.
        findings: what to tell, worst first; one cause, one finding.
        changed_cells: cells of the build that differ from the plan in any way.
        placed: the design in the cells of the build; where only parts correspond, its board is the build's
            own, with conditions and expectations as far as they have a place there. None where its cells have
            no place on the build.
    """

    verdict: Verdict = field(kw_only=True)
    findings: tuple[Finding, ...] = field(kw_only=True)
    changed_cells: tuple[Cell, ...] = field(kw_only=True)
    placed: Design | None = field(kw_only=True, repr=False)
