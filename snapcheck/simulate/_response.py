"""The frequency response: gain, -3 dB band, input and output impedance."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.board import Cell, Conditions, Probe
from snapcheck.circuit import Circuit, Part, terminal_word
from snapcheck.errors import SimulationError
from snapcheck.simulate._netlist import NO_SCALES, Netlist, Stimulus
from snapcheck.simulate._worker import Worker
from snapcheck.simulate._write import write_netlist
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: span of a response and its points a decade
START_Hz, STOP_Hz, PER_DECADE = 1.0, 10e6, 40

#: bend of a curve (dB) between three neighbouring points beyond which more are asked for between them, so
#: that what is read off between points is right within a fiftieth of a decibel; how much finer, how often
_BEND_dB, _FINER, _ROUNDS = 0.15, 8, 3

#: how far from where a circuit's own response bends that of a specimen may, as a ratio of frequencies
_ELSEWHERE = 1.5

#: depth below a curve's greatest value beyond which it is not looked at closely (dB)
_DEPTH_dB = 120.0

#: a unit source that brings less than this to its own net drives nothing: what is there crept through
#: insulation, and a gain from it would be none
LEAST_INPUT = 1e-5


@dataclass(frozen=True)
class FrequencyResponse:
    """How a circuit passes a small signal, from the net of its input to the net of its output.

    Attributes:
        frequency_Hz: shape (n,), ascending; closer where the curve bends.
        gain: shape (n,), complex: output voltage over voltage at the input's net.
        input_ohm: shape (n,), complex: what the source sees, or None where nothing measures it.
        output_ohm: shape (m,), complex: what a load would see with the loudspeaker at the output taken
            away, or None where it was not asked for.
        output_Hz: shape (m,), the frequencies of `output_ohm`, which bends elsewhere.
    """

    frequency_Hz: NDArray[Any]
    gain: NDArray[Any]
    input_ohm: NDArray[Any] | None = None
    output_ohm: NDArray[Any] | None = None
    output_Hz: NDArray[Any] | None = None

    def gain_dB(self, at_Hz: float) -> float:
        """Gain in dB at a frequency, interpolated."""
        return float(np.interp(math.log(at_Hz), np.log(self.frequency_Hz), self.curve_dB()))

    def curve_dB(self) -> NDArray[Any]:
        """Gain in dB at every frequency, shape (n,); -300 where nothing passes."""
        curve: NDArray[Any] = 20 * np.log10(np.maximum(np.abs(self.gain), 1e-15))
        return curve

    def phase_deg(self) -> NDArray[Any]:
        """Phase in degrees, shape (n,): without jumps, and within ±180° where the gain is greatest."""
        phase: NDArray[Any] = np.degrees(np.unwrap(np.angle(self.gain)))
        top = float(phase[int(np.abs(self.gain).argmax())])
        return phase - 360 * round(top / 360)

    @property
    def peak(self) -> tuple[float, float]:
        """(frequency in Hz, gain in dB) where the gain is greatest."""
        curve = self.curve_dB()
        top = int(curve.argmax())
        return float(self.frequency_Hz[top]), float(curve[top])

    def band(self) -> tuple[float | None, float | None]:
        """Lower and upper frequency (Hz) where the gain is 3.01 dB below its greatest.

        None where the gain does not fall so far within the span.
        """
        curve = self.curve_dB()
        logs = np.log(self.frequency_Hz)
        top = int(curve.argmax())
        edge = float(curve[top]) - 20 * math.log10(math.sqrt(2))
        low = high = None
        for i in range(top, 0, -1):
            if curve[i - 1] < edge:
                low = math.exp(_cross(logs[i - 1], logs[i], curve[i - 1], curve[i], edge))
                break
        for i in range(top, len(curve) - 1):
            if curve[i + 1] < edge:
                high = math.exp(_cross(logs[i], logs[i + 1], curve[i], curve[i + 1], edge))
                break
        return low, high

    def input_impedance(self, at_Hz: float) -> float | None:
        """Magnitude in ohm at a frequency."""
        return _magnitude(self.frequency_Hz, self.input_ohm, at_Hz)

    def output_impedance(self, at_Hz: float) -> float | None:
        """Magnitude in ohm at a frequency."""
        return _magnitude(self.output_Hz, self.output_ohm, at_Hz)


def _cross(x0: float, x1: float, y0: float, y1: float, level: float) -> float:
    return float(x0 + (x1 - x0) * (level - y0) / (y1 - y0))


def _magnitude(frequency: NDArray[Any] | None, values: NDArray[Any] | None, at_Hz: float) -> float | None:
    if values is None or frequency is None:
        return None
    logs = np.log(np.maximum(np.abs(values), 1e-12))
    return float(np.exp(np.interp(math.log(at_Hz), np.log(frequency), logs)))


def net_of_probe(circuit: Circuit, probe: Probe, role: str) -> int:
    """Net of a probe; raises SimulationError when the place has no such terminal."""
    net = circuit.net_of(probe.at, probe.terminal)
    if net is None:
        part = circuit.part_at.get(probe.at)
        cube = (
            part.cube if part else circuit.board.cubes.get(probe.cell) if isinstance(probe.at, Cell) else None
        )
        raise SimulationError(
            tr("the {role} cannot be found: {what} has no {terminal}.", role=role,
               terminal=terminal_word(probe.terminal),
               what=tr("the empty cell") if cube is None else tr(circuit.kit[cube.kind].title)),
            place=str(probe.at),
        )  # fmt: skip
    return net


def resolve_input(circuit: Circuit, probe: Probe | None) -> Part | int | None:
    """What carries the signal: the input cube at the probe or on its net, else the net itself.

    Without a probe, the only audio input or microphone of the board, where there is just one.
    """
    if probe is None:
        inputs = [part for part in circuit.parts if part.device.signal_leg]
        return inputs[0] if len(inputs) == 1 else None
    part = circuit.part_at.get(probe.at)
    if part is not None and part.device.signal_leg:
        return part
    net = net_of_probe(circuit, probe, tr("input"))
    for other, terminal in circuit.parts_on(net):
        if terminal == other.device.signal_leg:
            return other
    return net


def input_net(source: Part | int) -> int:
    """The net that a source drives."""
    if isinstance(source, int):
        return source
    return source.nets[source.device.signal_leg]


def need_input(circuit: Circuit, probe: Probe | None) -> Part | int:
    """Like `resolve_input`, but raises SimulationError where there is none."""
    source = resolve_input(circuit, probe)
    if source is None:
        raise SimulationError(
            tr("this circuit has no input to put a signal to."),
            way_out=tr("Name it in the layout, such as: input A3 signal."),
        )
    return source


def measure(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    input_probe: Probe | None,
    output_probe: Probe,
    *,
    with_output_impedance: bool = True,
    scales: Mapping[str, float] = NO_SCALES,
) -> FrequencyResponse:
    """Two alternating-current analyses: one driven at the input, one at the output."""
    source = need_input(circuit, input_probe)
    output = net_of_probe(circuit, output_probe, tr("output"))
    netlist = write_netlist(circuit, conditions, Stimulus(input=source, ac=True), scales=scales)
    wanted = wanted_vectors(netlist, source, output)

    def curves(answer: dict[str, Any]) -> list[NDArray[Any] | None]:
        found = read_response(netlist, source, output, answer)
        return [found.gain, found.input_ohm]

    response = read_response(netlist, source, output, _sweep(worker, netlist, wanted, curves))
    if not with_output_impedance:
        return response
    if netlist.node_of(output) in (None, "0"):
        return response
    seen = output_impedance(worker, circuit, conditions, source, output, scales=scales)
    return replace(response, output_ohm=seen.output_ohm, output_Hz=seen.output_Hz)


def output_impedance(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    source: Part | int | None,
    output: int,
    *,
    scales: Mapping[str, float] = NO_SCALES,
) -> FrequencyResponse:
    """A response of which only the output impedance is known: one analysis, driven at the output.

    A circuit without an input (a supply, a divider) has one, too; `source` None says that nothing drives it.
    """
    netlist = write_netlist(circuit, conditions, Stimulus(input=source, into_net=output), scales=scales)
    node = netlist.node_of(output)
    if node is None or node == "0":
        raise SimulationError(tr("the output is cut off from every supply, or lies on the plate."))
    wanted = ["frequency", node]
    answer = _sweep(worker, netlist, wanted, lambda found: [found[node]])
    frequency, ohms = seen_from(answer, node, own_loads(circuit, output))
    return FrequencyResponse(frequency, np.zeros(len(frequency)), None, ohms, frequency)


def seen_from(
    answer: Mapping[str, Any], node: str, loads: list[tuple[float, float]]
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Frequencies and output impedance, from ngspice's vectors of a circuit driven at its output."""
    frequency = np.real(answer["frequency"])
    volts = answer.get(node, np.zeros(len(frequency)))
    return frequency, without_loads(volts, frequency, loads)


def _sweep(
    worker: Worker,
    netlist: Netlist,
    wanted: list[str],
    curves: Callable[[dict[str, Any]], list[NDArray[Any] | None]],
) -> dict[str, Any]:
    """ngspice's vectors over the whole span, asked for again where a curve bends between points."""
    nodes = frozenset(netlist.nodes)
    answer: dict[str, Any]
    (answer,) = worker.solve(netlist.lines, nodes, [(sweep_command(), wanted)])
    per_decade = PER_DECADE
    for _ in range(_ROUNDS):
        spans = _bends(np.real(answer["frequency"]), curves(answer))
        if not spans:
            break
        per_decade *= _FINER
        analyses = [(sweep_command(low, high, per_decade), wanted) for low, high in spans]
        finer: list[dict[str, Any]] = worker.solve(netlist.lines, nodes, analyses)
        answer = joined([answer, *finer])
    return answer


def joined(parts: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """ngspice's vectors of several sweeps as of one, each frequency once."""
    if len(parts) == 1:
        return parts[0]
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    _, first = np.unique(np.round(np.log(np.real(whole["frequency"])), 9), return_index=True)
    return {name: values[first] for name, values in whole.items()}


def _bends(frequency: NDArray[Any], curves: list[NDArray[Any] | None]) -> list[tuple[float, float]]:
    """Spans of frequency where a curve (in dB) turns too much from one point to the next to be joined."""
    logs = np.log(frequency)
    bent = np.zeros(len(frequency), dtype=bool)
    for curve in curves:
        if curve is None:
            continue
        size = np.abs(curve)
        if not np.all(np.isfinite(size)) or not size.max() > 0:
            continue
        # what lies this far below the greatest is not read off
        level = 20 * np.log10(np.maximum(size, size.max() * 10 ** (-_DEPTH_dB / 20)))
        between = level[:-2] + (level[2:] - level[:-2]) * (logs[1:-1] - logs[:-2]) / (logs[2:] - logs[:-2])
        bent[1:-1] |= np.abs(level[1:-1] - between) > _BEND_dB / 2
    spans: list[tuple[float, float]] = []
    for i in np.flatnonzero(bent):
        low, high = float(frequency[i - 1]), float(frequency[i + 1])
        if spans and low <= spans[-1][1]:
            spans[-1] = (spans[-1][0], high)
        else:
            spans.append((low, high))
    return spans


def like(response: FrequencyResponse) -> list[str]:
    """Commands for the responses of specimens of a circuit whose own one is known: half as many points, and
    more of them where that needed more, a little around, because specimens bend elsewhere."""
    logs = np.log10(response.frequency_Hz)
    fine = np.flatnonzero(np.diff(logs) < 0.5 / PER_DECADE)
    spans: list[tuple[float, float]] = []
    for i in fine:
        low = max(START_Hz, float(response.frequency_Hz[i]) / _ELSEWHERE)
        high = min(STOP_Hz, float(response.frequency_Hz[i + 1]) * _ELSEWHERE)
        if spans and low <= spans[-1][1]:
            spans[-1] = (spans[-1][0], high)
        else:
            spans.append((low, high))
    return [
        sweep_command(per_decade=PER_DECADE // 2),
        *(sweep_command(low, high, PER_DECADE // 2 * _FINER) for low, high in spans),
    ]


def sweep_command(start: float = START_Hz, stop: float = STOP_Hz, per_decade: int = PER_DECADE) -> str:
    """The ngspice command of a response."""
    return f"ac dec {per_decade} {start:.9g} {stop:.9g}"


def wanted_vectors(netlist: Netlist, source: Part | int, output: int) -> list[str]:
    """Vectors that `read_response` needs."""
    nodes = {netlist.node(input_net(source)), netlist.node(output)} - {"0"}
    branch = [netlist.input_branch] if netlist.input_branch else []
    return ["frequency", *sorted(nodes), *branch]


def read_response(
    netlist: Netlist, source: Part | int, output: int, answer: dict[str, Any]
) -> FrequencyResponse:
    """Gain and input impedance from ngspice's vectors."""
    frequency = np.real(answer["frequency"])
    zero = np.zeros(len(frequency), dtype=complex)
    at_input = answer.get(netlist.node(input_net(source)), zero)
    at_output = answer.get(netlist.node(output), zero)
    with np.errstate(divide="ignore", invalid="ignore"):
        gain = np.where(np.abs(at_input) > LEAST_INPUT, at_output / at_input, 0)
        current = answer.get(netlist.input_branch)
        # the source's branch current flows into it: the load takes the opposite
        input_ohm = (
            None if current is None else np.where(np.abs(current) > 1e-21, at_input / -current, np.inf)
        )
    return FrequencyResponse(frequency, gain, input_ohm)


def own_loads(circuit: Circuit, output: int) -> list[tuple[float, float]]:
    """(ohm, henry) of every loudspeaker from the output straight to the plate."""
    loads = []
    for part, _ in circuit.parts_on(output):
        if part.device.sounds and set(part.nets.values()) == {output, 0}:
            p = part.parameters
            printed = (
                part.cube.value if isinstance(part.cube.value, (int, float)) and part.cube.value > 0 else 8.0
            )
            loads.append(
                (p.get("dc_fraction", 0.85) * printed, p.get("inductance_H_per_ohm", 4e-5) * printed)
            )
    return loads


def without_loads(
    total: NDArray[Any], frequency: NDArray[Any], loads: list[tuple[float, float]]
) -> NDArray[Any]:
    """Impedance of a node after taking parallel loads away: 1/Z = 1/Z_total - Σ 1/Z_load."""
    admittance: NDArray[Any] = 1 / np.where(np.abs(total) > 1e-15, total, 1e-15)
    for ohm, henry in loads:
        admittance = admittance - 1 / (ohm + 2j * math.pi * frequency * henry)
    result: NDArray[Any] = 1 / np.where(np.abs(admittance) > 1e-15, admittance, 1e-15)
    return result
