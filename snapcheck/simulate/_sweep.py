"""Turning one knob: a potentiometer, the light, the temperature or a supply."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.board import Conditions, Spot
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Setting
from snapcheck.errors import InputError, SimulationError
from snapcheck.simulate import _states
from snapcheck.simulate._operating import OperatingPoint
from snapcheck.simulate._worker import Worker
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: knob to its unit
KNOBS = {"pot": "", "light": "lx", "temperature": "°C", "supply": "V"}


@dataclass(frozen=True)
class Knob:
    """What is turned.

    Attributes:
        what: ``pot`` (position 0 to 1), ``light`` (lux), ``temperature`` (°C) or ``supply`` (V).
        cell: of the potentiometer or supply, None for light and temperature.
    """

    what: str
    cell: Spot | None = None

    def __post_init__(self) -> None:
        if self.what not in KNOBS:
            raise InputError(
                tr("'{what}' cannot be swept.", what=self.what),
                way_out=tr("Accepted: {names}.", names=", ".join(KNOBS)),
            )

    @property
    def unit(self) -> str:
        return KNOBS[self.what]

    def set(self, conditions: Conditions, value: float) -> Conditions:
        """The conditions with the knob at a value."""
        if self.what == "light":
            return replace(conditions, light_lux=value)
        if self.what == "temperature":
            return replace(conditions, temperature_C=value)
        assert self.cell is not None
        name = "pots" if self.what == "pot" else "supply_V"
        changed = {**getattr(conditions, name), self.cell: value}
        return replace(conditions, pots=changed) if name == "pots" else replace(conditions, supply_V=changed)


@dataclass(frozen=True)
class Sweep:
    """Operating points along a knob.

    Attributes:
        knob: what was turned.
        values: shape (n,), in the knob's unit.
        points: n operating points; None where there is no answer.
        back: the same on the way back, where the circuit remembers from where it came (hysteresis), else ().
    """

    knob: Knob
    values: NDArray[Any]
    points: tuple[OperatingPoint | None, ...]
    back: tuple[OperatingPoint | None, ...] = ()

    def voltage(self, net: int, *, back: bool = False) -> NDArray[Any]:
        """Volts of a net along the sweep (or on the way back), shape (n,); NaN where there is no answer."""
        points = self.back if back and self.back else self.points
        volts = [None if point is None else point.voltage(net) for point in points]
        return np.array([np.nan if v is None else v for v in volts], dtype=float)

    def current(self, part: Part | Spot, terminal: str) -> NDArray[Any]:
        """Amperes into a terminal along the sweep, shape (n,); NaN where there is no answer."""
        amperes = [None if point is None else point.current(part, terminal) for point in self.points]
        return np.array([np.nan if i is None else i for i in amperes], dtype=float)


def resolve_knob(circuit: Circuit, what: str, cell: Spot | None = None) -> Knob:
    """A knob of a circuit; without a cell the only potentiometer or supply.

    Raises:
        InputError: there is no such part, or several and no cell was named.
    """
    knob = Knob(what, cell)
    if what in ("light", "temperature"):
        return Knob(what)
    wanted = Setting.POT if what == "pot" else Setting.SUPPLY
    fitting = [part for part in circuit.parts if part.device.setting is wanted]
    chosen = [part for part in fitting if cell is None or part.at == cell]
    if len(chosen) != 1:
        if not fitting:
            raise InputError(
                tr("there is no {what} on this board to be swept.", what=what),
                way_out=tr("Sweep light or temperature, or give another board."),
            )
        names = ", ".join(
            str(part.at) if part.place is None else f"{part.at} ({part.name})" for part in fitting
        )
        raise InputError(
            tr("it is not clear which {what} is meant.", what=what),
            way_out=tr("Accepted: {names}.", names=names),
        )
    return Knob(knob.what, chosen[0].at)


def sweep(
    worker: Worker, circuit: Circuit, conditions: Conditions, knob: Knob, values: Sequence[float]
) -> Sweep:
    """Operating points with the knob at each value.

    Raises:
        SimulationError: there is no answer at any value.
    """
    points: list[OperatingPoint | None] = []
    last: SimulationError | None = None
    for value in values:
        try:
            points.append(_states.rest(worker, circuit, knob.set(conditions, float(value))))
        except SimulationError as error:
            last = error
            points.append(None)
    if last is not None and not any(points):
        raise last
    if _states.loops_of(circuit):
        there = _followed(worker, circuit, conditions, knob, values)
        back = _followed(worker, circuit, conditions, knob, values[::-1])[::-1]
        if any(a and b and not _states.same(a, b) for a, b in zip(there, back, strict=True)):
            return Sweep(knob, np.asarray(values, dtype=float), there, back)
    return Sweep(knob, np.asarray(values, dtype=float), tuple(points))


def _followed(
    worker: Worker, circuit: Circuit, conditions: Conditions, knob: Knob, values: Sequence[float]
) -> tuple[OperatingPoint | None, ...]:
    """Operating points, each looked for from the one before: the state stays until it no longer can."""
    points: list[OperatingPoint | None] = []
    near: tuple[tuple[int, float], ...] = ()
    for value in values:
        try:
            point = _states.stay(worker, circuit, knob.set(conditions, float(value)), near)
        except SimulationError:
            points.append(None)
            continue
        near = tuple(point.net_voltages_V.items())
        points.append(point)
    return tuple(points)
