"""The SI prefixes, against table 7 of the SI brochure (BIPM, 9th edition 2019)."""

from __future__ import annotations

import pytest

from snapcheck.prefixes import POWERS, factor_of, prefix_of, scale_of

#: prefix: factor, as printed there
TABLE_7 = {"T": 1e12, "G": 1e9, "M": 1e6, "k": 1e3, "m": 1e-3, "µ": 1e-6, "n": 1e-9, "p": 1e-12, "f": 1e-15}


def test_prefixes_are_those_of_the_brochure() -> None:
    assert {prefix: factor_of(prefix) for prefix in POWERS if prefix} == TABLE_7
    assert all(prefix_of(power) == prefix for prefix, power in POWERS.items())


@pytest.mark.parametrize(("written", "factor"), [("u", 1e-6), ("\u03bc", 1e-6), ("", 1.0), ("K", None)])
def test_how_prefixes_are_written(written: str, factor: float | None) -> None:
    assert factor_of(written) == factor


@pytest.mark.parametrize(
    ("size", "prefix"),
    [(999.4, ""), (999.5, "k"), (1e3, "k"), (5e9, "M"), (1e-9, "m"), (0.0, "m"), (0.9995, ""), (0.9994, "m")],
)
def test_a_number_that_rounds_to_a_thousand_takes_the_next_prefix(size: float, prefix: str) -> None:
    factor, found = scale_of(size, ("m", "", "k", "M"))
    assert (found, factor) == (prefix, TABLE_7.get(prefix, 1.0))
    assert scale_of(999.9, ("k", ""), nearly=1.0) == (1.0, "")
