"""What would be measured with each fault: the fault dictionary of a board.

A fault dictionary is the usual way to find faults of analogue circuits from few measurements: simulate before
test (J. W. Bandler, A. E. Salama, "Fault diagnosis of analog circuits", Proc. IEEE 73 (1985), 1279-1325; from
memory). Here each entry is a normal distribution: a mean for every test point, and how it moves with every
part within its tolerance, so that readings that move together are not taken for independent ones.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from snapcheck.board import Design, Seam
from snapcheck.diagnose._faults import Change, Fault, designed, faults_of
from snapcheck.diagnose._plan import Plan, Setting
from snapcheck.diagnose._priors import Priors
from snapcheck.diagnose._variants import NOWHERE, Variant
from snapcheck.diagnose._wiring import Metal, Wiring, split
from snapcheck.errors import SimulationError
from snapcheck.kit import Kit
from snapcheck.simulate import Probed, Simulator, Worker, in_turns
from snapcheck.watch import stop_if_asked
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: a test point: the metal of a cube, or a tap
Spot = Metal | Seam


@dataclass(frozen=True, eq=False)
class Dictionary:
    """What would be measured, for every fault in every degree ("entry").

    Attributes:
        design: gives conditions, input and title.
        wiring: the board.
        priors: weights and the meter.
        plan: how variants of the board are measured.
        faults: all hypotheses; the first is that nothing is wrong.
        fault_of: (entries,) index of each entry's fault.
        degree_of: (entries,) index of its degree.
        share: (entries,) of its fault.
        spots: every test point.
        settings: conditions under which one measures; the first are the usual ones.
        varied: names of the parts that vary, one column of slopes each.
        mean: (settings, entries, spots) V against the plate as the meter shows it.
        slope: (settings, entries, spots, varied) V for one standard deviation of a part.
        source_ohm: (settings, entries, spots) what the meter works against.
        signal: (entries, spots) V at 1 kHz for the usual signal at the input, or V peak to peak that an
            oscillator makes; None without either.
        loose: (settings, entries, spots) V by which a reading may be off beside all that.
        span_V: the most that any two points lie apart.
    """

    design: Design
    wiring: Wiring
    priors: Priors
    plan: Plan = field(repr=False)
    faults: tuple[Fault, ...]
    fault_of: NDArray[Any] = field(repr=False)
    degree_of: NDArray[Any] = field(repr=False)
    share: NDArray[Any] = field(repr=False)
    spots: tuple[Spot, ...] = field(repr=False)
    settings: tuple[Setting, ...]
    varied: tuple[str, ...]
    mean: NDArray[Any] = field(repr=False)
    slope: NDArray[Any] = field(repr=False)
    source_ohm: NDArray[Any] = field(repr=False)
    signal: NDArray[Any] | None = field(repr=False)
    loose: NDArray[Any] = field(repr=False)
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
    if not any(part.device.drive for part in wiring.circuit.parts):
        raise SimulationError(
            tr("nothing drives this circuit: it has no battery, no supply and no input."),
            way_out=tr("Add the supply to the layout, or photograph the board with it."),
        )
    faults = (designed(priors.designed), *faults_of(wiring, priors), *others)
    plan = Plan.of(design, wiring, priors).timed(simulator)
    settings = plan.settings(simulator)
    return simulated(plan, faults, simulator, settings, processes)


class Entry(NamedTuple):
    """One line of a dictionary: a fault in one degree, in one specimen."""

    fault: int
    degree: int
    share: float
    change: Change


def simulated(
    plan: Plan,
    faults: tuple[Fault, ...],
    simulator: Simulator,
    settings: tuple[Setting, ...],
    processes: int | None = None,
) -> Dictionary:
    """The dictionary of these faults; see `dictionary`."""
    extreme = plan.specimens()
    entries = [
        Entry(i, degree, 1 / (len(f.degrees) * len(extreme)), change + specimen)
        for i, f in enumerate(faults)
        for degree, change in enumerate(f.degrees)
        for specimen in extreme
    ]
    variants = [plan.variant(faults[e.fault], e.change) for e in entries]
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
    return _collected(plan, faults, entries, variants, settings, found)


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
    entries: Sequence[Entry],
    variants: Sequence[Variant],
    settings: tuple[Setting, ...],
    found: Sequence[Mapping[object, Probed | None]],
) -> Dictionary:
    spots = spots_of(plan.wiring)
    shape = (len(settings), len(entries), len(spots))
    mean = np.zeros(shape, dtype=np.float32)
    source_ohm = np.zeros(shape, dtype=np.float32)
    slope = np.zeros((*shape, len(plan.steps)), dtype=np.float32)
    loose = np.zeros(shape, dtype=np.float32)
    signal = np.zeros(shape[1:], dtype=np.float32) if plan.signals else None
    unit_V = plan.volts or 1.0
    loaded_ohm = plan.priors.meter["ohm"]
    for entry, (told, v) in enumerate(zip(entries, variants, strict=True)):
        nets = np.array(nets_at(spots, faults[told.fault].wiring or plan.wiring, v))
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
                heard = np.nan_to_num(probed.signal) * unit_V
                signal[entry, there] = heard[nets[there]]
            if probed.loose is not None:
                loose[number, entry, there] = probed.loose[nets[there]]
    if not np.isfinite(mean[:, 0]).all():
        raise SimulationError(tr("the board itself cannot be calculated."))
    span = float(np.nanmax(mean) - np.nanmin(mean))
    if signal is not None and plan.input is not None:
        np.minimum(signal, max(span, 1.0) / 2, out=signal)  # no stage gives more than its supply
    return Dictionary(
        replace(plan.design, board=plan.wiring.board),
        plan.wiring,
        plan.priors,
        plan,
        faults,
        np.array([e.fault for e in entries]),
        np.array([e.degree for e in entries]),
        np.array([e.share for e in entries]),
        spots,
        settings,
        tuple(plan.steps),
        mean,
        slope,
        source_ohm,
        signal,
        loose,
        max(span, 0.1),
    )
