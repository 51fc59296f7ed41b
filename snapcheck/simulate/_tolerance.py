"""Tolerance analysis: the same board built from other specimens of the same parts.

Values are drawn evenly between their limits, because nothing but the limits is known of them
(JCGM 100:2008, 4.3.7); the direct-current gain of transistors evenly on a logarithmic scale.
Operating points and responses are sampled inside one loaded circuit (``alter``); figures that need
runs in time are sampled fewer times.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from snapcheck.board import Conditions, Design, Expectation
from snapcheck.circuit import Circuit, Part
from snapcheck.errors import SimulationError
from snapcheck.simulate import _figures, _operating, _response
from snapcheck.simulate._figures import SLOW, Measurer
from snapcheck.simulate._models import write_netlist
from snapcheck.simulate._netlist import Netlist, Stimulus
from snapcheck.simulate._worker import Worker

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: threshold of MOSFETs where the kit gives no spread (common data sheets: 0.8 to 3 V around 2 V)
_THRESHOLD_TOLERANCE = 0.3
#: quantities read off an operating point
_DIRECT = frozenset({"voltage", "current", "power"})
#: shares of variance below this are not told
_LEAST_SHARE = 0.01


@dataclass(frozen=True)
class Spread:
    """How one part varies: a factor on its value, between `low` and `high`."""

    part: Part
    low: float
    high: float
    logarithmic: bool = False


@dataclass(frozen=True)
class FigureSpread:
    """How one expected figure comes out over the samples.

    Attributes:
        expectation: what was promised.
        nominal: with every part as printed; None where it cannot be measured.
        values: shape (samples,), NaN where a sample has no answer.
        passed: share of the samples within the range.
        shares: (part, share of the variance that it explains), greatest first; they add up to at most 1.
    """

    expectation: Expectation
    nominal: float | None
    values: NDArray[Any]
    passed: float
    shares: tuple[tuple[Part, float], ...]

    def percentile(self, percent: float) -> float | None:
        """Value below which `percent` of the samples lie; None without a single answer."""
        import numpy as np

        good = self.values[np.isfinite(self.values)]
        return float(np.percentile(good, percent)) if len(good) else None


@dataclass(frozen=True)
class Tolerance:
    """Outcome of a tolerance analysis.

    Attributes:
        samples: how many specimens of the board were tried for fast figures.
        figures: one for each expectation.
        passed: share of the specimens that meet every figure (of the first `slow_samples` where a figure
            needs runs in time).
        slow_samples: how many were tried for figures that need runs in time.
        varied: how each part varied.
        influence: (part, mean share over all figures), greatest first: which part matters most.
    """

    samples: int
    figures: tuple[FigureSpread, ...]
    passed: float
    slow_samples: int
    varied: tuple[Spread, ...]
    influence: tuple[tuple[Part, float], ...]


def spreads(circuit: Circuit) -> list[Spread]:
    """How each part of a circuit varies between specimens; parts that do not are left out."""
    found = []
    for part in circuit.parts:
        model, p = part.kind.model, part.parameters
        if model in ("npn", "pnp"):
            low, high = p.get("gain_min", 100.0), p.get("gain_max", 400.0)
            middle = math.sqrt(low * high)
            found.append(Spread(part, low / middle, high / middle, logarithmic=True))
        elif model in ("nmos", "pmos"):
            tolerance = p.get("threshold_tolerance", _THRESHOLD_TOLERANCE)
            found.append(Spread(part, 1 - tolerance, 1 + tolerance))
        elif part.kind.tolerance > 0:
            found.append(Spread(part, 1 - part.kind.tolerance, 1 + part.kind.tolerance))
    return found


def draw(varied: Sequence[Spread], samples: int, seed: int) -> NDArray[Any]:
    """Factors, shape (samples, parts); the same seed gives the same factors."""
    import numpy as np

    factors = np.random.default_rng(seed).random((samples, len(varied)))
    for column, spread in enumerate(varied):
        if spread.logarithmic:
            low, high = math.log(spread.low), math.log(spread.high)
            factors[:, column] = np.exp(low + (high - low) * factors[:, column])
        else:
            factors[:, column] = spread.low + (spread.high - spread.low) * factors[:, column]
    return factors


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


def analyse(
    worker: Worker,
    design: Design,
    circuit: Circuit,
    *,
    samples: int = 1000,
    slow_samples: int = 40,
    seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Tolerance:
    """Yield of a design against its expected figures, and which part matters most.

    Args:
        samples: for figures of operating points and responses.
        slow_samples: for figures that need runs in time (swing, distortion, frequency, duty, delay).
        seed: of the random draw; the same seed gives the same answer.
        progress: called with the share of the work that is done.
    """
    import numpy as np

    varied = spreads(circuit)
    factors = draw(varied, samples, seed)
    nominal = Measurer(worker, circuit, design)
    figures: list[FigureSpread] = []
    tell = progress or (lambda _: None)
    values: dict[int, NDArray[Any]] = {}
    for number, (position, column) in enumerate(_fast(worker, design, circuit, varied, factors)):
        values[position] = column
        tell(0.5 * (number + 1) / max(1, len(design.expectations)))
    slow = [i for i, e in enumerate(design.expectations) if i not in values]
    if slow:
        table = _slow(worker, design, circuit, varied, factors[:slow_samples], slow, tell)
        values.update(table)
    # figures that need runs in time are known for the first specimens only: those are judged together
    shared = min([samples, *(len(column) for column in values.values())])
    all_good = np.ones(shared, dtype=bool)
    for position, expectation in enumerate(design.expectations):
        column = values[position]
        good = (column >= expectation.low) & (column <= expectation.high)
        all_good &= good[:shared]
        try:
            middle = nominal.value(expectation)
        except SimulationError:
            middle = None
        shares = _shares(varied, factors[: len(column)], column)
        figures.append(FigureSpread(expectation, middle, column, float(good.mean()), shares))
    return Tolerance(
        samples,
        tuple(figures),
        float(all_good.mean()),
        slow_samples if slow else 0,
        tuple(varied),
        _influence(figures),
    )


def _fast(
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
        if expectation.quantity not in SLOW | _DIRECT | {"ripple"}:
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
    net = circuit.net_of(place.cell, place.terminal)
    if expectation.quantity == "voltage":
        node = None if net is None else netlist.node_of(net)
        return nothing if node is None else columns[node]
    part = circuit.part_at.get(place.cell)
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
        return current(place.terminal) if place.terminal in part.nets else nothing
    watts = np.zeros(len(factors))
    for terminal, number in part.nets.items():
        node = netlist.node_of(number)
        if node is not None:
            watts = watts + columns[node] * current(terminal)
    return watts


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
        source = _response.need_input(circuit, design.input)
        output = _response.net_of_probe(circuit, measurer.place(expectation), "output")
        hertz = expectation.at or _figures.USUAL_Hz
        from_output = quantity == "output-impedance"
        netlist = write_netlist(
            circuit,
            conditions,
            Stimulus(input=source, into_net=output) if from_output else Stimulus(input=source, ac=True),
            own_models=True,
        )
        wide = quantity in ("band-low", "band-high")
        command = _response.sweep_command(per_decade=20) if wide else f"ac lin 1 {hertz:g} {hertz:g}"
        wanted = (
            ["frequency", netlist.node(output)]
            if from_output
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
        if from_output:
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


def _slow(
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


def _shares(
    varied: Sequence[Spread], factors: NDArray[Any], values: NDArray[Any]
) -> tuple[tuple[Part, float], ...]:
    """Share of the variance that each part explains: squared standardised regression coefficients.

    The parts are drawn independently, so these shares add up to the fit's coefficient of determination.
    """
    import numpy as np

    good = np.isfinite(values)
    if (
        good.sum() < 3
        or not varied
        or float(np.std(values[good])) <= 1e-12 * float(np.max(np.abs(values[good])))
    ):
        return ()
    x = np.log(factors[good])
    x = (x - x.mean(axis=0)) / np.maximum(x.std(axis=0), 1e-12)
    y = (values[good] - values[good].mean()) / values[good].std()
    if len(y) > 2 * len(varied):
        weights = np.linalg.lstsq(x, y, rcond=None)[0] ** 2
    else:  # too few samples for a regression: squared correlations
        weights = (x * y[:, None]).mean(axis=0) ** 2
    weights = weights / max(1.0, float(weights.sum()))
    order = np.argsort(-weights)
    return tuple((varied[i].part, float(weights[i])) for i in order if weights[i] >= _LEAST_SHARE)


def _influence(figures: Sequence[FigureSpread]) -> tuple[tuple[Part, float], ...]:
    told = [figure for figure in figures if figure.shares]
    total: dict[Part, float] = {}
    for figure in told:
        for part, share in figure.shares:
            total[part] = total.get(part, 0.0) + share / len(told)
    return tuple(sorted(total.items(), key=lambda item: -item[1]))
