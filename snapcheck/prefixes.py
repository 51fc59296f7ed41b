"""The prefixes of the SI (BIPM, The International System of Units, 9th edition 2019, table 7), as far as
parts and their figures need them: in one place, for all that reads and writes numbers."""

from __future__ import annotations

from collections.abc import Collection

#: prefix to its power of ten
POWERS = {"f": -15, "p": -12, "n": -9, "µ": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9, "T": 12}
_NAMES = {power: prefix for prefix, power in POWERS.items()}
#: a number rounded to three figures is a thousand from here on, and takes the next prefix
_NEARLY = 0.9995


def factor_of(prefix: str) -> float | None:
    """What a prefix as it is written (``u`` or the Greek letter for ``µ``) multiplies by; None for none."""
    power = POWERS.get({"u": "µ", "\u03bc": "µ"}.get(prefix, prefix))
    return None if power is None else float(f"1e{power}")


def prefix_of(power: int) -> str:
    """``k`` for 3, ``µ`` for -6."""
    return _NAMES[power]


def scale_of(size: float, prefixes: Collection[str], nearly: float = _NEARLY) -> tuple[float, str]:
    """The greatest of some prefixes that a size is not too small for, else the least; its factor first.

    Args:
        size: not negative.
        prefixes: those to choose from.
        nearly: the share of a factor from which on its prefix is taken.
    """
    factors = sorted(((float(f"1e{POWERS[p]}"), p) for p in prefixes), reverse=True)
    return next((found for found in factors if size >= found[0] * nearly), factors[-1])
