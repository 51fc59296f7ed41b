"""How any variant of a board is measured: by its operating point, or in time where it swings by itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from snapcheck.board import Conditions, Design, settings_words
from snapcheck.circuit import Circuit, Part, listing
from snapcheck.diagnose._faults import Change, Fault
from snapcheck.diagnose._priors import Priors
from snapcheck.diagnose._variants import Variant, variant
from snapcheck.diagnose._wiring import Metal, Wiring
from snapcheck.errors import SimulationError
from snapcheck.simulate import (
    Probed,
    Simulator,
    Spread,
    Worker,
    probe,
    probe_in_time,
    resolve_input,
    source_amplitude,
    spreads,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: conditions beside the design's own in which one measures
_MOST_CONDITIONS = 3
#: a condition in which no voltage moves by so much tells nothing new
_MOVES_V = 0.05
#: models whose value does not count for direct voltages
#: a circuit that swings by itself: how many periods may be looked at until it swings as it will, steps in
#: each, the least swing (V), and by which share of its swing a mean voltage lies elsewhere in another
#: specimen
#: (common practice, no source)
_PERIODS, _STEPS, _SWINGS_V, _LOOSE = (6, 24), 50, 0.05, 0.05
#: a swing that differs by less than this share is the same
_SETTLED = 0.1
#: share of its gain with which a circuit that swings whatever happens does so still
_LITTLE_GAIN = 0.3


class Setting(NamedTuple):
    """Conditions under which one measures, and what they are beside the usual ones, in words."""

    conditions: Conditions
    words: str


@dataclass(frozen=True)
class Plan:
    """What is needed to measure any variant of a board.

    Attributes:
        design, wiring, priors: what it is about.
        steps: part name to the factor that is one standard deviation of it.
        input: where a signal goes in, None without one.
        volts: amplitude of the usual signal at its source.
        period_s: of a circuit that swings by itself, 0 for others.
        periods: how many are looked at.
        doubtful: whether it depends on its transistors' gain that it swings.
    """

    design: Design
    wiring: Wiring
    priors: Priors
    steps: Mapping[str, float]
    input: Part | int | None
    volts: float
    period_s: float = 0.0
    periods: int = _PERIODS[-1]
    doubtful: bool = True

    @staticmethod
    def of(design: Design, wiring: Wiring, priors: Priors) -> Plan:
        circuit = wiring.circuit
        steps: dict[str, float] = {}
        for s in spreads(circuit):
            if not (s.part.device.store or s.part.device.sounds):
                wide = math.log(s.high / s.low) / 2 if s.logarithmic else s.high - 1
                steps[s.part.name] = (
                    math.exp(wide / math.sqrt(3)) if s.logarithmic else 1 + wide / math.sqrt(3)
                )
        for part in circuit.parts:
            if part.device.supplies:
                steps[part.name] = 1 + priors.spread_of(part) / math.sqrt(3)
        source = resolve_input(circuit, design.input)
        volts = 0.0
        if source is not None:
            volts = source_amplitude(source) if design.input_V is None else design.input_V
        rates = [e.low for e in design.expectations if e.quantity == "frequency" and 0 < e.low < math.inf]
        return Plan(
            design, wiring, priors, steps, source, volts, 1 / rates[0] if rates and not volts else 0.0
        )

    @property
    def signals(self) -> bool:
        """Whether there is a signal to follow."""
        return self.input is not None or self.period_s > 0

    def specimens(self) -> tuple[Change, ...]:
        """What builds are to be tried for each fault: an oscillator may swing or not, as its transistors'
        gain is."""
        if not (self.period_s and self.doubtful):
            return (Change(),)
        gains = [s for s in spreads(self.wiring.circuit) if s.logarithmic]
        ends = ([(s.part.name, f**0.7) for s in gains for f in [end(s)]] for end in (_low, _high))
        return (Change(), *(Change(scales=tuple(end)) for end in ends)) if gains else (Change(),)

    def variant(self, fault: Fault, change: Change) -> Variant:
        """The circuit of one degree of a fault."""
        return variant(fault.wiring or self.wiring, change)

    def job(
        self, v: Variant, conditions: Conditions, *, signal: bool, scales: Mapping[str, float] | None = None
    ) -> Callable[[Worker], Probed]:
        """What measures a variant; with `scales`, one specimen of it, without slopes."""
        both = dict(v.scales)
        for name, factor in (scales or {}).items():
            both[name] = both.get(name, 1.0) * factor
        at_rest = partial(
            probe,
            circuit=v.circuit,
            conditions=conditions,
            steps=self.steps if scales is None else {},
            loaded=v.loosely_held(conditions),
            meter_ohm=self.priors.meter["ohm"],
            input=self._source(v) if signal else None,
            scales=both,
        )
        if self.period_s > 0:
            return partial(_in_time, at_rest=at_rest, period_s=self.period_s, periods=self.periods)
        return partial(_or_nothing, at_rest=at_rest)

    def _source(self, v: Variant) -> Part | int | None:
        """Where the signal goes into a variant; None where it goes nowhere."""
        if isinstance(self.input, Part):
            part = v.circuit.part_named[self.input.name]
            return None if part.nets.get("plate", 0) != 0 else part
        place = self.design.input
        if self.input is None or place is None:
            return None
        anchor = v.circuit.board.anchor_at(place.cell) or place.cell
        point = self.wiring.metal.get(Metal(anchor, place.terminal))
        return None if point is None or v.net_of[point] <= 0 else v.net_of[point]

    def timed(self, simulator: Simulator) -> Plan:
        """The plan, with no more periods looked at than it takes until the board swings as it will."""
        if not self.period_s:
            return self
        whole = variant(self.wiring, Change())

        def swing(periods: int, gain: float) -> float:
            scales = {s.part.name: gain for s in spreads(self.wiring.circuit) if s.logarithmic}
            plan = replace(self, periods=periods)
            found = plan.job(whole, self.design.conditions, signal=False, scales=scales)(simulator.worker)
            return 0.0 if found.signal is None else float(found.signal.max())

        soon, late = (swing(periods, 1.0) for periods in _PERIODS)
        periods = _PERIODS[0] if abs(soon - late) <= _SETTLED * late else _PERIODS[-1]
        return replace(self, periods=periods, doubtful=swing(periods, _LITTLE_GAIN) < late / 2)

    @property
    def wanted(self) -> list[Conditions]:
        """The usual conditions, and those of expected figures with the usual supply."""
        usual = self.design.conditions
        told = [e.conditions for e in self.design.expectations if e.conditions is not None]
        others = dict.fromkeys(c for c in told if c != usual and c.supply_V == usual.supply_V)
        return [usual, *others]

    def setting(self, conditions: Conditions) -> Setting:
        """Conditions with their words."""
        return Setting(conditions, listing(settings_words(conditions, self.design.conditions)))

    def settings(self, simulator: Simulator) -> tuple[Setting, ...]:
        """The usual conditions, and those of expected figures in which voltages move."""
        whole = variant(self.wiring, Change())
        found: list[Setting] = []
        seen: list[NDArray[Any]] = []
        for conditions in self.wanted:
            if len(found) > _MOST_CONDITIONS:
                break
            job = self.job(whole, conditions, signal=False, scales={})
            try:
                volts = job(simulator.worker).volts
            except SimulationError:
                if not found:
                    raise
                continue
            if all(_apart(volts, other) > _MOVES_V for other in seen):
                seen.append(volts)
                found.append(self.setting(conditions))
        return tuple(found)


def _low(spread: Spread) -> float:
    return spread.low


def _high(spread: Spread) -> float:
    return spread.high


def _apart(one: NDArray[Any], other: NDArray[Any]) -> float:
    return float(np.nanmax(np.abs(np.nan_to_num(one) - np.nan_to_num(other))))


def _or_nothing(worker: Worker, *, at_rest: partial[Probed]) -> Probed:
    """An operating point; where no supply is left in the circuit, none of its voltages is."""
    try:
        return at_rest(worker)
    except SimulationError:
        circuit: Circuit = at_rest.keywords["circuit"]
        if any(part.device.supplies for part in circuit.parts):
            raise
        count = circuit.net_count
        zero = np.zeros(count)
        slopes = np.zeros((count, len(at_rest.keywords["steps"])))
        return Probed(zero, zero, slopes, None if at_rest.keywords["input"] is None else zero)


def _in_time(worker: Worker, *, at_rest: partial[Probed], period_s: float, periods: int) -> Probed:
    """What a slow meter shows of a circuit that swings by itself: the mean of its voltages, and how far
    they swing.

    Where it does not swing, the state of rest that it has come to.
    """
    given = at_rest.keywords
    mean, swing, end = probe_in_time(
        worker, given["circuit"], given["conditions"], duration_s=periods * period_s,
        step_s=period_s / _STEPS, scales=given["scales"],
    )  # fmt: skip
    near = [(net, float(v)) for net, v in enumerate(end) if net]
    rest = _or_nothing(worker, at_rest=partial(at_rest, near=near))
    swings = swing.max() > _SWINGS_V
    volts = np.nan_to_num(rest.volts)
    moved = swings | (np.abs(end - volts) > 0.02 + 0.05 * np.abs(end))
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.where(np.abs(volts) > 1e-3, np.clip(np.nan_to_num(rest.shown) / volts, 0, 1), 1.0)
    shown = np.where(moved, mean * left, np.nan_to_num(rest.shown))
    slopes = np.where(moved[:, None], 0.0, rest.slopes)
    loose = np.where(moved, _LOOSE * (swing + 0.5 * np.abs(mean)), 0.0)
    return Probed(np.where(moved, mean, volts), shown, slopes, np.where(swings, swing, 0.0), loose)
