"""Preferred numbers against the tables of IEC 60063:2015 (written out, E3 to E24 and E96 in full).

E48 and E192 are checked through the standard's own construction: E48 is every second value of E96,
E96 every second of E192. The E96 table is the one reproduced in every resistor catalogue; all tables are
held against those of an independent library in test_other_programs.py.
"""

import math

import pytest

from snapcheck.kit import SERIES, coarsest_series, in_series, nearest, neighbours

E24 = "10 11 12 13 15 16 18 20 22 24 27 30 33 36 39 43 47 51 56 62 68 75 82 91"
E12 = "10 12 15 18 22 27 33 39 47 56 68 82"
E6 = "10 15 22 33 47 68"
E3 = "10 22 47"
E96 = """
100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174
178 182 187 191 196 200 205 210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309
316 324 332 340 348 357 365 374 383 392 402 412 422 432 442 453 464 475 487 499 511 523 536 549
562 576 590 604 619 634 649 665 681 698 715 732 750 768 787 806 825 845 866 887 909 931 953 976
"""


@pytest.mark.parametrize(("name", "table"), [("E3", E3), ("E6", E6), ("E12", E12), ("E24", E24)])
def test_coarse_series(name: str, table: str) -> None:
    assert [round(v * 10) for v in SERIES[name]] == [int(word) for word in table.split()]


def test_e96_in_full() -> None:
    assert [round(v * 100) for v in SERIES["E96"]] == [int(word) for word in E96.split()]


def test_fine_series_are_nested_and_e192_has_its_one_exception() -> None:
    assert SERIES["E96"][::2] == SERIES["E48"]
    assert SERIES["E192"][::2] == SERIES["E96"]
    assert [len(SERIES[f"E{n}"]) for n in (48, 96, 192)] == [48, 96, 192]
    assert 9.2 in SERIES["E192"] and 9.19 not in SERIES["E192"]


def test_nearest_and_neighbours() -> None:
    assert nearest(4600, "E12") == 4700
    assert nearest(4800, "E24") == 4700
    assert neighbours(5000, "E12") == (4700, 5600)
    assert neighbours(9.9, "E3") == (4.7, 10)
    assert neighbours(0.98, "E6") == (0.68, 1.0)
    assert nearest(4.7e-7, "E6") == 4.7e-7
    # halfway by ratio, not by difference: between 10 and 22 that is sqrt(220) = 14.83
    assert nearest(14.7, "E3") == 10 and nearest(15.0, "E3") == 22


@pytest.mark.parametrize("exponent", range(-12, 9))
def test_every_preferred_number_is_found_in_every_decade(exponent: int) -> None:
    for name, table in SERIES.items():
        for mantissa in table:
            value = float(f"{mantissa}e{exponent}")
            assert in_series(value, name)
            assert math.isclose(nearest(value, name), value)


def test_coarsest_series() -> None:
    assert [coarsest_series(v) for v in (4700, 1500, 1800, 5100, 4870, 4990, 4.7e-9)] == [
        "E3", "E6", "E12", "E24", "E48", "E96", "E3",
    ]  # fmt: skip
    assert coarsest_series(505) == "E192"
    assert coarsest_series(500) is None
