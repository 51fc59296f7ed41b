"""How likely each fault is after some readings.

Bayes' rule over all entries of a dictionary at once, with the joint normal distribution of the readings,
so that the order in which they come does not count and tolerances that move several readings together count
once.
A small share of the likelihood allows each reading to be a slip, so that one wrong number does not rule out
the
truth.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.diagnose._asks import Ask, Reading, Way, chances, expected
from snapcheck.diagnose._dictionary import Dictionary

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: share of the likelihood in which each reading may be a slip, and how often it then is one
_DOUBT, _SLIPS = 1e-3, 0.2
#: readings that fit the best fault no better than this happen to one build in a thousand
FITS = 1e-3


@dataclass(frozen=True, eq=False)
class Belief:
    """What the readings say.

    Attributes:
        dictionary: of the board.
        readings: what was measured.
        log_prior: (entries,) before any reading.
        log_joint: (entries,) likelihood of all voltages and signals together.
        log_likelihood: (entries,) of everything, slips allowed.
        misfit: (entries,) squared distance of voltages and signals from what is expected, in deviations.
        shift, left: (entries, varied), (entries, varied, varied): what the readings say of the specimen's
            parts.
    """

    dictionary: Dictionary
    readings: tuple[Reading, ...]
    log_prior: NDArray[Any] = field(repr=False)
    log_joint: NDArray[Any] = field(repr=False)
    log_likelihood: NDArray[Any] = field(repr=False)
    misfit: NDArray[Any] = field(repr=False)
    shift: NDArray[Any] = field(repr=False)
    left: NDArray[Any] = field(repr=False)

    @cached_property
    def entries(self) -> NDArray[Any]:
        """(entries,) probabilities; they add up to 1."""
        logs = self.log_prior + self.log_likelihood
        weights = np.exp(logs - logs.max())
        share: NDArray[Any] = weights / weights.sum()
        return share

    @cached_property
    def faults(self) -> NDArray[Any]:
        """(faults,) probabilities; they add up to 1."""
        return np.bincount(self.dictionary.fault_of, self.entries, minlength=len(self.dictionary.faults))

    @cached_property
    def fit(self) -> NDArray[Any]:
        """(faults,) how often a build with this fault has readings as far off as these, at the best
        degree."""
        from scipy.special import gammaincc

        count = sum(_numeric(r.ask) for r in self.readings)
        if count == 0:
            return np.ones(len(self.dictionary.faults))
        best = np.full(len(self.dictionary.faults), np.inf)
        np.minimum.at(best, self.dictionary.fault_of, self.misfit)
        tail: NDArray[Any] = gammaincc(count / 2, best / 2)
        return tail

    @property
    def fits(self) -> bool:
        """Whether one of the hypotheses that are not out of the question explains all readings."""
        return bool(np.any(self.fit[self.faults > 1e-4] > FITS))


def _numeric(ask: Ask) -> bool:
    return ask.way in (Way.VOLTS, Way.ACROSS, Way.SIGNAL)


def observed(d: Dictionary, reading: Reading) -> float:
    """A reading on the scale of `expected`."""
    value = float(reading.value)
    if reading.ask.way is Way.SIGNAL:
        return math.log10(max(value, d.priors.meter["least_signal_V"]))
    return value


def log_prior(d: Dictionary, complaint: bool, factors: Mapping[str, float] | None = None) -> NDArray[Any]:
    """Logarithm of how likely each entry is before any reading.

    Args:
        complaint: something has been complained of: that nothing is wrong is less likely.
        factors: key of a fault to a factor on its weight (what a symptom says).
    """
    weights = np.array([f.weight * (factors or {}).get(f.key, 1.0) for f in d.faults])
    none = d.priors.designed_complaint if complaint else d.priors.designed
    others = sum(f.weight for f in d.faults[1:])
    # the weight of "nothing is wrong" is meant against a board's usual sum of faults, whatever its size
    weights[0] = none / 100 * others * (factors or {}).get(d.faults[0].key, 1.0)
    entries = weights[d.fault_of] * d.share
    logs: NDArray[Any] = np.log(np.maximum(entries / entries.sum(), 1e-30))
    return logs


def believe(d: Dictionary, readings: Sequence[Reading], prior: NDArray[Any]) -> Belief:
    """What readings say of a board.

    Args:
        prior: see `log_prior`.
    """
    numeric = [r for r in readings if _numeric(r.ask)]
    entries, varied = len(d.fault_of), len(d.varied)
    said = np.zeros(entries)
    for r in readings:
        if not _numeric(r.ask):
            words, table = chances(d, r.ask)
            said += np.log(table[:, words.index(str(r.value))])
    shift, left = np.zeros((entries, varied)), np.broadcast_to(np.eye(varied), (entries, varied, varied))
    joint, misfit, alone = np.zeros(entries), np.zeros(entries), np.zeros(entries)
    if numeric:
        mean, slope, noise = expected(d, [r.ask for r in numeric])
        y = np.array([observed(d, r) for r in numeric])
        off = (y[:, None] - mean).T  # (entries, readings)
        slopes = slope.transpose(1, 0, 2)  # (entries, readings, varied)
        cov = slopes @ slopes.transpose(0, 2, 1)
        own = cov[:, range(len(y)), range(len(y))] + noise.T**2
        cov = cov + np.eye(len(y)) * (noise.T**2)[:, None, :]
        root = np.linalg.cholesky(cov)
        white = np.linalg.solve(root, off[..., None])[..., 0]
        misfit = (white**2).sum(axis=1)
        size = np.log(np.diagonal(root, axis1=1, axis2=2)).sum(axis=1)
        joint = -0.5 * misfit - size - 0.5 * len(y) * math.log(2 * math.pi)
        span = np.array([_span(d, r.ask) for r in numeric])
        each = -0.5 * off**2 / own - 0.5 * np.log(2 * math.pi * own)
        alone = np.logaddexp(math.log(1 - _SLIPS) + each, math.log(_SLIPS) - np.log(span)[None, :]).sum(
            axis=1
        )
        back = np.linalg.solve(cov, slopes)  # (entries, readings, varied)
        shift = (back * off[..., None]).sum(axis=1)
        left = left - slopes.transpose(0, 2, 1) @ back
    both = np.logaddexp(math.log(1 - _DOUBT) + joint, math.log(_DOUBT) + alone) if numeric else joint
    return Belief(d, tuple(readings), prior, joint, both + said, misfit, shift, left)


def _span(d: Dictionary, ask: Ask) -> float:
    """The range in which a slip lies."""
    return 4.0 if ask.way is Way.SIGNAL else 2 * d.span_V
