"""What a meter should show: at a few test points of the whole build, and on the way at the end of a stage.

Bands come from specimens of the same parts drawn within their tolerances (`Simulator.tolerance`). Test points
are chosen by what they tell: every part is left out in turn, every resistor taken ten times too large and too
small, and those nets are taken, one after the other, that tell most of these faults apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from snapcheck.board import Board, Cell, Conditions, Expectation, Probe, legs_of
from snapcheck.circuit import Circuit, Part, RuleBook, build_circuit, check_rules, place_words, probe_words
from snapcheck.errors import SimulationError
from snapcheck.findings import Severity
from snapcheck.sheet._flow import Flow
from snapcheck.sheet._steps import Course, board_of
from snapcheck.watch import stop_if_asked

if TYPE_CHECKING:
    from snapcheck.simulate import OperatingPoint, Simulator

_SAMPLES = 200
#: between which shares of the specimens a band lies, per cent
_BAND = (1.0, 99.0)
#: test points of a build, and sets of conditions under which they are read
_MOST_POINTS, _MOST_CONDITIONS = 6, 3
#: what a usual meter adds to a band: 1 % and 10 mV (common practice, no source)
_METER, _METER_V = 0.01, 0.01
#: rules of which a finding forbids to power a part of the build, besides every danger
_HARMFUL = frozenset({"resistor-missing", "over-rating", "fuse-blows"})
#: faults of which a test point is asked whether it shows them, at most
_MOST_FAULTS = 48
#: quantities of a circuit that does not stay at rest
_MOVING = frozenset({"frequency", "duty"})
_TELLING = ("collector", "drain", "emitter", "source", "base", "gate", "plus", "anode", "wiper", "signal")


@dataclass(frozen=True)
class Reading:
    """A voltage against the plate.

    Attributes:
        place: a terminal where it is measured.
        words: the place in words, ``D4 collector`` or ``D2 down``.
        volts: with every part as printed, V.
        low, high: the band of good builds, V.
    """

    place: Probe
    words: str
    volts: float
    low: float
    high: float


@dataclass(frozen=True)
class TestPoint:
    """A place to measure on the finished build.

    Attributes:
        number: from 1, along the signal.
        words: the place in words.
        place: a terminal there.
        readings: one for each set of conditions; None where there is none.
    """

    number: int
    words: str
    place: Probe
    readings: tuple[Reading | None, ...]


@dataclass(frozen=True)
class StageCheck:
    """What may be measured when a stage is done, the power put in for the time being.

    Attributes:
        stage: its number, from 0.
        power: anchors of the cubes that bring the power for the time being.
        reading: what to measure.
    """

    stage: int
    power: tuple[Cell, ...]
    reading: Reading


@dataclass(frozen=True)
class Expected:
    """All that was calculated.

    Attributes:
        conditions: sets of conditions, the design's own first.
        points: the test points.
        checks: checks on the way.
        moving: the circuit does not stay at rest, so that its voltages change all the time.
        note: why something could not be calculated, "" otherwise.
    """

    conditions: tuple[Conditions, ...] = ()
    points: tuple[TestPoint, ...] = ()
    checks: tuple[StageCheck, ...] = ()
    moving: bool = False
    note: str = ""


def expected_readings(course: Course, simulator: Simulator | None, book: RuleBook | None = None) -> Expected:
    """Test points and checks of a design; nothing without a simulator or where it cannot be solved.

    Args:
        course: the steps, whose stages are checked.
        simulator: calculates.
        book: the rules by which a partial build may be powered or not, None for the bundled ones.

    Raises:
        MissingLibraryError: ngspice is not installed.
    """
    if simulator is None:
        return Expected()
    maker = _Maker(course, simulator, book)
    moving = any(e.quantity in _MOVING for e in course.design.expectations)
    note, points = "", tuple[TestPoint, ...]()
    conditions: tuple[Conditions, ...] = (course.design.conditions,)
    try:
        conditions = conditions if moving else maker.conditions()
        points = maker.points(conditions, steady=moving)
    except SimulationError as error:
        note = str(error)
    return Expected(conditions, points, maker.checks(), moving, note)


@dataclass
class _Maker:
    course: Course
    simulator: Simulator
    book: RuleBook | None

    def __post_init__(self) -> None:
        self.circuit, self.design = self.course.circuit, self.course.design
        self.flow = Flow(self.circuit, self.design)

    def conditions(self) -> tuple[Conditions, ...]:
        """The design's own conditions, and those of its figures that the operating point bears on."""
        found = [self.design.conditions]
        for e in self.design.expectations:
            if (
                e.conditions is not None
                and e.conditions not in found
                and e.quantity in ("voltage", "current")
            ):
                found.append(e.conditions)
        return tuple(found[:_MOST_CONDITIONS])

    # ------------------------------------------------------------ test points

    def points(self, conditions: tuple[Conditions, ...], *, steady: bool = False) -> tuple[TestPoint, ...]:
        """Test points; where all else moves, those that are steady alone: the supply's."""
        nets = [
            n.number for n in self.circuit.nets
            if n.number and len(n.terminals) > 1 and (not steady or self._at_source(n.number))
        ]  # fmt: skip
        places = {net: place for net in nets if (place := _place(self.circuit, net)) is not None}
        bands = [self._bands(self.circuit, places, c) for c in conditions]
        telling = {
            net for net in places
            if any(b.get(net) is not None and abs(b[net].volts) > 0.02 for b in bands)  # type: ignore[union-attr]
        }  # fmt: skip
        chosen = self._most_telling(sorted(telling), bands, conditions)
        chosen.sort(key=lambda net: (net not in self.flow.rails, self.flow.distance[net], net))
        return tuple(
            TestPoint(
                number, _words(self.circuit, places[net]), places[net], tuple(b.get(net) for b in bands)
            )
            for number, net in enumerate(chosen, 1)
        )

    def _most_telling(
        self,
        nets: Sequence[int],
        bands: Sequence[Mapping[int, Reading | None]],
        conditions: Sequence[Conditions],
    ) -> list[int]:
        """Nets that together tell most faults apart; the supply first."""
        shown: dict[int, list[int]] = {net: [] for net in nets}
        for board in self._faulty():
            stop_if_asked()
            circuit = build_circuit(board, self.course.kit)
            for band, condition in zip(bands, conditions, strict=True):
                try:
                    point = self.simulator.operating_point(circuit, condition.among(circuit.part_at))
                except SimulationError:
                    continue
                for net in nets:
                    shown[net].append(_state(self._volts(point, circuit, net), band.get(net)))
        chosen = [net for net in nets if self._at_source(net)][:1]
        while len(chosen) < _MOST_POINTS:
            known = _told_apart(shown, chosen)
            best = max(
                (net for net in nets if net not in chosen),
                key=lambda net: (_told_apart(shown, [*chosen, net]), net == self.flow.goal, -net),
                default=None,
            )
            if best is None or _told_apart(shown, [*chosen, best]) == known:
                return chosen
            chosen.append(best)
        return chosen

    def _at_source(self, net: int) -> bool:
        return any(part.device.supplies for part, _ in self.circuit.parts_on(net))

    def _volts(self, point: OperatingPoint, circuit: Circuit, net: int) -> float | None:
        """Of a net of the plan, in a circuit that lacks a part or has another."""
        for part, name in self.circuit.parts_on(net):
            found = circuit.net_of(part.cell, name)
            if found is not None:
                return point.voltage(found)
        return None

    def _faulty(self) -> list[Board]:
        """Builds with one fault each: a part left out, a resistor ten times too large or too small."""
        board = self.design.board
        found = [board.put({p.cell: None}) for p in self.circuit.parts if not p.device.supplies]
        for part in self.circuit.parts:
            value = part.cube.value
            if part.device.resists and isinstance(value, float):
                for factor in (10.0, 0.1):
                    cube = replace(part.cube, value=value * factor, printed=None)
                    found.append(board.put({part.cell: cube}))
        return found[:_MOST_FAULTS]

    def _bands(
        self, circuit: Circuit, places: Mapping[int, Probe], conditions: Conditions
    ) -> dict[int, Reading | None]:
        """Net to its voltage and band under some conditions."""
        point = self.simulator.operating_point(circuit, conditions)
        figures = tuple(Expectation("voltage", place, None, -math.inf, math.inf) for place in places.values())
        asked = replace(
            self.design, board=circuit.board, input=None, output=None, conditions=conditions,
            expectations=figures,
        )  # fmt: skip
        spread = self.simulator.tolerance(asked, circuit, samples=_SAMPLES)
        found: dict[int, Reading | None] = {}
        for (net, place), figure in zip(places.items(), spread.figures, strict=True):
            volts = point.voltage(net)
            low, high = (figure.percentile(percent) for percent in _BAND)
            if volts is None or low is None or high is None:
                found[net] = None
                continue
            low, high = min(low, volts), max(high, volts)
            low, high = low - _METER * abs(low) - _METER_V, high + _METER * abs(high) + _METER_V
            found[net] = Reading(place, _words(circuit, place), volts, low, high)
        return found

    # ------------------------------------------------------------ on the way

    def checks(self) -> tuple[StageCheck, ...]:
        """Checks at the end of stages, where a partial build may be powered and tells something."""
        power = tuple(c for s in self.course.steps if s.power for c in s.cells)
        found = []
        done: list[Cell] = []
        for number, stage in enumerate(self.course.stages):
            done += stage.cells
            if len(done) + len(power) >= len(self.design.board.cubes) or set(power) & set(done):
                break  # the whole build is measured at the test points
            stop_if_asked()
            reading = self._check(done, stage.cells, power)
            if reading is not None:
                found.append(StageCheck(number, power, reading))
        return tuple(found)

    def _check(self, done: Sequence[Cell], new: Sequence[Cell], power: Sequence[Cell]) -> Reading | None:
        circuit = build_circuit(board_of(self.circuit, [*done, *power]), self.course.kit)
        conditions = self.design.conditions.among(circuit.part_at)
        try:
            point = self.simulator.operating_point(circuit, conditions)
            if not self._safe(circuit, point, conditions):
                return None
            places = {
                net: place for net in self._worth_measuring(circuit, point, new)
                if (place := _place(circuit, net, new)) is not None
            }  # fmt: skip
            for net, place in list(places.items())[:1]:
                return self._bands(circuit, {net: place}, conditions)[net]
        except SimulationError:
            return None
        return None

    def _safe(self, circuit: Circuit, point: OperatingPoint, conditions: Conditions) -> bool:
        positions = self.simulator.other_positions(circuit, conditions)
        supply = self.design.conditions.among(circuit.board.cubes).supply_V
        found = check_rules(circuit, point, positions=positions, book=self.book, supply_V=supply)
        return not any(f.severity is Severity.DANGER or f.rule in _HARMFUL for f in found)

    def _worth_measuring(self, circuit: Circuit, point: OperatingPoint, new: Sequence[Cell]) -> list[int]:
        """Nets of the new parts between plate and supply, those at an amplifying part's output first."""
        rails = {n for p in circuit.parts if p.device.supplies for n in p.nets.values()} - {0}
        most = max((abs(point.voltage(n) or 0.0) for n in rails), default=0.0)
        parts = [p for p in circuit.parts if p.cell in set(new)]
        parts.sort(key=lambda p: (not p.device.amplifies, list(new).index(p.cell)))
        found: list[int] = []
        for part in parts:
            for name in sorted(part.nets, key=lambda name: _rank(part, name)):
                volts = point.voltage(part.nets[name])
                inside = volts is not None and 0.03 * most < abs(volts) < 0.97 * most
                if inside and part.nets[name] not in (*found, *rails, 0):
                    found.append(part.nets[name])
        return found


def _state(volts: float | None, good: Reading | None) -> int:
    """What a meter tells of one fault at one place: below the band, in it, above it, nothing to be had."""
    if good is None or volts is None:
        return 2
    return -1 if volts < good.low else int(volts > good.high)


def _told_apart(shown: Mapping[int, Sequence[int]], nets: Sequence[int]) -> int:
    """How many sorts of faults these places tell apart."""
    return len(set(zip(*(shown[net] for net in nets), strict=True)))


def _rank(part: Part, terminal: str) -> int:
    """How easily a terminal is named: a chip's outputs first of all."""
    if part.device.chip and terminal in part.device.outlets:
        return -1
    return _TELLING.index(terminal) if terminal in _TELLING else len(_TELLING)


def _place(circuit: Circuit, net: int, among: Iterable[Cell] = ()) -> Probe | None:
    """The terminal of a net that is easiest to name: a source's, a transistor's, a plus, else an end."""
    first = set(among)
    ends = [(part, name) for part, name in circuit.parts_on(net) if part.kind.sides(name, part.cube.turn)]

    def key(end: tuple[Part, str]) -> tuple[bool, int, int, Cell]:
        part, name = end
        eager = 2 if part.device.supplies else int(part.device.amplifies)
        return part.cell not in first and bool(first), -eager, _rank(part, name), part.cell

    best = min(ends, key=key, default=None)
    return None if best is None else Probe(best[0].cell, best[1])


def _words(circuit: Circuit, place: Probe) -> str:
    """``D4 collector``; of an end without a name, its side: ``D2 down``; of a large cube, both."""
    part = circuit.part_at.get(place.cell)
    if part is not None and place.terminal in ("a", "b"):
        return place_words(place.cell, part.kind.sides(place.terminal, part.cube.turn)[0])
    if part is not None and part.cube.large:
        leg = next(x for x in legs_of(part.cell, part.cube, part.kind) if x.terminal == place.terminal)
        return f"{probe_words(place)} ({place_words(leg.cell, leg.side)})"
    return probe_words(place)
