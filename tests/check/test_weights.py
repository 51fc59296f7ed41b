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
        # laid as the planned cube would lie in 7 of 10, else in one of the three other turns
        (OHMS, Cube("capacitor", 0, 1e-7, "100n"), THERE * S.mistake_kind * 31 / 8 * 4 * 0.7),
        (OHMS, Cube("capacitor", 180, 1e-7, "100n"), THERE * S.mistake_kind * 31 / 8 * 4 * 0.7),
        (OHMS, Cube("capacitor", 90, 1e-7, "100n"), THERE * S.mistake_kind * 31 / 8 * 4 * 0.1),
        (LED, Cube("resistor", 180, 470.0, "470"), THERE * S.mistake_kind * 31 / 8 * 4 * 0.7),
        (LED, Cube("diode", 180, "1N4148"), THERE * S.mistake_kind * 31 / 8 * 4 * 0.1),
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
    """Says which other cubes would be a danger."""

    def __init__(self, dangerous: list[Cube]) -> None:
        self.dangerous = dangerous

    def dangers(self, cell: Cell, rivals: list[Cube | None]) -> list[tuple[Cube | None, None]]:
        return [(rival, None) for rival in rivals if rival in self.dangerous]


Chances = list[tuple[Cube | None, float]]


def mixed(planned: Cube, *others: tuple[Cube, float]) -> Chances:
    """Chances after which these others are that likely, picture and plan together."""
    weights = {other: odds(certainty([(planned, 0.5), (other, 0.5)], planned, KIT, S)) for other, _ in others}
    left = 1 - sum(p for _, p in others)
    shares = [(planned, left), *((other, p * weights[other]) for other, p in others)]
    total = sum(p for _, p in shares)
    return [(cube, p / total) for cube, p in shares]


def settled(chances: Chances, planned: Cube = OHMS, dangerous: list[Cube] | None = None) -> bool:
    tried = Dangers(dangerous or [])
    return AT in settled_cells({AT: chances}, {AT: planned}, tried, KIT, S)  # type: ignore[arg-type]


def test_the_limits_are_those_that_trials_were_made_with() -> None:
    limits = (S.settled_from, S.settled_from_rival, S.settled_from_decade, S.settled_from_danger)
    assert limits == (0.999, 0.9995, 0.9998, 0.9999)


@pytest.mark.parametrize(("each", "settles"), [(0.00024, True), (0.00026, False)])
def test_all_rivals_together_must_be_unlikely(each: float, settles: bool) -> None:
    several = [(replace(OHMS, value=v), each) for v in (150.0, 220.0, 330.0, 680.0)]
    assert settled(mixed(OHMS, *several)) is settles


@pytest.mark.parametrize(("p", "settles"), [(0.00048, True), (0.00052, False)])
@pytest.mark.parametrize("other", [NEAR, Cube("photoresistor", 0, 470.0, "470"), replace(OHMS, turn=90)])
def test_each_rival_must_be_unlikely_by_itself(other: Cube, p: float, settles: bool) -> None:
    assert settled(mixed(OHMS, (other, p))) is settles


@pytest.mark.parametrize(("p", "settles"), [(0.00009, True), (0.00011, False)])
def test_what_would_be_dangerous_must_be_unlikelier(p: float, settles: bool) -> None:
    assert settled(mixed(OHMS, (NEAR, p)), dangerous=[NEAR]) is settles
    # and doubt about what is harmless does not count against it
    harmless = replace(OHMS, value=330.0)
    assert settled(mixed(OHMS, (NEAR, p), (harmless, 0.0004)), dangerous=[NEAR]) is settles
    assert settled(mixed(OHMS, (harmless, 0.0004)), dangerous=[NEAR])


@pytest.mark.parametrize(
    ("factor", "settles"),
    [(10, False), (1 / 10, False), (100, False), (1 / 100, False), (5.1, True), (1 / 5.1, True), (15, True)],
)
def test_the_same_digits_a_decade_up_or_down_ask_for_more(factor: float, settles: bool) -> None:
    other = replace(OHMS, value=470.0 * factor)
    assert settled(mixed(OHMS, (other, 0.00022))) is settles
    assert settled(mixed(OHMS, (other, 0.00018)))
    if not settles:  # all decades together
        up, down = replace(OHMS, value=4700.0), replace(OHMS, value=47.0)
        assert not settled(mixed(OHMS, (up, 0.00011), (down, 0.00011)))


def test_which_way_round_a_marked_part_stands_asks_for_more() -> None:
    turned = replace(LED, turn=180)
    assert not settled(mixed(LED, (turned, 0.0004)), LED) and settled(mixed(LED, (turned, 0.00005)), LED)
    green = replace(LED, value="green")
    assert settled(mixed(LED, (green, 0.0004)), LED)


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
