"""Where decimal points stand in a line of print, by a network that looks for nothing else.

Letters set wide apart leave gaps in which the text network, trained to tell letters, half sees a point, and
one point makes a value ten times another. So what it says of a point is weighed with a second opinion of the
same crop: a product of experts (Hinton 2002), place by place, between a point and nothing; of other letters
nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from snapcheck.photo._nets import names, run

#: how far the second opinion counts (1: as if the two had never seen the same pixels), and the most that it
#: may say
TRUST, MOST = 0.6, 6.0
#: the two need not agree on the place by more than this, in places (four pixels)
BESIDE = 3


def with_points(prob: np.ndarray, lines: np.ndarray, ends: Sequence[int]) -> np.ndarray:
    """(n, frames, letters) probabilities of the text network, the blank first, with what the points say.

    Args:
        prob: what it said of the lines.
        lines: (n, h, w, 3) uint8, the crops themselves.
        ends: how many of each one's frames show the line; beyond, no opinion was ever asked for.
    """
    seen = run("points", lines)
    seen = np.where(np.arange(seen.shape[1]) < np.asarray(ends)[:, None], seen, -np.inf)
    wide = np.pad(seen, ((0, 0), (BESIDE, BESIDE)), constant_values=-np.inf)
    seen = np.max([wide[:, k : k + seen.shape[1]] for k in range(2 * BESIDE + 1)], 0)
    more = np.exp(np.clip(TRUST * seen, -MOST, MOST))
    letters = names()[1]
    marks = [1 + letters.index(mark) for mark in ".,"]
    new = prob.copy()
    new[:, :, marks] *= more[:, :, None]
    group = [0, *marks]
    new[:, :, group] *= (prob[:, :, group].sum(2) / new[:, :, group].sum(2))[:, :, None]
    return new
