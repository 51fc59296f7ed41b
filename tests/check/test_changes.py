"""One cube, one cause: how far a value is off, what is moved, swapped, reversed; taps and leads."""

from __future__ import annotations

from dataclasses import replace

import pytest
from boardmaker import boards
from hypothesis import given, settings
from hypothesis import strategies as st

from snapcheck.board import Board, Cell, Cube, Seam, parse_layout
from snapcheck.check._align import _mirror_image, align
from snapcheck.check._changes import Change, Nearness, apply, find_changes, nearness
from snapcheck.kit import bundled_kit

KIT = bundled_kit()
C2 = Cell.parse("C2")


@pytest.mark.parametrize("up", [True, False])
@pytest.mark.parametrize(("ratio", "how"), [
    (1.0, Nearness.SAME), (1.0009, Nearness.SAME), (1.04, Nearness.WITHIN), (1.06, Nearness.NEAR),
    (2.19, Nearness.NEAR), (2.21, Nearness.FAR), (9.9, Nearness.FAR), (10.0, Nearness.OUTRAGEOUS),
    (1000.0, Nearness.OUTRAGEOUS),
])  # fmt: skip
def test_how_far_a_value_is_off_either_way(ratio: float, how: Nearness, up: bool) -> None:
    """A resistor has a tolerance of five hundredths."""
    kind = KIT["resistor"]
    assert kind.tolerance == 0.05
    one, two = Cube("resistor", 0, 1000.0), Cube("resistor", 0, 1000.0 * ratio)
    planned, found = (one, two) if up else (two, one)
    assert nearness(kind, planned, found, 2.2, 10.0) is how


def test_nought_words_and_units_are_no_ratio() -> None:
    kind = KIT["resistor"]
    ohms, link = Cube("resistor", 0, 1000.0), Cube("resistor", 0, 0.0)
    assert (
        nearness(kind, ohms, link, 2.2, 10.0) is nearness(kind, link, ohms, 2.2, 10.0) is Nearness.OUTRAGEOUS
    )
    red, green = Cube("led", 0, "red"), Cube("led", 0, "green")
    assert nearness(KIT["led"], red, green, 2.2, 10.0) is Nearness.FAR
    volts, amperes = Cube("meter", 0, 10.0, unit="V"), Cube("meter", 0, 10.0, unit="A")
    assert nearness(KIT["meter"], volts, amperes, 2.2, 10.0) is Nearness.FAR


def of(plan: dict[str, Cube], built: dict[str, Cube]) -> list[tuple[Change, str]]:
    boards_ = (Board(6, 6, {Cell.parse(c): q for c, q in cubes.items()}) for cubes in (plan, built))
    return [(c.change, " ".join(map(str, c.cells))) for c in find_changes(*boards_, KIT)]


R, LED, NPN = Cube("resistor", 0, 470.0), Cube("led", 0, "red"), Cube("npn", 0, "BC547")
WIRE, CORNER = Cube("straight", 0), Cube("corner", 0)


@pytest.mark.parametrize(("planned", "found", "change"), [
    (R, replace(R, turn=180), None), (R, replace(R, turn=90), Change.TURNED),
    (WIRE, replace(WIRE, turn=180), None),
    (LED, replace(LED, turn=180), Change.REVERSED), (LED, replace(LED, turn=90), Change.TURNED),
    (NPN, replace(NPN, turn=180), Change.TURNED), (CORNER, replace(CORNER, turn=180), Change.TURNED),
    (R, replace(R, value=560.0), Change.WRONG_VALUE), (R, replace(R, value=470.3), None),
    (replace(R, value=None), R, None), (R, replace(R, value=None), Change.WRONG_VALUE),
    (R, LED, Change.WRONG_KIND), (LED, replace(LED, value="RED"), None),
])  # fmt: skip
def test_one_cube(planned: Cube, found: Cube, change: Change | None) -> None:
    assert of({"C2": planned}, {"C2": found}) == ([] if change is None else [(change, "C2")])


def test_missing_extra_swapped_moved() -> None:
    other = replace(R, value=1000.0)
    assert of({"C2": R}, {}) == [(Change.MISSING, "C2")] and of({}, {"C2": R}) == [(Change.EXTRA, "C2")]
    assert of({"B2": R, "E5": other}, {"B2": other, "E5": R}) == [(Change.SWAPPED, "B2 E5")]
    assert of({"B2": R}, {"B3": R}) == [(Change.MOVED, "B2 B3")] == of({"B2": R}, {"B3": R})
    assert of({"B2": R}, {"E5": R}) == [(Change.MOVED, "B2 E5")]
    here, there = (Board(6, 6, {Cell.parse(c): R}) for c in ("B2", "E5"))
    assert [c.step for c in find_changes(here, there, KIT)] == [(3, 3)]
    there = Board(6, 6, {Cell.parse("F1"): R})
    assert [c.step for c in find_changes(here, there, KIT)] == [(4, -1)]
    # a turned one is the same cube only nearby; a wire only next to its place
    turned = replace(R, turn=90)
    assert of({"B2": R}, {"B4": turned}) == [(Change.MOVED, "B2 B4")]
    assert {c for c, _ in of({"B2": R}, {"B5": turned})} == {Change.MISSING, Change.EXTRA}
    assert of({"B2": WIRE}, {"B3": WIRE}) == [(Change.MOVED, "B2 B3")]
    assert {c for c, _ in of({"B2": WIRE}, {"B4": WIRE})} == {Change.MISSING, Change.EXTRA}


@pytest.mark.parametrize(("right", "down"), [(1, 0), (-1, 0), (0, 1), (0, -1)])
def test_two_that_stand_one_cell_off_are_one_cause(right: int, down: int) -> None:
    plan = {Cell.parse("C3"): R, Cell.parse("C4"): LED, Cell.parse("A1"): NPN}
    moved = {Cell(c.row + down, c.column + right): q for c, q in plan.items() if q is not NPN}
    built = {**moved, Cell.parse("A1"): NPN}
    (change,) = find_changes(Board(6, 6, plan), Board(6, 6, built), KIT)
    assert change.change is Change.MOVED and change.step == (right, down)
    assert change.cells[:2] == (Cell.parse("C3"), Cell.parse("C4"))


PARTS = ("plate 6 x 6", "A1 resistor 1k", "B1 resistor 1k", "C1 resistor 1k", "E4 socket signal=left",
         "F1 socket signal=right", "D6 socket signal=right")  # fmt: skip


def wired(*lines: str) -> Board:
    return parse_layout("\n".join([*PARTS, *lines]), "wired", KIT).board


WIRED = wired("tap A1|B1", "lead F1 E to A1|B1", "lead E4 W to D6 E")


def rewired(*lines: str) -> list[tuple[Change, int, int]]:
    board = wired(*lines)
    changes = find_changes(WIRED, board, KIT)
    assert apply(WIRED, changes) == board
    return [(c.change, len(c.taps_out), len(c.taps_in)) for c in changes]


def test_leads_and_taps() -> None:
    tap, one, two = "tap A1|B1", "lead F1 E to A1|B1", "lead E4 W to D6 E"
    assert rewired(tap, one, two) == [] == rewired(tap, "lead D6 E to E4 W", "lead A1|B1 to F1 E")
    assert rewired(tap, one) == [(Change.LEAD_MISSING, 0, 0)]
    assert rewired(tap, two) == [(Change.LEAD_MISSING, 0, 0)]
    assert rewired(two) == [(Change.LEAD_MISSING, 1, 0)]  # its tap went with it
    assert rewired(tap, one, two, "lead F1 W to E4 E") == [(Change.LEAD_EXTRA, 0, 0)]
    assert rewired(tap, one, "lead E4 W to D6 W") == [(Change.LEAD_WRONG, 0, 0)]
    assert rewired("tap B1|C1", "lead F1 E to B1|C1", two) == [(Change.LEAD_WRONG, 1, 1)]
    assert rewired(tap, "tap B1|C1", one, two) == [(Change.TAP_EXTRA, 0, 1)]
    tapped = replace(WIRED, taps=WIRED.taps | {Seam.parse("B1|C1")})
    assert [c.change for c in find_changes(tapped, WIRED, KIT)] == [Change.TAP_MISSING]


@settings(max_examples=60, deadline=None)
@given(boards(), boards(), st.data())
def test_the_plan_with_all_its_changes_is_the_build(one: Board, two: Board, data: st.DataObject) -> None:
    """Whatever the two boards: every difference has its cause, none has two."""
    columns, rows = max(one.columns, two.columns), max(one.rows, two.rows)
    plan, built = (replace(b, columns=columns, rows=rows) for b in (one, two))
    changes = find_changes(plan, built, KIT)
    made = apply(plan, data.draw(st.permutations(changes)) if len(changes) < 7 else changes)
    assert find_changes(made, built, KIT) == []
    assert (changes == []) is all(alike(plan.cubes.get(c), built.cubes.get(c)) for c in plan.cells())
    touched = [c for change in changes for c in change.cubes]
    assert len(touched) == len(set(touched))


def alike(a: Cube | None, b: Cube | None) -> bool:
    if a is None or b is None:
        return a is b
    return replace(a, turn=0, printed=None) == replace(b, turn=0, printed=None) and KIT[a.kind].same_turn(
        a.turn, b.turn
    )


def test_a_mirror_image_has_to_fit_clearly_better() -> None:
    """By a fifth of the cubes more than the plan itself: half of them stand on the line of the mirror."""
    middle = {Cell(n, 2): Cube("resistor", 90, 1000.0 * (n + 1)) for n in range(4)}
    aside = {Cell(0, 0): Cube("lamp", 0, "6V/0.1A"), Cell(1, 1): Cube("fuse", 0, 0.1),
             Cell(2, 3): Cube("switch", 0), Cell(3, 4): Cube("speaker", 0, 8.0)}  # fmt: skip
    plan = Board(5, 4, {**middle, **aside})
    image = _mirror_image(plan, KIT)
    assert not align(plan, plan, KIT).mirrored
    for gone, mirrored in ((0, True), (1, True), (2, True), (3, False), (4, False)):
        taken = [q.kind for q in aside.values()][:gone]
        left = {c: q for c, q in image.cubes.items() if q.kind not in taken}
        assert align(plan, replace(image, cubes=left), KIT).mirrored is mirrored, gone
