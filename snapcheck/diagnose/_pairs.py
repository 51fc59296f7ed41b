"""Two faults at once: tried where no single one explains the readings."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.diagnose._belief import Belief
from snapcheck.diagnose._dictionary import Dictionary, simulated
from snapcheck.diagnose._faults import Fault, designed
from snapcheck.diagnose._groups import groups
from snapcheck.simulate import Simulator

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: single faults that are combined, likeliest first, one of each group
_MOST = 24
#: how often a build that fails has two faults rather than one (common practice, no source)
_SHARE = 0.1


def pairs(belief: Belief, simulator: Simulator) -> Dictionary:
    """The dictionary of pairs of the faults that explain most of the readings, slips allowed."""
    d = belief.dictionary
    chosen = _chosen(belief)
    total = sum(fault.weight for fault in d.faults[1:])
    found = [designed(1e-9)]
    for (one, first), (two, second) in itertools.combinations(chosen, 2):
        if d.faults[one].key == d.faults[two].key:
            continue
        a, b = d.faults[one], d.faults[two]
        change = a.degrees[first] + b.degrees[second]
        weight = _SHARE * a.weight * b.weight / total
        key = f"{a.key} + {b.key} / {first} {second}"
        found.append(
            Fault(key, "pair", (*a.cells, *b.cells), weight, (change,), f"{a.part}+{b.part}",
                  wiring=a.wiring or b.wiring)
        )  # fmt: skip
    return simulated(d.plan, tuple(found), simulator, d.settings)


def members(d: Dictionary, pair: Fault) -> tuple[int, ...]:
    """Indices of the single faults of a pair."""
    keys = pair.key.partition(" / ")[0].split(" + ")
    return tuple(d.fault_named[key] for key in keys if key in d.fault_named)


def _chosen(belief: Belief) -> list[tuple[int, int]]:
    """(fault, degree) of the likeliest entries, one of each group of those that look alike."""
    d, group = belief.dictionary, groups(belief.dictionary)
    # what is likely is left out of this: two rare faults together are as good a reason as any
    order = np.argsort(-(belief.log_likelihood + 0.5 * belief.log_prior), kind="stable")
    seen: set[int] = set()
    chosen: list[tuple[int, int]] = []
    for entry in order:
        if d.fault_of[entry] == 0 or int(group[entry]) in seen or group[entry] == group[0]:
            continue
        seen.add(int(group[entry]))
        chosen.append((int(d.fault_of[entry]), int(d.degree_of[entry])))
        if len(chosen) == _MOST:
            break
    return chosen


def log_prior_of_pairs(singles: Belief, of_pairs: Dictionary) -> NDArray[Any]:
    """(entries of pairs,) on the scale of the single faults' own logarithms."""
    d = singles.dictionary
    none = math.exp(float(np.logaddexp.reduce(singles.log_prior[d.fault_of == 0])))
    total = sum(fault.weight for fault in d.faults[1:]) / max(1 - none, 1e-6)
    weights = np.array([f.weight for f in of_pairs.faults])[of_pairs.fault_of] * of_pairs.share
    logs: NDArray[Any] = np.log(np.maximum(weights / total, 1e-30))
    return logs
