"""Changes that a search tries: parts swapped, turned, pushed, brought together, all beyond a line moved."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

from snapcheck.place._route import Grid
from snapcheck.place._stand import Piece, Stand

#: one step towards each side
_DOWN, _RIGHT = (-1, 0, 1, 0), (0, 1, 0, -1)
#: more parts than this are not pushed at once
_MOST_PUSHED = 5


class Moves:
    """Parts on a plate, and what may be changed about them.

    Args:
        grid: the plate.
        pieces: the parts, with the ways they may stand.
        nets: how many nets there are.
        seed: of chance.
    """

    def __init__(self, grid: Grid, pieces: Sequence[Piece], nets: int, seed: int) -> None:
        self.grid, self.pieces = grid, pieces
        self.random = random.Random(seed)
        self.stands: list[Stand] = []
        self.occupied = 0
        self.on_net: list[list[int]] = [[] for _ in range(nets)]
        for index, piece in enumerate(pieces):
            for net in piece.nets:
                self.on_net[net].append(index)

    def change(self) -> dict[int, Stand] | None:
        """Some parts to new places."""
        index = int(self.random.random() * len(self.pieces))
        kind = self.random.random()
        change = next(make for share, make in _CHANGES if kind < share)(self, index)
        if change is None or any(stand is self.stands[i] for i, stand in change.items()):
            return None
        return change

    def _swap(self, index: int) -> dict[int, Stand] | None:
        """Two parts change places."""
        rnd, stands = self.random.random, self.stands
        other = int(rnd() * len(stands))
        if other == index:
            return None
        here, there = stands[index], stands[other]
        turns = (here.turn, there.turn) if rnd() < 0.7 else (there.turn, here.turn)
        one = self.pieces[index].at.get((turns[0], there.row, there.column))
        two = self.pieces[other].at.get((turns[1], here.row, here.column))
        return None if one is None or two is None else {index: one, other: two}

    def _turn(self, index: int) -> dict[int, Stand] | None:
        """One part another way round, at most one cell on."""
        rnd, here, piece = self.random.random, self.stands[index], self.pieces[index]
        turn = piece.turns[int(rnd() * len(piece.turns))]
        row, column = here.row + int(rnd() * 3) - 1, here.column + int(rnd() * 3) - 1
        return self._make_room(index, piece.at.get((turn, row, column)))

    def _push(self, index: int) -> dict[int, Stand] | None:
        """One part one cell on, with what stands in its way."""
        here, side = self.stands[index], int(self.random.random() * 4)
        row, column = here.row + _DOWN[side], here.column + _RIGHT[side]
        return self._make_room(index, self.pieces[index].at.get((here.turn, row, column)), side)

    def _approach(self, index: int) -> dict[int, Stand] | None:
        """One part near another one with which it shares a net."""
        rnd, piece = self.random.random, self.pieces[index]
        if not piece.nets:
            return self._jump(index)
        nets = sorted(piece.nets)
        near = self.on_net[nets[int(rnd() * len(nets))]]
        there = self.stands[near[int(rnd() * len(near))]]
        turn = piece.turns[int(rnd() * len(piece.turns))]
        row, column = there.row + int(rnd() * 7) - 3, there.column + int(rnd() * 7) - 3
        return self._make_room(index, piece.at.get((turn, row, column)))

    def _jump(self, index: int) -> dict[int, Stand] | None:
        """One part anywhere."""
        stands = self.pieces[index].stands
        return {index: stands[int(self.random.random() * len(stands))]}

    def _make_room(self, index: int, stand: Stand | None, side: int = -1) -> dict[int, Stand] | None:
        """One part to a place; what stands there is pushed on, all towards one side."""
        if stand is None:
            return None
        change = {index: stand}
        come = stand.mask
        if not come & self.occupied & ~self.stands[index].mask:
            return change
        if side < 0:
            side = int(self.random.random() * 4)
        down, right = _DOWN[side], _RIGHT[side]
        waiting = [stand]
        while waiting:
            mask = waiting.pop().mask
            for other, there in enumerate(self.stands):
                if there.mask & mask and other not in change:
                    moved = self.pieces[other].at.get((there.turn, there.row + down, there.column + right))
                    if moved is None or moved.mask & come or len(change) == _MOST_PUSHED:
                        return None
                    change[other] = moved
                    come |= moved.mask
                    waiting.append(moved)
        return change

    def _slide(self, index: int) -> dict[int, Stand] | None:
        """All parts beyond a line through one of them, one cell on."""
        rnd = self.random.random
        across, by, beyond = rnd() < 0.5, 1 if rnd() < 0.5 else -1, rnd() < 0.5
        line = self.stands[index].column if across else self.stands[index].row
        change = {}
        for number, stand in enumerate(self.stands):
            at = stand.column if across else stand.row
            if (at >= line) is not beyond:
                continue
            row, column = (stand.row, stand.column + by) if across else (stand.row + by, stand.column)
            moved = self.pieces[number].at.get((stand.turn, row, column))
            if moved is None:
                return None
            change[number] = moved
        return change or None


#: kinds of changes, each up to its share of all
_CHANGES: tuple[tuple[float, Callable[[Moves, int], dict[int, Stand] | None]], ...] = (
    (0.20, Moves._swap),
    (0.38, Moves._turn),
    (0.62, Moves._push),
    (0.90, Moves._approach),
    (0.96, Moves._jump),
    (1.01, Moves._slide),
)
