"""Where light, warmth and knobs strain a part most: between the ends as often as at one of them.

A transistor that is fully on or off stays cool; half way it turns as much into heat as its load ever does.
So every knob of a circuit is turned through its whole range, and the points that strain a part more than
anything else are handed on, for the rules to judge.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from functools import partial

from snapcheck.board import Conditions, settings_words
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Sense, Setting
from snapcheck.errors import SimulationError
from snapcheck.simulate import _states
from snapcheck.simulate._operating import OperatingPoint
from snapcheck.simulate._sweep import Knob
from snapcheck.simulate._worker import Worker

#: what a bench may see: a dark cupboard to the sun, four values a decade (lx); a cold cellar to a hot car
#: (°C); wiper positions
_LIGHTS = tuple(float(f"{10 ** (i / 4):.2g}") for i in range(-4, 21))
_CELSIUS = tuple(float(celsius) for celsius in range(-10, 61, 10))
_WIPERS = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
#: times that the step in which a transistor comes on is halved
_HALVINGS = 7
#: strain that counts as more than that of the conditions as they are (a ratio; common practice, no source)
_MORE = 1.05
#: other positions of switches in which knobs are turned
_MOST_POSITIONS = 3
#: potentiometers that are turned
_MOST_POTS = 4


def knobs_of(circuit: Circuit) -> Iterator[tuple[Knob, tuple[float, ...]]]:
    """Every knob of a circuit and the values it is turned to."""
    senses = {part.device.sense for part in circuit.parts}
    if Sense.LIGHT in senses:
        yield Knob("light"), _LIGHTS
    if Sense.TEMPERATURE in senses:
        yield Knob("temperature"), _CELSIUS
    pots = [part for part in circuit.parts if part.device.setting is Setting.POT]
    for part in pots[:_MOST_POTS]:
        yield Knob("pot", part.at), _WIPERS


def strained(
    worker: Worker, now: OperatingPoint, positions: Mapping[str, OperatingPoint]
) -> dict[str, OperatingPoint]:
    """Points at which a part is strained most, by what is different there, in words.

    Args:
        now: the point as everything is now.
        positions: other positions of the switches; knobs are turned in the first of them, too.
    """
    found: dict[str, OperatingPoint] = {}
    turned = _Turned(worker, now.circuit)
    for base in [now, *list(positions.values())[:_MOST_POSITIONS]]:
        strains = turned.strains(base)
        for knob, values in knobs_of(now.circuit):
            for point in _worst(turned, base.conditions, strains, knob, values):
                words = ", ".join(settings_words(point.conditions, now.conditions))
                found.setdefault(words, point)
    return found


class _Turned:
    """The points of one circuit, and what each strains: looked at again and again, worked out once."""

    def __init__(self, worker: Worker, circuit: Circuit) -> None:
        self.circuit = circuit
        self._worker = worker
        self._points: dict[Conditions, OperatingPoint | None] = {}
        self._strains: dict[int, list[tuple[float, float]]] = {}

    def at(self, conditions: Conditions) -> OperatingPoint | None:
        """The point there, None where there is none; the same object each time."""
        if conditions not in self._points:
            self._points[conditions] = None
            with suppress(SimulationError):
                self._points[conditions] = _states.rest(self._worker, self.circuit, conditions)
        return self._points[conditions]

    def strains(self, point: OperatingPoint) -> list[tuple[float, float]]:
        """(heat in W, greatest current in A) that each part of the circuit has to bear."""
        if id(point) not in self._strains:  # the points are kept, so that no other ever has the same id
            self._strains[id(point)] = [_strain(point, part) for part in self.circuit.parts]
        return self._strains[id(point)]

    def current(self, number: int, point: OperatingPoint) -> float:
        """The greatest current of the part with this number at a point, A."""
        return self.strains(point)[number][1]


def _worst(
    turned: _Turned,
    conditions: Conditions,
    at_base: list[tuple[float, float]],
    knob: Knob,
    values: tuple[float, ...],
) -> list[OperatingPoint]:
    """The points along a knob at which some part has more to bear than at the base."""
    points: dict[float, OperatingPoint] = {}

    def turn(value: float) -> None:
        if value not in points and (point := turned.at(knob.set(conditions, value))) is not None:
            points[value] = point

    for value in values:
        turn(value)
    parts = turned.circuit.parts
    for number, part in enumerate(parts):
        if part.device.stage:
            current = partial(turned.current, number)
            _go_half_way(points, current, turn, by_ratio=knob.what == "light")
    told = [(point, turned.strains(point)) for point in points.values()]
    worst: dict[int, OperatingPoint] = {}
    for number in range(len(parts)):
        for index in range(2):
            most = max(told, key=lambda p: p[1][number][index], default=None)
            if most is not None and most[1][number][index] > _MORE * at_base[number][index]:
                worst[id(most[0])] = most[0]
    return list(worst.values())


def _go_half_way(
    points: dict[float, OperatingPoint],
    current: Callable[[OperatingPoint], float],
    turn: Callable[[float], None],
    *,
    by_ratio: bool,
) -> None:
    """Add points between those where a transistor's current is below and above half of its greatest.

    With a resistance in series its heat U·I - R·I² is greatest at half the current.

    Args:
        current: of the transistor at a point, A.
    """
    for _ in range(_HALVINGS):
        values = sorted(points)
        amperes = [current(points[value]) for value in values]
        half = max(amperes, default=0.0) / 2
        step = next(
            (i for i in range(1, len(values)) if (amperes[i - 1] > half) != (amperes[i] > half)), None
        )
        if step is None:
            return
        low, high = values[step - 1], values[step]
        middle = math.sqrt(low * high) if by_ratio else (low + high) / 2
        turn(float(f"{middle:.4g}"))
        if len(points) == len(values):
            return


def _strain(point: OperatingPoint, part: Part) -> tuple[float, float]:
    """(heat in W, greatest current in A) that a part has to bear."""
    amperes = max((abs(point.current(part, terminal) or 0.0) for terminal in part.nets), default=0.0)
    return max(point.power(part) or 0.0, 0.0), amperes
