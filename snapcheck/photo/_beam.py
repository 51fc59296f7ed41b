"""What a line of print may say: a prefix beam search over many lines (Graves 2012, Hannun et al. 2014)."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

#: letters less likely than this at a place are not gone on with
_SOME = 1e-4
#: beginnings of a line are told apart by a number made of their letters; of up to ten letters no two have the
#: same, and of longer ones as good as none
_MIX = np.uint64(75)
#: numbers of beams in which nothing is, and of what they would go on from
_NOTHING, _NOWHERE = np.uint64(2**63 + 2**40), np.uint64(2**63 + 2**41)

#: readings, likeliest first: numbers of letters (from 1 on), and their probability over all alignments
Ranked = list[tuple[list[int], float]]


def best_readings(lines: Sequence[np.ndarray], width: int = 12) -> list[Ranked]:
    """The likeliest readings of lines, each (frames, letters) probabilities with the blank first.

    Of one beginning no more than `width` letters can come among the best, and those that stay: so only the
    likeliest `width` + 1 letters of every place are looked at, one of which may be the letter before.
    """
    if not lines:
        return []
    order = sorted(range(len(lines)), key=lambda i: -len(lines[i]))
    frames = np.array([len(lines[i]) for i in order])
    prob = np.zeros((len(lines), int(frames[0]), lines[0].shape[1]))
    for row, i in zip(prob, order, strict=True):
        row[: len(lines[i])] = np.where(lines[i] > _SOME, lines[i], 0)
    most = min(width + 1, max(1, int((prob[:, :, 1:] > 0).sum(2).max())), prob.shape[2] - 1)
    letters = np.sort(np.argpartition(-prob[:, :, 1:], most - 1, 2)[:, :, :most] + 1, 2)

    n, slots = len(lines), np.arange(width, dtype=np.uint64)
    blank, letter = np.zeros((n, width)), np.zeros((n, width))
    blank[:, 0] = 1
    last = np.zeros((n, width), np.intp)
    here, before = np.tile(_NOTHING + slots, (n, 1)), np.tile(_NOWHERE + slots, (n, 1))
    here[:, 0] = 0
    came = np.tile(np.arange(width), (int(frames[0]), n, 1))
    put = np.zeros(came.shape, np.intp)
    inked = np.asarray((prob[:, :, 1:] > 0).any(axis=(0, 2)))
    for t in range(int(frames[0])):
        m = int((frames > t).sum())
        p, each = prob[:m, t], np.arange(m)[:, None]
        if not inked[t]:  # no line has a letter here
            blank[:m], letter[:m] = (blank[:m] + letter[:m]) * p[:, :1], 0
            continue
        b, e, some = blank[:m], last[:m], letters[:m, t]
        whole, at_last = b + letter[:m], p[each, e]
        # what a beginning that is there already gets from the one that is a letter shorter
        shorter = here[:m, :, None] == before[:m, None]
        has, by = shorter.any(1), shorter.argmax(1)
        more = np.where(e == e[each, by], b[each, by], whole[each, by]) * at_last
        stay_blank, stay = whole * p[:, :1], letter[:m] * at_last + np.where(has, more, 0)
        longer = np.where(some[:, None] == e[:, :, None], b[:, :, None], whole[:, :, None])
        longer *= p[each, some][:, None]
        known = some[:, None] == e[:, :, None]
        line, beam, k = np.nonzero(known & has[:, :, None])
        longer[line, by[line, beam], k] = -1
        mass = np.concatenate([stay_blank + stay, longer.reshape(m, -1)], 1)
        best = np.argpartition(-mass, width - 1, 1)[:, :width]
        best = best[each, np.argsort(-mass[each, best], 1, kind="stable")]
        stays = best < width
        new = np.maximum(best - width, 0)
        slot = np.where(stays, best, new // most)
        added = np.where(stays, 0, some[each, new % most])
        gone = mass[each, best] <= 0
        blank[:m] = np.where(stays & ~gone, stay_blank[each, slot], 0)
        letter[:m] = np.where(gone, 0, np.where(stays, stay[each, slot], mass[each, best]))
        origin = here[:m][each, slot]
        there = np.where(stays, origin, origin * _MIX + added.astype(np.uint64))
        before[:m] = np.where(gone, _NOWHERE + slots, np.where(stays, before[:m][each, slot], origin))
        here[:m] = np.where(gone, _NOTHING + slots, there)
        last[:m] = np.where(stays, e[each, slot], added)
        came[t, :m], put[t, :m] = slot, added
    return _told(order, frames, came, put, blank + letter)


def _told(
    order: list[int], frames: np.ndarray, came: np.ndarray, put: np.ndarray, mass: np.ndarray
) -> list[Ranked]:
    """Beams followed back to their first letters."""
    n, width = mass.shape
    each, slot = np.arange(n)[:, None], np.tile(np.arange(width), (n, 1))
    said = np.zeros((n, width, len(came)), np.intp)
    for t in range(len(came) - 1, -1, -1):
        on = (frames > t)[:, None]
        said[:, :, t] = np.where(on, put[t][each, slot], 0)
        slot = np.where(on, came[t][each, slot], slot)
    out: list[Ranked] = [[] for _ in order]
    for row, i in enumerate(order):
        out[i] = [
            (said[row, k][said[row, k] > 0].tolist(), float(mass[row, k]))
            for k in range(width)
            if mass[row, k] > 0
        ]
    return out
