"""Specimens of a circuit: the same board, built from other parts with the same print.

A specimen is measured as any circuit is, by a `Measurer` of its own: one circuit is the case of one specimen.
Only what operating points and responses need of ngspice is asked for all specimens at once, in one loaded
circuit whose values are altered.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import repeat
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.board import Conditions, Design, Expectation, Probe
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Spread as Spreads
from snapcheck.errors import SimulationError
from snapcheck.simulate import _operating, _response
from snapcheck.simulate._crew import WorkerCrew
from snapcheck.simulate._figures import SLOW, Measurer, ripple_command, ripple_of
from snapcheck.simulate._judged import USUAL_Hz
from snapcheck.simulate._netlist import Netlist, Stimulus
from snapcheck.simulate._response import FrequencyResponse
from snapcheck.simulate._write import write_netlist
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: threshold of MOSFETs where the kit gives no spread (common data sheets: 0.8 to 3 V around 2 V)
_THRESHOLD_TOLERANCE = 0.3
#: seconds that one question for all specimens may take
_LIMIT_s = 300.0
#: quantities read off an operating point, and off a response
_AT_REST = frozenset({"voltage", "current", "power"})
_AT_A_FREQUENCY = frozenset({"gain", "input-impedance"})
_BAND = frozenset({"band-low", "band-high"})


@dataclass(frozen=True)
class Spread:
    """How one part varies: a factor on its value, between `low` and `high`."""

    part: Part
    low: float
    high: float
    logarithmic: bool = False


def spreads(circuit: Circuit) -> list[Spread]:
    """How each part of a circuit varies between specimens; parts that do not are left out."""
    found = []
    for part in circuit.parts:
        p = part.parameters
        if part.device.spread is Spreads.GAIN:
            low, high = p.get("gain_min", 100.0), p.get("gain_max", 400.0)
            middle = math.sqrt(low * high)
            found.append(Spread(part, low / middle, high / middle, logarithmic=True))
        elif part.device.spread is Spreads.THRESHOLD:
            tolerance = p.get("threshold_tolerance", _THRESHOLD_TOLERANCE)
            found.append(Spread(part, 1 - tolerance, 1 + tolerance))
        elif part.kind.tolerance > 0:
            found.append(Spread(part, 1 - part.kind.tolerance, 1 + part.kind.tolerance))
    return found


def draw(varied: Sequence[Spread], samples: int, seed: int) -> NDArray[Any]:
    """Factors, shape (samples, parts); the same seed gives the same factors."""
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
    commands: list[str] = []
    columns: list[NDArray[Any]] = []
    for column, spread in enumerate(varied):
        for command, nominal in netlist.changeable.get(spread.part.name, ()):
            commands.append(command)
            columns.append(nominal * factors[:, column])
    return commands, np.stack(columns, axis=1) if columns else np.zeros((len(factors), 0))


class Specimens:
    """Specimens of one circuit.

    Args:
        crew: the simulator processes.
        design: gives input, output, conditions and figures.
        circuit: with every part as printed.
        varied: the parts that vary.
        factors: shape (specimens, varied).
        nominal: measures the circuit as printed.
    """

    def __init__(
        self,
        crew: WorkerCrew,
        design: Design,
        circuit: Circuit,
        varied: Sequence[Spread],
        factors: NDArray[Any],
        nominal: Measurer,
    ) -> None:
        self._crew = crew
        self._design = design
        self._circuit = circuit
        self._varied = varied
        self._factors = factors
        self._nominal = nominal
        scales = [
            {s.part.name: float(f) for s, f in zip(varied, row, strict=True)} for row in factors.tolist()
        ]
        self._scales = scales
        self._measurers = [Measurer(crew.first, circuit, design, scale, near=nominal) for scale in scales]

    def quick(self) -> Iterator[tuple[int, NDArray[Any]]]:
        """Figures that need no run in time: position of the expectation, and a value for each specimen, NaN
        where it has none."""
        numbered = [(i, e) for i, e in enumerate(self._design.expectations) if e.quantity not in SLOW]
        for (kind, conditions, place), members in self._shared(numbered).items():
            if kind == "point":
                self._rest(conditions)
            elif kind == "ripple":
                self._ripple(conditions, place, members[0][1])
            else:
                self._respond(conditions, place, [e for _, e in members])
            for position, expectation in members:
                yield position, _values(self._measurers, expectation)

    def slow(
        self, positions: Sequence[int], count: int, tell: Callable[[float], None]
    ) -> dict[int, NDArray[Any]]:
        """Figures that need runs in time, of the first `count` specimens: each is loaded by itself."""
        asked = [self._design.expectations[position] for position in positions]

        def measure(row: int, worker: Any) -> list[float]:
            one = Measurer(worker, self._circuit, self._design, self._scales[row], near=self._nominal)
            return [_value(one, expectation) for expectation in asked]

        rows = self._crew.each(range(min(count, len(self._scales))), measure, tell)
        return {position: np.array([row[i] for row in rows]) for i, position in enumerate(positions)}

    def _shared(
        self, numbered: Iterable[tuple[int, Expectation]]
    ) -> dict[tuple[str, Conditions, Probe | None], list[tuple[int, Expectation]]]:
        """Figures by the runs that they share."""
        groups: dict[tuple[str, Conditions, Probe | None], list[tuple[int, Expectation]]] = {}
        for position, e in numbered:
            kind = "point" if e.quantity in _AT_REST else "ripple" if e.quantity == "ripple" else "response"
            place = None if kind == "point" else e.place or self._design.output
            groups.setdefault((kind, self._nominal.conditions(e), place), []).append((position, e))
        return groups

    # -------------------------------------------------------------- asked for all at once

    def _ask(self, netlist: Netlist, analyses: Sequence[tuple[str, list[str]]]) -> list[list[Any] | None]:
        commands, numbers = changes(netlist, self._varied, self._factors)
        return self._crew.loop(
            netlist.lines, frozenset(netlist.nodes), analyses, commands, numbers, limit_s=_LIMIT_s
        )

    def _know(self, key: object, found: Iterable[Any]) -> None:
        for measurer, value in zip(self._measurers, found, strict=True):
            measurer.know(key, value)

    def _rest(self, conditions: Conditions) -> None:
        """Operating points."""
        netlist, wanted, answers = rest_of(self._crew, self._circuit, conditions, self._varied, self._factors)

        def point(answer: list[Any] | None, scales: Mapping[str, float]) -> Any:
            if answer is None:
                return _no_answer()
            own = replace(netlist, currents=_scaled(netlist, scales))
            try:
                values = dict(zip(wanted, answer[0], strict=True))
                return _operating.read(own, self._circuit, conditions, values)
            except SimulationError as error:
                return error

        self._know(("point", conditions), map(point, answers, self._scales))

    def _ripple(self, conditions: Conditions, place: Probe | None, asked: Expectation) -> None:
        key = ("ripple", conditions, place)
        try:
            net = _response.net_of_probe(self._circuit, self._nominal.place(asked), "output")
            netlist = write_netlist(self._circuit, conditions, Stimulus(ripple=True), own_models=True)
            volts, hertz = ripple_of(self._circuit)
            node = netlist.node_of(net)
            if volts == 0 or node is None or node == "0":
                self._know(key, repeat(0.0, len(self._scales)))
                return
            answers = self._ask(netlist, [(ripple_command(hertz), [node])])
        except SimulationError as error:
            self._know(key, repeat(error, len(self._scales)))
            return
        self._know(key, (_no_answer() if a is None else volts * float(abs(a[0][node][0])) for a in answers))

    def _respond(self, conditions: Conditions, place: Probe | None, members: Sequence[Expectation]) -> None:
        """Responses, at those frequencies alone that somebody asks for."""
        driven = _response.resolve_input(self._circuit, self._design.input) is not None
        found: list[Any]
        try:
            output = _response.net_of_probe(self._circuit, self._nominal.place(members[0]), "output")
            found = [FrequencyResponse(np.ones(1), np.zeros(1))] * len(self._scales)
            if driven:
                found = self._gains(conditions, output, members) or found
            hertz = _frequencies(e for e in members if e.quantity == "output-impedance")
            if hertz:
                found = self._with_output_impedance(found, conditions, output, hertz)
        except SimulationError as error:
            found = [error] * len(self._scales)
        self._know(("response" if driven else "output-impedance", conditions, place), found)

    def _gains(self, conditions: Conditions, output: int, members: Sequence[Expectation]) -> list[Any]:
        """Responses of the way from input to output; nothing where nobody asks for it."""
        commands = [_one(f) for f in _frequencies(e for e in members if e.quantity in _AT_A_FREQUENCY)]
        wide = next((e for e in members if e.quantity in _BAND), None)
        if wide is not None:
            commands += _response.like(self._nominal.response(conditions, self._nominal.place(wide)))
        if not commands:
            return []
        source = _response.need_input(self._circuit, self._design.input)
        netlist = write_netlist(self._circuit, conditions, Stimulus(input=source, ac=True), own_models=True)
        wanted = _response.wanted_vectors(netlist, source, output)
        answers = self._ask(netlist, [(command, wanted) for command in commands])
        return [
            _no_answer() if parts is None
            else _response.read_response(netlist, source, output, _response.joined(parts))
            for parts in answers
        ]  # fmt: skip

    def _with_output_impedance(
        self, found: Sequence[Any], conditions: Conditions, output: int, hertz: Sequence[float]
    ) -> list[Any]:
        source = _response.resolve_input(self._circuit, self._design.input)
        netlist = write_netlist(
            self._circuit, conditions, Stimulus(input=source, into_net=output), own_models=True
        )
        wanted = ["frequency", netlist.node(output)]
        answers = self._ask(netlist, [(_one(f), wanted) for f in hertz])
        loads = _response.own_loads(self._circuit, output)
        told = []
        for response, parts in zip(found, answers, strict=True):
            if parts is None or isinstance(response, SimulationError):
                told.append(_no_answer() if parts is None else response)
                continue
            at, ohms = _response.seen_from(_response.joined(parts), netlist.node(output), loads)
            told.append(replace(response, output_ohm=ohms, output_Hz=at))
        return told


def rest_of(
    crew: WorkerCrew,
    circuit: Circuit,
    conditions: Conditions,
    varied: Sequence[Spread],
    factors: NDArray[Any],
) -> tuple[Netlist, list[str], list[list[Any] | None]]:
    """ngspice's operating points of every specimen inside one loaded circuit.

    Returns:
        (the netlist, vector names, per specimen the values of its only analysis, or None without an answer).
    """
    netlist = write_netlist(circuit, conditions, own_models=True)
    wanted = _operating.vectors_of(netlist)
    commands, numbers = changes(netlist, varied, factors)
    answers = crew.loop(
        netlist.lines, frozenset(netlist.nodes), [("op", wanted)], commands, numbers, limit_s=_LIMIT_s
    )
    return netlist, wanted, answers


def _scaled(netlist: Netlist, scales: Mapping[str, float]) -> dict[str, Any]:
    """Currents of a specimen: a resistance that varies carries less across the same drop."""
    own = dict(netlist.currents)
    for name, factor in scales.items():
        if name in own:
            own[name] = {
                terminal: [t if t.minus is None else t._replace(factor=t.factor / factor) for t in terms]
                for terminal, terms in own[name].items()
            }
    return own


def _frequencies(asked: Iterable[Expectation]) -> list[float]:
    return sorted({e.at or USUAL_Hz for e in asked})


def _one(hertz: float) -> str:
    """The ngspice command for one frequency."""
    return f"ac lin 1 {hertz:g} {hertz:g}"


def _no_answer() -> SimulationError:
    return SimulationError(tr("ngspice finds no answer for this circuit ({why}).", why=""))


def _value(measurer: Measurer, expectation: Expectation) -> float:
    try:
        value = measurer.value(expectation)
    except SimulationError:
        return math.nan
    return math.nan if value is None else value


def _values(measurers: Sequence[Measurer], expectation: Expectation) -> NDArray[Any]:
    return np.array([_value(measurer, expectation) for measurer in measurers])
