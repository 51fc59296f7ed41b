"""Times compared within one run, so that neither a slow machine nor others at work on it decide.

Work and yardstick are run in turns and the least of each counts. Somebody else's load only ever adds time, so
a measurement that looks too slow is repeated before it counts; one that is too slow by itself stays so.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

#: seconds that the yardstick takes where the goals of these tests hold in absolute terms
YARDSTICK_S = 5.2e-3


def yardstick() -> None:
    """A piece of pure Python of fixed size."""
    total = 0
    for i in range(200_000):
        total += i % 7
    assert total > 0


def least(run: Callable[[], object], times: int = 3, clock: Callable[[], float] = time.process_time) -> float:
    """Least seconds of several runs; of processor time, which others at work hardly touch."""
    spent = []
    for _ in range(times):
        start = clock()
        run()
        spent.append(clock() - start)
    return min(spent)


@dataclass
class Race:
    """Pieces of work against a unit, in turns.

    Attributes:
        works: what is measured.
        unit: what it is measured against.
        times: runs of a piece of work in one round (the unit is run three times).
        clock: processor time of this process, or wall time where the work is done by another one.
    """

    works: Sequence[Callable[[], object]]
    unit: Callable[[], object] = yardstick
    times: int = 1
    clock: Callable[[], float] = time.process_time
    unit_s: float = float("inf")
    spent_s: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.spent_s = [float("inf")] * len(self.works)

    def round(self, above: float = 0.0) -> None:
        """Measure the unit, then each piece of work whose least is still more than `above` units."""
        self.unit_s = min(self.unit_s, least(self.unit, 3, self.clock))
        for index, work in enumerate(self.works):
            if self.spent_s[index] > above * self.unit_s:
                self.spent_s[index] = min(self.spent_s[index], least(work, self.times, self.clock))

    @property
    def shares(self) -> list[float]:
        """Least time of each piece of work, in units at their least."""
        return [spent / self.unit_s for spent in self.spent_s]

    def run(self, goal: float, rounds: int = 3, most: int = 15) -> list[float]:
        """Shares after some rounds, and after more of them as long as any share is above the goal."""
        for n in range(most):
            self.round(0.0 if n < rounds else goal)
            if n + 1 >= rounds and max(self.shares) <= goal:
                break
        return self.shares


def share(
    work: Callable[[], object],
    goal: float,
    unit: Callable[[], object] = yardstick,
    clock: Callable[[], float] = time.process_time,
    rounds: int = 3,
    most: int = 15,
) -> float:
    """Time of one piece of work in units; measured again while it is above the goal."""
    return Race([work], unit, 2, clock).run(goal, rounds, most)[0]
