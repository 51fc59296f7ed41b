"""Search for places and wires together: simulated annealing in which every change is wired at once.

S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, "Optimization by simulated annealing", Science 220 (1983).
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from snapcheck.place._cubes import Conductors, wire_legs
from snapcheck.place._route import Grid, Pin, Route, route
from snapcheck.place._stand import NOTHING, Piece, Stand
from snapcheck.watch import stop_if_asked

#: what counts beside one cell of wire, which counts 1
CROSSED, BEND, RAIL = 0.7, 0.12, 0.06
#: what a missing connection counts while it is hot, and in the end
OPEN_FIRST, OPEN = 4.0, 14.0
#: a cube that is not in the box
SHORT = 4.0
_HOT, _COLD = 1.5, 0.12
_ASK_EVERY = 64


@dataclass(frozen=True)
class Laid:
    """Places and wires.

    Attributes:
        stands: of each part.
        routes: of each net.
        cost: the lower the better.
        short: cubes for wires that are not there.
    """

    stands: tuple[Stand, ...]
    routes: tuple[Route, ...]
    cost: float

    short: int = 0

    @property
    def open(self) -> int:
        """Connections that are missing."""
        return sum(r.open for r in self.routes)

    @property
    def complete(self) -> bool:
        """True where every wire found a way, and there is a cube for each of its cells."""
        return not self.open and not self.short


class Search:
    """One search over one plate.

    Args:
        grid: the plate.
        pieces: the parts, with the ways they may stand.
        nets: how many nets there are.
        rails: nets that should lie far above.
        joins: the cubes that only join.
        seed: another one finds another layout.
    """

    def __init__(
        self,
        grid: Grid,
        pieces: Sequence[Piece],
        nets: int,
        rails: frozenset[int],
        joins: Conductors,
        seed: int,
    ) -> None:
        self.grid, self.pieces, self.rails, self.joins = grid, pieces, rails, joins
        self.random = random.Random(seed)
        self.stands: list[Stand] = []
        self.weight = OPEN
        self.routes = [Route() for _ in range(nets)]
        self.extra = [0.0] * nets
        self.row_masks = [((1 << grid.columns) - 1) << (row * grid.width) for row in range(grid.rows)]
        self.on_net: list[list[int]] = [[] for _ in range(nets)]
        for index, piece in enumerate(pieces):
            for net in piece.nets:
                self.on_net[net].append(index)

    # ------------------------------------------------------------ the start

    def start(self) -> bool:
        """Every part somewhere; False where this search finds no room for all of them."""
        order = sorted(range(len(self.pieces)), key=lambda i: -_size(self.pieces[i]))
        for _ in range(40):
            taken, chosen = 0, {}
            faces: dict[int, int] = {}
            for index in order:
                fits = [
                    (s.cost + self.random.random() * 1.5, n)
                    for n, s in enumerate(self.pieces[index].stands)
                    if not s.mask & taken and self._quiet(s, faces)
                ]
                if not fits:
                    break
                stand = self.pieces[index].stands[min(fits)[1]]
                chosen[index] = stand
                taken |= stand.mask
                faces.update(stand.faces)
            else:
                self.stands = [chosen[i] for i in range(len(self.pieces))]
                self.occupied, self.faces = taken, faces
                self.look = sum(s.cost for s in self.stands)
                self._wire(range(len(self.routes)))
                self.cost = self._cost()
                return True
        return False

    def _quiet(self, stand: Stand, faces: dict[int, int]) -> bool:
        """True where no contact of it would touch one of another net."""
        steps = self.grid.steps
        for face, net in stand.faces.items():
            cell, side = face >> 2, face & 3
            other = faces.get(4 * (cell + steps[side]) + (side + 2) % 4)
            if other is not None and (other != net or net == NOTHING):
                return False
        return True

    # ------------------------------------------------------------ wires

    def _wire(self, nets: Iterable[int]) -> None:
        """Wire some nets again, in this order, around all others."""
        again = list(nets)
        once = twice = upright = level = 0
        skip = set(again)
        for net, r in enumerate(self.routes):
            if net not in skip:
                twice |= once & r.mask
                once |= r.mask
                upright |= r.upright
                level |= r.level
        room = self.grid.cells & ~self.occupied
        for net in again:
            pins: list[Pin] = []
            for index in self.on_net[net]:
                pins += [pin for pin in self.stands[index].pins if pin.net == net]
            over, along = (upright & ~twice, level & ~twice) if self.joins.crossover else (0, 0)
            r = route(self.grid, pins, room & ~once, over, along, int(self.random.random() * len(pins)))
            self.routes[net] = r
            self.extra[net] = BEND * r.bends
            if net in self.rails:
                self.extra[net] += RAIL * sum(
                    row * (r.mask & m).bit_count() for row, m in enumerate(self.row_masks)
                )
            twice |= once & r.mask
            once |= r.mask
            upright |= r.upright
            level |= r.level

    def _cost(self) -> float:
        once = twice = missing = 0
        for r in self.routes:
            twice |= once & r.mask
            once |= r.mask
            missing += r.open
        wires = once.bit_count() + CROSSED * twice.bit_count() + sum(self.extra)
        if self.joins.scarce:
            wires += SHORT * self.joins.short(wire_legs(self.routes).values())
        return wires + self.weight * missing + self.look

    # ------------------------------------------------------------ changes

    def _change(self) -> dict[int, Stand] | None:
        """Some parts to new places."""
        rnd = self.random.random
        pieces, stands = self.pieces, self.stands
        index = int(rnd() * len(pieces))
        piece, here = pieces[index], stands[index]
        kind = rnd()
        if kind < 0.25:
            other = int(rnd() * len(pieces))
            there = stands[other]
            if other == index:
                return None
            one = self._some(piece, there.turn if rnd() < 0.3 else here.turn, there.row, there.column)
            two = self._some(pieces[other], here.turn if rnd() < 0.3 else there.turn, here.row, here.column)
            return None if one is None or two is None else {index: one, other: two}
        if kind < 0.4:
            turn = piece.turns[int(rnd() * len(piece.turns))]
            stand = self._some(piece, turn, here.row + int(rnd() * 3) - 1, here.column + int(rnd() * 3) - 1)
            return None if stand is None or stand is here else {index: stand}
        if kind < 0.65:
            side = int(rnd() * 4)
            row, column = here.row + (-1, 0, 1, 0)[side], here.column + (0, 1, 0, -1)[side]
            stand = self._some(piece, here.turn, row, column)
            return None if stand is None else {index: stand}
        if kind < 0.9 and piece.nets:  # near a part with which it shares a net
            nets = sorted(piece.nets)
            near = self.on_net[nets[int(rnd() * len(nets))]]
            there = stands[near[int(rnd() * len(near))]]
            turn = piece.turns[int(rnd() * len(piece.turns))]
            row, column = there.row + int(rnd() * 7) - 3, there.column + int(rnd() * 7) - 3
            stand = self._some(piece, turn, row, column)
            return None if stand is None or stand is here else {index: stand}
        if kind < 0.97:
            return {index: piece.stands[int(rnd() * len(piece.stands))]}
        return self._slide()

    def _some(self, piece: Piece, turn: int, row: int, column: int) -> Stand | None:
        return piece.at.get((turn, row, column))

    def _slide(self) -> dict[int, Stand] | None:
        """All parts beyond a line one cell on."""
        rnd = self.random.random
        across = rnd() < 0.5
        by = 1 if rnd() < 0.5 else -1
        line = int(rnd() * (self.grid.columns if across else self.grid.rows))
        beyond = rnd() < 0.5
        change = {}
        for index, stand in enumerate(self.stands):
            at = stand.column if across else stand.row
            if (at >= line) is not beyond:
                continue
            row, column = (stand.row, stand.column + by) if across else (stand.row + by, stand.column)
            moved = self._some(self.pieces[index], stand.turn, row, column)
            if moved is None:
                return None
            change[index] = moved
        return change or None

    def step(self, heat: float) -> None:
        """Try one change."""
        change = self._change()
        if change is None:
            if self.random.random() < 0.3:
                self._rewire(heat)
            return
        stands = self.stands
        gone = 0
        for index in change:
            gone |= stands[index].mask
        rest = self.occupied & ~gone
        come = 0
        for stand in change.values():
            if stand.mask & (rest | come):
                return
            come |= stand.mask
        look = self.look + sum(s.cost - stands[i].cost for i, s in change.items())
        if look - self.look > 6 * heat + 3:
            return
        old = {index: stands[index] for index in change}
        faces = self.faces
        for stand in old.values():
            for face in stand.faces:
                del faces[face]
        quiet = True
        for stand in change.values():
            quiet = quiet and self._quiet(stand, faces)
            faces.update(stand.faces)
        if quiet:
            nets = {net for index in change for net in self.pieces[index].nets}
            for net, r in enumerate(self.routes):
                if r.open or r.mask & come:
                    nets.add(net)
            if self._try(change, old, nets, look, rest | come, heat):
                return
        for stand in change.values():
            for face in stand.faces:
                faces.pop(face, None)
        for stand in old.values():
            faces.update(stand.faces)

    def _try(
        self,
        change: dict[int, Stand],
        old: dict[int, Stand],
        nets: set[int],
        look: float,
        occupied: int,
        heat: float,
    ) -> bool:
        """Wire a change; take it back where it is not worth it."""
        before = self.look, self.occupied, self.cost
        kept = [(net, self.routes[net], self.extra[net]) for net in nets]
        for index, stand in change.items():
            self.stands[index] = stand
        self.look, self.occupied = look, occupied
        order = sorted(nets)
        self.random.shuffle(order)
        self._wire(order)
        self.cost = self._cost()
        worse = self.cost - before[2]
        if worse <= 0 or self.random.random() < math.exp(-worse / heat):
            return True
        for index, stand in old.items():
            self.stands[index] = stand
        for net, r, extra in kept:
            self.routes[net], self.extra[net] = r, extra
        self.look, self.occupied, self.cost = before
        return False

    def _rewire(self, heat: float) -> None:
        """Other ways for some nets."""
        count = len(self.routes)
        if count:
            nets = {int(self.random.random() * count) for _ in range(1 + int(self.random.random() * 3))}
            nets |= {net for net, r in enumerate(self.routes) if r.open}
            self._try({}, {}, nets, self.look, self.occupied, heat)

    def run(self, steps: int, hot: float = _HOT, cold: float = _COLD) -> Laid:
        """So many steps from hot to cold; the best that came by."""
        best = self.found()
        falling = (cold / hot) ** (1 / max(steps, 1))
        heat = hot
        for number in range(steps):
            if number % _ASK_EVERY == 0:
                stop_if_asked()
                self.weight = OPEN_FIRST + (OPEN - OPEN_FIRST) * min(2 * number / steps, 1.0)
                self.cost = self._cost()
            self.step(heat)
            heat *= falling
            if self.cost < best.cost - 1e-9 and self.weight == OPEN:
                best = self.found()
        return best

    def found(self) -> Laid:
        """What stands now."""
        short = self.joins.short(wire_legs(self.routes).values()) if self.joins.scarce else 0
        return Laid(tuple(self.stands), tuple(self.routes), self.cost, short)


def _size(piece: Piece) -> int:
    return max((s.mask.bit_count() for s in piece.stands), default=0)
