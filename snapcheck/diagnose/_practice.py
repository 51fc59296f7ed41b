"""Practice: a hidden fault in a calculated build, found by asking for readings; what counts is the effort."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from snapcheck.diagnose._asks import Ask, Reading, Way
from snapcheck.diagnose._dictionary import Dictionary
from snapcheck.diagnose._faults import Fault
from snapcheck.diagnose._groups import groups
from snapcheck.diagnose._next import effort
from snapcheck.diagnose._search import FOUND, Search
from snapcheck.diagnose._specimen import Specimen
from snapcheck.errors import SimulationError
from snapcheck.simulate import Simulator

#: no search for the best way is longer
_LONGEST = 14


@dataclass(frozen=True)
class Score:
    """How well a hidden fault was found.

    Attributes:
        right: whether the answer names it, or one that no voltage and no signal tells from it.
        readings, effort: what was asked for, and what it cost (a voltage against the plate: 1).
        best_readings, best_effort: what the search by information per effort needs for the same build.
        fault: what it was.
    """

    right: bool
    readings: int
    effort: float
    best_readings: int
    best_effort: float
    fault: Fault

    @property
    def points(self) -> int:
        """0 to 100: 100 for the right answer with no more effort than the best search."""
        if not self.right:
            return 0
        return round(100 * min(1.0, self.best_effort / self.effort)) if self.effort else 100


@dataclass(eq=False)
class Practice:
    """One exercise; everything follows from the seed."""

    dictionary: Dictionary
    simulator: Simulator
    seed: int
    hidden: Fault = field(init=False, repr=False)
    asked: list[Reading] = field(init=False, default_factory=list)
    _specimen: Specimen = field(init=False, repr=False)

    def __post_init__(self) -> None:
        d = self.dictionary
        group = groups(d)
        # a fault that changes no reading is no exercise
        seen = sorted({int(f) for f in d.fault_of[group != group[0]]})
        weights = np.array([d.faults[i].weight for i in seen])
        random = np.random.default_rng(self.seed)
        for _ in range(100):
            self.hidden = d.faults[int(random.choice(seen, p=weights / weights.sum()))]
            self._specimen = Specimen(d, self.simulator, (self.hidden,), int(random.integers(2**31)))
            if all(group[e] != group[0] for e in self._specimen.entries[0]):
                return

    def measure(self, ask: Ask) -> Reading:
        """What the meter shows; counted."""
        reading = self._specimen.measure(ask)
        self.asked.append(reading)
        return reading

    def score(self, answer: Fault) -> Score:
        """How good an answer is."""
        d, group = self.dictionary, groups(self.dictionary)
        of = d.fault_named[answer.key]
        hidden = {int(group[e]) for e in self._specimen.entries[0]}
        right = answer.key == self.hidden.key or not hidden.isdisjoint(map(int, group[d.fault_of == of]))
        best = self._best()
        cost = sum(effort(d, reading.ask) for reading in self.asked)
        return Score(
            right, len(self.asked), cost, len(best), sum(effort(d, r.ask) for r in best), self.hidden
        )

    def _best(self) -> list[Reading]:
        """The readings that the search by information per effort asks for in this very build."""
        build = Specimen(self.dictionary, self.simulator, (self.hidden,), self._specimen.seed)
        search = Search(self.dictionary, ways=(Way.VOLTS, Way.ACROSS, Way.SIGNAL))
        while len(search.readings) < _LONGEST and search.steps:
            if search.readings and search.suspects[0].probability > FOUND:
                break
            try:
                search = search.with_reading(build.measure(search.steps[0].ask))
            except SimulationError:
                break
        return list(search.readings)
