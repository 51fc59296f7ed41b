"""Search for places and wires together: simulated annealing in which every change is wired at once.

S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, "Optimization by simulated annealing", Science 220 (1983).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from snapcheck.place._cubes import Conductors, wire_legs
from snapcheck.place._moves import Moves
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


class Search(Moves):
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
        super().__init__(grid, pieces, nets, seed)
        self.rails, self.joins = rails, joins
        self.faces: dict[int, int] = {}
        self.look = self.cost = 0.0
        self.routes = [Route() for _ in range(nets)]
        self.extra = [0.0] * nets
        self.row_masks = [((1 << grid.columns) - 1) << (row * grid.width) for row in range(grid.rows)]

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

    def step(self, heat: float) -> None:
        """Try one change."""
        change = self.change()
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


def _half_round(spans: Sequence[Span]) -> int:
    top, bottom, left, right = zip(*spans, strict=True)
    round_: int = max(bottom) - min(top) + max(right) - min(left)
    return round_


def _size(piece: Piece) -> int:
    return max((s.mask.bit_count() for s in piece.stands), default=0)
