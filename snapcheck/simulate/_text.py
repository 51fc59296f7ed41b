"""Numbers with units as people say them at the bench: three figures and an SI prefix."""

from __future__ import annotations

import math

from snapcheck.prefixes import scale_of
from snapcheck.words import numeral

_PREFIXES = ("p", "n", "µ", "m", "", "k", "M", "G")
#: a ratio below this is nothing but the arithmetic's own noise
_NOTHING_dB = -200.0
_SIGN = {"ohm": "Ω"}


def figure_text(value: float, unit: str) -> str:
    """``4.53 V``, ``12.3 mA``, ``43.1 dB``, ``2.2 kΩ``; a fraction (unit "") becomes per cent."""
    if math.isinf(value) or math.isnan(value):
        return "∞" if value > 0 else "−∞" if value < 0 else "?"
    return numeral(_plain(value, unit).replace("-", "−"))


def _plain(value: float, unit: str) -> str:
    if unit == "":
        return f"{_three(value * 100)} %"
    if unit == "dB" and value < _NOTHING_dB:
        return "-∞ dB"
    if unit == "dB":
        return f"{round(value, 1) + 0.0:.1f} dB"  # never −0.0
    unit = _SIGN.get(unit, unit)
    size = abs(value)
    if size < 1e-12:
        return f"0 {unit}"
    factor, prefix = scale_of(size, _PREFIXES)
    return f"{_three(value / factor)} {prefix}{unit}"


def _three(value: float) -> str:
    """Three significant figures without an exponent."""
    if value == 0:
        return "0"
    digits = max(0, 2 - math.floor(math.log10(abs(value)) + 1e-9))
    text = f"{value:.{min(digits, 9)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
