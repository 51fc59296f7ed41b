"""What a taught head is worth, by cross-validation, and from which probability on it may call a cube read.

Counted are cubes, not pictures of them: the photos of one cube and their changed views are not independent,
and a cube is wrong where any of them is. Cells of courses have a say in the threshold, but a head is worth
what it makes of cubes that were laid to teach it: the others were chosen for being hard.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from snapcheck.photo._nets import calibration
from snapcheck.photo._taught import log_softmax, turned_back
from snapcheck.photo._views import EMPTY, TESTED, Examples, Views

#: of the way from the surest answer that is wrong to certainty, the threshold stands this far
_MARGIN = 0.5
#: share of the laid cubes, were there a hundred or more, that may be right no more, and called sure no more,
#: without the kit having become worse: cross-validation of so few tells one more or less by chance
RIGHT_LOST, SURE_LOST, _FEW = 0.01, 0.02, 100
_SHARPNESS = np.geomspace(0.7, 4.0, 24)


@dataclass(frozen=True)
class Worth:
    """What cross-validation says of a head.

    Attributes:
        tested: laid cubes that were read by heads which had not seen them (free cells are not counted).
        right: kind and turn right in each of their photos.
        sure: called read in each of their photos.
        silent: called read in any view of them, and wrong, by the threshold that the other part of the cubes
            asks for; free cells called a cube are among them.
        expected: silent errors expected among `sure`, by their own probabilities.
        at_most: share of `sure` that is wrong at most, with 95 % confidence (Clopper and Pearson 1934).
        untested: kinds that were laid once only, in one photo: nothing is known of them.
        before: right of `tested` without anything taught.
        sure_from: probability of kind and turn from which on a cube is called read.
    """

    tested: int
    right: int
    sure: int
    silent: int
    expected: float
    at_most: float
    untested: tuple[str, ...]
    before: int
    sure_from: float = 0.0


@dataclass(frozen=True)
class Gain:
    """What a course's cells changed, on cubes that were read by heads which had not seen them.

    Attributes:
        laid: laid cubes that were tested; laid_before, laid_after: right of them, in each of their photos;
            sure_before, sure_after: called read of them, likewise.
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
        """Whether fewer are right of all, or of the laid cubes clearly fewer are right or called sure."""
        lost, more = self.laid_before - self.laid_after, self.cells_after - self.cells_before
        of = max(self.laid, _FEW)
        return lost > more or lost > RIGHT_LOST * of or self.sure_before - self.sure_after > SURE_LOST * of


def threshold(top: np.ndarray, wrong: np.ndarray, floor: float) -> float:
    """From which probability on answers may be called sure: beyond the surest wrong one, with a margin.

    Args:
        top: probabilities of the likeliest answers. wrong: which of these are.
        floor: the least that is allowed.
    """
    surest = float(np.max(top, where=wrong, initial=0.0))
    return max(floor, surest + _MARGIN * (1 - surest))


def certified(
    top: np.ndarray,
    wrong: np.ndarray,
    cubes: np.ndarray,
    parts: np.ndarray,
    floor: float,
    counted: np.ndarray | None = None,
) -> tuple[float, int]:
    """This head's own threshold, and how many cubes are wrong though surer than what the others ask for.

    Args:
        top, wrong: (n, views), as of `threshold`.
        cubes: (n,) which cube each is of. parts: (n,) in which of two parts it was left out.
        counted: (n,) which may be among these cubes; None: all.
    """
    counts = np.ones(len(cubes), bool) if counted is None else counted
    silent: set[str] = set()
    for part in (0, 1):
        mine = parts == part
        others = threshold(top[~mine], wrong[~mine], floor)
        silent |= set(cubes[mine & counts & (wrong & (top >= others)).any(1)].tolist())
    return threshold(top, wrong, floor), len(silent)


def in_each(cubes: np.ndarray, true: np.ndarray) -> int:
    """Of how many cubes all pictures have this true."""
    return len(set(cubes.tolist()) - set(cubes[~true].tolist()))


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
    """What heads said of examples that they had not seen.

    Attributes:
        log: (n, 1 + TESTED, 4 * pieces) log probabilities of the crop and of its views that are tested only;
            nan where there is none.
        good: (n,) those that were taught. parts: (n,) in which of two parts each was left out.
        weight: (n,) what they weighed; 0: not at all.
    """

    examples: Examples
    pieces: tuple[str, ...]
    log: np.ndarray
    good: np.ndarray
    parts: np.ndarray
    symmetry: Mapping[str, int]
    weight: np.ndarray

    @property
    def tested(self) -> np.ndarray:
        """(n,) examples that were, free cells among them."""
        return np.asarray(self.good & np.isfinite(self.log[:, 0, 0]))

    @property
    def cubes(self) -> np.ndarray:
        """(n,) tested cubes."""
        return np.asarray(self.tested & (np.array(self.examples.pieces) != EMPTY))

    @property
    def places(self) -> np.ndarray:
        """(n,) which cube each is of."""
        return np.array(self.examples.places)

    def answers(self, which: np.ndarray, sharpness: float) -> tuple[np.ndarray, np.ndarray]:
        """(m, 1 + TESTED) how likely the likeliest answers to these are, and which are right."""
        part = self.examples.some(which)
        views = [_answer(part, self.pieces, self.log[which, v] * sharpness, self.symmetry)
                 for v in range(1 + TESTED)]  # fmt: skip
        top, right = (np.stack(some, 1) for some in zip(*views, strict=True))
        return top, right

    def limits(self, own: np.ndarray) -> tuple[float, float, int]:
        """Sharpness, from which probability on a cube is called read, and how many of the examples with `own`
        true are silent errors; see `Worth`."""
        there = self.weight > 0
        cubes, tested = self.cubes & there, self.tested & there
        if not cubes.any():
            return 1.0, 1.0, 0
        part, weight = self.examples.some(cubes), self.weight[cubes]
        # targets as Platt (1999) has them: a few answers that are all right do not prove certainty
        slip = 1 / (len(part.pieces) + 2)

        def cost(sharpness: float) -> float:
            sharp = np.exp(log_softmax(self.log[cubes, 0] * sharpness))
            share = np.clip(own_share(part, self.pieces, sharp, self.symmetry), 1e-6, 1 - 1e-6)
            each = (1 - slip) * np.log(share) + slip * np.log(1 - share)
            return -float(np.average(each, weights=weight))

        sharpness = float(min(_SHARPNESS, key=cost))
        top, right = self.answers(tested, sharpness)
        floor = float(calibration()["symbol_threshold"])
        sure_from, silent = certified(
            top, ~right, self.places[tested], self.parts[tested], floor, own[tested]
        )
        return sharpness, sure_from, silent

    def worth(self, own: np.ndarray, seen: Views) -> tuple[float, Worth]:
        """Sharpness, and what the head is worth with it, on the examples with `own` true."""
        from snapcheck.photo._score import at_most

        sharpness, sure_from, silent = self.limits(own)
        names, cubes = self.examples.pieces, self.cubes & own
        known = {cube_of(p) for p, there in zip(names, self.tested, strict=True) if there}
        untested = tuple(sorted({cube_of(p) for p in names} - known - {EMPTY}))
        if not cubes.any():
            return sharpness, Worth(0, 0, 0, 0, 0.0, 1.0, untested, 0, sure_from)
        top, right = (each[:, 0] for each in self.answers(cubes, sharpness))
        places = self.places[cubes]
        sure = np.isin(places, places[top < sure_from], invert=True)
        called = len(set(places[sure].tolist()))
        counted = called / max(int(sure.sum()), 1)  # cubes by their pictures
        alone = np.asarray(sum(turned_back(seen.prior[cubes, q, 0], q) / 4 for q in range(4)))
        _, before = _answer(self.examples.some(cubes), self.pieces, alone, self.symmetry)
        return sharpness, Worth(
            len(set(places.tolist())), in_each(places, right), called, silent,
            counted * float((1 - top[sure]).sum()), at_most(silent, called), untested,
            in_each(places, before), sure_from,
        )  # fmt: skip


def gain_of(before: Told, after: Told, own: np.ndarray, new: np.ndarray) -> Gain:
    """What the examples with `new` true changed; `own` as of `Told.worth`."""
    laid, cells = after.cubes & own, after.cubes & new
    places, fresh = after.places[laid], after.places[cells]
    counts: list[int] = []
    for told in (before, after):
        sharpness, sure_from, _ = told.limits(own)
        top, right = told.answers(laid, sharpness)
        counts += [in_each(places, right[:, 0]), in_each(places, top[:, 0] >= sure_from)]
        counts.append(in_each(fresh, told.answers(cells, sharpness)[1][:, 0]))
    n, m = len(set(places.tolist())), len(set(fresh.tolist()))
    return Gain(n, counts[0], counts[3], counts[1], counts[4], m, counts[2], counts[5])


def _answer(
    part: Examples, pieces: tuple[str, ...], log: np.ndarray, symmetry: Mapping[str, int]
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) probabilities of the likeliest answers, and which of these are right."""
    p = np.exp(log_softmax(log))
    _, top = likeliest(pieces, p, symmetry)
    return top, own_share(part, pieces, p, symmetry) >= top - 1e-6
