"""One build with a hidden fault, to be measured: for practice, and to see how well the search does."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.diagnose._asks import Ask, Reading, Way, chances
from snapcheck.diagnose._dictionary import Dictionary, nets_at
from snapcheck.diagnose._faults import Change, Fault
from snapcheck.diagnose._variants import Variant
from snapcheck.errors import SimulationError
from snapcheck.simulate import Probed, Simulator, spreads

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(eq=False)
class Specimen:
    """A build: values drawn from the parts' tolerances, one fault or several in it, and a meter with its
    error.

    Everything follows from the seed; the circuit is calculated as it is, not looked up in the dictionary.
    """

    dictionary: Dictionary
    simulator: Simulator
    faults: tuple[Fault, ...]
    seed: int
    scales: dict[str, float] = field(init=False)
    change: Change = field(init=False)
    entries: list[frozenset[int]] = field(init=False)  #: of the dictionary, for each fault
    _found: dict[int, tuple[Variant, Probed | None]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        random = np.random.default_rng(self.seed)
        self.scales = {}
        for s in spreads(self.dictionary.wiring.circuit):
            where = random.random()
            if s.logarithmic:
                self.scales[s.part.name] = math.exp(
                    math.log(s.low) + where * (math.log(s.high) - math.log(s.low))
                )
            else:
                self.scales[s.part.name] = s.low + where * (s.high - s.low)
        for part in self.dictionary.wiring.circuit.parts:
            if part.device.supplies:
                wide = self.dictionary.priors.spread_of(part)
                self.scales[part.name] = 1 + wide * (2 * random.random() - 1)
        self.change, self.entries = Change(), []
        for fault in self.faults:
            degree = int(random.integers(len(fault.degrees)))
            of = self.dictionary.fault_of == self.dictionary.fault_named[fault.key]
            same = of & (self.dictionary.degree_of == degree)
            self.entries.append(frozenset(np.flatnonzero(same).tolist()))
            self.change += fault.degrees[degree]
        self._random = random

    def measure(self, ask: Ask) -> Reading:
        """What the meter shows.

        Raises:
            SimulationError: the build has no answer.
        """
        if ask.way in (Way.CONTACT, Way.LIFTED):
            return Reading(ask, self._word(ask))
        value = self._volts(ask)
        if ask.way is Way.SIGNAL:
            value *= 10 ** self._random.normal(0, self.dictionary.priors.spread["signal_decades"] / 2)
            return Reading(ask, value if value > self.dictionary.priors.meter["least_signal_V"] else 0.0)
        return Reading(ask, self._shown(value))

    def _word(self, ask: Ask) -> str:
        d = self.dictionary
        likely: NDArray[Any] = np.zeros(0)
        words: tuple[str, ...] = ()
        for fault in self.faults:
            words, table = chances(d, ask)
            row = table[np.flatnonzero(d.fault_of == d.fault_named[fault.key])[0]]
            likely = row if not len(likely) or row.argmax() else likely
        return words[int(likely.argmax())] if words else "good"

    def _volts(self, ask: Ask) -> float:
        d, probed = self.dictionary, self._probed(ask.setting)
        v, found = probed
        if found is None:
            raise SimulationError("the build with this fault has no answer.")
        values = found.shown
        if ask.way is Way.SIGNAL:
            values = found.signal if found.signal is not None else np.zeros_like(found.shown)
        net = nets_at([s for s in (ask.place, ask.other) if s is not None], d.wiring, v)
        volts = [0.0 if n < 0 else float(np.nan_to_num(values[n])) for n in net]
        if ask.way is Way.SIGNAL:
            unit_V = d.plan.volts
            return min(volts[0] * unit_V, max(d.span_V, 1.0) / 2) if unit_V else volts[0]
        if ask.other is None:
            return volts[0]
        left = 1.0
        for n in net:
            if n < 0:
                left = 0.0
            elif abs(found.volts[n]) > 1e-3:
                share = min(max(found.shown[n] / found.volts[n], 1e-3), 1.0)
                left = 1 / (1 / left + 1 / share - 1) if left else 0.0
        return (volts[0] - volts[1]) * left

    def _probed(self, setting: int) -> tuple[Variant, Probed | None]:
        if setting not in self._found:
            d = self.dictionary
            wiring = next((f.wiring for f in self.faults if f.wiring is not None), None)
            whole = Fault("", "", (), 1.0, (self.change,), wiring=wiring)
            v = d.plan.variant(whole, self.change)
            job = d.plan.job(v, d.settings[setting].conditions, signal=setting == 0, scales=self.scales)
            try:
                self._found[setting] = v, job(self.simulator.worker)
            except SimulationError:
                self._found[setting] = v, None
        return self._found[setting]

    def _shown(self, volts: float) -> float:
        """A voltage as the meter shows it: off by up to its limit, rounded to its last digit."""
        p = self.dictionary.priors
        limit = float(p.meter_V(np.array([volts]))[0])
        off = volts + limit * (2 * self._random.random() - 1)
        digit = (limit - p.meter["share"] * abs(volts)) / max(p.meter["digits"], 1.0)
        return round(round(off / digit) * digit, 6)
