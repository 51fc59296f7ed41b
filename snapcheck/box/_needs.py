"""What a class needs to build a design, beside what the box holds."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from snapcheck.board import Design
from snapcheck.box._inventory import Box
from snapcheck.box._pieces import Piece, order, pieces_of, serves
from snapcheck.kit import Kit


@dataclass(frozen=True)
class Need:
    """One sort of thing: how many of it all benches need, are there, and are missing."""

    piece: Piece
    needed: int
    there: int

    @property
    def missing(self) -> int:
        return max(0, self.needed - self.there)


@dataclass(frozen=True)
class Loose:
    """Plates, taps or leads, likewise; `there` is None where the box does not count them."""

    what: str
    needed: int
    there: int | None

    @property
    def missing(self) -> int:
        return 0 if self.there is None else max(0, self.needed - self.there)


@dataclass(frozen=True)
class Needs:
    """All that a class needs.

    Attributes:
        benches: how many build it at once.
        cubes: in the order of the kit.
        loose: plates, taps, leads.
        possible: how many benches the box serves as it is.
    """

    benches: int
    cubes: tuple[Need, ...]
    loose: tuple[Loose, ...]
    possible: int

    @property
    def short(self) -> tuple[Need, ...]:
        """The cubes of which some are missing."""
        return tuple(need for need in self.cubes if need.missing)

    @property
    def fits(self) -> bool:
        """True where nothing is missing."""
        return not self.short and not any(loose.missing for loose in self.loose)


def needs(design: Design, box: Box, kit: Kit, benches: int = 1) -> Needs:
    """What `benches` benches need to build a design at once."""
    one = pieces_of(design.board, kit)
    wanted = {piece: benches * n for piece, n in one.items()}
    there = stock_for(wanted, box, kit)
    cubes = tuple(Need(p, wanted[p], there[p]) for p in sorted(one, key=lambda p: order(p, kit)))
    board = design.board
    loose = [Loose("plates", benches, plates_for(box, board.columns, board.rows))]
    if board.taps:
        loose.append(Loose("taps", benches * len(board.taps), box.taps))
    if board.leads:
        loose.append(Loose("leads", benches * len(board.leads), box.leads))
    return Needs(benches, cubes, tuple(loose), _possible(one, loose, benches, box, kit))


def stock_for(wanted: Mapping[Piece, int], box: Box, kit: Kit) -> dict[Piece, int]:
    """How many the box has for each piece that is wanted: cubes with another rated voltage serve as well, but
    each one only once, and those that ask for most come first."""
    left = Counter(box.cubes)
    given: dict[Piece, int] = {}
    for piece in sorted(wanted, key=lambda p: -(p.rated_V or 0.0)):
        stocks = sorted((s for s in left if serves(s, piece, kit)), key=lambda s: s.rated_V or 0.0)
        total = 0
        for stock in stocks:
            # whatever nobody else asks for is told as there, too
            alone = not any(serves(stock, other, kit) for other in wanted if other != piece)
            taken = left[stock] if alone else min(left[stock], max(0, wanted[piece] - total))
            left[stock] -= taken
            total += taken
        given[piece] = total
    return given


def plates_for(box: Box, columns: int, rows: int) -> int | None:
    """Plates on which a board of this size fits, lying or upright."""
    if not box.plates:
        return None
    return sum(
        count
        for (across, down), count in box.plates.items()
        if (across >= columns and down >= rows) or (down >= columns and across >= rows)
    )


def _possible(one: Mapping[Piece, int], loose: list[Loose], benches: int, box: Box, kit: Kit) -> int:
    """The most benches that the box serves at once."""

    def serves_all(n: int) -> bool:
        wanted = {piece: n * count for piece, count in one.items()}
        there = stock_for(wanted, box, kit)
        return all(there[p] >= wanted[p] for p in wanted) and all(
            part.there is None or n * part.needed <= benches * part.there for part in loose
        )

    low, high = 0, 1 + max(box.cubes.values(), default=0)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if serves_all(middle) else (low, middle - 1)
    return low
