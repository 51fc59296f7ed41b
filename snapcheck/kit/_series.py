"""Preferred numbers per IEC 60063: E3 to E192."""

from __future__ import annotations

import math

# IEC 60063:2015 table 1. E24 was fixed before the exact formula and departs from it (2.7 ... 4.7, 8.2).
_E24 = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
        3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1)  # fmt: skip


def _fine(count: int) -> tuple[float, ...]:
    # IEC 60063 table 2: the geometric series rounded to three figures; 9.19 is written 9.20.
    values = (round(10 ** (i / count), 2) for i in range(count))
    return tuple(9.2 if value == 9.19 else value for value in values)


#: series name to its values in one decade, 1 <= value < 10
SERIES: dict[str, tuple[float, ...]] = {
    "E3": _E24[::8],
    "E6": _E24[::4],
    "E12": _E24[::2],
    "E24": _E24,
    "E48": _fine(48),
    "E96": _fine(96),
    "E192": _fine(192),
}

#: usual tolerance that goes with a series (IEC 60063, informative)
SERIES_TOLERANCE = {"E3": 0.4, "E6": 0.2, "E12": 0.1, "E24": 0.05, "E48": 0.02, "E96": 0.01, "E192": 0.005}


def _decade(value: float) -> int:
    exponent = math.floor(math.log10(value))
    return exponent + 1 if value / 10.0**exponent >= 9.9999999 else exponent


def _scaled(mantissa: float, exponent: int) -> float:
    return float(f"{mantissa:.2f}e{exponent}")


def same_decade(value: float, series: str) -> tuple[float, ...]:
    """The series' values in the decade of a positive `value`."""
    exponent = _decade(value)
    return tuple(_scaled(m, exponent) for m in SERIES[series])


def neighbours(value: float, series: str) -> tuple[float, float]:
    """The series' values just below-or-equal and just above-or-equal to a positive `value`."""
    exponent = _decade(value)
    ladder = [_scaled(m, e) for e in (exponent - 1, exponent, exponent + 1) for m in SERIES[series]]
    near = [v for v in ladder if math.isclose(v, value, rel_tol=1e-6)]
    if near:
        return near[0], near[0]
    return max(v for v in ladder if v < value), min(v for v in ladder if v > value)


def nearest(value: float, series: str) -> float:
    """The preferred number closest to a positive `value` by ratio."""
    low, high = neighbours(value, series)
    return low if value / low <= high / value else high


def in_series(value: float, series: str) -> bool:
    """True when `value` is a preferred number of `series` (to one part in a million)."""
    return value > 0 and math.isclose(nearest(value, series), value, rel_tol=1e-6)


def coarsest_series(value: float) -> str | None:
    """The first of E3, E6, ... E192 that holds `value`, or None."""
    return next((name for name in SERIES if in_series(value, name)), None)


def decades_apart(a: object, b: object) -> bool:
    """Whether two values differ by where the point or the prefix stands: by whole decades, within 2 %."""
    if not isinstance(a, float | int) or not isinstance(b, float | int) or a <= 0 or b <= 0:
        return False
    decades = math.log10(a / b)
    return abs(decades) > 0.5 and abs(decades - round(decades)) < 0.01
