"""Printed values against IEC 60062:2016, marking codes for resistors and capacitors.

The pairs are the examples of the standard's clauses 4 (resistance) and 5 (capacitance) and of its
tolerance letters (clause 6.1), as reproduced in handbooks; written from memory of the standard.
What an independent library reads in the same notation is in test_other_programs.py.
"""

import pytest

from snapcheck.kit import TOLERANCE_LETTERS, ValueForm, parse_value

RESISTANCE = {
    "R10": 0.1, "R150": 0.15, "R332": 0.332, "R590": 0.59, "1R0": 1.0, "1R50": 1.5, "3R32": 3.32,
    "5R90": 5.9, "10R": 10.0, "15R0": 15.0, "33R2": 33.2, "59R0": 59.0, "100R": 100.0, "150R": 150.0,
    "332R": 332.0, "590R": 590.0, "1K0": 1e3, "1K50": 1.5e3, "3K32": 3.32e3, "5K90": 5.9e3, "10K": 10e3,
    "15K0": 15e3, "33K2": 33.2e3, "59K0": 59e3, "100K": 100e3, "150K": 150e3, "332K": 332e3,
    "590K": 590e3, "1M0": 1e6, "1M50": 1.5e6, "3M32": 3.32e6, "5M90": 5.9e6, "10M": 10e6, "15M0": 15e6,
    "33M2": 33.2e6, "100M": 100e6, "1G0": 1e9, "1G5": 1.5e9, "10G": 10e9, "59K04": 59.04e3,
    "100R0": 100.0, "33R21": 33.21,
}  # fmt: skip
CAPACITANCE = {
    "p10": 0.1e-12, "p15": 0.15e-12, "p332": 0.332e-12, "p59": 0.59e-12, "1p0": 1e-12, "1p5": 1.5e-12,
    "3p32": 3.32e-12, "5p9": 5.9e-12, "10p": 10e-12, "15p": 15e-12, "33p2": 33.2e-12, "59p": 59e-12,
    "100p": 100e-12, "150p": 150e-12, "332p": 332e-12, "590p": 590e-12, "1n0": 1e-9, "1n5": 1.5e-9,
    "3n32": 3.32e-9, "5n9": 5.9e-9, "10n": 10e-9, "15n": 15e-9, "33n2": 33.2e-9, "59n": 59e-9,
    "100n": 100e-9, "150n": 150e-9, "332n": 332e-9, "590n": 590e-9, "1µ0": 1e-6, "1µ5": 1.5e-6,
    "3µ32": 3.32e-6, "5µ9": 5.9e-6, "10µ": 10e-6, "15µ": 15e-6, "33µ2": 33.2e-6, "59µ": 59e-6,
    "100µ": 100e-6, "150µ": 150e-6, "332µ": 332e-6, "590µ": 590e-6, "1m0": 1e-3, "1m5": 1.5e-3,
    "3m32": 3.32e-3, "10m": 10e-3,
}  # fmt: skip


@pytest.mark.parametrize("text", RESISTANCE)
def test_resistance_code(text: str) -> None:
    assert parse_value(text, ValueForm.OHMS).value == pytest.approx(RESISTANCE[text], rel=1e-12)


@pytest.mark.parametrize("text", CAPACITANCE)
def test_capacitance_code(text: str) -> None:
    assert parse_value(text, ValueForm.FARADS).value == pytest.approx(CAPACITANCE[text], rel=1e-12)


def test_tolerance_letters() -> None:
    # IEC 60062:2016 table 3, symmetrical relative tolerances in per cent
    table = {"L": 0.01, "P": 0.02, "W": 0.05, "B": 0.1, "C": 0.25, "D": 0.5, "F": 1, "G": 2, "H": 3, "J": 5,
             "K": 10, "M": 20, "N": 30}  # fmt: skip
    assert {k: pytest.approx(v * 100) for k, v in TOLERANCE_LETTERS.items()} == table
    for letter, percent in table.items():
        assert parse_value(f"4k7{letter}", ValueForm.OHMS).tolerance == pytest.approx(percent / 100)
