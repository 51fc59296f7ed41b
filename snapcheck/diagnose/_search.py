"""A search for a fault: what was told and measured so far, what it means, what to do next."""

from __future__ import annotations

import enum
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.diagnose._asks import Ask, Reading, Way
from snapcheck.diagnose._belief import Belief, believe, log_prior, observed
from snapcheck.diagnose._dictionary import Dictionary
from snapcheck.diagnose._faults import Fault
from snapcheck.diagnose._groups import groups
from snapcheck.diagnose._next import Step, next_steps
from snapcheck.diagnose._pairs import log_prior_of_pairs, members, pairs
from snapcheck.diagnose._say import ask_text, parse_reading, spot_words, value_words
from snapcheck.diagnose._symptoms import Symptom, parse_symptom, symptom_logs
from snapcheck.errors import InputError
from snapcheck.simulate import Simulator
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: a suspect this likely is found
FOUND = 0.9
#: suspects of one group that are less likely than this share of it are not named with it
_NAMED = 0.01
#: a measurement that tells less than this is not worth making (bits)
_LEAST_BITS = 0.05
#: the meter may show so much more than all supplies together
_BEYOND = 1.2


class Outcome(enum.StrEnum):
    """Where a search stands."""

    DESIGNED = "as-designed"  #: nothing is wrong, as far as was measured
    FOUND = "found"  #: one suspect is left, or some that nothing tells apart
    OPEN = "open"  #: more measurements will tell
    TOLD_ALL = "told-all"  #: no measurement tells more
    NONE_FITS = "none-fits"  #: no fault explains the readings


@dataclass(frozen=True)
class Suspect:
    """One thing that may be wrong, or several that no voltage and no signal tells apart.

    Attributes:
        faults: likeliest first.
        probability: that it is one of them.
        each: probability of each.
        group: its number in `groups`.
    """

    faults: tuple[Fault, ...]
    probability: float
    each: tuple[float, ...]
    group: int

    @property
    def designed(self) -> bool:
        """Whether "nothing is wrong" is among them."""
        return any(fault.mode == "as-designed" for fault in self.faults)


@dataclass(frozen=True, eq=False)
class Search:
    """An immutable state of a search; `with_reading` gives the next.

    Attributes:
        dictionary: of the board.
        readings, symptoms: what was told.
        pairs: the dictionary of two faults at once, once it was needed.
        ways: how one may measure.
    """

    dictionary: Dictionary = field(repr=False)
    readings: tuple[Reading, ...] = ()
    symptoms: tuple[Symptom, ...] = ()
    pairs: Dictionary | None = field(default=None, repr=False)
    ways: tuple[Way, ...] = tuple(Way)

    # ---------------------------------------------------------------- telling

    def with_reading(self, reading: Reading | str) -> Search:
        """The search after one more reading. Raises InputError where it is not understood."""
        told = parse_reading(self.dictionary, reading) if isinstance(reading, str) else reading
        return replace(self, readings=(*self.readings, told), pairs=None)

    def with_symptom(self, symptom: Symptom | str) -> Search:
        """The search after one more symptom. Raises InputError where it is none."""
        told = symptom if isinstance(symptom, Symptom) else parse_symptom(symptom)
        return replace(self, symptoms=tuple(dict.fromkeys((*self.symptoms, told))), pairs=None)

    def with_pairs(self, simulator: Simulator) -> Search:
        """The search with pairs of faults, where no single one explains the readings."""
        if self.pairs is not None or self.belief.fits or not self.readings:
            return self
        return replace(self, pairs=pairs(self.belief, simulator))

    # ---------------------------------------------------------------- what it means

    @cached_property
    def belief(self) -> Belief:
        """About single faults."""
        return self._believe(self.readings)

    def _believe(self, readings: Sequence[Reading]) -> Belief:
        d = self.dictionary
        prior = log_prior(d, complaint=bool(self.symptoms)) + symptom_logs(d, self.symptoms)
        return believe(d, readings, prior)

    @cached_property
    def of_pairs(self) -> Belief | None:
        """About pairs of faults, where they were tried."""
        if self.pairs is None:
            return None
        return believe(self.pairs, self.readings, log_prior_of_pairs(self.belief, self.pairs))

    @cached_property
    def _weights(self) -> tuple[NDArray[Any], NDArray[Any]]:
        """Probabilities of the entries of single faults, and of those of pairs; together they add up to 1."""
        logs = self.belief.log_prior + self.belief.log_likelihood
        two = self.of_pairs
        more = np.zeros(0) if two is None else two.log_prior + two.log_likelihood
        top = max(float(logs.max()), float(more.max()) if len(more) else -np.inf)
        one, other = np.exp(logs - top), np.exp(more - top)
        total = one.sum() + other.sum()
        return one / total, other / total

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        """Groups of faults that look alike, likeliest first; with pairs, how likely each is to be one of
        two."""
        d, group = self.dictionary, groups(self.dictionary)
        single, double = self._weights
        entries = single.copy()
        if self.pairs is not None:
            for entry in np.flatnonzero(double > 1e-6):
                pair = self.pairs.faults[self.pairs.fault_of[entry]]
                degrees = [int(n) for n in pair.key.partition(" / ")[2].split()]
                for fault, degree in zip(members(d, pair), degrees, strict=True):
                    same = np.flatnonzero((d.fault_of == fault) & (d.degree_of == degree))
                    entries[same] += double[entry] / len(same)
        found = []
        for number in np.unique(group):
            inside = np.flatnonzero(group == number)
            total = float(entries[inside].sum())
            if total < 1e-4:
                continue
            each: dict[int, float] = {}
            for entry in inside:
                each[int(d.fault_of[entry])] = each.get(int(d.fault_of[entry]), 0.0) + float(entries[entry])
            named = sorted(((p, -i) for i, p in each.items() if p > _NAMED * total), reverse=True)
            faults = tuple(d.faults[-i] for _, i in named)
            found.append(Suspect(faults, total, tuple(p for p, _ in named), int(number)))
        return tuple(sorted(found, key=lambda s: -s.probability))

    @cached_property
    def best_pairs(self) -> tuple[tuple[Fault, Fault, float], ...]:
        """Pairs of faults with their probability, likeliest first."""
        if self.pairs is None:
            return ()
        double = self._weights[1]
        found = []
        for entry in (-double).argsort()[:5]:
            both = members(self.dictionary, self.pairs.faults[self.pairs.fault_of[entry]])
            if len(both) == 2 and double[entry] > 0.01:
                one, two = (self.dictionary.faults[i] for i in both)
                found.append((one, two, float(double[entry])))
        return tuple(found)

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        """What to measure next, best first."""
        two = self.of_pairs
        use = self.belief if two is None or self._weights[1].sum() < 0.5 else two
        return tuple(s for s in next_steps(use, self.ways) if s.bits > _LEAST_BITS)

    @cached_property
    def fits(self) -> bool:
        """Whether something that is not out of the question explains all readings."""
        two = self.of_pairs
        return self.belief.fits or (two is not None and two.fits)

    @cached_property
    def outcome(self) -> Outcome:
        """Where the search stands."""
        if not self.readings:
            return Outcome.OPEN
        if not self.fits:
            return Outcome.NONE_FITS
        first = self.suspects[0]
        if first.probability > FOUND:
            if first.designed:
                return Outcome.DESIGNED
            # what is left is told apart by lifting cubes alone
            if len(first.faults) == 1 or not any(step.ask.powered for step in self.steps):
                return Outcome.FOUND
        return Outcome.OPEN if self.steps else Outcome.TOLD_ALL

    @cached_property
    def contradictions(self) -> tuple[str, ...]:
        """Readings that cannot go together, or with this board, in words."""
        return (*self._beyond(), *self._twice(), *self._alone())

    def _beyond(self) -> list[str]:
        d, said = self.dictionary, []
        most = _BEYOND * sum(
            abs(float(part.cube.value))
            for part in d.wiring.circuit.parts
            if part.device.supplies and isinstance(part.cube.value, int | float)
        )
        for r in self.readings:
            volts = r.ask.way in (Way.VOLTS, Way.ACROSS)
            if volts and abs(float(r.value)) > most + 0.1:
                said.append(
                    tr("{value} ({place}) is more than the supply can give: look at the meter's range.",
                       value=value_words(r), place=ask_text(d, r.ask))
                )  # fmt: skip
        return said

    def _twice(self) -> list[str]:
        d, said = self.dictionary, []
        known: dict[Ask, Reading] = {}
        for r in self.readings:
            first = known.setdefault(r.ask, r)
            if first is r or first.value == r.value:
                continue
            if isinstance(r.value, str) or isinstance(first.value, str):
                apart = True
            else:
                one, two = observed(d, first), observed(d, r)
                limit = 0.3 if r.ask.way is Way.SIGNAL else 2 * float(d.priors.meter_V(np.array([one]))[0])
                apart = abs(one - two) > limit
            if apart:
                said.append(
                    tr("{place} was read as {one} and as {two}: something there is loose, or one is wrong.",
                       place=ask_text(d, r.ask), one=value_words(first), two=value_words(r))
                )  # fmt: skip
        return said

    def _alone(self) -> list[str]:
        """A reading without which all others fit."""
        if self.fits or len(self.readings) < 3:
            return []
        said = []
        for number, r in enumerate(self.readings):
            others = self._believe([x for i, x in enumerate(self.readings) if i != number])
            if others.faults[others.fit > 0.05].sum() > 0.5:
                best = self.dictionary.faults[int(others.faults.argmax())]
                said.append(
                    tr("Without {value} at {place} all fits: {fault} Measure there again.",
                       value=value_words(r), place=ask_text(self.dictionary, r.ask), fault=best.text)
                )  # fmt: skip
        return said

    @property
    def sentence(self) -> str:
        """Where the search stands, in words."""
        match self.outcome:
            case Outcome.DESIGNED:
                return tr("All that was measured is as designed.")
            case Outcome.FOUND:
                return tr("Found.") if len(self.suspects[0].faults) == 1 else tr(
                    "Found, as far as voltages and signals tell: one of these.")  # fmt: skip
            case Outcome.NONE_FITS:
                return (
                    tr("No fault, and no two faults, explain all readings.")
                    if self.pairs is not None
                    else tr("No single fault explains all readings.")
                )
            case Outcome.TOLD_ALL:
                return tr("No measurement tells more.")
            case _:
                return tr("Not found yet.") if self.readings else tr("Nothing was measured yet.")

    # ---------------------------------------------------------------- leaving and taking up again

    def told(self) -> dict[str, Any]:
        """Readings and symptoms as plain values; `take_up` takes them back."""
        return {
            "symptoms": [str(symptom) for symptom in self.symptoms],
            "readings": [{"at": ask_text(self.dictionary, r.ask), "value": r.value} for r in self.readings],
        }

    def take_up(self, told: Mapping[str, Any]) -> Search:
        """The search with what `told` gave. Raises InputError where that is not understood."""
        search = self
        symptoms, readings = told.get("symptoms", []), told.get("readings", [])
        if not isinstance(symptoms, list) or not isinstance(readings, list):
            raise InputError(tr("this is no search that was saved."))
        for symptom in symptoms:
            search = search.with_symptom(str(symptom))
        for reading in readings:
            if not isinstance(reading, dict) or not {"at", "value"} <= set(reading):
                raise InputError(tr("this is no search that was saved."))
            value = reading["value"]
            number = isinstance(value, int | float) and not isinstance(value, bool)
            search = search.with_reading(
                f"{reading['at']} {value:.9f}V" if number else f"{reading['at']} {value}"
            )
        return search

    def place_words(self, ask: Ask) -> str:
        """The place of a measurement, for lists."""
        return "" if ask.place is None else spot_words(self.dictionary, ask.place)
