"""Samples of a tolerance analysis: one circuit loaded once and altered, or one run in time a specimen."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from snapcheck.board import Conditions, Design, Expectation
from snapcheck.circuit import Circuit
from snapcheck.errors import SimulationError
from snapcheck.simulate import _figures, _operating, _response
from snapcheck.simulate._figures import SLOW, Measurer
from snapcheck.simulate._models import write_netlist
from snapcheck.simulate._netlist import Netlist, Stimulus
from snapcheck.simulate._worker import Worker

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from snapcheck.simulate._tolerance import Spread

#: quantities read off an operating point
_DIRECT = frozenset({"voltage", "current", "power"})


def changes(
    netlist: Netlist, varied: Sequence[Spread], factors: NDArray[Any]
) -> tuple[list[str], NDArray[Any]]:
    """ngspice changes and their numbers, shape (samples, changes), from factors on parts."""
    import numpy as np

    commands: list[str] = []
    columns: list[NDArray[Any]] = []
    for column, spread in enumerate(varied):
        for command, nominal in netlist.changeable.get(spread.part.name, ()):
            commands.append(command)
            columns.append(nominal * factors[:, column])
    return commands, np.stack(columns, axis=1) if columns else np.zeros((len(factors), 0))


def sample_points(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    varied: Sequence[Spread],
    factors: NDArray[Any],
    *,
    limit_s: float = 300.0,
) -> tuple[list[str], NDArray[Any]]:
    """Operating points of every sample inside one loaded circuit.

    Returns:
        (vector names, values of shape (samples, vectors)); NaN rows where a sample has no answer.
    """
    import numpy as np

    netlist = write_netlist(circuit, conditions, own_models=True)
    wanted = _operating.vectors_of(netlist)
    commands, numbers = changes(netlist, varied, factors)
    answers = worker.loop(
        netlist.lines, frozenset(netlist.nodes), [("op", wanted)], commands, numbers, limit_s=limit_s
    )
    empty = [math.nan] * len(wanted)
    return wanted, np.array([empty if answer is None else answer[0] for answer in answers])


def fast_figures(
    worker: Worker, design: Design, circuit: Circuit, varied: Sequence[Spread], factors: NDArray[Any]
) -> Iterator[tuple[int, NDArray[Any]]]:
    """(position of the expectation, values) for operating points and responses."""
    import numpy as np

    measurer = Measurer(worker, circuit, design)
    numbered = list(enumerate(design.expectations))
    direct: dict[Conditions, list[tuple[int, Expectation]]] = {}
    for position, expectation in numbered:
        if expectation.quantity in _DIRECT:
            direct.setdefault(measurer.conditions(expectation), []).append((position, expectation))
    for conditions, members in direct.items():
        netlist = write_netlist(circuit, conditions, own_models=True)
        names, table = sample_points(worker, circuit, conditions, varied, factors)
        columns = {name: table[:, i] for i, name in enumerate(names)} | {"0": np.zeros(len(table))}
        for position, expectation in members:
            yield position, _direct(netlist, circuit, measurer, expectation, columns, varied, factors)
    for position, expectation in numbered:
        if expectation.quantity == "ripple":
            yield position, _ripples(worker, circuit, measurer, expectation, varied, factors)
        elif expectation.quantity not in SLOW | _DIRECT:
            yield position, _responses(worker, design, circuit, measurer, expectation, varied, factors)


def _direct(
    netlist: Netlist,
    circuit: Circuit,
    measurer: Measurer,
    expectation: Expectation,
    columns: dict[str, NDArray[Any]],
    varied: Sequence[Spread],
    factors: NDArray[Any],
) -> NDArray[Any]:
    """Voltages, currents or powers of one expectation over all samples."""
    import numpy as np

    nothing = np.full(len(factors), np.nan)
    try:
        place = measurer.place(expectation)
    except SimulationError:
        return nothing
    net = circuit.net_of(place.at, place.terminal)
    if expectation.quantity == "voltage":
        node = None if net is None else netlist.node_of(net)
        return nothing if node is None else columns[node]
    part = circuit.part_at.get(place.at)
    if part is None or part.name not in netlist.currents:
        return nothing
    factor = next((factors[:, i] for i, s in enumerate(varied) if s.part is part), np.ones(len(factors)))

    def current(terminal: str) -> NDArray[Any]:
        total = np.zeros(len(factors))
        for term in netlist.currents[part.name][terminal]:
            drop = columns[term.plus] - (columns[term.minus] if term.minus is not None else 0.0)
            # a resistance that varies carries less current across the same drop
            total = total + term.factor * drop / (factor if term.minus is not None else 1.0)
        return total

    if expectation.quantity == "current":
        if place.terminal not in part.nets:
            return nothing
        amperes = current(place.terminal)
        return np.abs(amperes) if _figures.says_no_direction(part, expectation) else amperes
    watts = np.zeros(len(factors))
    for terminal, number in part.nets.items():
        node = netlist.node_of(number)
        if node is not None:
            watts = watts + columns[node] * current(terminal)
    return watts


def _ripples(
    worker: Worker,
    circuit: Circuit,
    measurer: Measurer,
    expectation: Expectation,
    varied: Sequence[Spread],
    factors: NDArray[Any],
) -> NDArray[Any]:
    """Ripple of one expectation over all samples, V peak to peak."""
    import numpy as np

    values = np.full(len(factors), np.nan)
    try:
        net = _response.net_of_probe(circuit, measurer.place(expectation), "output")
        netlist = write_netlist(
            circuit, measurer.conditions(expectation), Stimulus(ripple=True), own_models=True
        )
        volts, hertz = _figures.ripple_of(circuit)
        node = netlist.node_of(net)
        if volts == 0 or node is None or node == "0":
            return np.zeros(len(factors))
        commands, numbers = changes(netlist, varied, factors)
        analyses = [(_figures.ripple_command(hertz), [node])]
        answers = worker.loop(
            netlist.lines, frozenset(netlist.nodes), analyses, commands, numbers, limit_s=300.0
        )
    except SimulationError:
        return values
    for i, answer in enumerate(answers):
        if answer is not None:
            values[i] = volts * abs(answer[0][node][0])
    return values


def _responses(
    worker: Worker,
    design: Design,
    circuit: Circuit,
    measurer: Measurer,
    expectation: Expectation,
    varied: Sequence[Spread],
    factors: NDArray[Any],
) -> NDArray[Any]:
    """Gains, band edges or impedances of one expectation over all samples."""
    import numpy as np

    values = np.full(len(factors), np.nan)
    conditions, quantity = measurer.conditions(expectation), expectation.quantity
    try:
        from_output = quantity == "output-impedance"
        find = _response.resolve_input if from_output else _response.need_input
        source = find(circuit, design.input)
        output = _response.net_of_probe(circuit, measurer.place(expectation), "output")
        hertz = expectation.at or _figures.USUAL_Hz
        netlist = write_netlist(
            circuit,
            conditions,
            Stimulus(input=source, into_net=output) if from_output else Stimulus(input=source, ac=True),
            own_models=True,
        )
        wide = quantity in ("band-low", "band-high")
        fine = (
            _response.per_decade_of(measurer.response(conditions, measurer.place(expectation))) if wide else 0
        )
        command = _response.sweep_command(per_decade=fine) if wide else f"ac lin 1 {hertz:g} {hertz:g}"
        wanted = (
            ["frequency", netlist.node(output)]
            if source is None or from_output
            else _response.wanted_vectors(netlist, source, output)
        )
        commands, numbers = changes(netlist, varied, factors)
        answers = worker.loop(
            netlist.lines, frozenset(netlist.nodes), [(command, wanted)], commands, numbers, limit_s=300.0
        )
    except SimulationError:
        return values
    loads = _response.own_loads(circuit, output)
    for i, answer in enumerate(answers):
        if answer is None:
            continue
        vectors = answer[0]
        if source is None or from_output:
            frequency = np.real(vectors["frequency"])
            values[i] = abs(_response.without_loads(vectors[netlist.node(output)], frequency, loads)[0])
            continue
        response = _response.read_response(netlist, source, output, vectors)
        if wide:
            low, high = response.band()
            edge = low if quantity == "band-low" else high
            values[i] = (
                (_response.START_Hz if quantity == "band-low" else _response.STOP_Hz)
                if edge is None
                else edge
            )
        elif quantity == "gain":
            values[i] = response.curve_dB()[0]
        elif response.input_ohm is not None:
            values[i] = abs(response.input_ohm[0])
    return values


def slow_figures(
    worker: Worker,
    design: Design,
    circuit: Circuit,
    varied: Sequence[Spread],
    factors: NDArray[Any],
    positions: Sequence[int],
    tell: Callable[[float], None],
) -> dict[int, NDArray[Any]]:
    """Figures that need runs in time, each sample with a netlist of its own."""
    import numpy as np

    table = {position: np.full(len(factors), np.nan) for position in positions}
    for row, factor in enumerate(factors):
        scales = {spread.part.name: float(value) for spread, value in zip(varied, factor, strict=True)}
        measurer = Measurer(worker, circuit, design, scales)
        for position in positions:
            try:
                value = measurer.value(design.expectations[position])
            except SimulationError:
                continue
            if value is not None:
                table[position][row] = value
        tell(0.5 + 0.5 * (row + 1) / len(factors))
    return table
