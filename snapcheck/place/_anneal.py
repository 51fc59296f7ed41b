"""Search for places and wires together: simulated annealing in which every change is wired at once.

S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, "Optimization by simulated annealing", Science 220 (1983).
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from snapcheck.place._cubes import Conductors, wire_legs
from snapcheck.place._route import Grid, Pin, Route, route
from snapcheck.place._stand import NOTHING, Piece, Span, Stand
from snapcheck.watch import stop_if_asked

#: what counts beside one cell of wire, which counts 1
CROSSED, BEND, RAIL = 1.6, 0.15, 0.06
#: what a missing connection counts: so much that a lead is the last resort
OPEN = 14.0
#: a cube that is not in the box
SHORT = 4.0
#: from hot to cold, and at the end a share of the steps that hardly takes anything worse
_HOT, _WARM, _COLD, _FROZEN, _LAST = 2.0, 0.7, 0.25, 0.05, 0.12
_ASK_EVERY = 64
#: a change that seems to cost so much (and so often the heat) is not wired at all
_HOPELESS = 4.0
#: one step towards each side
_DOWN, _RIGHT = (-1, 0, 1, 0), (0, 1, 0, -1)
#: more parts than this are not pushed at once
_MOST_PUSHED = 5


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
                pins += self.stands[index].pins[net]
            over, along = (upright & ~twice, level & ~twice) if self.joins.crossover else (0, 0)
            r = route(self.grid, pins, room & ~once, over, along, int(self.random.random() * len(pins)))
            self.routes[net] = r
            self.extra[net] = self._extra(net, r)
            twice |= once & r.mask
            once |= r.mask
            upright |= r.upright
            level |= r.level

    def _extra(self, net: int, r: Route) -> float:
        """What counts of a net's wires beside their cells."""
        extra = BEND * r.bends
        if net in self.rails:
            extra += RAIL * sum(row * (r.mask & m).bit_count() for row, m in enumerate(self.row_masks))
        return extra

    def _cost(self) -> float:
        once = twice = missing = 0
        for r in self.routes:
            twice |= once & r.mask
            once |= r.mask
            missing += r.open
        wires = once.bit_count() + CROSSED * twice.bit_count() + sum(self.extra)
        if self.joins.scarce:
            wires += SHORT * self.joins.short(wire_legs(self.routes).values())
        return wires + OPEN * missing + self.look

    # ------------------------------------------------------------ changes

    def _change(self) -> dict[int, Stand] | None:
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

    def step(self, heat: float) -> None:
        """Try one change."""
        change = self._change()
        if change is None:
            if self.random.random() < 0.1:
                self._rewire(heat)
            return
        gone = come = 0
        for index, stand in change.items():
            gone |= self.stands[index].mask
            if stand.mask & come:
                return
            come |= stand.mask
        rest = self.occupied & ~gone
        look = self.look + sum(s.cost - self.stands[i].cost for i, s in change.items())
        if come & rest or look - self.look > 6 * heat + 3:
            return
        old = {index: self.stands[index] for index in change}
        if not self._exchange(old, change):
            return
        nets = {net for index in change for net in self.pieces[index].nets}
        if self._longer(change, nets) + look - self.look > _HOPELESS * (heat + 1):
            self._exchange(change, old)
            return
        nets.update(net for net, r in enumerate(self.routes) if r.open or r.mask & come)
        if not self._try(change, old, nets, look, rest | come, heat):
            self._exchange(change, old)

    def _longer(self, change: dict[int, Stand], nets: set[int]) -> float:
        """About how much longer a change makes the wires, by the half circumference of each net; little where
        one of the nets is in want of a wire, so that it is tried."""
        stands = self.stands
        more = 0
        for net in nets:
            if self.routes[net].open:
                return -OPEN
            old, new = [], []
            for index in self.on_net[net]:
                span = stands[index].spans[net]
                old.append(span)
                new.append(change[index].spans[net] if index in change else span)
            more += _half_round(new) - _half_round(old)
        return more

    def _exchange(self, old: dict[int, Stand], new: dict[int, Stand]) -> bool:
        """Other contacts for some parts; False, and as before, where two would touch that must not."""
        faces = self.faces
        for stand in old.values():
            for face in stand.faces:
                del faces[face]
        for done, stand in enumerate(new.values()):
            if not self._quiet(stand, faces):
                for other in list(new.values())[:done]:
                    for face in other.faces:
                        del faces[face]
                for other in old.values():
                    faces.update(other.faces)
                return False
            faces.update(stand.faces)
        return True

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

    def run(self, steps: int, begin: Laid | None = None) -> Laid:
        """So many steps from hot to cold; the best that came by.

        Args:
            steps: how many changes are tried.
            begin: a layout to improve, not so hot that it is lost.
        """
        hot = _HOT
        if begin is not None:
            self._take(begin)
            hot = _WARM
        best = self.found()
        cooling = int(steps * (1 - _LAST))
        falling = (_COLD / hot) ** (1 / max(cooling, 1))
        heat = hot
        for number in range(steps):
            if number % _ASK_EVERY == 0:
                stop_if_asked()
            self.step(heat)
            heat = heat * falling if number < cooling else _FROZEN
            if self.cost < best.cost - 1e-9:
                best = self.found()
        return best

    def _take(self, laid: Laid) -> None:
        """Everything as it was found."""
        self.stands, self.routes = list(laid.stands), list(laid.routes)
        self.occupied, self.faces, self.look = 0, {}, 0.0
        for stand in self.stands:
            self.occupied |= stand.mask
            self.faces.update(stand.faces)
            self.look += stand.cost
        for net, r in enumerate(self.routes):
            self.extra[net] = self._extra(net, r)
        self.cost = self._cost()

    def found(self) -> Laid:
        """What stands now."""
        short = self.joins.short(wire_legs(self.routes).values()) if self.joins.scarce else 0
        return Laid(tuple(self.stands), tuple(self.routes), self.cost, short)


#: kinds of changes, each up to its share of all
_CHANGES: tuple[tuple[float, Callable[[Search, int], dict[int, Stand] | None]], ...] = (
    (0.20, Search._swap),
    (0.38, Search._turn),
    (0.62, Search._push),
    (0.90, Search._approach),
    (0.96, Search._jump),
    (1.01, Search._slide),
)


def _half_round(spans: Sequence[Span]) -> int:
    top, bottom, left, right = zip(*spans, strict=True)
    round_: int = max(bottom) - min(top) + max(right) - min(left)
    return round_


def _size(piece: Piece) -> int:
    return max((s.mask.bit_count() for s in piece.stands), default=0)
