"""Each figure that a design promises, measured on a circuit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any, TypeVar, cast

from snapcheck.board import Conditions, Design, Expectation, Probe
from snapcheck.circuit import Circuit, Part, probe_words, terminal_word
from snapcheck.errors import SimulationError
from snapcheck.simulate import _response, _states, _transient
from snapcheck.simulate._judged import Figure, USUAL_Hz, judge
from snapcheck.simulate._netlist import NO_SCALES, Stimulus
from snapcheck.simulate._operating import OperatingPoint
from snapcheck.simulate._response import FrequencyResponse
from snapcheck.simulate._text import figure_text
from snapcheck.simulate._transient import Delay, SineResponse, Waveforms
from snapcheck.simulate._waveform import Rhythm
from snapcheck.simulate._worker import Worker
from snapcheck.simulate._write import write_netlist
from snapcheck.words import tr

T = TypeVar("T")

#: what comes out this far below the promised gain has crept through (dB; common practice, no source)
_CREEPING_dB = 40.0

#: quantities that need runs in time; the rest come from an operating point or a frequency response
SLOW = frozenset(
    {"swing", "distortion", "frequency", "duty", "delay", "pulse", "threshold-up", "threshold-down"}
) | frozenset(f"{form}-{what}" for form in ("average", "rms") for what in ("voltage", "current"))


class Measurer:
    """Measures figures of one circuit; runs that several figures share are run once.

    Args:
        worker: the simulator process.
        circuit: what is measured.
        design: gives input, output and conditions.
        scales: see `write_netlist`.
        near: has measured a circuit much like this one; where a search begins, not what it finds.
        point: the operating point under the design's conditions, where it is known.
    """

    def __init__(
        self,
        worker: Worker,
        circuit: Circuit,
        design: Design,
        scales: Mapping[str, float] = NO_SCALES,
        near: Measurer | None = None,
        point: OperatingPoint | None = None,
    ) -> None:
        self._worker = worker
        self._circuit = circuit
        self._design = design
        self._scales = scales
        self._near = near
        self._kept: dict[object, Any] = {} if point is None else {("point", design.conditions): point}

    def figure(self, expectation: Expectation) -> Figure:
        """The expectation with its measured value."""
        try:
            value, reason = self.value(expectation), ""
        except SimulationError as error:
            value, reason = None, f"{error.message}"
        return judge(expectation, self._design, value, reason)

    def figures(self) -> list[Figure]:
        """Every expectation of the design."""
        return [self.figure(expectation) for expectation in self._design.expectations]

    def value(self, expectation: Expectation) -> float | None:
        """Measured value in the expectation's unit; None where the circuit has no such figure.

        Raises:
            SimulationError: it cannot be measured; the message says why.
        """
        return _MEASURES[expectation.quantity](self, expectation)

    # -------------------------------------------------------------- shared runs

    def point(self, conditions: Conditions) -> OperatingPoint:
        return self._once(
            ("point", conditions),
            lambda: _states.rest(self._worker, self._circuit, conditions, scales=self._scales),
        )

    def response(self, conditions: Conditions, output: Probe) -> FrequencyResponse:
        return self._once(
            ("response", conditions, output),
            lambda: _response.measure(
                self._worker, self._circuit, conditions, self._design.input, output, scales=self._scales
            ),
        )

    def sine(self, conditions: Conditions, output: Probe, at_Hz: float, source_V: float) -> SineResponse:
        return self._once(
            ("sine", conditions, output, at_Hz, source_V),
            lambda: _transient.sine(
                self._worker,
                self._circuit,
                conditions,
                self._source(),
                self._net(output),
                at_Hz,
                source_V,
                scales=self._scales,
            ),
        )

    def clipping(self, conditions: Conditions, output: Probe, at_Hz: float) -> SineResponse | None:
        key = ("clipping", conditions, output, at_Hz)
        near = None if self._near is None else self._near._kept.get(key)
        return self._once(
            key,
            lambda: _transient.clipping(
                lambda volts: self.sine(conditions, output, at_Hz, volts),
                _transient.source_amplitude(self._source()),
                near.source_V if isinstance(near, SineResponse) else None,
            ),
        )

    def oscillation(
        self, conditions: Conditions, place: Probe, *, through: str = ""
    ) -> tuple[tuple[Rhythm, Waveforms] | None, _transient.Looked]:
        """See `_transient.oscillation`: what was found, and what was looked at.

        Args:
            through: terminal of the part at the place whose current is wanted, too.
        """
        part = self._circuit.part_at.get(place.at) if through else None
        return self._once(
            ("oscillation", conditions, place, through),
            lambda: _transient.oscillation(
                self._worker,
                self._circuit,
                conditions,
                self._net(place),
                scales=self._scales,
                through=None if part is None else (part, through),
            ),
        )

    def delay(self, after: Conditions | None, place: Probe) -> Delay | None:
        return self._once(
            ("delay", after, place),
            lambda: _transient.delay(
                self._worker,
                self._circuit,
                self._design.conditions,
                after,
                self._net(place),
                scales=self._scales,
            ),
        )

    def know(self, key: object, found: Any) -> None:
        """What one of the shared runs gives, made elsewhere: its answer, or why there is none."""
        self._kept[key] = found

    def _once(self, key: object, make: Callable[[], T]) -> T:
        if key not in self._kept:
            try:
                self._kept[key] = make()
            except SimulationError as error:
                self._kept[key] = error
        found = self._kept[key]
        if isinstance(found, SimulationError):
            raise found
        return cast(T, found)

    # -------------------------------------------------------------- places

    def conditions(self, expectation: Expectation) -> Conditions:
        return expectation.conditions or self._design.conditions

    def place(self, expectation: Expectation) -> Probe:
        """The probe of an expectation: its own, or the design's output."""
        probe = expectation.place or self._design.output
        if probe is None:
            raise SimulationError(
                tr("the design does not say where to measure the {quantity}.", quantity=expectation.quantity),
                way_out=tr("Name a place or an output in the layout."),
            )
        return probe

    def _net(self, probe: Probe) -> int:
        return _response.net_of_probe(self._circuit, probe, tr("place to measure"))

    def _source(self) -> Any:
        return _response.need_input(self._circuit, self._design.input)

    # -------------------------------------------------------------- one quantity each

    def _voltage(self, e: Expectation) -> float | None:
        volts = self.point(self.conditions(e)).voltage(self._net(self.place(e)))
        if volts is None:
            raise SimulationError(
                tr("{place} is cut off from every supply.", place=probe_words(self.place(e)))
            )
        return volts

    def _current(self, e: Expectation) -> float | None:
        place = self.place(e)
        amperes = self.point(self.conditions(e)).current(place.at, place.terminal)
        if amperes is None:
            raise SimulationError(
                tr(
                    "there is no part with a {terminal} at {cell}.",
                    terminal=terminal_word(place.terminal),
                    cell=place.at,
                )
            )
        return abs(amperes) if says_no_direction(self._circuit.part_at[place.at], e) else amperes

    def _power(self, e: Expectation) -> float | None:
        place = self.place(e)
        watts = self.point(self.conditions(e)).power(place.at)
        if watts is None:
            raise SimulationError(tr("there is no part at {cell}.", cell=place.at))
        return watts

    def _gain(self, e: Expectation) -> float | None:
        return self.response(self.conditions(e), self.place(e)).gain_dB(e.at or USUAL_Hz)

    def _band_low(self, e: Expectation) -> float | None:
        low = self.response(self.conditions(e), self.place(e)).band()[0]
        return _response.START_Hz if low is None else low

    def _band_high(self, e: Expectation) -> float | None:
        high = self.response(self.conditions(e), self.place(e)).band()[1]
        return _response.STOP_Hz if high is None else high

    def _input_impedance(self, e: Expectation) -> float | None:
        return self.response(self.conditions(e), self.place(e)).input_impedance(e.at or USUAL_Hz)

    def _output_impedance(self, e: Expectation) -> float | None:
        conditions, place = self.conditions(e), self.place(e)
        if _response.resolve_input(self._circuit, self._design.input) is not None:
            return self.response(conditions, place).output_impedance(e.at or USUAL_Hz)
        found = self._once(
            ("output-impedance", conditions, place),
            lambda: _response.output_impedance(
                self._worker, self._circuit, conditions, None, self._net(place), scales=self._scales
            ),
        )
        return found.output_impedance(e.at or USUAL_Hz)

    def _swing(self, e: Expectation) -> float | None:
        if _response.resolve_input(self._circuit, self._design.input) is None:
            return self._rhythm(e).swing_V
        clipped = self.clipping(self.conditions(e), self.place(e), e.at or USUAL_Hz)
        return 0.0 if clipped is None else clipped.output_swing_V

    def _distortion(self, e: Expectation) -> float | None:
        found = self.sine(self.conditions(e), self.place(e), e.at or USUAL_Hz, self.level())
        least = found.input_V * 10 ** ((self._promised_dB(e) - _CREEPING_dB) / 20)
        if found.input_V < _response.LEAST_INPUT * found.source_V or found.output_swing_V < max(
            1e-6, 2 * least
        ):
            raise SimulationError(tr("no signal comes through."))
        return found.distortion

    def _promised_dB(self, e: Expectation) -> float:
        """The least gain that the design promises where and at the frequency of `e`; 0 dB without a word."""
        lows = [
            other.low
            for other in self._design.expectations
            if other.quantity == "gain"
            and math.isfinite(other.low)
            and (other.place or self._design.output) == self.place(e)
            and (other.at or USUAL_Hz) == (e.at or USUAL_Hz)
        ]
        return min(lows, default=0.0)

    def _rhythm(self, e: Expectation) -> Rhythm:
        found, looked = self.oscillation(self.conditions(e), self.place(e))
        if found is None and looked.uneven is not None:
            raise SimulationError(
                tr(
                    "{place} oscillates unevenly: {swing} peak to peak, periods of {mean} on the average "
                    "that differ by {spread:.0f} % (standard deviation).",
                    place=probe_words(self.place(e)),
                    swing=figure_text(looked.uneven.swing_V, "V"),
                    mean=figure_text(1 / looked.uneven.frequency_Hz, "s"),
                    spread=100 * looked.uneven.jitter,
                )
            )
        if found is None:
            raise SimulationError(
                tr(
                    "no oscillation was seen at {place} within {seconds}.",
                    place=probe_words(self.place(e)),
                    seconds=figure_text(looked.longest_s, "s"),
                )
            )
        return found[0]

    def _frequency(self, e: Expectation) -> float | None:
        return self._rhythm(e).frequency_Hz

    def _duty(self, e: Expectation) -> float | None:
        return self._rhythm(e).duty

    def _delay(self, e: Expectation) -> float | None:
        found = self.delay(e.conditions, self.place(e))
        if found is None:
            raise SimulationError(
                tr("nothing changes at {place}, or not within 1000 s.", place=probe_words(self.place(e)))
            )
        return found.seconds

    def _pulse(self, e: Expectation) -> float | None:
        if e.conditions is None:
            raise SimulationError(
                tr("nothing sets the pulse off."),
                way_out=tr("Write what does, such as: expect pulse 1 to 2 s with A2 closed."),
            )
        after = e.conditions
        found: float | None = self._once(
            ("pulse", after, self.place(e)),
            lambda: _transient.pulse(
                self._worker,
                self._circuit,
                self._design.conditions,
                after,
                self._net(self.place(e)),
                scales=self._scales,
            ),
        )
        if found is None:
            raise SimulationError(
                tr("no pulse was seen at {place} within 1000 s.", place=probe_words(self.place(e)))
            )
        return found

    def _of_a_wave(self, e: Expectation) -> float | None:
        """Average or root mean square over whole periods; at rest, what the operating point has."""
        form, _, what = e.quantity.partition("-")
        conditions, place = self.conditions(e), self.place(e)
        part = self._circuit.part_at.get(place.at) if what == "current" else None
        found = None
        for look in self._moving(place, part):
            found, _ = self.oscillation(conditions, look, through="" if part is None else place.terminal)
            if found is not None:
                break
        if found is None:
            value = self._current(e) if what == "current" else self._voltage(e)
            return abs(value) if value is not None and form == "rms" else value
        beat, waves = found
        values = waves.amperes if what == "current" else waves.voltage(self._net(place))
        assert values is not None
        mean, rms = _transient.mean_and_rms(waves.time_s, values, beat.periods, 1 / beat.frequency_Hz)
        if form == "rms":
            return rms
        return abs(mean) if part is not None and says_no_direction(part, e) else mean

    def _moving(self, place: Probe, part: Part | None) -> list[Probe]:
        """Where to look for the rhythm of a current: the part's terminals that no supply holds."""
        if part is None:
            return [place]
        held = {0} | {n for p in self._circuit.parts if p.device.supplies for n in p.nets.values()}
        return [Probe(part.at, t) for t, n in part.nets.items() if n not in held]

    def _threshold(self, e: Expectation) -> float | None:
        conditions, place = self.conditions(e), self.place(e)
        up, down = self._once(
            ("thresholds", conditions, place),
            lambda: _transient.thresholds(
                self._worker, self._circuit, conditions, self._source(), self._net(place), scales=self._scales
            ),
        )
        found = up if e.quantity == "threshold-up" else down
        if found is None:
            raise SimulationError(tr("nothing switches at {place}.", place=probe_words(place)))
        return found

    def level(self) -> float:
        """Amplitude of the usual signal, V at its source."""
        given = self._design.input_V
        return _transient.source_amplitude(self._source()) if given is None else given

    def _ripple(self, e: Expectation) -> float | None:
        """Peak to peak at the place, from the ripple of each mains supply at its frequency (linear)."""
        conditions, place = self.conditions(e), self.place(e)

        def measure() -> float:
            volts, hertz = ripple_of(self._circuit)
            netlist = write_netlist(self._circuit, conditions, Stimulus(ripple=True), scales=self._scales)
            node = netlist.node_of(self._net(place))
            if volts == 0 or node is None or node == "0":
                return 0.0
            command = ripple_command(hertz)
            (answer,) = self._worker.solve(netlist.lines, frozenset(netlist.nodes), [(command, [node])])
            return volts * float(abs(answer[node][0]))

        return self._once(("ripple", conditions, place), measure)


def says_no_direction(part: Part, expectation: Expectation) -> bool:
    """True for a current through a part that may stand either way round: which end is first says nothing."""
    magnitude = expectation.low >= 0 or (expectation.low == -math.inf and expectation.high >= 0)
    return part.kind.either_way and magnitude


def ripple_of(circuit: Circuit) -> tuple[float, float]:
    """(peak-to-peak volts, hertz) of the ripple that mains supplies bring; no volts where there are none."""
    supplies = [part for part in circuit.parts if part.device.ripples]
    if not supplies:
        return 0.0, 100.0
    volts = max(part.parameters.get("ripple_V", 0.1) for part in supplies)
    return volts, supplies[0].parameters.get("ripple_Hz", 100.0)


def ripple_command(hertz: float) -> str:
    """The ngspice command of a ripple figure."""
    return f"ac lin 1 {hertz:g} {hertz:g}"


_MEASURES: dict[str, Callable[[Measurer, Expectation], float | None]] = {
    "voltage": Measurer._voltage,
    "current": Measurer._current,
    "power": Measurer._power,
    "gain": Measurer._gain,
    "band-low": Measurer._band_low,
    "band-high": Measurer._band_high,
    "input-impedance": Measurer._input_impedance,
    "output-impedance": Measurer._output_impedance,
    "swing": Measurer._swing,
    "distortion": Measurer._distortion,
    "frequency": Measurer._frequency,
    "duty": Measurer._duty,
    "delay": Measurer._delay,
    "ripple": Measurer._ripple,
    "pulse": Measurer._pulse,
    "average-voltage": Measurer._of_a_wave,
    "rms-voltage": Measurer._of_a_wave,
    "average-current": Measurer._of_a_wave,
    "rms-current": Measurer._of_a_wave,
    "threshold-up": Measurer._threshold,
    "threshold-down": Measurer._threshold,
}
