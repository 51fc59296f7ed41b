"""The one way in: a simulator that owns its worker process."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from importlib.util import find_spec
from typing import TYPE_CHECKING

from snapcheck.board import Conditions, Design, Probe, Spot
from snapcheck.circuit import Circuit, Part, build_circuit, switch_positions
from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.kit import Kit
from snapcheck.simulate import (
    _flips,
    _response,
    _states,
    _stress,
    _survey,
    _sweep,
    _tolerance,
    _transient,
    _what_if,
)
from snapcheck.simulate._figures import Measurer
from snapcheck.simulate._judged import Figure
from snapcheck.simulate._known import KnownCircuits, measured, on
from snapcheck.simulate._library import find_library
from snapcheck.simulate._netlist import Stimulus
from snapcheck.simulate._operating import OperatingPoint
from snapcheck.simulate._response import FrequencyResponse
from snapcheck.simulate._survey import Survey
from snapcheck.simulate._sweep import Sweep
from snapcheck.simulate._tolerance import Tolerance
from snapcheck.simulate._transient import Delay, SineResponse, Waveforms
from snapcheck.simulate._waveform import Rhythm
from snapcheck.simulate._what_if import WhatIf
from snapcheck.simulate._worker import Worker
from snapcheck.words import tr

if TYPE_CHECKING:
    from types import TracebackType

#: designs whose own figures are kept
_PLANS_KEPT = 4
#: as everything lies on the bench
_USUAL = Conditions()


class Simulator:
    """Solves circuits in a child process; use it as a context manager.

    The process starts with the first question, answers one question at a time (threads may share
    it), is killed when an answer takes longer than the limit, and is then started again.

    Args:
        limit_s: seconds that one question to ngspice may take.

    Every method raises `SimulationError` where there is no answer, with the cause and the cells, and
    `MissingLibraryError` where ngspice or PySpice is not installed.
    """

    def __init__(self, limit_s: float = 30.0) -> None:
        self._worker = Worker(limit_s)
        self._plans: deque[_Plan] = deque(maxlen=_PLANS_KEPT)
        self._known = KnownCircuits(self._worker)

    def __enter__(self) -> Simulator:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Stop the process; a later question starts another."""
        self._worker.close()

    @property
    def worker(self) -> Worker:
        """The process, for measurements of the simulator itself."""
        return self._worker

    def operating_point(self, circuit: Circuit, conditions: Conditions = _USUAL) -> OperatingPoint:
        """Direct voltages, currents, powers and transistor regions, in a state of rest that lasts."""
        for plan in self._plans:
            if plan.circuit is circuit:
                return plan.measurer.point(conditions)
        point = self._known.once(
            self._known.of(circuit).points,
            conditions,
            lambda: _states.rest(self._worker, circuit, conditions),
        )
        return on(circuit, point)

    def other_positions(self, circuit: Circuit, conditions: Conditions = _USUAL) -> dict[str, OperatingPoint]:
        """Operating points in the other positions of the switches, where light, warmth and knobs strain
        a part most, and with a transistor of a flip-flop off, by what is different there, in words.

        A position that has no answer is left out. See `snapcheck.circuit.switch_positions`.
        """
        points = self._known.once(
            self._known.of(circuit).positions, conditions, lambda: self._other_positions(circuit, conditions)
        )
        return {words: on(circuit, point) for words, point in points.items()}

    def _other_positions(self, circuit: Circuit, conditions: Conditions) -> dict[str, OperatingPoint]:
        points = {}
        for words, position in switch_positions(circuit, conditions).items():
            with suppress(SimulationError):
                points[words] = self.operating_point(circuit, position)
        with suppress(SimulationError):
            now = self.operating_point(circuit, conditions)
            strained = _stress.strained(self._worker, now, points)
            points = {**strained, **points, **_flips.flipped(self._worker, now)}
        return points

    def frequency_response(
        self,
        circuit: Circuit,
        conditions: Conditions = _USUAL,
        *,
        input: Probe | None = None,
        output: Probe,
        with_output_impedance: bool = True,
    ) -> FrequencyResponse:
        """Gain, band and impedances from 1 Hz to 10 MHz.

        Args:
            input: where the signal goes in; None: the board's only audio input or microphone.
            output: where it comes out.
        """
        return _response.measure(
            self._worker, circuit, conditions, input, output, with_output_impedance=with_output_impedance
        )

    def transient(
        self,
        circuit: Circuit,
        conditions: Conditions = _USUAL,
        *,
        duration_s: float,
        step_s: float | None = None,
        probes: Sequence[Probe] | None = None,
        input: Probe | None = None,
        sine: tuple[float, float] | None = None,
        power_on: bool = False,
        after: Conditions | None = None,
    ) -> Waveforms:
        """Voltages over time, from the operating point or from power-on.

        Args:
            duration_s: length; step_s: longest time step (None: a 2000th of the length).
            probes: what to record; None: every net.
            input, sine: (amplitude in V, frequency in Hz) put to the input.
            power_on: the supplies rise from zero at t = 0.
            after: conditions that set in at t = 0.
        """
        nets: Iterable[int] = range(len(circuit.nets))
        if probes is not None:
            nets = [_measured(circuit, probe) for probe in probes]
        source = None if sine is None else _response.need_input(circuit, input)
        stimulus = Stimulus(input=source, sine=sine, power_on=power_on, after=after, kick=power_on)
        step = duration_s / 2000 if step_s is None else step_s
        return _transient.run(self._worker, circuit, conditions, stimulus, nets, duration_s, step)

    def sine_response(
        self,
        circuit: Circuit,
        conditions: Conditions = _USUAL,
        *,
        input: Probe | None = None,
        output: Probe,
        frequency_Hz: float = 1000.0,
        source_V: float | None = None,
    ) -> SineResponse:
        """Swing and distortion for a sine; without an amplitude, that of the input's usual signal."""
        source, net = _signal_path(circuit, input, output)
        volts = _transient.source_amplitude(source) if source_V is None else source_V
        return _transient.sine(self._worker, circuit, conditions, source, net, frequency_Hz, volts)

    def clipping(
        self,
        circuit: Circuit,
        conditions: Conditions = _USUAL,
        *,
        input: Probe | None = None,
        output: Probe,
        frequency_Hz: float = 1000.0,
    ) -> SineResponse | None:
        """The greatest sine with less than 10 % distortion; None when nothing comes out."""
        source, net = _signal_path(circuit, input, output)

        def run(volts: float) -> SineResponse:
            return _transient.sine(self._worker, circuit, conditions, source, net, frequency_Hz, volts)

        return _transient.clipping(run, _transient.source_amplitude(source))

    def oscillation(
        self, circuit: Circuit, conditions: Conditions = _USUAL, *, place: Probe
    ) -> tuple[Rhythm, Waveforms] | None:
        """The steady oscillation of a place; None where none is seen in runs of up to minutes."""
        net = _measured(circuit, place)
        return _transient.oscillation(self._worker, circuit, conditions, net)[0]

    def delay(
        self, circuit: Circuit, before: Conditions, after: Conditions | None, *, place: Probe
    ) -> Delay | None:
        """Time until a voltage has made half of its change after `after` sets in (None: power-on)."""
        net = _measured(circuit, place)
        return _transient.delay(self._worker, circuit, before, after, net)

    def sweep(
        self,
        circuit: Circuit,
        conditions: Conditions = _USUAL,
        *,
        what: str,
        values: Sequence[float],
        cell: Spot | None = None,
    ) -> Sweep:
        """Operating points along a knob: ``pot``, ``light``, ``temperature`` or ``supply``."""
        knob = _sweep.resolve_knob(circuit, what, cell)
        return _sweep.sweep(self._worker, circuit, conditions, knob, values)

    def tolerance(
        self,
        design: Design,
        circuit: Circuit,
        *,
        samples: int = 1000,
        slow_samples: int = 40,
        seed: int = 1,
        progress: Callable[[float], None] | None = None,
    ) -> Tolerance:
        """Yield against the design's expected figures, and which part matters most."""
        return _tolerance.analyse(
            self._worker,
            design,
            circuit,
            samples=samples,
            slow_samples=slow_samples,
            seed=seed,
            progress=progress,
        )

    def survey(self, design: Design, circuit: Circuit) -> Survey:
        """Operating point, expected figures, signal path, oscillation and delays in one go."""
        return _survey.survey(self._worker, design, circuit)

    def evaluate(self, design: Design, circuit: Circuit) -> list[Figure]:
        """Every expectation of a design, measured on its own circuit or on one as built."""
        for plan in self._plans:
            if plan.circuit is circuit and plan.design == design:
                return plan.measurer.figures()
        figures = self._known.once(
            self._known.of(circuit).figures,
            measured(circuit, design),
            lambda: Measurer(self._worker, circuit, design).figures(),
        )
        return list(figures)

    def what_if(
        self,
        design: Design,
        built: Circuit,
        *,
        designed: Circuit | None = None,
        point: OperatingPoint | None = None,
    ) -> WhatIf:
        """The design's behaviour beside that of a build, in sentences with numbers.

        Args:
            design: gives conditions, input, output and expected figures.
            built: the circuit of the build, with the same cells (a shift or turn of the whole undone).
            designed: the design's circuit, where it has been made.
            point: the build's operating point under the design's conditions, where it is known.
        """
        plan = self._plan_of(design, built.kit, designed)
        return self._known.once(
            self._known.of(built).what_ifs,
            (measured(built, design), measured(plan.circuit, design)),
            lambda: _what_if.what_if(self._worker, design, plan.circuit, built, plan.measurer, point),
            lambda found: not found.unsolvable,  # the reason names a cell, which may be that of a wire
        )

    def plan_circuit(self, design: Design, kit: Kit) -> Circuit:
        """The design's circuit, kept for the designs seen last: what is calculated of it is kept, too."""
        return self._plan_of(design, kit).circuit

    def measure_plan(self, design: Design, kit: Kit) -> None:
        """Measure the design ahead (while a photo is being read, before a class is graded).

        A later `what_if` with the same design then costs only the build. Says nothing where the design
        cannot be simulated; `what_if` will.
        """
        plan = self._plan_of(design, kit)
        with suppress(SimulationError):
            _what_if.measure_plan(plan.measurer, design, plan.circuit)
            self.other_positions(plan.circuit, plan.measurer.point(design.conditions).conditions)

    def _plan_of(self, design: Design, kit: Kit, circuit: Circuit | None = None) -> _Plan:
        """A design's circuit and its measurer, kept for the designs seen last."""
        for plan in self._plans:
            if plan.design == design and plan.circuit.kit is kit:
                return plan
        if circuit is None:
            circuit = build_circuit(design.board, kit)
        self._plans.appendleft(_Plan(design, circuit, Measurer(self._worker, circuit, design)))
        return self._plans[0]


@dataclass
class _Plan:
    """What is kept of a design."""

    design: Design
    circuit: Circuit
    measurer: Measurer


def _signal_path(circuit: Circuit, input: Probe | None, output: Probe) -> tuple[Part | int, int]:
    """The source of the signal and the net where it comes out."""
    return _response.need_input(circuit, input), _response.net_of_probe(circuit, output, tr("output"))


def _measured(circuit: Circuit, place: Probe) -> int:
    return _response.net_of_probe(circuit, place, tr("place to measure"))


def what_if(design: Design, built: Circuit, simulator: Simulator | None = None) -> WhatIf:
    """`Simulator.what_if`, with a simulator of its own where none is given."""
    if simulator is not None:
        return simulator.what_if(design, built)
    with Simulator() as own:
        return own.what_if(design, built)


def is_available() -> bool:
    """Whether circuits can be simulated here (the library and PySpice are installed)."""
    try:
        find_library()
    except MissingLibraryError:
        return False
    return find_spec("PySpice") is not None
