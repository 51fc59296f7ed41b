"""Where light, warmth and knobs strain a part most: between the ends as often as at one of them.

A transistor that is fully on or off stays cool; half way it turns as much into heat as its load ever does.
So every knob of a circuit is turned through its whole range, and the points that strain a part more than
anything else are handed on, for the rules to judge.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress

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
    worker: Worker, circuit: Circuit, conditions: Conditions, positions: Mapping[str, OperatingPoint]
) -> dict[str, OperatingPoint]:
    """Points at which a part is strained most, by what is different there, in words.

    Args:
        conditions: as everything is now.
        positions: other positions of the switches; knobs are turned in the first of them, too.
    """
    found: dict[str, OperatingPoint] = {}
    knobs = list(knobs_of(circuit))
    if not knobs:
        return found
    with suppress(SimulationError):
        now = _states.rest(worker, circuit, conditions)
        switched = list(positions.values())[:_MOST_POSITIONS]
        for base in [now, *switched]:
            for knob, values in knobs:
                for point in _worst(worker, circuit, base, knob, values):
                    words = ", ".join(settings_words(point.conditions, conditions))
                    found.setdefault(words, point)
    return found


def _worst(
    worker: Worker, circuit: Circuit, base: OperatingPoint, knob: Knob, values: tuple[float, ...]
) -> list[OperatingPoint]:
    """The points along a knob at which some part has more to bear than at the base."""
    points: dict[float, OperatingPoint] = {}

    def turn(value: float) -> None:
        with suppress(SimulationError):
            points.setdefault(value, _states.rest(worker, circuit, knob.set(base.conditions, value)))

    for value in values:
        turn(value)
    for part in circuit.parts:
        if part.device.stage:
            _go_half_way(points, part, turn, by_ratio=knob.what == "light")
    worst: dict[int, OperatingPoint] = {}
    for part in circuit.parts:
        for index in range(2):
            most = max(points.values(), key=lambda p: _strain(p, part)[index], default=None)
            if most is not None and _strain(most, part)[index] > _MORE * _strain(base, part)[index]:
                worst[id(most)] = most
    return list(worst.values())


def _go_half_way(
    points: dict[float, OperatingPoint], part: Part, turn: Callable[[float], None], *, by_ratio: bool
) -> None:
    """Add points between those where a transistor's current is below and above half of its greatest.

    With a resistance in series its heat U·I - R·I² is greatest at half the current.
    """
    for _ in range(_HALVINGS):
        values = sorted(points)
        amperes = [_strain(points[value], part)[1] for value in values]
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
