"""What a photo left unsure is a suspect, too: perhaps another cube stands there than was read."""

from __future__ import annotations

from collections.abc import Iterable

from snapcheck.board import Board
from snapcheck.circuit import cube_words
from snapcheck.diagnose._faults import Change, Fault
from snapcheck.diagnose._wiring import split
from snapcheck.errors import SnapcheckError
from snapcheck.kit import Kit
from snapcheck.words import tr

#: weight of a photo's doubt of 100 % beside the faults of `faults.toml` (common practice, no source)
_WEIGHT = 20.0


def unsure_faults(others: Iterable[tuple[Board, float]], board: Board, kit: Kit) -> tuple[Fault, ...]:
    """Other boards that it may be, as faults.

    Args:
        others: each with the probability that the photo gives it.
        board: what was thought.
    """
    found: list[Fault] = []
    for other, probability in others:
        changed = [c for c in board.cells() if board.cubes.get(c) != other.cubes.get(c)]
        if changed:
            cell = changed[0]
            what = cube_words(other.cubes.get(cell), kit)
            key = f"other-cube {cell} {len(found)}"
            text = tr("In {cell} there is {what}: the photo leaves it open.", cell=cell, what=what)
            cells = tuple(changed)
        else:
            taps = sorted(board.taps ^ other.taps)
            cells = tuple(c for seam in taps for c in (seam.first, seam.second))
            key = f"other-lead {len(found)}"
            text = tr("A tap or a lead lies otherwise: the photo leaves it open.")
        try:
            wiring = split(other, kit)
        except SnapcheckError:
            continue
        found.append(
            Fault(key, key.split()[0], cells, _WEIGHT * probability, (Change(),), text=text, wiring=wiring)
        )
    return tuple(found)
