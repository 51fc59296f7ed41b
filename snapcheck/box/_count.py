"""Cubes laid out on a plate and photographed, counted against what should be there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from snapcheck.box._pieces import Piece, order, piece_of
from snapcheck.kit import Kit

if TYPE_CHECKING:
    from snapcheck.photo import Reading


@dataclass(frozen=True)
class Counted:
    """One sort of cube: how many should be there, are seen for sure, and may be there besides."""

    piece: Piece
    wanted: int
    seen: int
    perhaps: int = 0

    @property
    def missing(self) -> int:
        """So many are missing, however the unsure ones are decided."""
        return max(0, self.wanted - self.seen - self.perhaps)

    @property
    def open(self) -> int:
        """So many more are missing if the unsure ones are something else."""
        return min(self.perhaps, max(0, self.wanted - self.seen))

    @property
    def extra(self) -> int:
        """So many are too many for sure."""
        return max(0, self.seen - self.wanted)


@dataclass(frozen=True)
class Count:
    """All that was laid out beside all that should be there, in the order of the kit.

    Attributes:
        lines: one for each sort of cube that is wanted or seen.
        blanks: cells of which it is not sure that they are empty.
    """

    lines: tuple[Counted, ...]
    blanks: int = 0

    @property
    def complete(self) -> bool:
        """True where nothing is missing, for sure."""
        return not any(line.missing or line.open for line in self.lines)

    @property
    def missing(self) -> int:
        return sum(line.missing for line in self.lines)

    @property
    def sure(self) -> bool:
        """True where no open question could change what is missing."""
        return not any(line.open for line in self.lines) and not (self.missing and self.blanks)


def count(readings: Iterable[Reading], wanted: Mapping[Piece, int], kit: Kit) -> Count:
    """What photos of cubes show beside what is wanted.

    A cube that is not sure counts as `perhaps` for the likeliest thing that it may be. Rated voltages of
    capacitors do not count: they are hard to read.
    """
    from snapcheck.photo import State  # the rest of this room does without pictures

    sure: Counter[Piece] = Counter()
    perhaps: Counter[Piece] = Counter()
    blanks = 0
    for reading in readings:
        for seen in reading.cubes.values():
            into = sure if seen.state is State.READ else perhaps
            into[piece_of(seen.cube, kit).bare] += 1
        blanks += sum(blank.state is not State.READ for blank in reading.blanks.values())
    asked: Counter[Piece] = Counter()
    for piece, number in wanted.items():
        asked[piece.bare] += number
    every = sorted({*asked, *sure, *perhaps}, key=lambda p: order(p, kit))
    return Count(tuple(Counted(p, asked[p], sure[p], perhaps[p]) for p in every), blanks)
