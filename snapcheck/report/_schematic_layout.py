"""Where parts and nets of a circuit drawing go: levels from the supply down, columns along the signal."""

from __future__ import annotations

from collections import defaultdict, deque
from dataclasses import dataclass, field
from itertools import pairwise

from snapcheck.board import Design
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Drive, Store


def _upright(part: Part) -> tuple[str, str] | None:
    """(upper, lower) terminals of a part that stands upright by its nature."""
    stage = part.device.stage
    if stage is None:
        return None
    return (stage.against, stage.along) if part.device.sign > 0 else (stage.along, stage.against)


def _control(part: Part) -> str | None:
    """The terminal of an upright part that points to the input."""
    return part.device.stage.control if part.device.stage is not None else None


def _connector(part: Part) -> bool:
    """An inlet for a signal, whose other terminal is the plate."""
    return part.device.drive is Drive.SIGNAL


#: from one leg of a block to the next, in levels
BLOCK_STEP = 0.22


@dataclass(frozen=True)
class Placed:
    """A part in the drawing.

    Attributes:
        part: the part.
        column: its column, 0 at the left.
        middle: level of its middle.
        turn: of its symbol, degrees clockwise.
        lies: True when it lies along a level.
        sides: terminal to the side (N, E, S, W) where it leaves the symbol.
    """

    part: Part
    column: float
    middle: float
    turn: int
    lies: bool
    sides: dict[str, str]


@dataclass
class Layout:
    """The whole drawing: level of each net (0 at the top), reach of each net in columns, and the parts."""

    columns: int = 0
    levels: int = 0
    level: dict[int, int] = field(default_factory=dict)
    reach: dict[int, tuple[float, float]] = field(default_factory=dict)
    placed: list[Placed] = field(default_factory=list)


def lay_out(circuit: Circuit, design: Design | None) -> Layout:
    """Decide levels and columns."""
    return _Maker(circuit, design).layout()


def is_block(part: Part) -> bool:
    """True for a part of many legs, which is drawn as a frame with the number of the net at each of them."""
    return len(part.nets) > 2 and part.device.stage is None and not part.device.slides


def legs_of_block(part: Part) -> tuple[list[str], list[str]]:
    """Its terminals down the left and down the right side."""
    names = list(part.nets)
    half = (len(names) + 1) // 2
    return names[:half], names[half:]


def idle(part: Part) -> bool:
    """True for a part whose terminals all lie on one net: it does nothing, and is not drawn."""
    return len(part.nets) > 1 and len(set(part.nets.values())) == 1


class _Maker:
    def __init__(self, circuit: Circuit, design: Design | None) -> None:
        self.circuit = circuit
        self.parts = [p for p in circuit.parts if not idle(p)]
        self.rails = self._rails()
        self.start, self.goal = self._ends(design)
        self.height = self._heights()
        self.distance = self._distances()
        self.controls = {p.nets[leg] for p in self.parts if (leg := _control(p))}

    # ------------------------------------------------------------ what the nets are

    def _rails(self) -> set[int]:
        """Nets at the plus of a source whose minus is the plate."""
        return {
            p.nets["plus"] for p in self.parts
            if p.device.supplies and p.nets.get("minus") == 0 and p.nets.get("plus", 0) != 0
        }  # fmt: skip

    def _ends(self, design: Design | None) -> tuple[int | None, int | None]:
        def net(probe: object) -> int | None:
            if probe is None:
                return None
            return self.circuit.net_of(probe.cell, probe.terminal)  # type: ignore[attr-defined]

        start = None if design is None else net(design.input)
        goal = None if design is None else net(design.output)
        if start is None:
            source = next((p for p in self.parts if p.device.signal_leg), None)
            if source is not None:
                start = source.nets[source.device.signal_leg]
        return start or None, goal or None

    def _pairs(self, part: Part) -> list[tuple[int, int, float]]:
        """(net, net, conductance) for the levelling; capacitors do not count."""
        nets, upright, leg = part.nets, _upright(part), _control(part)
        if upright and leg:
            (up, low), control = upright, nets[leg]
            return [(nets[up], nets[low], 1.0), (control, nets[low], 2.5), (control, nets[up], 0.5)]
        if part.device.store is Store.CHARGE:
            return []
        if part.device.slides:
            return [(nets["a"], nets["wiper"], 1.0), (nets["wiper"], nets["b"], 1.0)]
        names = list(nets)
        return [(nets[names[0]], nets[names[1]], 1.0)] if len(names) == 2 else []

    def _heights(self) -> dict[int, float]:
        """Height of every net between the plate (0) and the supply (1): a net of equal resistors, relaxed."""
        height = {net.number: 0.5 for net in self.circuit.nets}
        fixed = {0: 0.0, **dict.fromkeys(self.rails, 1.0)}
        links: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for part in self.parts:
            for a, b, g in self._pairs(part):
                if a != b:
                    links[a].append((b, g))
                    links[b].append((a, g))
            if part.device.supplies and part.nets["plus"] not in fixed:
                links[part.nets["plus"]].append((part.nets["minus"], 0.01))
        height.update(fixed)
        for _ in range(200):
            for net, near in links.items():
                if net not in fixed:
                    height[net] = sum(height[n] * g for n, g in near) / sum(g for _, g in near)
        return height

    def _signal(self, net: int) -> bool:
        return net != 0 and net not in self.rails

    def _distances(self) -> dict[int, float]:
        """Steps from the input along the signal; from the sources where there is no input."""
        near: dict[int, list[int]] = defaultdict(list)
        for part in self.parts:
            nets, upright, leg = part.nets, _upright(part), _control(part)
            if upright and leg:
                up, low = (nets[terminal] for terminal in upright)
                near[nets[leg]] += [up, low]
                near[up].append(low)
                near[low].append(up)
                continue
            values = list(dict.fromkeys(nets.values()))
            for here in values:
                near[here] += [there for there in values if there != here]
        seeds: list[int] = [] if self.start is None else [self.start]
        if not seeds:
            for part in self.parts:
                if part.device.supplies:
                    seeds += [part.nets["plus"], part.nets["minus"]]
        distance: dict[int, float] = {}
        queue = deque((seed, 0.0) for seed in seeds)
        while queue:
            net, steps = queue.popleft()
            if net in distance:
                continue
            distance[net] = steps
            for other in near[net]:
                if other not in distance and (self._signal(other) or self.start is None):
                    queue.append((other, steps + 1))
        far = max(distance.values(), default=0.0)
        return {n.number: distance.get(n.number, far) for n in self.circuit.nets}

    # ------------------------------------------------------------ levels

    def _lies(self, part: Part) -> bool:
        """Couples two signal nets along one level."""
        if _connector(part):
            return True
        names = list(part.nets)
        if len(names) != 2:
            return False
        a, b = part.nets.values()
        if a == b or not (self._signal(a) and self._signal(b)):
            return False
        return part.device.store is Store.CHARGE or abs(self.height[a] - self.height[b]) < 0.06

    def _upper(self, part: Part) -> tuple[str, str]:
        """The terminals that point up and down when the part stands."""
        upright = _upright(part)
        if upright:
            return upright
        first, second = part.pair
        a, b = part.nets[first], part.nets[second]
        ha, hb = self._rank(a), self._rank(b)
        return (first, second) if ha >= hb else (second, first)

    def _rank(self, net: int) -> tuple[float, float]:
        if net == 0:
            return (-1.0, 0.0)
        return (2.0, 0.0) if net in self.rails else (self.height[net], -self.distance[net])

    def _levels(self, lying: list[Part]) -> dict[int, int]:
        """Longest path from the top; nets that a lying part joins share a level where that is possible."""
        group = {net.number: net.number for net in self.circuit.nets}

        def find(net: int) -> int:
            while group[net] != net:
                net = group[net]
            return net

        edges = self._falls(lying)
        for part in lying:
            if len(part.nets) != 2 or _connector(part):
                continue
            a, b = (find(n) for n in part.nets.values())
            if a == b:
                continue
            joined = {(a if find(x) == b else find(x), a if find(y) == b else find(y)) for x, y in edges}
            if not any(x == y for x, y in joined) and not _cyclic(joined):
                group[b] = a
        merged = {(find(a), find(b)) for a, b in edges}
        rails = {find(r) for r in self.rails}
        level = {find(net.number): 0 for net in self.circuit.nets}
        _push_down(level, merged)
        for net, at in level.items():  # nothing but a rail lies at the very top
            if rails and net not in rails and at == 0:
                level[net] = 1
        _push_down(level, merged)
        return {net.number: level[find(net.number)] for net in self.circuit.nets}

    def _falls(self, lying: list[Part]) -> set[tuple[int, int]]:
        """(upper net, lower net) for every part that stands."""
        edges: set[tuple[int, int]] = set()
        for part in self.parts:
            if part not in lying and not is_block(part):
                chain = [part.nets[t] for t in self._chain(part)]
                edges |= {(a, b) for a, b in pairwise(chain) if a not in (b, 0) and self._signal(b)}
        return self._without_cycles(edges)

    def _chain(self, part: Part) -> list[str]:
        """Terminals from top to bottom, the control terminal in between."""
        up, low = self._upper(part)
        middle = _control(part) or ("wiper" if "wiper" in part.nets else None)
        return [up, middle, low] if middle else [up, low]

    def _without_cycles(self, edges: set[tuple[int, int]]) -> set[tuple[int, int]]:
        kept: set[tuple[int, int]] = set()
        # the steepest falls first, so that what must go is the least telling
        for edge in sorted(edges, key=lambda e: (self.height[e[1]] - self.height[e[0]], e)):
            if not _reaches(kept, edge[1], edge[0]):
                kept.add(edge)
        return kept

    # ------------------------------------------------------------ columns

    def _key(self, part: Part) -> float:
        """Where a part belongs between the input (0) and the output."""
        d = self.distance
        leg = _control(part)
        signal = [n for n in part.nets.values() if self._signal(n)]
        if part.device.supplies and part.nets.get("minus") == 0:
            return -3.0
        if _connector(part):
            return -1.0
        if leg:
            return d[part.nets[leg]] + 0.6
        if not signal:
            return -2.0
        if len(set(signal)) == 1:
            shift = 0.2 if signal[0] in self.controls else 0.3
            if signal[0] == self.goal:
                shift = 0.45
            return d[signal[0]] + shift
        return sum(d[n] for n in set(signal)) / len(set(signal))

    def _columns(self, level: dict[int, int], lying: list[Part]) -> dict[Part, float]:
        """Parts in columns; what stands above and below one another shares a column."""
        # blocks come last, where no line runs behind them
        order = sorted(
            self.parts, key=lambda p: (is_block(p), self._key(p), p not in lying, level_of(p, level), p.at)
        )
        column: dict[Part, float] = {}
        spans: list[list[tuple[float, float]]] = []
        nets_in: list[set[int]] = []
        for part in order:
            top, bottom = self._extent(part, level)
            mine = {n for n in part.nets.values() if self._signal(n)}
            home = None
            if part not in lying and not is_block(part):
                first = max(0, len(spans) - 4)
                if leg := _control(part):  # what feeds its base or gate stands to the left of it
                    control = part.nets[leg]
                    feeders = [int(c) for q, c in column.items() if control in q.nets.values()]
                    first = max([first, *(c + 1 for c in feeders)]) if self._signal(control) else first
                for index in range(first, len(spans)):
                    free = all(bottom <= a or top >= b for a, b in spans[index])
                    if free and mine & nets_in[index]:
                        home = index
            if home is None:
                spans.append([])
                nets_in.append(set())
                home = len(spans) - 1
            spans[home].append((top, bottom))
            if part not in lying and not is_block(part):
                up, low = self._upper(part)
                nets_in[home] |= {n for n in (part.nets[up], part.nets[low]) if self._signal(n)}
            column[part] = float(home)
        return column

    def _extent(self, part: Part, level: dict[int, int]) -> tuple[float, float]:
        if is_block(part):  # a column of its own
            return -1.0, 100.0
        if self._lies(part):
            values = [level[n] for n in part.nets.values() if n]
            return (min(values, default=1) - 0.6, max(values, default=1) + 0.6)
        up, low = self._upper(part)
        top = level[part.nets[up]] if part.nets[up] else 0
        bottom = level[part.nets[low]] if part.nets[low] else 99
        return (float(min(top, bottom)), float(max(top, bottom, min(top, bottom) + 1)))

    # ------------------------------------------------------------ all together

    def layout(self) -> Layout:
        lying = [p for p in self.parts if self._lies(p)]
        level = self._levels(lying)
        for _ in range(12):  # two nets on one level must not lie over each other
            column = self._columns(level, lying)
            reach = self._reach(column, lying)
            clash = self._clash(level, reach)
            if clash is None:
                break
            low = level[clash]
            for net in level:
                if level[net] > low or net == clash:
                    level[net] += 1
        column = self._columns(level, lying)
        reach = self._reach(column, lying)
        self.level, self.reach = level, reach
        placed = [self._place(p, level, column[p], p in lying) for p in self.parts]
        deepest = max([level[n] for n in reach if n] + [int(p.middle + 0.51) for p in placed], default=0)
        return Layout(int(max(column.values())) + 1, deepest + 1, level, reach, placed)

    def _reach(self, column: dict[Part, float], lying: list[Part]) -> dict[int, tuple[float, float]]:
        xs: dict[int, list[float]] = defaultdict(list)
        for part, at in column.items():
            if is_block(part):  # no line leads to it
                continue
            for terminal, net in part.nets.items():
                if not net:
                    continue
                shift = 0.0
                if part in lying and len(part.nets) == 2:
                    left = self._left(part)
                    shift = -0.35 if terminal == left else 0.35
                elif terminal in (_control(part), "wiper"):
                    shift = -0.35
                xs[net].append(at + shift)
        return {net: (min(v), max(v)) for net, v in xs.items()}

    def _clash(self, level: dict[int, int], reach: dict[int, tuple[float, float]]) -> int | None:
        nets = sorted(reach, key=lambda n: reach[n])
        for i, a in enumerate(nets):
            for b in nets[i + 1 :]:
                if level[a] != level[b]:
                    continue
                if reach[b][0] < reach[a][1] - 0.01 and reach[a][0] < reach[b][1] - 0.01:
                    # the lower net gives way, a rail never
                    return min((a, b), key=lambda n: (n in self.rails, self.height[n]))
        return None

    def _left(self, part: Part) -> str:
        """The terminal of a lying part that points to the input."""
        if _connector(part):
            return next(t for t in part.nets if t != "signal")
        first, second = list(part.nets)[:2]
        a, b = part.nets[first], part.nets[second]
        return first if (self.distance[a], a) <= (self.distance[b], b) else second

    def _place(self, part: Part, level: dict[int, int], column: float, lies: bool) -> Placed:
        leg = _control(part)
        if _connector(part):
            return Placed(part, column, level[part.nets["signal"]], 0, True, {"signal": "E"})
        if lies:
            left = self._left(part)
            right = next(t for t in part.nets if t != left)
            turn = 0 if next(iter(part.nets)) == left else 180
            at = float(level[part.nets[left]])
            if self._covered(at, column):  # a line runs along here: lie half a level higher
                at -= 0.5
            return Placed(part, column, at, turn, True, {left: "W", right: "E"})
        if is_block(part):
            middle = max(1.0, BLOCK_STEP * len(legs_of_block(part)[0]) / 2)
            return Placed(part, column, middle, 0, False, {})
        if len(part.nets) < 2:
            return Placed(part, column, 1, 0, False, {})
        up, low = self._upper(part)
        top = level[part.nets[up]] if part.nets[up] else None
        bottom = level[part.nets[low]] if part.nets[low] else None
        if leg:
            control = part.nets[leg]
            middle = self._transistor_middle(top, bottom, level[control] if control else None)
            if self._covered(middle, column):
                middle -= 0.45
            return Placed(part, column, middle, 0, False, {leg: "W", up: "N", low: "S"})
        middle = (top + 0.5) if top is not None else (bottom or 1) - 0.5
        if bottom is not None and top is not None and bottom - top > 1:
            middle = bottom - 0.5 if part.nets[up] in self.rails else top + 0.5
        first = part.pair[0]
        turn = 90 if first == up else 270
        sides = {up: "N", low: "S"}
        if "wiper" in part.nets:
            sides["wiper"] = "W" if turn == 90 else "E"
        return Placed(part, column, middle, turn, False, sides)

    def _covered(self, level: float, column: float) -> bool:
        """True when a net's line on this level runs right through the column."""
        return any(
            self.level[net] == level and first < column - 0.2 and last > column + 0.2
            for net, (first, last) in self.reach.items()
        )

    @staticmethod
    def _transistor_middle(top: int | None, bottom: int | None, control: int | None) -> float:
        low = 99 if bottom is None else bottom
        high = -1 if top is None else top
        if control is not None and high < control < low:
            return float(control)
        return high + 0.5 if top is not None else low - 0.5


def level_of(part: Part, level: dict[int, int]) -> int:
    """The highest level that a part touches."""
    return min((level[n] for n in part.nets.values() if n), default=0)


def _push_down(level: dict[int, int], falls: set[tuple[int, int]]) -> None:
    """Every lower net at least one level below its upper one."""
    for _ in range(len(level) + 1):
        for a, b in falls:
            level[b] = max(level[b], level[a] + 1)


def _reaches(edges: set[tuple[int, int]], start: int, goal: int) -> bool:
    seen, stack = {start}, [start]
    while stack:
        here = stack.pop()
        if here == goal:
            return True
        for a, b in edges:
            if a == here and b not in seen:
                seen.add(b)
                stack.append(b)
    return False


def _cyclic(edges: set[tuple[int, int]]) -> bool:
    return any(_reaches(edges, b, a) for a, b in edges)
