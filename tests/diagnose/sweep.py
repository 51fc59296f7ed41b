"""How well faults are found: every fault of every sample design, hidden in a build of parts within tolerance.

``python tests/diagnose/sweep.py [DESIGN] [EVERY] [pairs]`` prints a line a design; EVERY 5 takes each
fifth fault. The readings come from builds that are calculated one by one, not from the dictionary; the
meter errs by 1
% and 2 digits. Only voltages and signals are measured here, no cube is lifted; a suspect is a group that
these do
not tell apart. The search ends when one suspect is likelier than 0.93, or no reading would tell 0.08 bits.
"""

from __future__ import annotations

import math
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

if __name__ == "__main__":
    sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2])]

import numpy as np
from faultboards import DESIGNS, design_named, dictionary_of

from snapcheck.diagnose import Dictionary, Search, Specimen, Way, groups
from snapcheck.errors import SimulationError
from snapcheck.simulate import Simulator

WAYS = (Way.VOLTS, Way.ACROSS, Way.SIGNAL)
SURE, LEAST_BITS, MOST = 0.93, 0.08, 14


@dataclass
class Tally:
    """What a sweep found.

    Attributes:
        tried: builds. found: the fault is one of the first three suspects (pairs: a member of the first
        five). first: it is the first. unseen, unseen_found: those that no voltage and no signal tells from
        a good
        build. readings: of all. distinct: faults that readings tell apart. missed: keys.
    """

    tried: int = 0
    found: int = 0
    first: int = 0
    unseen: int = 0
    unseen_found: int = 0
    readings: int = 0
    distinct: int = 0
    missed: list[str] = field(default_factory=list)

    @property
    def bound(self) -> float:
        """Readings allowed on average: log2 of the distinguishable faults, and one."""
        return math.log2(self.distinct) + 1


def hunt(d: Dictionary, build: Specimen, simulator: Simulator | None = None) -> Search:
    """The search to its end; with a simulator, pairs are tried."""
    search = Search(d, ways=WAYS)
    while len(search.readings) < MOST:
        if search.readings and search.suspects[0].probability > SURE and (simulator is None or search.fits):
            break
        if not search.steps or search.steps[0].bits < LEAST_BITS:
            break
        search = search.with_reading(build.measure(search.steps[0].ask))
        if simulator is not None and len(search.readings) > 2:
            search = search.with_pairs(simulator)
    return search


def rank(d: Dictionary, search: Search, build: Specimen) -> int:
    """Place of the best suspect that holds a true fault, 0 the first; 99 for none."""
    group = groups(d)
    true = [{int(group[e]) for e in entries} for entries in build.entries]
    for place, suspect in enumerate(search.suspects):
        keys = {fault.key for fault in suspect.faults}
        for fault, own in zip(build.faults, true, strict=True):
            if fault.key in keys or own & {suspect.group}:
                return place
    return 99


def singles(d: Dictionary, simulator: Simulator, every: int = 1, start: int = 1) -> Tally:
    """Each `every`-th fault alone."""
    group = groups(d)
    signatures = {tuple(sorted(set(group[d.fault_of == i].tolist()))) for i in range(len(d.faults))}
    tally = Tally(distinct=len(signatures))
    for index in range(start, len(d.faults), every):
        build = Specimen(d, simulator, (d.faults[index],), index)
        try:
            search = hunt(d, build)
        except SimulationError:
            tally.missed.append(f"{d.faults[index].key} (no answer)")
            continue
        place = rank(d, search, build)
        unseen = all(group[e] == group[0] for e in build.entries[0])
        tally.tried += 1
        tally.found += place < 3
        tally.first += place < 1
        tally.unseen += unseen
        tally.unseen_found += unseen and place < 3
        tally.readings += len(search.readings)
        if place >= 3:
            tally.missed.append(d.faults[index].key)
    return tally


def pairs(d: Dictionary, simulator: Simulator, count: int, seed: int = 1) -> Tally:
    """So many pairs of faults that show by themselves, drawn by their weights."""
    group = groups(d)
    random = np.random.default_rng(seed)
    seen = sorted({int(i) for i in d.fault_of[group != group[0]]})
    weights = np.array([d.faults[i].weight for i in seen])
    tally = Tally(distinct=len(seen))
    while tally.tried < count:
        one, two = random.choice(seen, size=2, replace=False, p=weights / weights.sum())
        build = Specimen(d, simulator, (d.faults[int(one)], d.faults[int(two)]), int(random.integers(2**31)))
        try:
            search = hunt(d, build, simulator)
        except SimulationError:
            continue
        place = rank(d, search, build)
        tally.tried += 1
        tally.found += place < 5
        tally.first += place < 1
        tally.readings += len(search.readings)
        if place >= 5:
            tally.missed.append(f"{build.faults[0].key} + {build.faults[1].key}")
    return tally


def told(tally: Tally) -> str:
    """A line on one design."""
    tried = max(tally.tried, 1)
    return (
        f"tried {tally.tried:4}: found {tally.found / tried:6.1%}, first {tally.first / tried:6.1%}, "
        f"readings {tally.readings / tried:4.1f} of {tally.bound:4.1f}, unseen {tally.unseen}  "
        f"{'; '.join(tally.missed)}"
    )


def main() -> None:
    words = sys.argv[1:]
    name = next((w for w in words if not w.isdigit() and w != "pairs"), "")
    every = next((int(w) for w in words if w.isdigit()), 1)
    total = Tally(distinct=1)
    bounds = 0.0
    with Simulator() as simulator:
        for path in sorted(p for p in DESIGNS.glob("*.board") if name in p.stem):
            start = time.perf_counter(), time.process_time()
            d = dictionary_of(design_named(path.stem), simulator)
            made = time.perf_counter() - start[0]
            tally = pairs(d, simulator, every) if "pairs" in words else singles(d, simulator, every)
            for key in ("tried", "found", "first", "unseen", "unseen_found", "readings"):
                setattr(total, key, getattr(total, key) + getattr(tally, key))
            bounds += tally.bound * tally.tried
            head = f"{path.stem:24} {len(d.faults) - 1:4} faults, dictionary {made:5.1f} s"
            print(f"{head}; {told(tally)}", flush=True)
    seen = total.tried - total.unseen
    print(
        f"all: tried {total.tried}, found {total.found / total.tried:.1%} "
        f"(of those that show: {(total.found - total.unseen_found) / max(seen, 1):.1%}), "
        f"first {total.first / total.tried:.1%}, readings {total.readings / total.tried:.2f} "
        f"where {bounds / total.tried:.2f} are allowed"
    )


if __name__ == "__main__":
    main()
