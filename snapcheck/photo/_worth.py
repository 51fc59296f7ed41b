"""What a taught head is worth, by cross-validation, and from which probability on it may call a cube read.

Counted are cubes, not pictures of them: the photos of one cube and their changed views are not independent,
and a cube is wrong where any of them is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: of the way from the surest answer that is wrong to certainty, the threshold stands this far
_MARGIN = 0.5


@dataclass(frozen=True)
class Worth:
    """What cross-validation says of a head.

    Attributes:
        tested: cubes that were read by heads which had not seen them (free cells are not counted).
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


def threshold(top: np.ndarray, wrong: np.ndarray, floor: float) -> float:
    """From which probability on answers may be called sure: beyond the surest wrong one, with a margin.

    Args:
        top: probabilities of the likeliest answers. wrong: which of these are.
        floor: the least that is allowed.
    """
    surest = float(np.max(top, where=wrong, initial=0.0))
    return max(floor, surest + _MARGIN * (1 - surest))


def certified(
    top: np.ndarray, wrong: np.ndarray, cubes: np.ndarray, parts: np.ndarray, floor: float
) -> tuple[float, int]:
    """This head's own threshold, and how many cubes are wrong though surer than what the others ask for.

    Args:
        top, wrong: (n, views), as of `threshold`.
        cubes: (n,) which cube each is of. parts: (n,) in which of two parts it was left out.
    """
    silent: set[str] = set()
    for part in (0, 1):
        mine = parts == part
        others = threshold(top[~mine], wrong[~mine], floor)
        silent |= set(cubes[mine][(wrong[mine] & (top[mine] >= others)).any(1)].tolist())
    return threshold(top, wrong, floor), len(silent)


def in_each(cubes: np.ndarray, true: np.ndarray) -> int:
    """Of how many cubes all pictures have this true."""
    return len(set(cubes.tolist()) - set(cubes[~true].tolist()))
