"""Everything one usually wants to know of a circuit, in one go: what the command line and reports show."""

from __future__ import annotations

from dataclasses import dataclass

from snapcheck.board import Design, Expectation, Probe
from snapcheck.circuit import Circuit
from snapcheck.errors import SimulationError
from snapcheck.simulate import _response
from snapcheck.simulate._figures import Measurer
from snapcheck.simulate._judged import Figure
from snapcheck.simulate._operating import OperatingPoint
from snapcheck.simulate._response import FrequencyResponse
from snapcheck.simulate._transient import Delay, SineResponse, Waveforms
from snapcheck.simulate._waveform import Rhythm
from snapcheck.simulate._worker import Worker


@dataclass(frozen=True)
class Survey:
    """What a circuit does.

    Attributes:
        design: gives conditions, input, output and expected figures.
        circuit: what was simulated.
        point: its operating point.
        figures: each expectation, measured.
        response, sine, clipping: of its signal path, where it has one that passes anything.
        output: net of the output, None where the design names none.
        rhythm, rhythm_waves, rhythm_net: its oscillation and where it was looked at, where it has one.
        delays: (expectation, delay) for each expected delay that happens.
    """

    design: Design
    circuit: Circuit
    point: OperatingPoint
    figures: tuple[Figure, ...]
    response: FrequencyResponse | None = None
    sine: SineResponse | None = None
    clipping: SineResponse | None = None
    output: int | None = None
    rhythm: Rhythm | None = None
    rhythm_waves: Waveforms | None = None
    rhythm_net: int | None = None
    delays: tuple[tuple[Expectation, Delay], ...] = ()


def survey(worker: Worker, design: Design, circuit: Circuit) -> Survey:
    """Operating point, expected figures, signal path, oscillation and delays of a circuit.

    Raises:
        SimulationError: there is no operating point; the message says why.
    """
    measurer = Measurer(worker, circuit, design)
    point = measurer.point(design.conditions)
    figures = tuple(measurer.figure(expectation) for expectation in design.expectations)
    path = _signal_path(worker, measurer, design, circuit)
    rhythm, waves, net = _oscillation(measurer, design, circuit)
    delays = []
    for expectation in design.expectations:
        if expectation.quantity == "delay":
            try:
                found = measurer.delay(expectation.conditions, measurer.place(expectation))
            except SimulationError:
                continue
            if found is not None:
                delays.append((expectation, found))
    output = None if design.output is None else circuit.net_of(design.output.at, design.output.terminal)
    return Survey(design, circuit, point, figures, *path, output, rhythm, waves, net, tuple(delays))


def _signal_path(
    worker: Worker, measurer: Measurer, design: Design, circuit: Circuit
) -> tuple[FrequencyResponse | None, SineResponse | None, SineResponse | None]:
    if design.output is None:
        return None, None, None
    try:
        source = _response.resolve_input(circuit, design.input)
        if source is None:
            return None, None, None
        response = measurer.response(design.conditions, design.output)
        volts = measurer.level()
        sine = measurer.sine(design.conditions, design.output, 1000.0, volts)
        return response, sine, measurer.clipping(design.conditions, design.output, 1000.0)
    except SimulationError:
        return None, None, None


def _oscillation(
    measurer: Measurer, design: Design, circuit: Circuit
) -> tuple[Rhythm | None, Waveforms | None, int | None]:
    """Looked for where the design expects one, and at the output of a circuit without an input."""
    places: list[Probe] = [
        place
        for e in design.expectations
        if e.quantity in ("frequency", "duty") and (place := e.place or design.output) is not None
    ]
    silent = design.input is None and _response.resolve_input(circuit, None) is None
    if not places and silent and design.output is not None:
        active = any(part.device.amplifies for part in circuit.parts)
        stores = any(part.device.store for part in circuit.parts)
        places = [design.output] if active and stores else []
    for place in places:
        try:
            found, _ = measurer.oscillation(design.conditions, place)
        except SimulationError:
            continue
        if found is not None:
            return found[0], found[1], circuit.net_of(place.at, place.terminal)
    return None, None, None
