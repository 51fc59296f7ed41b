"""What a head is worth, told by cubes that it was not taught: how many are right, and called read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from snapcheck.photo._nets import calibration
from snapcheck.photo._taught import log_softmax, turned_back
from snapcheck.photo._views import EMPTY, Examples, Views

#: share of the laid cubes that may be right no more, and called sure no more, without the kit having become
#: worse: cross-validation of a hundred cubes tells one more or less by chance
RIGHT_LOST, SURE_LOST = 0.01, 0.02
_SHARPNESS = np.geomspace(0.7, 4.0, 24)


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


@dataclass(frozen=True)
class Gain:
    """What a course's cells changed, on cubes that were read by heads which had not seen them.

    Attributes:
        laid: cubes of the primer that were tested; laid_before, laid_after: right of them; sure_before,
            sure_after: called read of them.
        cells: the course's own; cells_before, cells_after: right of them.
    """

    laid: int
    laid_before: int
    laid_after: int
    sure_before: int
    sure_after: int
    cells: int
    cells_before: int
    cells_after: int

    @property
    def worse(self) -> bool:
        """Whether fewer are right of all, or of the primer's cubes clearly fewer are right or called sure."""
        lost, more = self.laid_before - self.laid_after, self.cells_after - self.cells_before
        fewer = lost > more or lost > RIGHT_LOST * self.laid
        return fewer or self.sure_before - self.sure_after > SURE_LOST * self.laid


def cube_of(piece: str) -> str:
    return piece.split(" ", maxsplit=1)[0]


def own_share(
    examples: Examples, pieces: tuple[str, ...], probability: np.ndarray, symmetry: Mapping[str, int]
) -> np.ndarray:
    """(n,) probability of what is said of each example; turns that look alike on a kind are one."""
    share = probability.reshape(len(probability), len(pieces), 4)
    result = np.empty(len(share))
    for i, (piece, quarter) in enumerate(zip(examples.pieces, examples.quarters, strict=True)):
        alike = [q for q in range(4) if (q - quarter) % symmetry.get(piece, 4) == 0]
        result[i] = share[i, pieces.index(piece), alike].sum()
    return result


def likeliest(
    pieces: tuple[str, ...], probability: np.ndarray, symmetry: Mapping[str, int]
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) the likeliest column and its probability, with turns that look alike together."""
    share = probability.reshape(len(probability), len(pieces), 4).copy()
    for k, piece in enumerate(pieces):
        step = symmetry.get(piece, 4)
        share[:, k] = sum(np.roll(share[:, k], s, 1) for s in range(0, 4, step))
    flat = share.reshape(len(share), -1)
    return flat.argmax(1), flat.max(1)


@dataclass(frozen=True)
class Told:
    """What heads said of examples that they had not seen."""

    examples: Examples
    pieces: tuple[str, ...]
    log: np.ndarray
    good: np.ndarray
    symmetry: Mapping[str, int]
    weight: np.ndarray

    def tested(self) -> np.ndarray:
        """(n,) examples that were."""
        there = self.good & (np.array(self.examples.pieces) != EMPTY)
        return np.asarray(there & np.isfinite(self.log[:, 0]))

    def answers(self, which: np.ndarray, sharpness: float) -> tuple[np.ndarray, np.ndarray]:
        """(m,) which of these are right, and how likely the likeliest is."""
        p = np.exp(log_softmax(self.log[which] * sharpness))
        own = own_share(self.examples.some(which), self.pieces, p, self.symmetry)
        _, top = likeliest(self.pieces, p, self.symmetry)
        return own >= top - 1e-6, top

    def limits(self) -> tuple[float, float]:
        """Sharpness, and from which probability on a cube is called read."""
        tested = self.tested() & (self.weight > 0)
        if not tested.any():
            return 1.0, 1.0
        part, weight = self.examples.some(tested), self.weight[tested]
        # targets as Platt (1999) has them: a few answers that are all right do not prove certainty
        slip = 1 / (len(part.pieces) + 2)

        def cost(sharpness: float) -> float:
            p = np.exp(log_softmax(self.log[tested] * sharpness))
            own = np.clip(own_share(part, self.pieces, p, self.symmetry), 1e-6, 1 - 1e-6)
            each = (1 - slip) * np.log(own) + slip * np.log(1 - own)
            return -float(np.average(each, weights=weight))

        sharpness = float(min(_SHARPNESS, key=cost))
        right, top = self.answers(tested, sharpness)
        wrong = float(top[~right].max()) if not right.all() else 0.0
        return sharpness, max(float(calibration()["symbol_threshold"]), wrong + (1 - wrong) / 2)

    def worth(self, own: np.ndarray, sharpness: float, sure_from: float, seen: Views) -> Worth:
        """What these limits are worth, on the examples with `own` true."""
        from snapcheck.photo._score import at_most

        tested = self.tested()
        names = self.examples.pieces
        known = {cube_of(p) for p, t in zip(names, tested, strict=True) if t}
        untested = tuple(sorted({cube_of(p) for p in names} - known - {EMPTY}))
        tested &= own
        if not tested.any():
            return Worth(0, 0, 0, 0, 0.0, 1.0, untested, 0)
        right, top = self.answers(tested, sharpness)
        sure = top >= sure_from
        silent, n = int((sure & ~right).sum()), int(sure.sum())
        plain = _alone(self.examples.some(tested), self.pieces, seen.prior[tested], self.symmetry)
        return Worth(
            len(right), int(right.sum()), n, silent, float((1 - top[sure]).sum()), at_most(silent, n),
            untested, plain,
        )  # fmt: skip


def gain_of(before: Told, after: Told, own: np.ndarray, new: np.ndarray) -> Gain:
    laid, cells = after.tested() & own, after.tested() & new
    counts: list[int] = []
    for told in (before, after):
        sharpness, sure = told.limits()
        right, top = told.answers(laid, sharpness)
        counts += [int(right.sum()), int((top >= sure).sum()), int(told.answers(cells, sharpness)[0].sum())]
    return Gain(
        len(right), counts[0], counts[3], counts[1], counts[4], int(cells.sum()), counts[2], counts[5]
    )


def _alone(part: Examples, pieces: tuple[str, ...], prior: np.ndarray, symmetry: Mapping[str, int]) -> int:
    """How many the network alone has right."""
    total = sum(turned_back(prior[:, q, 0], q) for q in range(4))
    p = np.exp(log_softmax(np.asarray(total) / 4))
    own = own_share(part, pieces, p, symmetry)
    return int((own >= likeliest(pieces, p, symmetry)[1] - 1e-6).sum())
