"""What a meter shows on every net of a circuit, and how far that moves with each part: for fault finding."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from contextvars import copy_context
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit, Part
from snapcheck.errors import SimulationError
from snapcheck.simulate._netlist import NO_SCALES, Stimulus
from snapcheck.simulate._transient import command
from snapcheck.simulate._worker import Worker
from snapcheck.simulate._write import write_netlist
from snapcheck.words import tr

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

#: the meter while it is not on a net, ohm
_NOT_THERE_OHM = 1e13
#: frequency of the signal that is looked for, Hz
SIGNAL_Hz = 1000.0


@dataclass(frozen=True)
class Probed:
    """Direct voltages of every net, and a signal's size.

    Attributes:
        volts: (nets,) against the plate, nothing connected; NaN for a net that is not solved.
        shown: (nets,) what a meter of the given resistance shows there.
        slopes: (nets, varied) how `volts` changes when one part changes by its step.
        signal: (nets,) V at 1 kHz for 1 V at the input's source; None without an input. Of an oscillator:
            V peak to peak that it makes itself.
        loose: (nets,) V by which `shown` may be off beside all that; None: none.
    """

    volts: NDArray[Any]
    shown: NDArray[Any]
    slopes: NDArray[Any]
    signal: NDArray[Any] | None
    loose: NDArray[Any] | None = None


def probe(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    *,
    steps: Mapping[str, float],
    loaded: Collection[int] = (),
    meter_ohm: float = 1e7,
    input: Part | int | None = None,
    scales: Mapping[str, float] = NO_SCALES,
    near: Sequence[tuple[int, float]] = (),
) -> Probed:
    """Measure a circuit with a meter.

    Args:
        steps: part name to the factor on what varies of it, one slope each, in this order.
        loaded: nets where the meter's resistance is to be counted in.
        meter_ohm: of the meter.
        input: where a signal goes in: an input cube, or the net that a generator drives.
        scales: part name to a factor that holds throughout, as for `write_netlist`.
        near: (net, V) each, where the search for the operating point begins.

    Raises:
        SimulationError: there is no operating point.
    """
    stimulus = Stimulus(input=input, ac=input is not None, near=tuple(near))
    netlist = write_netlist(circuit, conditions, stimulus, own_models=True, scales=scales)
    count = circuit.net_count
    nodes = [netlist.node_of(net) for net in range(count)]
    asked = sorted({node for node in nodes if node not in (None, "0")})
    where = [None if n is None else -1 if n == "0" else asked.index(n) for n in nodes]
    on = [net for net in sorted(loaded) if nodes[net] not in (None, "0")]
    lines = [f"rmeter{net} {nodes[net]} 0 {_NOT_THERE_OHM:g}" for net in on] + netlist.lines

    changes: list[str] = []
    rows: list[dict[int, float]] = [{}]
    undo: dict[int, float] = {}
    moved = []
    for number, (name, factor) in enumerate(steps.items()):
        row = {}
        for change, value in netlist.changeable.get(name, ()):
            row[len(changes)] = value * factor
            changes.append(change)
        if row:
            rows.append({**undo, **row})
            undo = dict(zip(row, (v for _, v in netlist.changeable[name]), strict=True))
            moved.append(number)
    for net in on:
        rows.append({**undo, len(changes): meter_ohm})
        undo = {len(changes): _NOT_THERE_OHM}
        changes.append(f"alter rmeter{net} =")
    table = np.full((len(rows), len(changes)), np.nan)
    for index, row in enumerate(rows):
        for column, value in row.items():
            table[index, column] = value
    first = [(f"ac lin 1 {SIGNAL_Hz:g} {SIGNAL_Hz:g}", asked)] if input is not None else []
    answers = worker.loop(lines, frozenset(netlist.nodes), [("op", asked)], changes, table, first=first)
    if answers[0] is None:
        raise SimulationError(tr("ngspice finds no operating point of this circuit."))

    def by_net(values: Sequence[float] | NDArray[Any]) -> NDArray[Any]:
        return np.array([np.nan if w is None else 0.0 if w < 0 else values[w] for w in where])

    volts = by_net(answers[0][0])
    slopes = np.zeros((count, len(steps)))
    shown = volts.copy()
    for number, answer in zip(moved, answers[1 : 1 + len(moved)], strict=True):
        if answer is not None:
            slopes[:, number] = np.nan_to_num(by_net(answer[0]) - volts)
    for net, answer in zip(on, answers[1 + len(moved) :], strict=True):
        if answer is not None:
            shown[net] = by_net(answer[0])[net]
    signal = None
    if input is not None:
        signal = by_net([abs(answers[0][1][node][0]) for node in asked])
    return Probed(volts, shown, slopes, signal)


def probe_in_time(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    *,
    duration_s: float,
    step_s: float,
    scales: Mapping[str, float] = NO_SCALES,
) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """A circuit some time after power-on: (mean, peak to peak, value at the end) of each net over the last
    half.

    Args:
        duration_s, step_s: of the run.
        scales: as for `probe`.

    Raises:
        SimulationError: the run did not come to its end.
    """
    stimulus = Stimulus(power_on=True, kick=True)
    netlist = write_netlist(circuit, conditions, stimulus, own_models=True, scales=scales)
    wanted = {
        net: node for net in range(circuit.net_count) if (node := netlist.node_of(net)) not in (None, "0")
    }
    asked = sorted({node for node in wanted.values() if node is not None})
    run = command(duration_s, step_s)
    (answer,) = worker.solve(netlist.lines, frozenset(netlist.nodes), [(run, ["time", *asked])])
    time = answer["time"]
    if time[-1] < 0.99 * duration_s:
        raise SimulationError(tr("the calculation of the waveform stopped before its end."))
    late = time >= duration_s / 2
    weights = np.gradient(time[late])
    mean, swing, end = (np.zeros(circuit.net_count) for _ in range(3))
    for net, node in wanted.items():
        values = answer[node][late]
        mean[net] = (values * weights).sum() / weights.sum()
        swing[net] = values.max() - values.min()
        end[net] = values[-1]
    return mean, swing, end


def in_turns(
    worker: Worker, jobs: Sequence[Callable[[Worker], Probed]], processes: int = 1
) -> list[Probed | None]:
    """Do many jobs with several processes; None for each that has no answer.

    Args:
        worker: one of the processes; the others are started, and stopped at the end.
        jobs: each is given the process that it may ask.
        processes: how many.
    """

    def share(own: Worker, start: int) -> list[Probed | None]:
        return [_answer(job, own) for job in jobs[start::processes]]

    processes = max(1, min(processes, len(jobs) // 20))
    with ExitStack() as stack:
        workers = [worker, *(stack.enter_context(Worker(worker.limit_s)) for _ in range(processes - 1))]
        if processes == 1:
            return share(worker, 0)
        pool = stack.enter_context(ThreadPoolExecutor(processes))
        shares = [pool.submit(copy_context().run, share, own, start) for start, own in enumerate(workers)]
        found: list[Probed | None] = [None] * len(jobs)
        for start, done in enumerate(shares):
            found[start::processes] = done.result()
    return found


def _answer(job: Callable[[Worker], Probed], worker: Worker) -> Probed | None:
    try:
        return job(worker)
    except SimulationError:
        return None
