"""What the plan makes of each sort of mistake, held against Bayes' rule done by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from snapcheck.board import Cell, Cube, Lead, Seam, Side, SocketEnd, parse_layout
from snapcheck.check import bundled_settings, certainty
from snapcheck.check._evidence import settled_cells, settled_links
from snapcheck.kit import bundled_kit
from snapcheck.photo import CubeReading, LeadReading, State, TapReading, reading_from_truth

KIT = bundled_kit()
S = bundled_settings()
OHMS = Cube("resistor", 0, 470.0, "470")
NEAR = replace(OHMS, value=560.0)
LED = Cube("led", 0, "red", "red")
AT = Cell.parse("B1")


def odds(p: float) -> float:
    return p / (1 - p)


#: the right cube: it is there and none of the mistakes that a present cube may have
RIGHT = (1 - S.mistake_missing) / 0.5 * 200 * (1 - S.mistake_turned - S.mistake_value - S.mistake_kind)
THERE = (1 - S.mistake_missing) / 0.5


@pytest.mark.parametrize(
    ("planned", "other", "weight"),
    [
        (OHMS, None, S.mistake_missing / 0.5),
        (OHMS, Cube("capacitor", 0, 1e-7, "100n"), THERE * S.mistake_kind * 31 / 8),
        (OHMS, replace(OHMS, value=560.0), THERE * 200 * S.mistake_value / 10),
        (OHMS, replace(OHMS, value=None), THERE * 200 * S.mistake_value / 10 * 0.05),
        (OHMS, replace(OHMS, turn=90), THERE * 200 * S.mistake_turned / 3),
        (
            OHMS,
            replace(OHMS, turn=90, value=560.0),
            THERE * 200 * S.mistake_turned / 3 * S.mistake_value / 10,
        ),
        (LED, replace(LED, turn=180), THERE * 200 * S.mistake_turned / 3),
        (LED, replace(LED, value="green"), THERE * 200 * S.mistake_value / 10),
        (LED, replace(LED, value="rcd"), THERE * 200 * S.mistake_value / 10 * 0.05),
    ],
)
def test_each_mistake_is_as_likely_as_the_settings_say(
    planned: Cube, other: Cube | None, weight: float
) -> None:
    p = certainty([(planned, 0.5), (other, 0.5)], planned, KIT, S)
    assert odds(p) == pytest.approx(RIGHT / weight)


def test_a_resistor_turned_by_half_a_turn_is_the_same() -> None:
    assert certainty([(replace(OHMS, turn=180), 1.0)], OHMS, KIT, S) == 1.0
    assert certainty([(replace(LED, turn=180), 1.0)], LED, KIT, S) == 0.0


def test_what_is_not_listed_counts_as_the_likeliest_mistake() -> None:
    p = certainty([(OHMS, 0.6)], OHMS, KIT, S)
    assert odds(p) == pytest.approx(0.6 * RIGHT / (0.4 * S.mistake_missing / 0.5))
    empty = certainty([(None, 0.6)], None, KIT, S)
    assert odds(empty) == pytest.approx(0.6 * (1 - S.mistake_extra) / (0.4 * S.mistake_extra))


class Dangers:
    """Says whether some other cube would be a danger."""

    def __init__(self, dangerous: bool) -> None:
        self.dangerous = dangerous
        self.asked: list[list[Cube | None]] = []

    def dangers(self, cell: Cell, rivals: list[Cube | None]) -> bool:
        self.asked.append(rivals)
        return self.dangerous


def mixed(certain: float, other: Cube, planned: Cube = OHMS) -> list[tuple[Cube | None, float]]:
    """Chances after which the planned cube is that certain."""
    even = odds(certainty([(planned, 0.5), (other, 0.5)], planned, KIT, S))
    share = odds(certain) / even
    return [(planned, share / (1 + share)), (other, 1 / (1 + share))]


def settled(chances: list[tuple[Cube | None, float]], planned: Cube = OHMS, danger: bool = False) -> bool:
    tried = Dangers(danger)
    return AT in settled_cells({AT: chances}, {AT: planned}, tried, KIT, S)  # type: ignore[arg-type]


@pytest.mark.parametrize(("certain", "plain", "dangerous"), [
    (0.9989, False, False), (0.9991, True, False), (0.99989, True, False), (0.99991, True, True),
])  # fmt: skip
def test_where_a_rival_is_a_danger_more_certainty_is_asked_for(
    certain: float, plain: bool, dangerous: bool
) -> None:
    assert S.settled_from == 0.999 and S.settled_from_danger == 0.9999
    assert settled(mixed(certain, NEAR)) is plain and settled(mixed(certain, NEAR), danger=True) is dangerous


@pytest.mark.parametrize(
    ("factor", "settles"),
    [(10, False), (1 / 10, False), (100, False), (1 / 100, False), (5.1, True), (1 / 5.1, True), (15, True)],
)
def test_the_same_digits_a_decade_up_or_down_ask_for_more(factor: float, settles: bool) -> None:
    assert settled(mixed(0.9995, replace(OHMS, value=470.0 * factor))) is settles
    assert settled(mixed(0.99995, replace(OHMS, value=470.0 * factor)))


def test_which_way_round_a_marked_part_stands_asks_for_more() -> None:
    turned = replace(LED, turn=180)
    assert not settled(mixed(0.9995, turned, LED), LED) and settled(mixed(0.99995, turned, LED), LED)
    green = replace(LED, value="green")
    assert settled(mixed(0.9995, green, LED), LED)


# ---------------------------------------------------------------- taps and leads

BOARD = parse_layout(
    "plate 6 x 4\nA1 resistor 1k\nB1 resistor 1k\nE4 socket signal=left\nF1 socket signal=right\n"
    "tap A1|B1\nlead F1 to E4\n", "plan", KIT,
).board  # fmt: skip
TAP, LEAD = Seam.parse("A1|B1"), BOARD.leads[0]


def surely(p: float, mistake: float) -> float:
    """Odds of the reading times how much oftener a build is as planned than just so otherwise."""
    return p * (1 - mistake) / (p * (1 - mistake) + (1 - p) * mistake)


@pytest.mark.parametrize("p", [0.6, 0.7, 0.8, 0.85, 0.9, 0.95, 0.99])
def test_a_planned_tap_or_lead_is_taken_where_both_together_are_certain(p: float) -> None:
    data = {"columns": 6, "rows": 4, "size": [600, 400], "cubes": [], "taps": [], "leads": []}
    empty = reading_from_truth(data, "b.jpg", KIT)
    cubes = {c: CubeReading(q, State.READ, 1.0) for c, q in BOARD.cubes.items()}
    elsewhere = Lead(SocketEnd(Cell.parse("F1"), Side.W), SocketEnd(Cell.parse("E4"), Side.E))
    strange = Seam.parse("B1|C1")
    seen = replace(
        empty,
        cubes=cubes,
        taps=(TapReading(TAP, State.UNSURE, p), TapReading(strange, State.UNSURE, p)),
        leads=(LeadReading(LEAD, State.UNSURE, p),),
    )
    sure = settled_links(seen, BOARD, S)
    tap_taken = surely(p, S.mistake_tap) >= S.settled_from
    assert [t.state is State.READ for t in sure.taps] == [tap_taken, False]  # only what is planned
    lead_taken = surely(p, S.mistake_lead / 5) >= S.settled_from
    assert [r.state is State.READ for r in sure.leads] == [lead_taken]
    other = replace(seen, leads=(LeadReading(elsewhere, State.UNSURE, p),))
    unplanned = elsewhere.ends != LEAD.ends
    assert settled_links(other, BOARD, S).leads[0].state is (State.UNSURE if unplanned else State.READ)
