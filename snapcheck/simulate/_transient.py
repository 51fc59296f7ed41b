"""Behaviour in time: sine response and clipping, oscillation, delays.

Gear integration throughout: with the trapezoidal rule an astable rings on every time step.
An oscillator is judged by its waveform from power-on, never by its operating point.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Drive, Store
from snapcheck.errors import SimulationError
from snapcheck.kit import ValueForm
from snapcheck.simulate import _operating, _response
from snapcheck.simulate._models import microphone_slope, supply_volts
from snapcheck.simulate._netlist import NO_SCALES, Stimulus
from snapcheck.simulate._waveform import Rhythm, crossings, distortion, rhythm, swing
from snapcheck.simulate._worker import Worker
from snapcheck.simulate._write import write_netlist
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: lengths tried for an oscillation from power-on and for a delay, s
_SPANS_s = (0.005, 0.05, 0.5, 5.0, 50.0)
#: shortest and longest run of the second look for an oscillation, s, and its time steps
_SHORTEST_s, _LONGEST_s, _FINE_STEPS = 5e-6, 500.0, 20_000
#: what a run and the next, longer one may differ by
_SETTLED = 0.01
#: how much longer each of its runs is than the one before
_LONGER = 5
#: steps a period needs; with fewer, integration eats the oscillation, and longer runs have fewer still
_LEAST_STEPS = 40
#: transistors that are held off, one after the other, in the second look
_HELD = 2
#: how far parts lie apart there: little beside their tolerance, and beside how sure a frequency is
_APART = 1e-3
#: of a circuit at rest no voltage moves by more (V) once its slowest part has had this many time constants
_REST_V, _REST_CONSTANTS = 1e-4, 10.0
_DELAY_SPANS_s = (0.01, 0.1, 1.0, 10.0, 100.0, 1000.0)
#: time steps of one span; ngspice takes shorter ones where the wave is steep
_STEPS = 4000
#: a pulse is over when this share of its height is left
_BACK = 0.1
#: a slow rise: at least this long (s), and so many of the circuit's time constants
_LEAST_RISE_s, _SLOW_RISE = 0.2, 200.0
#: seconds of computing that a search through all spans may take
_SEARCH_s = 20.0
#: an oscillation smaller than this is none (V)
_LEAST_SWING_V = 0.05
#: what loses this share of its swing from the third quarter of a run to the fourth dies away
_DYING = 0.02
#: cycles that the second half of a span must hold
_LEAST_CYCLES = 4
#: output counts as clipped from this distortion on: amplifier power is commonly quoted at 10 %
#: (IEC 60268-3 leaves the figure to the maker; common practice)
CLIPPED = 0.10
#: rungs of the search for it to a factor of four (then 1.1 % apart) or eight
_RUNGS = 128
#: looks from an answer that is near, and how many rungs each goes on at most
_NEAR, _FAR = 6, 32
#: amplitudes beyond which it is not looked for (V); a swing that counts as nothing (V peak to peak)
_LOWEST_V, _HIGHEST_V, _SILENT_V = 1e-7, 100.0, 1e-6
#: sine runs: periods to settle, periods to look at, steps a period
_SETTLE, _LOOK, _PER_PERIOD = 6, 4, 200


@dataclass(frozen=True)
class Waveforms:
    """Voltages over time.

    Attributes:
        time_s: shape (n,), not evenly spaced.
        voltages: net number to shape (n,), V.
        end_s: length of the run.
        amperes: current into the terminal that was asked for, A, shape (n,); None where none was.
    """

    time_s: NDArray[Any]
    voltages: Mapping[int, NDArray[Any]]
    end_s: float
    amperes: NDArray[Any] | None = None

    def voltage(self, net: int) -> NDArray[Any]:
        """Voltage of a net, shape (n,); zeros for the plate."""
        return np.zeros(len(self.time_s)) if net == 0 else self.voltages[net]

    def late(self, net: int, share: float = 0.5) -> tuple[NDArray[Any], NDArray[Any]]:
        """Time and voltage of the last `share` of the run."""
        keep = self.time_s >= self.end_s * (1 - share)
        return self.time_s[keep], self.voltage(net)[keep]


@dataclass(frozen=True)
class SineResponse:
    """What a sine at the input does to the output.

    Attributes:
        frequency_Hz, source_V: of the sine, amplitude at the source (a microphone's: at its gate).
        input_V: peak amplitude at the input's net.
        output_swing_V: peak to peak.
        distortion: total harmonic distortion, fraction.
        waveforms: with input and output nets.
    """

    frequency_Hz: float
    source_V: float
    input_V: float
    output_swing_V: float
    distortion: float
    waveforms: Waveforms

    @property
    def clips(self) -> bool:
        """Of the greatest clean sine: whether a greater one is distorted, as far as was looked."""
        return self.source_V <= _HIGHEST_V


@dataclass(frozen=True)
class Delay:
    """From the change of conditions (or power-on) until half of the voltage's whole change.

    Attributes:
        seconds: the delay.
        before_V, after_V: the voltage at rest and in the end.
        waveforms: the run.
    """

    seconds: float
    before_V: float
    after_V: float
    waveforms: Waveforms


def run(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    stimulus: Stimulus,
    nets: Iterable[int],
    duration_s: float,
    step_s: float,
    *,
    scales: Mapping[str, float] = NO_SCALES,
    limit_s: float | None = None,
    through: tuple[Part, str] | None = None,
) -> Waveforms:
    """One transient analysis from the operating point (or from zero, with ``power_on``).

    Raises:
        SimulationError: it cannot be solved or takes too long.
    """
    netlist = write_netlist(circuit, conditions, stimulus, scales=scales)
    wanted = {net: netlist.node(net) for net in nets if netlist.node_of(net) is not None}
    terms = [] if through is None else netlist.currents.get(through[0].name, {}).get(through[1], [])
    names = {node for term in terms for node in (term.plus, term.minus) if node is not None}
    names |= set(wanted.values())
    analyses = [(command(duration_s, step_s), ["time", *sorted(names - {"0"})])]
    (answer,) = worker.solve(netlist.lines, frozenset(netlist.nodes), analyses, limit_s=limit_s)
    waves = collect(wanted, answer, duration_s)
    if through is None:
        return waves
    zero = 0 * waves.time_s
    flow = zero
    for term in terms:
        minus = zero if term.minus is None else answer.get(term.minus, zero)
        flow = flow + term.factor * (answer.get(term.plus, zero) - minus)
    return replace(waves, amperes=flow)


def command(duration_s: float, step_s: float) -> str:
    """The ngspice command of a transient."""
    return f"tran {step_s:.6g} {duration_s:.6g} 0 {step_s:.6g}"


def collect(wanted: Mapping[int, str], answer: Mapping[str, Any], duration_s: float) -> Waveforms:
    """Waveforms from ngspice's vectors. Raises SimulationError where it gave up before the end."""
    time = answer["time"]
    if time[-1] < 0.99 * duration_s:
        raise SimulationError(tr("the calculation of the waveform stopped before its end."))
    zero = np.zeros(len(time))
    return Waveforms(time, {net: answer.get(node, zero) for net, node in wanted.items()}, duration_s)


def source_amplitude(source: Part | int) -> float:
    """Usual amplitude of an input, V at its source: music at an audio input, speech at a microphone."""
    if isinstance(source, int):
        return 0.01
    p = source.parameters
    if source.device.drive is Drive.SENSOR:
        return p.get("signal_A", 5e-6) / microphone_slope(p)
    return p.get("amplitude_V", 0.01)


def sine(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    source: Part | int,
    output: int,
    frequency_Hz: float,
    source_V: float,
    *,
    scales: Mapping[str, float] = NO_SCALES,
) -> SineResponse:
    """Response to a sine of a given amplitude at the source."""
    periods = _SETTLE + _LOOK
    inlet = _response.input_net(source)
    waves = run(
        worker,
        circuit,
        conditions,
        Stimulus(input=source, sine=(source_V, frequency_Hz)),
        {inlet, output},
        periods / frequency_Hz,
        1 / (frequency_Hz * _PER_PERIOD),
        scales=scales,
    )
    if output not in waves.voltages and output != 0:
        raise SimulationError(tr("the output is not connected to anything that is solved."))
    if inlet not in waves.voltages and inlet != 0:  # a source of which one end touches nothing
        raise SimulationError(tr("the input is not connected to anything that is solved."))
    thd, _ = distortion(waves.time_s, waves.voltage(output), frequency_Hz, _LOOK)
    _, late_out = waves.late(output, _LOOK / periods)
    _, late_in = waves.late(inlet, _LOOK / periods)
    return SineResponse(frequency_Hz, source_V, swing(late_in) / 2, swing(late_out), thd, waves)


def clipping(
    run: Callable[[float], SineResponse], usual_V: float, near_V: float | None = None
) -> SineResponse | None:
    """The greatest sine that comes out with distortion below `CLIPPED`; None when nothing comes out.

    Amplitudes lie on a ladder, `_RUNGS` to a factor of four upwards from the usual one, or to a factor of
    eight downwards where that is distorted already. The answer is a clean rung below one that is not.

    Args:
        run: the response to a sine of an amplitude at the source, V.
        usual_V: the foot of the ladder.
        near_V: the answer for a circuit much like this one, looked at first: runs are what takes time.
    """
    seen = {0: run(usual_V)}
    if seen[0].output_swing_V <= _SILENT_V:
        return None  # and less still from less
    factor = 4.0 if _dirt(seen[0]) <= 0 else 8.0

    def dirt(rung: int) -> float:
        if rung not in seen:
            seen[rung] = run(usual_V * factor ** (rung / _RUNGS))
        return _dirt(seen[rung])

    good, bad = (0, None) if factor == 4 else (None, 0)
    if near_V is not None:
        near = round(_RUNGS * math.log(near_V / usual_V) / math.log(factor))
        good, bad = _around(dirt, near, good, bad)
    while bad is None:
        assert good is not None
        if seen[good].source_V > _HIGHEST_V:
            return seen[good]
        rung = _RUNGS * (good // _RUNGS + 1)
        good, bad = (rung, None) if dirt(rung) <= 0 else (good, rung)
    while good is None:
        rung = _RUNGS * (-(-bad // _RUNGS) - 1)
        if usual_V * factor ** (rung / _RUNGS) < _LOWEST_V:
            return None
        good, bad = (rung, bad) if dirt(rung) <= 0 else (None, rung)
    return seen[_edge(dirt, good, bad)]


def _dirt(found: SineResponse) -> float:
    """How far a sine is from clipping: at most 0 where it comes out clean."""
    if found.output_swing_V <= _SILENT_V:
        return 1.0
    return min(1.0, math.log(max(found.distortion, 1e-9) / CLIPPED))


def _around(
    dirt: Callable[[int], float], near: int, good: int | None, bad: int | None
) -> tuple[int | None, int | None]:
    """A clean rung and one above that is not, looked for from one near the edge, as the slope of the last
    two says; what is known beforehand where that does not lead there."""
    if (good is not None and near <= good) or (bad is not None and near >= bad):
        return good, bad
    up = 1 if dirt(near) <= 0 else -1
    last, rung = near, near + up
    for _ in range(_NEAR):
        if up > 0 and bad is not None and rung >= bad:
            return last, bad
        if up < 0 and good is not None and rung <= good:
            return good, last
        here, before = dirt(rung), dirt(last)
        if (here <= 0) != (up > 0):
            return (last, rung) if up > 0 else (rung, last)
        steeper = (here - before) / (rung - last)
        ahead = math.ceil(abs(here) / steeper) if steeper > 0 else _FAR
        last, rung = rung, rung + up * min(max(ahead, 1), _FAR)
    return (last, bad) if up > 0 else (good, last)


def _edge(dirt: Callable[[int], float], good: int, bad: int) -> int:
    """The last clean rung: false position that weighs down the end that stays (Illinois), or halving."""
    low, high = dirt(good), dirt(bad)
    turn = before = 0
    while bad - good > 1:
        turn += 1
        share = 0.5 if turn % 3 == 0 else low / (low - high)
        rung = min(max(good + round((bad - good) * share), good + 1), bad - 1)
        found = dirt(rung)
        if found <= 0:
            good, low, high, before = rung, found, high / 2 if before < 0 else high, -1
        else:
            bad, high, low, before = rung, found, low / 2 if before > 0 else low, 1
    return good


class Looked(NamedTuple):
    """A search for a steady oscillation.

    Attributes:
        longest_s: the longest run looked at, s.
        uneven: what went to and fro without a steady period, None where nothing did.
    """

    longest_s: float
    uneven: Rhythm | None = None


def oscillation(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    net: int,
    *,
    scales: Mapping[str, float] = NO_SCALES,
    through: tuple[Part, str] | None = None,
) -> tuple[tuple[Rhythm, Waveforms] | None, Looked]:
    """The steady oscillation of a net, None where none was seen, and what was looked at.

    First from power-on. A circuit of equal halves may then rest in a balance that no real one, with parts
    never quite equal, would find; and what builds up over many cycles is lost in steps too long for it. So
    there is a second look: from the balance with one transistor held off, then let go, with parts slightly
    apart, in runs and steps that the circuit's own time constants ask for.

    Raises:
        SimulationError: there is no answer, or the search takes too long.
    """
    left = _clock(_SEARCH_s)

    def look(stimulus: Stimulus, span: float, steps: int, apart: Mapping[str, float]) -> Waveforms:
        return run(
            worker, circuit, conditions, stimulus, [net], span, span / steps,
            scales=apart, limit_s=left(), through=through,
        )  # fmt: skip

    uneven: Rhythm | None = None
    for span in _SPANS_s:
        waves = look(Stimulus(power_on=True, kick=True), span, _STEPS, scales)
        if net not in waves.voltages:
            return None, Looked(span)
        if _coarse(waves, net, _STEPS):
            break
        found = steady(waves, net)
        if found is not None:
            return (found, waves), Looked(span)
        uneven = lasting(waves, net)
    longest = span
    constants = time_constants_s(circuit)
    if not constants:
        return None, Looked(longest, uneven)
    apart = {
        part.name: scales.get(part.name, 1.0) * (1 + _APART * (i % 3 - 1))
        for i, part in enumerate(circuit.parts)
    }
    first = max(_SHORTEST_s, min(8 * constants[0], _LONGEST_s))
    for held in _operating.holds(_operating.solve(worker, circuit, conditions))[:_HELD]:
        span = first
        seen: tuple[Rhythm, Waveforms] | None = None
        while True:
            try:
                waves = look(Stimulus(held=held), span, _FINE_STEPS, apart)
            except SimulationError:
                break
            if _coarse(waves, net, _FINE_STEPS):
                break
            longest = max(longest, span)
            before, found = seen, steady(waves, net)
            seen = None if found is None else (found, waves)
            if seen and before and _alike(seen[0], before[0]):
                return seen, Looked(span)
            rests = span > _REST_CONSTANTS * constants[-1] and swing(waves.late(net)[1]) < _REST_V
            if rests or span >= _LONGEST_s:
                break
            span = min(_LONGER * span, _LONGEST_s)
        if seen is not None:
            return seen, Looked(seen[1].end_s)
    return None, Looked(longest, uneven)


def _alike(one: Rhythm, other: Rhythm) -> bool:
    """Whether two runs show the same oscillation, settled."""
    return (
        abs(one.frequency_Hz - other.frequency_Hz) < _SETTLED * one.frequency_Hz
        and abs(one.swing_V - other.swing_V) < _SETTLED * one.swing_V
    )


def _coarse(waves: Waveforms, net: int, steps: int) -> bool:
    """Whether a run shows something faster than its steps can follow."""
    found = rhythm(*waves.late(net))
    return (
        found is not None
        and found.swing_V >= _LEAST_SWING_V
        and found.frequency_Hz * waves.end_s > steps / _LEAST_STEPS
    )


def time_constants_s(circuit: Circuit) -> list[float]:
    """Time constants that parts of a circuit make together, ascending, s.

    R·C of each capacitor with the greatest resistance that shares a net with it, and 2π·√(L·C) of each coil
    with each capacitor (Thomson's formula). They say how long to look and how finely, not what happens.
    """
    ohms: dict[int, float] = {}
    farads, henries = [], []
    for part in circuit.parts:
        value = part.cube.value
        if not isinstance(value, (int, float)) or not value > 0:
            continue
        if part.device.ohmic:
            for net in part.nets.values():
                ohms[net] = max(ohms.get(net, 0.0), float(value))
        elif part.device.store is Store.CHARGE:
            farads.append((float(value), set(part.nets.values()) - {0}))
        elif part.device.store is Store.FLUX and part.kind.value_form is ValueForm.HENRIES:
            henries.append(float(value))
    found = [farad * max((ohms.get(net, 0.0) for net in nets), default=0.0) for farad, nets in farads]
    found += [2 * math.pi * math.sqrt(henry * farad) for henry in henries for farad, _ in farads]
    return sorted(seconds for seconds in found if seconds > 0)


def _clock(seconds: float) -> Callable[[], float]:
    """Seconds left of a time for computing; at least one, so that the simulator tells the overrun."""
    end = time.monotonic() + seconds
    return lambda: max(1.0, end - time.monotonic())


def steady(waves: Waveforms, net: int) -> Rhythm | None:
    """The rhythm of the second half of a run, if it is a steady one."""
    found = lasting(waves, net)
    return None if found is None or found.jitter > 0.1 else found


def lasting(waves: Waveforms, net: int) -> Rhythm | None:
    """The rhythm of the second half of a run, if it neither grows nor dies; its periods may differ."""
    time, values = waves.late(net, 0.5)
    found = rhythm(time, values)
    if found is None or found.swing_V < _LEAST_SWING_V or found.periods < _LEAST_CYCLES:
        return None
    third, fourth = values[time < waves.end_s * 0.75], values[time >= waves.end_s * 0.75]
    change = swing(fourth) - swing(third)
    if not -_DYING * found.swing_V <= change <= 0.1 * found.swing_V:
        return None
    return found


def delay(
    worker: Worker,
    circuit: Circuit,
    before: Conditions,
    after: Conditions | None,
    net: int,
    *,
    scales: Mapping[str, float] = NO_SCALES,
) -> Delay | None:
    """Time until a net has made half of its change after `after` sets in (None: after power-on).

    Returns:
        None when the voltage does not change by at least 50 mV or never gets half way in 1000 s.
    """
    end = _operating.solve(worker, circuit, before if after is None else after, scales=scales).voltage(net)
    start = 0.0 if after is None else _operating.solve(worker, circuit, before, scales=scales).voltage(net)
    if start is None or end is None or abs(end - start) < _LEAST_SWING_V:
        return None
    middle = (start + end) / 2
    left = _clock(_SEARCH_s)
    stimulus = Stimulus(power_on=True) if after is None else Stimulus(after=after)
    for span in _DELAY_SPANS_s:
        waves = run(
            worker, circuit, before, stimulus, [net], span, span / _STEPS, scales=scales, limit_s=left()
        )
        up, down = crossings(waves.time_s, waves.voltage(net), middle)
        turns = up if end > start else down
        if len(turns) and abs(float(waves.voltage(net)[-1]) - end) < abs(end - start) * 0.3:
            return Delay(float(turns[-1]), start, end, waves)
    return None


def pulse(
    worker: Worker,
    circuit: Circuit,
    before: Conditions,
    after: Conditions,
    net: int,
    *,
    scales: Mapping[str, float] = NO_SCALES,
) -> float | None:
    """How long a net stays away from rest after `after` sets in, s: from half height to half height.

    Returns:
        None when it does not leave its rest by 50 mV, or does not come back to it within 1000 s.
    """
    left = _clock(_SEARCH_s)
    for span in _DELAY_SPANS_s:
        waves = run(
            worker, circuit, before, Stimulus(after=after), [net], span, span / _STEPS,
            scales=scales, limit_s=left(),
        )  # fmt: skip
        volts = waves.voltage(net)
        away = np.abs(volts - volts[0])
        height = float(away.max())
        if height < _LEAST_SWING_V or away[-1] > _BACK * height:
            continue
        up, down = crossings(waves.time_s, away, height / 2)
        if len(up) and len(down) and down[-1] - up[0] > _LEAST_STEPS * span / _STEPS:
            return float(down[-1] - up[0])
    return None


def thresholds(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    source: Part | int,
    net: int,
    *,
    scales: Mapping[str, float] = NO_SCALES,
) -> tuple[float | None, float | None]:
    """Volts at the input where a net is half way as the input slowly rises, and as it falls again.

    The input goes from 0 V to the highest supply and back, slowly beside every time constant of the circuit.
    None where the net does not change by 50 mV.
    """
    highest = max((supply_volts(p, conditions) for p in circuit.parts if p.device.supplies), default=0.0)
    rise = min(max(_LEAST_RISE_s, _SLOW_RISE * max(time_constants_s(circuit), default=0.0)), _LONGEST_s)
    inlet = _response.input_net(source)
    stimulus = Stimulus(input=source, ramp=(highest, rise))
    waves = run(
        worker, circuit, conditions, stimulus, {inlet, net}, 2 * rise, rise / _FINE_STEPS, scales=scales
    )
    volts, given = waves.voltage(net), waves.voltage(inlet)
    if swing(volts) < _LEAST_SWING_V:
        return None, None
    up, down = crossings(waves.time_s, volts, float(volts.max() + volts.min()) / 2)
    turns = np.sort(np.concatenate([up, down]))
    there, back = turns[turns <= rise], turns[turns > rise]

    def at(seconds: float) -> float:
        return float(np.interp(seconds, waves.time_s, given))

    return (at(there[0]) if len(there) else None), (at(back[-1]) if len(back) else None)


def mean_and_rms(
    time: NDArray[Any], values: NDArray[Any], periods: float, period_s: float
) -> tuple[float, float]:
    """Mean and root mean square of the last whole periods of a waveform: ∫x dt/T, √(∫x² dt/T).

    (IEC 60050-103, mean value and root-mean-square value.)
    """
    start = float(time[-1]) - max(1, math.floor(periods)) * period_s
    grid = np.concatenate([[start], time[time > start]])
    taken = np.interp(grid, time, values)
    length = float(grid[-1] - grid[0])
    return float(np.trapezoid(taken, grid)) / length, math.sqrt(float(np.trapezoid(taken**2, grid)) / length)
