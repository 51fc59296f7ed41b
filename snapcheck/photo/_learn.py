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
from snapcheck.photo._views import CHANGED, EMPTY, TESTED, Examples, Views, look
from snapcheck.photo._worth import Worth, certified, in_each
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
        found = _doubts(examples, pieces, log[:, 0], good, symmetry, as_laid)
        doubts += found
        if not found:
            break
        good &= ~np.isin(examples.places, [d.place for d in found])
    else:
        log, far = _held_out(examples, pieces, seen, good)
    sharpness, worth = _worth(examples, pieces, log, good, symmetry, seen)
    near = np.log(np.maximum(far[good][np.isfinite(far[good])], 1e-6))
    middle, spread = (float(np.median(near)), float(near.std())) if len(near) else (-1.0, 0.6)
    weights, means = _fit(examples, pieces, seen, good)
    spread = max(spread, _LEAST_SPREAD)
    bare = _bare(examples, pieces, seen)
    head = Head(pieces, scale, weights, means, middle, spread, sharpness, worth.sure_from, bare)
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

    which, learnt = np.flatnonzero(use), slice(0, 1 + CHANGED)
    f = np.ascontiguousarray(seen.features[which, :, learnt]).reshape(-1, seen.features.shape[-1])
    prior = np.ascontiguousarray(seen.prior[which, :, learnt]).reshape(len(f), -1)
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


def _bare(examples: Examples, pieces: tuple[str, ...], seen: Views) -> tuple[float, ...]:
    """How likely the network takes each piece for an empty cell; none where no cell was free."""
    if EMPTY not in pieces:
        return ()
    columns = slice(4 * pieces.index(EMPTY), 4 * pieces.index(EMPTY) + 4)
    empty = np.exp(seen.prior[:, :, 0, columns]).sum(2).mean(1)
    number = np.array([pieces.index(p) for p in examples.pieces])
    return tuple(round(float(empty[number == k].mean()), 6) for k in range(len(pieces)))


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
    """(n, 1 + TESTED, 4 * pieces) log probabilities and (n, 1 + TESTED) distances by heads that did not see
    the cube, of the crop and of its views that are tested only; nan where there is none."""
    part, tested = folds(examples), [0, *range(1 + CHANGED, 1 + CHANGED + TESTED)]
    log = np.full((len(good), len(tested), 4 * len(pieces)), np.nan, np.float32)
    far = np.full((len(good), len(tested)), np.nan)
    for left_out in (0, 1):
        test = part == left_out
        if not test.any():
            continue
        weights, means = _fit(examples, pieces, seen, good & ~test, _STEPS * 2 // 3)
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
) -> tuple[float, Worth]:
    """Sharpness, and what cross-validation says with it."""
    from snapcheck.photo._score import at_most

    floor = float(calibration()["symbol_threshold"])
    tested = good & np.isfinite(log[:, 0, 0])
    part, log, left_out = examples.some(tested), log[tested], folds(examples)[tested]
    stands = np.array(part.pieces) != EMPTY
    known = {_cube_of(p) for p in part.pieces}
    untested = tuple(sorted({_cube_of(p) for p in examples.pieces} - known - {EMPTY}))
    if not stands.any():
        return 1.0, Worth(0, 0, 0, 0, 0.0, 1.0, untested, 0, 1.0)
    laid = part.some(stands)
    # targets as Platt (1999) has them: a few answers that are all right do not prove certainty
    slip = 1 / (len(laid.pieces) + 2)

    def cost(sharpness: float) -> float:
        sharp = np.exp(log_softmax(log[stands, 0] * sharpness))
        own = np.clip(_own(laid, pieces, sharp, symmetry), 1e-6, 1 - 1e-6)
        return float(-((1 - slip) * np.log(own) + slip * np.log(1 - own)).mean())

    sharpness = float(min(_SHARPNESS, key=cost))
    answers = [_answer(part, pieces, log[:, view] * sharpness, symmetry) for view in range(1 + TESTED)]
    top, right = (np.stack(some, 1) for some in zip(*answers, strict=True))
    cubes = np.array(part.places)
    sure_from, silent = certified(top, ~right, cubes, left_out, floor)
    plain, right, cubes = top[stands, 0], right[stands, 0], cubes[stands]
    sure = np.isin(cubes, cubes[plain < sure_from], invert=True)
    called = len(set(cubes[sure].tolist()))
    counted = called / max(int(sure.sum()), 1)  # cubes by their pictures
    alone = sum(turned_back(seen.prior[tested][stands, q, 0], q) / 4 for q in range(4))
    _, before = _answer(laid, pieces, np.asarray(alone), symmetry)
    return sharpness, Worth(
        len(set(cubes.tolist())), in_each(cubes, right), called, silent,
        counted * float((1 - plain[sure]).sum()), at_most(silent, called), untested,
        in_each(cubes, before), sure_from,
    )  # fmt: skip


def _answer(
    part: Examples, pieces: tuple[str, ...], log: np.ndarray, symmetry: Mapping[str, int]
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) probabilities of the likeliest answers, and which of these are right."""
    p = np.exp(log_softmax(log))
    _, top = _best(pieces, p, symmetry)
    return top, _own(part, pieces, p, symmetry) >= top - 1e-6
