"""What can be said about direct current in a circuit from its structure alone.

Every switch, push-button and fuse counts as conducting, so that what is found holds in some switch
position. Net groups joined that way are called ties. A tie whose voltage is fixed by sources alone is a
rail. `pull` says which rails a net is drawn to through parts that pass direct current.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from snapcheck.board import Spot
from snapcheck.circuit._circuit import Circuit, Part
from snapcheck.devices import Drive, Drop, Setting, Stage
from snapcheck.kit import inner_ends

_THERMAL_V = 0.02585  # kT/q at 27 °C
_FORWARD_A = 0.01  # the current at which forward voltages are stated
_BASE_EMITTER_V = 0.7  # silicon junction, common practice


@dataclass(frozen=True)
class Source:
    """A battery or supply: net numbers and volts (None where the print was not read)."""

    part: Part
    plus: int
    minus: int
    volts: float | None


@dataclass(frozen=True)
class Conflict:
    """A ring of sources whose voltages do not cancel, or parallel sources of the same voltage (0)."""

    part: Part
    others: tuple[Part, ...]
    difference_V: float


@dataclass(frozen=True)
class Pull:
    """The rails that a net is drawn to.

    Attributes:
        low, high: range of their voltages; nan where no rail is reached or they cannot be compared.
        reached: True when at least one rail is reached.
        ring: the ring of sources that these rails belong to; None where there is none, or several.
    """

    low: float
    high: float
    reached: bool
    ring: int | None = None

    @property
    def fixed(self) -> bool:
        """True when one single voltage is possible."""
        return self.low == self.high

    def below(self, other: Pull) -> bool:
        """True when this net can never be above `other`, and is not simply at the same voltage.

        Voltages of rings that nothing joins cannot be compared.
        """
        if self.ring != other.ring:
            return False
        return self.high <= other.low and not (self.fixed and other.fixed and self.low == other.low)


class _String(NamedTuple):
    """Parts in series from a net to a rail: the rail's ring and volts, their ohms and junction volts, and
    which ways their junctions point (True: towards the rail)."""

    ring: int
    volts: float
    ohms: float
    drop: float
    ways: frozenset[bool]


def is_ammeter(part: Part) -> bool:
    """A meter for current; its resistance counts as none."""
    return part.device.reads and part.cube.unit.endswith("A")


def closes(part: Part) -> bool:
    """Parts that may be a plain conductor: switches in some position, fuses, ammeters."""
    return part.device.closes or is_ammeter(part)


def drives(part: Part) -> bool:
    """Something that feeds a circuit from outside: a battery, a supply, an audio input."""
    return part.device.drive in (Drive.POWER, Drive.SIGNAL)


def stage_of(part: Part) -> Stage:
    """The legs of a transistor by what they do."""
    stage = part.device.stage
    assert stage is not None
    return stage


def forward_V(part: Part) -> float:
    """Forward voltage of a diode or LED at 10 mA, from its model: N·kT/q·ln(I/IS) + RS·I."""
    p = part.parameters
    if "IS" not in p:
        return part.device.forward_V
    ideal = p.get("N", 1.0) * _THERMAL_V * math.log(_FORWARD_A / p["IS"] + 1)
    return ideal + p.get("RS", 0.0) * _FORWARD_A


def zener_V(part: Part) -> float | None:
    """Printed zener voltage, or None."""
    return float(part.cube.value) if isinstance(part.cube.value, float | int) else None


def direct_ohms(part: Part) -> float | None:
    """Resistance of a two-terminal part to direct current, or None where it is no plain resistance."""
    if closes(part):
        return 0.0
    ohms = part.device.ohms
    return None if ohms is None else ohms(part.cube.value, part.parameters)


def direct_pairs(part: Part) -> Iterator[tuple[str, str]]:
    """Terminal pairs of a part between which direct current may flow (ties and sources left out)."""
    if closes(part):
        return
    device = part.device
    if device.direct is not None:
        yield from device.direct
    elif device.between_legs:
        yield from map(inner_ends, part.parameters)
    elif len(part.nets) == 2:
        yield part.pair


@dataclass
class Topology:
    """The structure of one circuit, prepared for questions about direct current.

    Args:
        circuit: to look at.
        supply_V: volts of sources that differ from their print, by cell.
        assumed_V: volts assumed where nothing is printed.
        same_V: sources this close together count as equal.
        open_switches: switches and push-buttons conduct nothing, instead of everything.
    """

    circuit: Circuit
    supply_V: Mapping[Spot, float] = field(default_factory=dict)
    assumed_V: float = 9.0
    same_V: float = 0.05
    open_switches: bool = False

    def __post_init__(self) -> None:
        parent = list(range(self.circuit.net_count))

        def find(n: int) -> int:
            while parent[n] != n:
                parent[n] = parent[parent[n]]
                n = parent[n]
            return n

        for part in self.circuit.parts:
            if closes(part) and not (self.open_switches and part.device.setting is Setting.SWITCH):
                a, b = (find(part.nets[t]) for t in part.pair)
                parent[max(a, b)] = min(a, b)
        #: net number to the number of its tie
        self.tie = [find(n) for n in range(len(parent))]
        self._direct: dict[int, list[tuple[int, Spot]]] = {}
        for part in self.circuit.parts:
            for s, t in direct_pairs(part):
                a, b = self.tie[part.nets[s]], self.tie[part.nets[t]]
                if a != b:
                    self._direct.setdefault(a, []).append((b, part.at))
                    self._direct.setdefault(b, []).append((a, part.at))
        self._solve_rails()

    @cached_property
    def sources(self) -> tuple[Source, ...]:
        """Batteries and supplies."""
        return tuple(
            Source(p, p.nets["plus"], p.nets["minus"], self.supply_V.get(p.at, _number(p.cube.value)))
            for p in self.circuit.parts
            if p.device.supplies
        )

    @cached_property
    def transistors(self) -> tuple[Part, ...]:
        """Transistors of every sort."""
        return tuple(p for p in self.circuit.parts if p.device.stage is not None)

    def _solve_rails(self) -> None:
        """Voltages that sources alone fix, ring by ring; contradictions are conflicts."""
        links: dict[int, list[tuple[int, float, Source]]] = {}
        for source in self.sources:
            plus, minus = self.tie[source.plus], self.tie[source.minus]
            if plus != minus:
                v = self.assumed_V if source.volts is None else source.volts
                links.setdefault(minus, []).append((plus, v, source))
                links.setdefault(plus, []).append((minus, -v, source))
        #: tie to (ring of sources, volts)
        self.rails: dict[int, tuple[int, float]] = {}
        self.conflicts: list[Conflict] = []
        plate = self.tie[0]
        for ring, start in enumerate(sorted(links, key=lambda n: (n != plate, n))):
            if start in self.rails:
                continue
            self._walk_ring(ring, start, links)
            members = [n for n, (r, _) in self.rails.items() if r == ring]
            if plate not in members:  # nothing fixes it against the plate: count from its lowest point
                lowest = min(self.rails[n][1] for n in members)
                for n in members:
                    self.rails[n] = (ring, self.rails[n][1] - lowest)

    def _walk_ring(self, ring: int, start: int, links: dict[int, list[tuple[int, float, Source]]]) -> None:
        self.rails[start] = (ring, 0.0)
        used: dict[Spot, Source] = {}
        queue = deque([start])
        while queue:
            here = queue.popleft()
            for there, step, source in links[here]:
                if source.part.at in used:
                    continue
                used[source.part.at] = source
                volts = self.rails[here][1] + step
                if there not in self.rails:
                    self.rails[there] = (ring, volts)
                    queue.append(there)
                    continue
                difference = abs(volts - self.rails[there][1])
                if difference < self.same_V and source.volts is not None:
                    difference = 0.0
                others = tuple(s.part for c, s in used.items() if c != source.part.at)
                self.conflicts.append(Conflict(source.part, others, difference))

    def pull(self, net: int, without: Spot | None = None) -> Pull:
        """What `net` is drawn to through parts that pass direct current, leaving out one part."""
        found = [rail for tie in self.reach(net, without) if (rail := self.rails.get(tie)) is not None]
        if not found or len({ring for ring, _ in found}) > 1:
            return Pull(math.nan, math.nan, bool(found))
        volts = [v for _, v in found]
        return Pull(min(volts), max(volts), True, found[0][0])

    def reach(self, net: int, without: Spot | None = None) -> Iterator[int]:
        """The ties from which direct current can come to a net, its own first, leaving out one part."""
        start = self.tie[net]
        seen, queue = {start}, deque([start])
        while queue:
            here = queue.popleft()
            yield here
            if here in self.rails:
                continue  # what lies behind a rail cannot move this net
            for there, cell in self._direct.get(here, ()):
                if there not in seen and cell != without:
                    seen.add(there)
                    queue.append(there)

    def rail_V(self, net: int) -> float | None:
        """Volts of a rail; None where sources alone do not fix it."""
        rail = self.rails.get(self.tie[net])
        return None if rail is None else rail[1]

    def across(self, part: Part, first: str, second: str) -> float | None:
        """Volts from `first` to `second` where both lie on rails of one ring, else None."""
        a, b = self.rails.get(self.tie[part.nets[first]]), self.rails.get(self.tie[part.nets[second]])
        return None if a is None or b is None or a[0] != b[0] else a[1] - b[1]

    def neighbours(self, net: int, without: Spot) -> list[tuple[int, Spot]]:
        """(tie, part) reached from a net in one step of direct current."""
        return [(t, c) for t, c in self._direct.get(self.tie[net], ()) if c != without]

    def series_current_A(self, part: Part, *, through_transistors: bool = False) -> float | None:
        """Current through a part that lies in one unbranched string between two rails, else None.

        Adds up resistances and forward voltages of the string; a junction that points the other way lets
        nothing through. With `through_transistors` a transistor whose far end is on a rail counts as fully
        on (0.1 V).
        """
        first, second = part.pair
        one = self._string(part, part.nets[first], through_transistors)
        two = self._string(part, part.nets[second], through_transistors)
        if one is None or two is None or one.ring != two.ring:
            return None
        own = _step(part)
        if own is None:
            return None
        drive = one.volts - two.volts
        resistance, drop = one.ohms + two.ohms + own[0], one.drop + two.drop + own[1]
        if resistance <= 0:
            return None
        if (drive > 0) in one.ways or (drive < 0) in two.ways:
            return 0.0
        return math.copysign(max(abs(drive) - drop, 0.0) / resistance, drive)

    def base_current_A(self, part: Part) -> float | None:
        """Current into the base of a transistor with its emitter on a rail, from resistors to rails.

        Ohm's law with the junction's drop alone: the base resistance that a device model has protects no
        real transistor. None where a base is not driven so.
        """
        feeds = list(self._base_feeds(part))
        return max(sum(volts / ohms for _, volts, ohms in feeds), 0.0) if feeds else None

    def before_base(self, part: Part) -> tuple[Part, float] | None:
        """The transistor that a resistor feeds as in `base_current_A`, and the resistor's power, W; None for
        other parts."""
        for transistor in self.transistors if part.device.resists else ():
            for other, volts, ohms in self._base_feeds(transistor):
                if other is part and volts > 0:
                    return transistor, volts * volts / ohms
        return None

    def _base_feeds(self, part: Part) -> Iterator[tuple[Part, float, float]]:
        """What lies between rails and the base of a transistor with its emitter on a rail, too: each with the
        volts that it has where the junction conducts, positive towards that, and its ohms."""
        emitter = self.rails.get(self.tie[part.nets["emitter"]]) if part.device.bipolar else None
        if emitter is None:
            return
        sign = part.device.sign
        level = emitter[1] + sign * _BASE_EMITTER_V
        for there, cell in self._direct.get(self.tie[part.nets["base"]], ()):
            other, rail = self.circuit.part_at[cell], self.rails.get(there)
            ohms = direct_ohms(other) if other.device.plain and not other.device.store else None
            if rail is not None and rail[0] == emitter[0] and ohms:
                yield other, sign * (rail[1] - level), ohms

    def _string(self, part: Part, net: int, transistors: bool) -> _String | None:
        """The string of parts from a net to the rail at its end."""
        here, last = self.tie[net], part.at
        ohms = drop = 0.0
        ways: set[bool] = set()
        for _ in range(len(self.circuit.parts)):
            rail = self.rails.get(here)
            if rail is not None:
                return _String(*rail, ohms, drop, frozenset(ways))
            onward = {(t, c) for t, c in self._direct.get(here, ()) if c != last}
            if transistors and len(onward) == 2 and len({c for _, c in onward}) == 1:
                q = self.circuit.part_at[next(iter(onward))[1]]
                stage = q.device.stage
                control = None if stage is None else self.tie[q.nets[stage.control]]
                ends = [t for t, _ in onward if t != control and t in self.rails]
                if control is not None and len(ends) == 1:
                    return _String(*self.rails[ends[0]], ohms, drop + 0.1, frozenset(ways))
            if len(onward) != 1:
                return None
            before = here
            here, last = next(iter(onward))
            there = self.circuit.part_at[last]
            step = _step(there)
            if step is None:
                return None
            ohms, drop = ohms + step[0], drop + step[1]
            ways |= {self.tie[there.nets[j.start]] == before for j in there.device.junctions}
        return None


def _step(part: Part) -> tuple[float, float] | None:
    """(ohms, junction volts) of a part in a string, None where neither is known."""
    if [j.drop for j in part.device.junctions] == [Drop.FORWARD]:
        return 0.0, forward_V(part)
    resistance = direct_ohms(part)
    return None if resistance is None else (resistance, 0.0)


def junction_steps(part: Part) -> Iterator[tuple[str, str, float]]:
    """(from, to, volts) of every junction that conducts by itself once `volts` stand across it."""
    for start, end, drop in part.device.junctions:
        volts = {Drop.FORWARD: forward_V, Drop.PRINTED: zener_V, Drop.SILICON: _silicon_V}[drop](part)
        if volts is not None:
            yield start, end, volts


def _silicon_V(part: Part) -> float:
    return _BASE_EMITTER_V


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, float | int) else None
