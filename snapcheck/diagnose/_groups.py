"""Faults that no voltage and no signal tells apart: told as one suspect, honestly."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.diagnose._asks import Ask, Way, expected
from snapcheck.diagnose._dictionary import Dictionary

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: two faults are told apart where some place shows them more than this many standard deviations apart
_APART = 1.5
_MOST_AT_ONCE = 2_000_000


def groups(d: Dictionary) -> NDArray[Any]:
    """(entries,) number of each entry's group; entries of one group look alike wherever a probe can be put.

    A fault in several degrees may be in several groups: a contact that is a little poor often looks like
    none. A group is gathered round its likeliest entry, the first round "nothing is wrong".
    """
    kept = d.notes.get("groups")
    if kept is not None:
        found: NDArray[Any] = kept
        return found
    alike = _alike(d)
    count = len(d.fault_of)
    weight = np.array([f.weight for f in d.faults])[d.fault_of] * d.share
    group = np.full(count, -1)
    for index in sorted(range(count), key=lambda i: (i != 0, -weight[i], i)):
        if group[index] < 0:
            group[alike[index] & (group < 0)] = index
    d.notes["groups"] = group
    return group


def _alike(d: Dictionary) -> NDArray[Any]:
    """(entries, entries) whether two entries look alike everywhere."""
    asks = [Ask(Way.VOLTS, spot, setting=s) for s in range(len(d.settings)) for spot in d.spots]
    if d.signal is not None:
        asks += [Ask(Way.SIGNAL, spot) for spot in d.spots]
    entries = len(d.fault_of)
    apart = np.zeros((entries, entries), dtype=np.float32)
    for start in range(0, len(asks), 16):
        e = expected(d, asks[start : start + 16])
        mean, var = e.mean.astype(np.float32), (e.spread**2).astype(np.float32)
        for m, v in zip(mean, var, strict=True):
            square = (m[:, None] - m[None, :]) ** 2 / (v[:, None] + v[None, :])
            np.maximum(apart, square, out=apart)
    alike: NDArray[Any] = apart < _APART**2
    return alike
