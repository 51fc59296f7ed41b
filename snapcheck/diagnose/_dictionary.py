"""What would be measured with each fault: the fault dictionary of a board.

A fault dictionary is the usual way to find faults of analogue circuits from few measurements: simulate before
test (J. W. Bandler, A. E. Salama, "Fault diagnosis of analog circuits", Proc. IEEE 73 (1985), 1279-1325; from
memory). Here each entry is a normal distribution: a mean for every test point, and how it moves with every part
within its tolerance, so that readings that move together are not taken for independent ones.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any, NamedTuple

from snapcheck.board import Conditions, Design, Seam, settings_words
from snapcheck.circuit import Part, listing
from snapcheck.diagnose._faults import Change, Fault, designed, faults_of
from snapcheck.diagnose._priors import Priors
from snapcheck.diagnose._variants import NOWHERE, Variant, variant
from snapcheck.diagnose._wiring import Metal, Wiring, split
from snapcheck.errors import SimulationError
from snapcheck.kit import Kit
from snapcheck.simulate import (
    Probed,
    Simulator,
    Worker,
    in_turns,
    probe,
    resolve_input,
    source_amplitude,
    spreads,
)
from snapcheck.watch import stop_if_asked
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: a test point: the metal of a cube, or a tap
Spot = Metal | Seam
#: conditions beside the design's own in which one measures
_MOST_CONDITIONS = 3
#: a condition in which no voltage moves by so much tells nothing new
_MOVES_V = 0.05
#: models whose value does not count for direct voltages
_STORES = frozenset({"capacitor", "inductor", "speaker"})


class Setting(NamedTuple):
    """Conditions under which one measures, and what they are beside the usual ones, in words."""

    conditions: Conditions
    words: str


@dataclass(frozen=True, eq=False)
class Dictionary:
    """What would be measured, for every fault in every degree ("entry").

    Attributes:
        design: gives conditions, input and title.
        wiring: the board.
        priors: weights and the meter.
        faults: all hypotheses; the first is that nothing is wrong.
        fault_of: (entries,) index of each entry's fault.
        share: (entries,) of its fault.
        spots: every test point.
        settings: conditions under which one measures; the first are the usual ones.
        varied: names of the parts that vary, one column of slopes each.
        mean: (settings, entries, spots) V against the plate as the meter shows it.
        slope: (settings, entries, spots, varied) V for one standard deviation of a part.
        source_ohm: (settings, entries, spots) what the meter works against.
        signal: (entries, spots) V at 1 kHz for the usual signal at the input; None without one.
        span_V: the most that any two points lie apart.
    """

    design: Design
    wiring: Wiring
    priors: Priors
    faults: tuple[Fault, ...]
    fault_of: NDArray[Any] = field(repr=False)
    share: NDArray[Any] = field(repr=False)
    spots: tuple[Spot, ...] = field(repr=False)
    settings: tuple[Setting, ...]
    varied: tuple[str, ...]
    mean: NDArray[Any] = field(repr=False)
    slope: NDArray[Any] = field(repr=False)
    source_ohm: NDArray[Any] = field(repr=False)
    signal: NDArray[Any] | None = field(repr=False)
    span_V: float

    @cached_property
    def index(self) -> Mapping[Spot, int]:
        """Test point to its place in the arrays."""
        return {spot: i for i, spot in enumerate(self.spots)}

    @cached_property
    def fault_named(self) -> Mapping[str, int]:
        """Key of a fault to its index."""
        return {fault.key: i for i, fault in enumerate(self.faults)}

    @cached_property
    def notes(self) -> dict[object, Any]:
        """For what takes long to work out and is asked for again."""
        return {}


def dictionary(
    design: Design,
    kit: Kit,
    simulator: Simulator,
    priors: Priors,
    *,
    others: Sequence[Fault] = (),
    processes: int | None = None,
) -> Dictionary:
    """Simulate every fault of a board.

    Args:
        design: the board, its conditions and its input.
        others: more faults (what a photo left unsure).
        processes: how many work; None: two, where there are so many cores.

    Raises:
        SimulationError: the board itself cannot be calculated.
    """
    wiring = split(design.board, kit)
    faults = (designed(priors.designed), *faults_of(wiring, priors), *others)
    plan = Plan.of(design, wiring, priors)
    settings = plan.settings(simulator)
    changes = [(i, 1 / len(f.degrees), change) for i, f in enumerate(faults) for change in f.degrees]
    variants = [plan.variant(faults[i], change) for i, _, change in changes]
    seen: dict[object, Variant] = {v.signature: v for v in variants}
    jobs: list[Callable[[Worker], Probed]] = []
    for number, setting in enumerate(settings):
        jobs += [plan.job(v, setting.conditions, signal=number == 0) for v in seen.values()]
    processes = min(2, os.cpu_count() or 1) if processes is None else processes
    answers = in_turns(simulator.worker, jobs, processes)
    stop_if_asked()
    found = [
        dict(zip(seen, answers[n * len(seen) : (n + 1) * len(seen)], strict=True))
        for n in range(len(settings))
    ]
    return _collected(plan, faults, changes, variants, settings, found)


@dataclass(frozen=True)
class Plan:
    """What is needed to measure any variant of a board."""

    design: Design
    wiring: Wiring
    priors: Priors
    steps: Mapping[str, float]
    input: Part | int | None
    volts: float

    @staticmethod
    def of(design: Design, wiring: Wiring, priors: Priors) -> Plan:
        circuit = wiring.circuit
        steps: dict[str, float] = {}
        for s in spreads(circuit):
            if s.part.kind.model not in _STORES:
                wide = math.log(s.high / s.low) / 2 if s.logarithmic else s.high - 1
                steps[s.part.name] = (
                    math.exp(wide / math.sqrt(3)) if s.logarithmic else 1 + wide / math.sqrt(3)
                )
        for part in circuit.parts:
            if part.kind.model in ("battery", "supply"):
                steps[part.name] = 1 + priors.spread[part.kind.model] / math.sqrt(3)
        source = resolve_input(circuit, design.input)
        volts = 0.0
        if source is not None:
            volts = source_amplitude(source) if design.input_V is None else design.input_V
        return Plan(design, wiring, priors, steps, source, volts)

    def variant(self, fault: Fault, change: Change) -> Variant:
        """The circuit of one degree of a fault."""
        return variant(fault.wiring or self.wiring, change)

    def job(
        self, v: Variant, conditions: Conditions, *, signal: bool, scales: Mapping[str, float] | None = None
    ) -> Callable[[Worker], Probed]:
        """What measures a variant; with `scales`, one specimen of it, without slopes."""
        source: Part | int | None = None
        if signal and isinstance(self.input, Part):
            source = v.circuit.part_named.get(self.input.name)
        elif signal and self.design.input is not None:
            anchor = v.circuit.board.anchor_at(self.design.input.cell)
            point = self.wiring.metal.get(Metal(anchor or self.design.input.cell, self.design.input.terminal))
            source = v.net_of[point] if point is not None and v.net_of[point] > 0 else None
        both = dict(v.scales)
        for name, factor in (scales or {}).items():
            both[name] = both.get(name, 1.0) * factor
        return partial(
            probe,
            circuit=v.circuit,
            conditions=conditions,
            steps=self.steps if scales is None else {},
            loaded=v.loosely_held(conditions),
            meter_ohm=self.priors.meter["ohm"],
            input=source,
            scales=both,
        )

    def settings(self, simulator: Simulator) -> tuple[Setting, ...]:
        """The usual conditions, and those of expected figures in which voltages move."""
        usual = self.design.conditions
        told = [e.conditions for e in self.design.expectations if e.conditions is not None]
        wanted = [c for c in dict.fromkeys(told) if c != usual and c.supply_V == usual.supply_V]
        whole = variant(self.wiring, Change())
        found = [Setting(usual, "")]
        seen = [self.job(whole, usual, signal=False, scales={})(simulator.worker).volts]
        for conditions in wanted:
            if len(found) > _MOST_CONDITIONS:
                break
            try:
                volts = self.job(whole, conditions, signal=False, scales={})(simulator.worker).volts
            except SimulationError:
                continue
            if all(_apart(volts, other) > _MOVES_V for other in seen):
                seen.append(volts)
                found.append(Setting(conditions, listing(settings_words(conditions, usual))))
        return tuple(found)


def _apart(one: NDArray[Any], other: NDArray[Any]) -> float:
    import numpy as np

    return float(np.nanmax(np.abs(np.nan_to_num(one) - np.nan_to_num(other))))


def spots_of(wiring: Wiring) -> tuple[Spot, ...]:
    """Every place that a probe can touch: the metal of each cube with a contact, and taps."""
    metal = dict.fromkeys(Metal(leg.anchor, leg.terminal) for leg in wiring.legs)
    return (*metal, *wiring.taps)


def nets_at(spots: Sequence[Spot], wiring: Wiring, v: Variant) -> list[int]:
    """Net of each test point in a variant."""
    nets = []
    for spot in spots:
        point = wiring.taps.get(spot) if isinstance(spot, Seam) else wiring.metal.get(spot)
        nets.append(NOWHERE if point is None else v.net_of[point])
    return nets


def _collected(
    plan: Plan,
    faults: tuple[Fault, ...],
    changes: Sequence[tuple[int, float, Change]],
    variants: Sequence[Variant],
    settings: tuple[Setting, ...],
    found: Sequence[Mapping[object, Probed | None]],
) -> Dictionary:
    import numpy as np

    spots = spots_of(plan.wiring)
    shape = (len(settings), len(changes), len(spots))
    mean = np.zeros(shape, dtype=np.float32)
    source_ohm = np.zeros(shape, dtype=np.float32)
    slope = np.zeros((*shape, len(plan.steps)), dtype=np.float32)
    signal = None if plan.input is None else np.zeros(shape[1:], dtype=np.float32)
    loaded_ohm = plan.priors.meter["ohm"]
    for entry, ((index, _, _), v) in enumerate(zip(changes, variants, strict=True)):
        nets = np.array(nets_at(spots, faults[index].wiring or plan.wiring, v))
        there = nets >= 0
        for number in range(len(settings)):
            probed = found[number][v.signature]
            if probed is None:
                mean[number, entry] = np.nan
                continue
            volts, shown = np.nan_to_num(probed.volts), np.nan_to_num(probed.shown)
            with np.errstate(divide="ignore", invalid="ignore"):
                left = np.where(np.abs(volts) > 1e-3, np.clip(shown / volts, 0, 1), 1.0)
                against = np.minimum(loaded_ohm * (1 / np.maximum(left, 1e-3) - 1), 1e10)
            mean[number, entry, there] = shown[nets[there]]
            source_ohm[number, entry, there] = against[nets[there]]
            source_ohm[number, entry, ~there] = 1e10
            slope[number, entry, there] = (probed.slopes * left[:, None])[nets[there]]
            if signal is not None and number == 0 and probed.signal is not None:
                heard = np.nan_to_num(probed.signal) * plan.volts
                signal[entry, there] = heard[nets[there]]
    if not np.isfinite(mean[:, 0]).all():
        raise SimulationError(tr("the board itself cannot be calculated."))
    span = float(np.nanmax(mean) - np.nanmin(mean))
    if signal is not None:
        np.minimum(signal, max(span, 1.0) / 2, out=signal)  # no stage gives more than its supply
    return Dictionary(
        replace(plan.design, board=plan.wiring.board),
        plan.wiring,
        plan.priors,
        faults,
        np.array([i for i, _, _ in changes]),
        np.array([share for _, share, _ in changes]),
        spots,
        settings,
        tuple(plan.steps),
        mean,
        slope,
        source_ohm,
        signal,
        max(span, 0.1),
    )
