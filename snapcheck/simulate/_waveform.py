"""Measures on waveforms: swing, distortion, frequency, duty, delay. Pure arithmetic on samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: harmonics that count for distortion, the fundamental being 1
_HARMONICS = 10


@dataclass(frozen=True)
class Rhythm:
    """A steady oscillation.

    Attributes:
        frequency_Hz: mean over the periods looked at.
        duty: fraction of a period above the middle between least and greatest value.
        swing_V: peak to peak.
        periods: how many full periods were looked at.
        jitter: standard deviation of the period over its mean.
    """

    frequency_Hz: float
    duty: float
    swing_V: float
    periods: int
    jitter: float


def swing(values: NDArray[Any]) -> float:
    """Peak to peak."""
    return float(values.max() - values.min())


def crossings(time: NDArray[Any], values: NDArray[Any], level: float) -> tuple[NDArray[Any], NDArray[Any]]:
    """Times of upward and of downward crossings of a level, interpolated; shapes (up,), (down,)."""
    above = values > level
    turns = np.flatnonzero(above[1:] != above[:-1])
    before, after = values[turns], values[turns + 1]
    when = time[turns] + (time[turns + 1] - time[turns]) * (level - before) / (after - before)
    up = above[turns + 1]
    return when[up], when[~up]


def rhythm(time: NDArray[Any], values: NDArray[Any]) -> Rhythm | None:
    """The oscillation in a stretch of a waveform, None with fewer than three upward crossings.

    Ripple on the edges does not count as a crossing: it must pass a band of a tenth of the swing.
    """
    size = swing(values)
    middle = float(values.max() + values.min()) / 2
    # a comparator with hysteresis: keep the last state while inside the band
    state = np.where(values > middle + 0.05 * size, 1, np.where(values < middle - 0.05 * size, -1, 0))
    known = np.flatnonzero(state)
    if not len(known):  # it stands still
        return None
    last = np.maximum.accumulate(np.where(state != 0, np.arange(len(state)), known[0]))
    square = state[last]
    rises = np.flatnonzero((square[1:] > 0) & (square[:-1] < 0)) + 1
    if len(rises) < 3:
        return None
    up, _ = crossings(time, values, middle)
    # of each rise, the last upward crossing of the middle before the band was left
    places = np.searchsorted(up, time[rises], side="right") - 1
    starts = np.unique(up[places[places >= 0]])
    if len(starts) < 3:
        return None
    periods = np.diff(starts)
    first, final = starts[0], starts[-1]
    high = 0.0
    inside = (time >= first) & (time <= final)
    t, v = time[inside], values[inside]
    if len(t) > 1:
        mid = (v[1:] + v[:-1]) / 2 > middle
        high = float(np.sum(np.diff(t)[mid]))
    mean = float(periods.mean())
    return Rhythm(1 / mean, high / float(final - first), size, len(periods), float(periods.std()) / mean)


def distortion(
    time: NDArray[Any], values: NDArray[Any], frequency_Hz: float, periods: int
) -> tuple[float, float]:
    """Total harmonic distortion of the last periods of a waveform, and the fundamental's amplitude.

    THD_F = sqrt(Σ V_n², n = 2 to 10) / V_1 (IEC 60268-3). A linear drift is taken away first.

    Returns:
        (distortion as a fraction, amplitude of the fundamental in V); distortion is 0 without a fundamental.
    """
    per_period = 64
    count = per_period * periods
    end = float(time[-1])
    grid = end - periods / frequency_Hz + np.arange(count) / (per_period * frequency_Hz)
    samples = np.interp(grid, time, values)
    whole = periods / frequency_Hz
    earlier = np.interp(grid[:per_period], time, values).mean()
    later = np.interp(grid[-per_period:], time, values).mean()
    span = whole - 1 / frequency_Hz
    if span > 0:
        samples = samples - (later - earlier) / span * (grid - grid[0])
    lines = np.abs(np.fft.rfft(samples)) * 2 / count
    harmonics = lines[periods::periods][:_HARMONICS]
    fundamental = float(harmonics[0])
    if fundamental < 1e-12:
        return 0.0, fundamental
    return float(np.sqrt(np.sum(harmonics[1:] ** 2))) / fundamental, fundamental
