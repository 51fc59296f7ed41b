"""Learning one artwork from labelled crops: a regularised linear head over the symbol network's features.

What it comes to is told by cross-validation: every cube that was laid is read by a head that never saw that
cube, only the others of its kind. Sharpness, threshold and reach of the head are set by these answers, and so
is what looks wrongly laid.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from snapcheck.photo._taught import Head, Scale, log_softmax, squared_distances, turned_back
from snapcheck.photo._views import CHANGED, EMPTY, TESTED, Examples, Numbers, Views, look
from snapcheck.photo._worth import Gain, Told, Worth, cube_of, gain_of, likeliest, own_share
from snapcheck.watch import stop_if_asked

#: weight of the weights' squares; with it, steps until the fit is good enough (more change nothing measured)
_RIDGE, _STEPS = 1e-5, 60
#: a laid cube is asked about where other heads find what was said so unlikely, and something else so likely
UNLIKELY, LIKELY = 0.05, 0.6
#: share of the strongest doubt that others must reach to be told in the same round
_ROUND_SHARE, _MOST_ROUNDS = 0.5, 3
#: least spread of the logarithms of distances
_LEAST_SPREAD = 0.35
#: what a course's cells of one kind weigh together at most, of what was laid of it
COURSE_SHARE = 1.0


@dataclass(frozen=True)
class Doubt:
    """A laid cube that looks like something else.

    Attributes:
        place: of `Examples.places`. piece, quarter: what was said to lie there.
        likely, likely_quarter: what it looks like; probability: how likely.
    """

    place: str
    piece: str
    quarter: int
    likely: str
    likely_quarter: int
    probability: float


@dataclass(frozen=True)
class Learnt:
    """A head, what it is worth, which cubes it was not taught because they look wrongly laid, and what the
    cells of the last course changed (None: no course)."""

    head: Head
    worth: Worth
    doubts: tuple[Doubt, ...] = ()
    gain: Gain | None = None


def learn(
    examples: Examples,
    symmetry: Mapping[str, int],
    as_laid: frozenset[str] = frozenset(),
    shown: tuple[Examples, Numbers] | None = None,
    fresh: frozenset[str] = frozenset(),
    scale: Scale | None = None,
) -> Learnt:
    """A head of one artwork.

    Args:
        symmetry: of kinds: quarter turns that change nothing (1, 2 or 4).
        as_laid: places that are known to be laid as said.
        shown: cells of courses, without crops: they weigh no more than what was laid of their kind, have a
            say in the threshold, and are not what the head's worth is told by, because they were chosen for
            being hard.
        fresh: places among these whose gain is asked for.
        scale: of features, where `shown` has them.
    """
    laid = len(examples.pieces)
    pieces = tuple(dict.fromkeys([*examples.pieces, *(shown[0].pieces if shown else ())]))
    symmetry = {**symmetry, EMPTY: 1}
    scale, seen = look(examples, pieces, scale)
    examples = examples.without_crops()
    if shown is not None:
        examples, seen = examples.and_those(shown[0]), seen.and_those(shown[1].views(pieces))
    own = np.arange(len(examples.pieces)) < laid
    weight = _weights(examples.pieces, own)
    doubts: list[Doubt] = []
    good = np.ones(len(examples.pieces), bool)
    as_laid |= {p for p, mine in zip(examples.places, own, strict=True) if not mine}
    for _ in range(_MOST_ROUNDS):
        stop_if_asked()
        log, far = _held_out(examples, pieces, seen, good, weight)
        found = _doubts(examples, pieces, log[:, 0], good, symmetry, as_laid)
        doubts += found
        if not found:
            break
        good &= ~np.isin(examples.places, [d.place for d in found])
    else:
        log, far = _held_out(examples, pieces, seen, good, weight)
    told = Told(examples, pieces, log, good, folds(examples), symmetry, weight)
    sharpness, worth = told.worth(own, seen)
    laid_well = far[good & own]
    near = np.log(np.maximum(laid_well[np.isfinite(laid_well)], 1e-6))
    middle, spread = (float(np.median(near)), float(near.std())) if len(near) else (-1.0, 0.6)
    weights, means = _fit(examples, pieces, seen, good, weight)
    spread = max(spread, _LEAST_SPREAD)
    bare = _bare(examples, pieces, seen, weight)
    head = Head(pieces, scale, weights, means, middle, spread, sharpness, worth.sure_from, bare)
    gain = None
    if fresh:
        new = np.isin(examples.places, list(fresh))
        less = np.zeros(len(new))
        less[~new] = _weights(examples.some(~new).pieces, own[~new])
        before = replace(told, log=_held_out(examples, pieces, seen, good, less)[0], weight=less)
        gain = gain_of(before, told, own, new)
    return Learnt(head, worth, tuple(doubts), gain)


def _weights(pieces: tuple[str, ...], own: np.ndarray) -> np.ndarray:
    """(n,) of each example: of a kind, what courses showed weighs no more than what was laid of it, and both
    together what was laid: a kind does not become likelier by being asked about often. One never laid weighs
    at most what others do in the mean."""
    names = np.array(pieces)
    weight = np.ones(len(names))
    usual = own.sum() / max(len(set(names[own]) - {EMPTY}), 1)
    for piece in set(names[~own]):
        mine, laid = (names == piece) & ~own, (names == piece) & own
        n, most = int(mine.sum()), COURSE_SHARE * (int(laid.sum()) or usual)
        fewer = laid.sum() / (laid.sum() + min(n, most)) if laid.any() else 1.0
        weight[mine] = fewer * min(1.0, most / n)
        weight[laid] = fewer
    return weight


# --- fitting -----------------------------------------------------------------------------------------


def _columns(examples: Examples, pieces: tuple[str, ...]) -> np.ndarray:
    """(n, 4) which column each of an example's four views belongs to."""
    number = np.array([pieces.index(p) for p in examples.pieces])
    return np.stack([4 * number + (examples.quarters - q) % 4 for q in range(4)], 1)


def _fit(
    examples: Examples,
    pieces: tuple[str, ...],
    seen: Views,
    use: np.ndarray,
    weight: np.ndarray,
    steps: int = _STEPS,
) -> tuple[np.ndarray, np.ndarray]:
    """Weights and means from the examples with `use` true, as a file keeps them."""
    from scipy.optimize import minimize

    which, learnt = np.flatnonzero(use & (weight > 0)), slice(0, 1 + CHANGED)
    f = np.ascontiguousarray(seen.features[which, :, learnt]).reshape(-1, seen.features.shape[-1])
    prior = np.ascontiguousarray(seen.prior[which, :, learnt]).reshape(len(f), -1)
    want = np.repeat(_columns(examples, pieces)[which].reshape(-1), 1 + CHANGED)
    d, c = f.shape[1], 4 * len(pieces)
    rows = np.arange(len(f))
    counts = np.repeat(weight[which], 4 * (1 + CHANGED)).astype(np.float32)
    n = float(counts.sum())

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        stop_if_asked()
        w = flat.reshape(d + 1, c).astype(np.float32)
        log = log_softmax(f @ w[:-1] + w[-1] + prior)
        p = np.exp(log)
        value = -float((counts * log[rows, want]).sum() / n) + 0.5 * _RIDGE * float((w[:-1] ** 2).sum())
        p[rows, want] -= 1
        p /= (n / counts)[:, None]
        slope = np.vstack([f.T @ p + _RIDGE * w[:-1], p.sum(0)])
        return value, slope.ravel().astype(np.float64)

    start = np.zeros((d + 1) * c)
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": steps, "maxcor": 8})
    means = np.full((c, d), 100.0, np.float32)  # what was not taught is far from everything
    for column in np.unique(want):
        mine = want == column
        means[column] = np.average(f[mine], 0, counts[mine])
    weights = found.x.reshape(d + 1, c).astype(np.float16).astype(np.float32)
    return weights, means.astype(np.float16).astype(np.float32)


def _bare(examples: Examples, pieces: tuple[str, ...], seen: Views, weight: np.ndarray) -> tuple[float, ...]:
    """How likely the network takes each piece for an empty cell; none where no cell was free."""
    if EMPTY not in pieces:
        return ()
    columns = slice(4 * pieces.index(EMPTY), 4 * pieces.index(EMPTY) + 4)
    empty = np.exp(seen.prior[:, :, 0, columns]).sum(2).mean(1)
    number = np.array([pieces.index(p) for p in examples.pieces])
    each = (number == k for k in range(len(pieces)))
    return tuple(round(float(np.average(empty[mine], weights=weight[mine])), 6) for mine in each)


def folds(examples: Examples) -> np.ndarray:
    """(n,) in which of two parts each example is left out: a kind's cubes in turns, or its photos where
    there is one cube; -1 where neither can be."""
    result = np.full(len(examples.pieces), -1)
    cube = [cube_of(p) for p in examples.pieces]
    for kind in dict.fromkeys(cube):
        mine = [i for i, c in enumerate(cube) if c == kind]
        for labels in ([examples.places[i] for i in mine], [str(examples.photos[i]) for i in mine]):
            some = sorted(set(labels))
            if len(some) > 1:
                for i, name in zip(mine, labels, strict=True):
                    result[i] = some.index(name) % 2
                break
    return result


def _held_out(
    examples: Examples, pieces: tuple[str, ...], seen: Views, good: np.ndarray, weight: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(n, 1 + TESTED, 4 * pieces) log probabilities and (n, 1 + TESTED) distances by heads that did not see
    the cube, of the crop and of its views that are tested only; nan where there is none."""
    part, tested = folds(examples), [0, *range(1 + CHANGED, 1 + CHANGED + TESTED)]
    log = np.full((len(good), len(tested), 4 * len(pieces)), np.nan, np.float32)
    far = np.full((len(good), len(tested)), np.nan)
    for left_out in (0, 1):
        test = part == left_out
        if not test.any():
            continue
        weights, means = _fit(examples, pieces, seen, good & ~test, weight, _STEPS * 2 // 3)
        n, columns = int(test.sum()), 4 * len(pieces)
        total, away = (np.zeros((n, len(tested), columns), np.float32) for _ in range(2))
        for q in range(4):
            f = seen.features[test][:, q, tested]
            said = f @ weights[:-1] + weights[-1] + seen.prior[test][:, q, tested]
            said = log_softmax(said.reshape(-1, columns))
            total += turned_back(said, q).reshape(total.shape) / 4
            apart = squared_distances(f.reshape(-1, f.shape[-1]), means)
            away += turned_back(apart, q).reshape(away.shape) / 4
        log[test] = log_softmax(total.reshape(-1, columns)).reshape(total.shape)
        far[test] = np.take_along_axis(away, total.argmax(2)[..., None], 2)[..., 0]
    return log, far


def _doubts(
    examples: Examples,
    pieces: tuple[str, ...],
    log: np.ndarray,
    good: np.ndarray,
    symmetry: Mapping[str, int],
    as_laid: frozenset[str],
) -> list[Doubt]:
    """Cubes that in the mean of their photos look like something else; the clearest alone, because one wrong
    cube makes others look wrong."""
    found: list[tuple[float, Doubt]] = []
    for place in dict.fromkeys(examples.places):
        mine = np.array([p == place for p in examples.places]) & good & np.isfinite(log[:, 0])
        if not mine.any() or place in as_laid:
            continue
        part = examples.some(mine)
        p = np.exp(log[mine])
        own = own_share(part, pieces, p, symmetry)
        best, top = likeliest(pieces, p, symmetry)
        if own.max() < UNLIKELY and top.min() > LIKELY:
            worst = int(np.argmax(top))
            odds = float(np.log(top[worst] / max(float(own[worst]), 1e-9)))
            said, column = part.pieces[worst], int(best[worst])
            doubt = Doubt(
                place, said, int(part.quarters[worst]), pieces[column // 4], column % 4, float(top[worst])
            )
            found.append((odds, doubt))
    most = max((odds for odds, _ in found), default=0.0)
    return [doubt for odds, doubt in found if odds >= _ROUND_SHARE * most]
