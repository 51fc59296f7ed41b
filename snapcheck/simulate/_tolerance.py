"""Tolerance analysis: the same board built from other specimens of the same parts.

Values are drawn evenly between their limits, because nothing but the limits is known of them
(JCGM 100:2008, 4.3.7); the direct-current gain of transistors evenly on a logarithmic scale.
Operating points and responses are sampled inside one loaded circuit (``alter``); figures that need
runs in time are sampled fewer times.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.board import Design, Expectation
from snapcheck.circuit import Circuit, Part
from snapcheck.errors import SimulationError
from snapcheck.simulate._crew import WorkerCrew
from snapcheck.simulate._figures import Measurer
from snapcheck.simulate._specimens import Specimens, Spread, draw, spreads
from snapcheck.simulate._worker import Worker

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: how sure an interval of a share is
CONFIDENCE = 0.95
#: shares of variance below this are not told
_LEAST_SHARE = 0.01


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

    @property
    def interval(self) -> tuple[float, float]:
        """See `confidence`."""
        return confidence(self.passed, len(self.values))

    def percentile(self, percent: float) -> float | None:
        """Value below which `percent` of the samples lie; None without a single answer."""
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
        judged: how many specimens `passed` is a share of.
        slow_samples: how many were tried for figures that need runs in time.
        varied: how each part varied.
        influence: (part, mean share over all figures), greatest first: which part matters most.
    """

    samples: int
    figures: tuple[FigureSpread, ...]
    passed: float
    judged: int
    slow_samples: int
    varied: tuple[Spread, ...]
    influence: tuple[tuple[Part, float], ...]

    @property
    def interval(self) -> tuple[float, float]:
        """See `confidence`."""
        return confidence(self.passed, self.judged)


def confidence(passed: float, tried: int) -> tuple[float, float]:
    """Between which shares that of all boards lies, 95 times of 100, where a share of `tried` ones passed.

    The exact interval of C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), 404-413: quantiles of beta
    distributions.
    """
    from scipy.special import betaincinv

    good, tail = round(passed * tried), (1 - CONFIDENCE) / 2
    low = 0.0 if good == 0 else float(betaincinv(good, tried - good + 1, tail))
    high = 1.0 if good == tried else float(betaincinv(good + 1, tried - good, 1 - tail))
    return low, high


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
    varied = spreads(circuit)
    factors = draw(varied, samples, seed)
    nominal = Measurer(worker, circuit, design)
    tell = progress or (lambda _: None)
    tell(0.0)
    for expectation in design.expectations:
        nominal.figure(expectation)  # where searches of the specimens begin
    figures: list[FigureSpread] = []
    values: dict[int, NDArray[Any]] = {}
    with WorkerCrew(worker) as crew:
        specimens = Specimens(crew, design, circuit, varied, factors, nominal)
        for number, (position, column) in enumerate(specimens.quick()):
            values[position] = column
            tell(0.5 * (number + 1) / max(1, len(design.expectations)))
        slow = [i for i, e in enumerate(design.expectations) if i not in values]
        if slow:
            values.update(specimens.slow(slow, slow_samples, lambda share: tell(0.5 + 0.5 * share)))
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
        shared,
        slow_samples if slow else 0,
        tuple(varied),
        _influence(figures),
    )


def _shares(
    varied: Sequence[Spread], factors: NDArray[Any], values: NDArray[Any]
) -> tuple[tuple[Part, float], ...]:
    """Share of the variance that each part explains: squared standardised regression coefficients.

    The parts are drawn independently, so these shares add up to the fit's coefficient of determination.
    """
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
