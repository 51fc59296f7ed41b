"""Calculated states of plan and build, as the comparison asks for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from snapcheck.check._comparison import Match
from snapcheck.check._laid import Laid
from snapcheck.circuit import OperatingPointLike


@dataclass(frozen=True)
class State:
    """The operating point of a circuit, and those in other positions of its switches, in words."""

    point: OperatingPointLike | None = None
    positions: Mapping[str, OperatingPointLike] = field(default_factory=dict)


class States(Protocol):
    """What gives the states when the comparison needs them; each is worked out once at most."""

    def plan(self, laid: Laid) -> State:
        """The plan's, under its own conditions."""

    def built(self, laid: Laid, match: Match) -> State:
        """The build's, under the plan's conditions where their parts stand by this match."""


@dataclass(frozen=True)
class Given:
    """States that are known beforehand."""

    of_built: State = State()
    of_plan: State = State()

    def plan(self, laid: Laid) -> State:
        """See `States`."""
        return self.of_plan

    def built(self, laid: Laid, match: Match) -> State:
        """See `States`."""
        return self.of_built
