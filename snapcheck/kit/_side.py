"""The four sides of a cube or a cell."""

from __future__ import annotations

import enum


class Side(enum.IntEnum):
    """A side of a cell; the number counts quarter turns clockwise from north."""

    N = 0
    E = 1
    S = 2
    W = 3

    @property
    def opposite(self) -> Side:
        return _ROUND[self + 2]

    def turned(self, degrees: int) -> Side:
        """The side where this one ends up after turning clockwise by a multiple of 90 degrees."""
        return _ROUND[(self + degrees // 90) % 4]

    @property
    def word(self) -> str:
        """The word people say at the bench, as used in layout files."""
        return ("up", "right", "down", "left")[self]


#: once round and half round again, so that no sum of two sides leaves it (looking up beats making anew)
_ROUND: tuple[Side, ...] = (*Side, *Side)
