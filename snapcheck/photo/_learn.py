"""Learning one artwork from labelled crops: a regularised linear head over the symbol network's features.

What it comes to is told by cross-validation: every cube that was laid is read by a head that never saw that
cube, only the others of its kind. Sharpness, threshold and reach of the head are set by these answers, and so
is what looks wrongly laid.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from snapcheck.photo._nets import calibration
from snapcheck.photo._taught import Head, log_softmax, squared_distances, turned_back
from snapcheck.photo._views import CHANGED, EMPTY, Examples, Views, look
from snapcheck.watch import stop_if_asked

#: weight of the weights' squares; with it, steps until the fit is good enough (more change nothing measured)
_RIDGE, _STEPS = 1e-5, 60
#: a laid cube is asked about where other heads find what was said so unlikely, and something else so likely
UNLIKELY, LIKELY = 0.05, 0.6
#: share of the strongest doubt that others must reach to be told in the same round
_ROUND_SHARE, _MOST_ROUNDS = 0.5, 3
#: least spread of the logarithms of distances
_LEAST_SPREAD = 0.35
_SHARPNESS = np.geomspace(0.7, 4.0, 24)


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
class Worth:
    """What cross-validation says of a head.

    Attributes:
        tested: crops that were read by heads which had not seen their cube (free cells are not counted).
        right: kind and turn right.
        sure: called read. silent: called read, and wrong. expected: silent errors expected among `sure`, by
            their own probabilities.
        at_most: share of `sure` that is wrong at most, with 95 % confidence (Clopper and Pearson 1934).
        untested: kinds that were laid once only, in one photo: nothing is known of them.
        before: right of `tested` without anything taught.
    """

    tested: int
    right: int
    sure: int
    silent: int
    expected: float
    at_most: float
    untested: tuple[str, ...]
    before: int


def learn(
    examples: Examples, symmetry: Mapping[str, int], as_laid: frozenset[str] = frozenset()
) -> tuple[Head, Worth, tuple[Doubt, ...]]:
    """A head, what it is worth, and which cubes it was not taught because they look wrongly laid.

    Args:
        symmetry: of kinds: quarter turns that change nothing (1, 2 or 4).
        as_laid: places that are known to be laid as said.
    """
    pieces, symmetry = tuple(dict.fromkeys(examples.pieces)), {**symmetry, EMPTY: 1}
    scale, seen = look(examples, pieces)
    doubts: list[Doubt] = []
    good = np.ones(len(examples.pieces), bool)
    for _ in range(_MOST_ROUNDS):
        stop_if_asked()
        log, far = _held_out(examples, pieces, seen, good)
        found = _doubts(examples, pieces, log, good, symmetry, as_laid)
        doubts += found
        if not found:
            break
        good &= ~np.isin(examples.places, [d.place for d in found])
    else:
        log, far = _held_out(examples, pieces, seen, good)
    sharpness, sure, worth = _worth(examples, pieces, log, good, symmetry, seen)
    near = np.log(np.maximum(far[good & np.isfinite(far)], 1e-6))
    middle, spread = (float(np.median(near)), float(near.std())) if len(near) else (-1.0, 0.6)
    weights, means = _fit(examples, pieces, seen, good)
    head = Head(pieces, scale, weights, means, middle, max(spread, _LEAST_SPREAD), sharpness, sure)
    return head, worth, tuple(doubts)


# --- fitting -----------------------------------------------------------------------------------------


def _columns(examples: Examples, pieces: tuple[str, ...]) -> np.ndarray:
    """(n, 4) which column each of an example's four views belongs to."""
    number = np.array([pieces.index(p) for p in examples.pieces])
    return np.stack([4 * number + (examples.quarters - q) % 4 for q in range(4)], 1)


def _fit(
    examples: Examples, pieces: tuple[str, ...], seen: Views, use: np.ndarray, steps: int = _STEPS
) -> tuple[np.ndarray, np.ndarray]:
    """Weights and means from the examples with `use` true, as a file keeps them."""
    from scipy.optimize import minimize

    which = np.flatnonzero(use)
    f = np.ascontiguousarray(seen.features[which]).reshape(-1, seen.features.shape[-1])
    prior = np.ascontiguousarray(seen.prior[which]).reshape(len(f), -1)
    want = np.repeat(_columns(examples, pieces)[which].reshape(-1), 1 + CHANGED)
    n, d, c = len(f), f.shape[1], 4 * len(pieces)
    rows = np.arange(n)

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        stop_if_asked()
        w = flat.reshape(d + 1, c).astype(np.float32)
        log = log_softmax(f @ w[:-1] + w[-1] + prior)
        p = np.exp(log)
        value = -float(log[rows, want].mean()) + 0.5 * _RIDGE * float((w[:-1] ** 2).sum())
        p[rows, want] -= 1
        p /= n
        slope = np.vstack([f.T @ p + _RIDGE * w[:-1], p.sum(0)])
        return value, slope.ravel().astype(np.float64)

    start = np.zeros((d + 1) * c)
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": steps, "maxcor": 8})
    means = np.full((c, d), 100.0, np.float32)  # what was not taught is far from everything
    for column in np.unique(want):
        means[column] = f[want == column].mean(0)
    weights = found.x.reshape(d + 1, c).astype(np.float16).astype(np.float32)
    return weights, means.astype(np.float16).astype(np.float32)


def folds(examples: Examples) -> np.ndarray:
    """(n,) in which of two parts each example is left out: a kind's cubes in turns, or its photos where
    there is one cube; -1 where neither can be."""
    result = np.full(len(examples.pieces), -1)
    cube = [_cube_of(p) for p in examples.pieces]
    for kind in dict.fromkeys(cube):
        mine = [i for i, c in enumerate(cube) if c == kind]
        for labels in ([examples.places[i] for i in mine], [str(examples.photos[i]) for i in mine]):
            some = sorted(set(labels))
            if len(some) > 1:
                for i, name in zip(mine, labels, strict=True):
                    result[i] = some.index(name) % 2
                break
    return result


def _cube_of(piece: str) -> str:
    return piece.split(" ", maxsplit=1)[0]


def _held_out(
    examples: Examples, pieces: tuple[str, ...], seen: Views, good: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(n, 4 * pieces) log probabilities and (n,) distances by heads that did not see the cube, nan where
    there is none."""
    part = folds(examples)
    log = np.full((len(good), 4 * len(pieces)), np.nan, np.float32)
    far = np.full(len(good), np.nan)
    for left_out in (0, 1):
        test = part == left_out
        if not test.any():
            continue
        weights, means = _fit(examples, pieces, seen, good & ~test, _STEPS * 2 // 3)
        total = np.zeros((int(test.sum()), 4 * len(pieces)), np.float32)
        away = np.zeros_like(total)
        for q in range(4):
            f, prior = seen.features[test, q, 0], seen.prior[test, q, 0]
            total += turned_back(log_softmax(f @ weights[:-1] + weights[-1] + prior), q) / 4
            away += turned_back(squared_distances(f, means), q) / 4
        log[test] = log_softmax(total)
        far[test] = away[np.arange(len(away)), total.argmax(1)]
    return log, far


def _own(
    examples: Examples, pieces: tuple[str, ...], probability: np.ndarray, symmetry: Mapping[str, int]
) -> np.ndarray:
    """(n,) probability of what is said of each example; turns that look alike on a kind are one."""
    share = probability.reshape(len(probability), len(pieces), 4)
    result = np.empty(len(share))
    for i, (piece, quarter) in enumerate(zip(examples.pieces, examples.quarters, strict=True)):
        alike = [q for q in range(4) if (q - quarter) % symmetry.get(piece, 4) == 0]
        result[i] = share[i, pieces.index(piece), alike].sum()
    return result


def _best(
    pieces: tuple[str, ...], probability: np.ndarray, symmetry: Mapping[str, int]
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) the likeliest column and its probability, with turns that look alike together."""
    share = probability.reshape(len(probability), len(pieces), 4).copy()
    for k, piece in enumerate(pieces):
        step = symmetry.get(piece, 4)
        share[:, k] = sum(np.roll(share[:, k], s, 1) for s in range(0, 4, step))
    flat = share.reshape(len(share), -1)
    return flat.argmax(1), flat.max(1)


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
        own = _own(part, pieces, p, symmetry)
        best, top = _best(pieces, p, symmetry)
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


# --- what it is worth --------------------------------------------------------------------------------


def _worth(
    examples: Examples,
    pieces: tuple[str, ...],
    log: np.ndarray,
    good: np.ndarray,
    symmetry: Mapping[str, int],
    seen: Views,
) -> tuple[float, float, Worth]:
    """Sharpness, threshold, and what cross-validation says with them."""
    from snapcheck.photo._score import at_most

    floor = float(calibration()["symbol_threshold"])
    good = good & (np.array(examples.pieces) != EMPTY)
    tested = good & np.isfinite(log[:, 0])
    known = {_cube_of(p) for p, t in zip(examples.pieces, tested, strict=True) if t}
    untested = tuple(sorted({_cube_of(p) for p in examples.pieces} - known - {EMPTY}))
    if not tested.any():
        return 1.0, 1.0, Worth(0, 0, 0, 0, 0.0, 1.0, untested, 0)
    part = examples.some(tested)
    n = len(part.pieces)
    # targets as Platt (1999) has them: a few answers that are all right do not prove certainty
    slip = 1 / (n + 2)

    def cost(sharpness: float) -> float:
        own = np.clip(
            _own(part, pieces, np.exp(log_softmax(log[tested] * sharpness)), symmetry), 1e-6, 1 - 1e-6
        )
        return float(-((1 - slip) * np.log(own) + slip * np.log(1 - own)).mean())

    sharpness = float(min(_SHARPNESS, key=cost))
    p = np.exp(log_softmax(log[tested] * sharpness))
    own = _own(part, pieces, p, symmetry)
    _, top = _best(pieces, p, symmetry)
    right = own >= top - 1e-6
    wrong = float(top[~right].max()) if not right.all() else 0.0
    sure_from = max(floor, wrong + (1 - wrong) / 2)
    sure = top >= sure_from
    silent = int((sure & ~right).sum())
    plain = _alone(part, pieces, seen.prior[tested], symmetry)
    worth = Worth(
        n, int(right.sum()), int(sure.sum()), silent, float((1 - top[sure]).sum()), at_most(silent,
        int(sure.sum())), untested, plain,
    )  # fmt: skip
    return sharpness, sure_from, worth


def _alone(part: Examples, pieces: tuple[str, ...], prior: np.ndarray, symmetry: Mapping[str, int]) -> int:
    """How many the network alone has right."""
    total = sum(turned_back(prior[:, q, 0], q) for q in range(4))
    p = np.exp(log_softmax(np.asarray(total) / 4))
    own = _own(part, pieces, p, symmetry)
    return int((own >= _best(pieces, p, symmetry)[1] - 1e-6).sum())
