"""The plan as evidence: it settles what a picture hardly shows, never what it shows to be otherwise."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapcheck.board import Board, Cell, Cube, Design, parse_layout
from snapcheck.check import Verdict, bundled_settings, certainty, changed_plans
from snapcheck.check._unsure import settled_note
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit
from snapcheck.photo import CubeReading, Reading, State, reading_from_truth
from snapcheck.photo._reading import BlankReading
from snapcheck.pipeline import check_build
from snapcheck.trials import Trials, hold
from snapcheck.words import use_language

KIT = bundled_kit()
SETTINGS = bundled_settings()
PLAN = """plate 6 x 4
A1 corner turn=0
B1 resistor 470
C1 corner ends=left+down
A2 battery 9V plus=up
C2 led red anode=up
A3 ground stem=up
C3 electrolytic 10u plus=up
C4 ground stem=up
"""
BOARD = parse_layout(PLAN, "plan", KIT).board
LED = BOARD.cubes[Cell.parse("C2")]
PLUS = BOARD.cubes[Cell.parse("C3")]
OHMS = BOARD.cubes[Cell.parse("B1")]


def reading(**changed: CubeReading | BlankReading) -> Reading:
    """The plan as a sure reading, but for these cells."""
    data = {"columns": 6, "rows": 4, "size": [600, 400], "cubes": [], "taps": [], "leads": []}
    sure = reading_from_truth(data, "bench.jpg", KIT)
    cubes = {cell: CubeReading(cube, State.READ, 1.0) for cell, cube in BOARD.cubes.items()}
    blanks = {}
    for place, r in changed.items():
        cell = Cell.parse(place)
        if isinstance(r, BlankReading):
            cubes.pop(cell, None)
            blanks[cell] = r
        else:
            cubes[cell] = r
    return replace(sure, cubes=cubes, blanks=blanks)


def unsure(chances: list[tuple[Cube | None, float]]) -> CubeReading | BlankReading:
    best, p = max(chances, key=lambda c: c[1])
    others = tuple(c for c in chances if c[0] != best)
    if best is None:
        return BlankReading(State.UNSURE, p, others, tuple(chances))
    return CubeReading(best, State.UNSURE, p, others, "not clear", chances=tuple(chances))


def verdict(seen: Reading, plan: Board = BOARD, *, strict: bool = False) -> tuple[Verdict, list[str]]:
    result = check_build(seen, Design(plan), KIT, strict=strict)
    return result.verdict, [f.rule for f in result.findings]


def test_a_likely_cube_is_taken_as_planned_and_the_report_says_so() -> None:
    seen = reading(B1=unsure([(OHMS, 0.9), (replace(OHMS, value=560.0, printed="560"), 0.1)]))
    result = check_build(seen, Design(BOARD), KIT)
    (note,) = [f for f in result.findings if f.rule == "taken-as-planned"]
    assert result.verdict is Verdict.READY and note.severity is Severity.NOTE
    assert note.cells == (Cell.parse("B1"),) and "B1" in note.title and "99.9" in note.title
    assert verdict(seen, strict=True) == (Verdict.CANT_TELL, ["cell-unsure"])


def test_what_the_picture_shows_to_be_otherwise_stands() -> None:
    other = replace(OHMS, value=4700.0, printed="4k7")
    for share in (0.0002, 0.01, 0.1):
        seen = reading(B1=unsure([(other, 1 - share), (OHMS, share)]))
        assert verdict(seen)[0] is not Verdict.READY
    sure = reading(B1=CubeReading(other, State.READ, 0.999))
    assert verdict(sure)[0] in (Verdict.WORKS_DIFFERENTLY, Verdict.DOES_NOT_WORK)


def test_polarity_wants_more_certainty_than_a_value() -> None:
    reversed_ = replace(PLUS, turn=(PLUS.turn + 180) % 360)
    assert verdict(reading(C3=unsure([(PLUS, 0.93), (reversed_, 0.07)])))[0] is Verdict.CANT_TELL
    assert verdict(reading(C3=unsure([(PLUS, 0.99), (reversed_, 0.002)])))[0] is Verdict.READY
    doubtful = replace(PLUS, value=15e-6, printed="15µ")
    assert verdict(reading(C3=unsure([(PLUS, 0.93), (doubtful, 0.07)])))[0] is Verdict.READY


def test_a_decade_wants_more_certainty_than_a_neighbour() -> None:
    """47 µF or 4.7 µF is a matter of one dot."""
    near, far = (replace(PLUS, value=v, printed="?") for v in (15e-6, 1e-6))
    for other, passes in ((near, True), (far, False)):
        seen = reading(C3=unsure([(PLUS, 0.84), (other, 0.14)]))
        assert (verdict(seen)[0] is Verdict.READY) == passes
    assert verdict(reading(C3=unsure([(PLUS, 0.99), (far, 0.01)])))[0] is Verdict.READY


def test_print_that_makes_no_sense_hardly_speaks_against_the_plan() -> None:
    junk = [(replace(LED, value="rcd", printed="rcd"), 0.03), (replace(LED, value=None, printed=None), 0.4)]
    assert verdict(reading(C2=unsure([(LED, 0.55), *junk])))[0] is Verdict.READY
    green = [(replace(LED, value="green", printed="green"), 0.4)]
    assert verdict(reading(C2=unsure([(LED, 0.55), *green])))[0] is Verdict.CANT_TELL


def test_a_doubtful_edge_of_the_plate_matters_only_where_something_is_missing() -> None:
    seen = replace(reading(), edge="The plate's edge is not clear.")
    assert verdict(seen) == (Verdict.READY, [])
    del (cubes := dict(seen.cubes))[Cell.parse("C4")]
    code, rules = verdict(replace(seen, cubes=cubes))
    assert code is Verdict.CANT_TELL and "picture-remark" in rules


def test_an_empty_cell_that_is_not_sure_is_a_question_and_no_missing_cube() -> None:
    """A cube of 0.42 to 0.35 is no fact, neither is a cell of 0.76 to 0.22."""
    wire = Cube("straight", 90)
    absent = reading(B1=unsure([(None, 0.76), (wire, 0.21), (OHMS, 0.02)]))
    assert verdict(absent) == (Verdict.CANT_TELL, ["cell-unsure"])
    # without the planned cube among the choices, it is not there, whichever it is
    assert verdict(reading(B1=unsure([(None, 0.76), (wire, 0.24)])))[1] == ["cube-missing"]
    # the very value that is planned, the right way round, is not seen by chance where nothing stands
    assert verdict(reading(B1=unsure([(None, 0.76), (OHMS, 0.22)])))[0] is Verdict.READY
    assert verdict(reading(E2=unsure([(None, 0.9), (wire, 0.1)])))[0] is Verdict.READY
    assert certainty([(wire, 0.6), (None, 0.4)], None, KIT, SETTINGS) < SETTINGS.settled_from
    gone = reading(B1=BlankReading(State.READ, 0.9999))
    assert "cube-missing" in verdict(gone)[1]


def test_a_reading_with_blanks_survives_json() -> None:
    from snapcheck.photo import reading_from_json, reading_to_json

    seen = reading(B1=unsure([(None, 0.76), (OHMS, 0.22)]), C2=unsure([(LED, 0.6), (None, 0.3)]))
    seen = replace(seen, loose=(Cell.parse("F4"),))
    again = reading_from_json(reading_to_json(seen), KIT)
    assert again.blanks == seen.blanks and again.cubes == seen.cubes and again.loose == seen.loose
    assert again.unsure == seen.unsure and again.chances == seen.chances


CUBES = st.sampled_from(
    [None, OHMS, LED, PLUS, replace(OHMS, value=47.0), replace(PLUS, turn=0), Cube("tee", 0)]
)
SHARES = st.lists(
    st.tuples(CUBES, st.floats(0.001, 1)), min_size=1, max_size=6, unique_by=lambda c: str(c[0])
)


@given(planned=CUBES, shares=SHARES)
def test_certainty_is_a_probability_and_grows_with_what_the_picture_gives_the_plan(planned, shares) -> None:
    total = sum(p for _, p in shares)
    chances = [(c, p / total) for c, p in shares]
    p = certainty(chances, planned, KIT, SETTINGS)
    assert 0 <= p <= 1
    halved = [(c, q / 2 if c == planned else q) for c, q in chances]
    assert certainty(halved, planned, KIT, SETTINGS) <= p + 1e-12
    if not any(c == planned for c, _ in chances):
        assert p == 0


def test_without_a_picture_only_how_often_builds_differ_counts() -> None:
    """Every kind, turn and value equally likely: what is left is the prior, by its own arithmetic."""
    s = SETTINGS
    p = certainty([(None, 0.5), (Cube("straight", 0), 0.5)], None, KIT, s)
    assert p == pytest.approx(1 - s.mistake_extra)


def test_changed_plans_differ_in_one_mistake_each_and_cover_every_kind() -> None:
    seen = set()
    for what, plan in changed_plans(BOARD, KIT, random.Random(3), 200):
        kind = what.split()[0]
        seen.add(kind)
        cells = {c for c in {*plan.cubes, *BOARD.cubes} if plan.cubes.get(c) != BOARD.cubes.get(c)}
        assert len(cells) == (2 if kind == "swapped" and cells else len(cells and {1}))
    assert seen == {"missing", "extra", "turned", "value", "kind", "swapped"}


def test_a_sure_reading_passes_none_of_them() -> None:
    base = check_build(BOARD, Design(BOARD), KIT)
    assert base.verdict is Verdict.READY
    for what, plan in changed_plans(BOARD, KIT, random.Random(5), 60):
        if check_build(BOARD, Design(plan), KIT).verdict in (Verdict.READY, Verdict.EQUIVALENT):
            continue  # a mistake without effect
        assert verdict(reading(), plan)[0] not in (Verdict.READY, Verdict.EQUIVALENT), what


def held(seen: Reading, plan: Board = BOARD, count: int = 0) -> Trials:
    trials = Trials()
    hold(trials, seen, plan, KIT, random.Random(4), count)
    return trials


def test_trials_count_what_passes_is_asked_about_and_blamed() -> None:
    turned = replace(LED, turn=(LED.turn + 180) % 360)
    assert dict(held(reading()).good) == {"builds": 1, "passed": 1}
    open_ = held(reading(C2=unsure([(LED, 0.5), (turned, 0.5)])))
    assert dict(open_.good) == {"builds": 1, "asked": 1}
    misread = reading(C2=CubeReading(turned, State.READ, 1.0))
    assert dict(held(misread).good) == {"builds": 1, "blamed": 1, "told faults": 1}
    both = replace(
        misread,
        cubes={**misread.cubes, Cell.parse("B1"): unsure([(OHMS, 0.5), (replace(OHMS, value=680.0), 0.5)])},
    )
    assert dict(held(both).good) == {"builds": 1, "asked": 1, "told faults": 1}
    # a plan that is dangerous itself is not held against the build of it
    shorted = replace(BOARD, cubes={**BOARD.cubes, Cell.parse("B2"): Cube("straight", 0)})
    sure = {cell: CubeReading(cube, State.READ, 1.0) for cell, cube in shorted.cubes.items()}
    assert dict(held(replace(reading(), cubes=sure), shorted).good) == {"builds": 1, "passed": 1}


def test_trials_count_changed_plans_that_are_passed() -> None:
    turned = replace(LED, turn=(LED.turn + 180) % 360)
    right = held(reading(), count=70)
    assert right.changed.total() > 30 and right.wrong.total() == 0 and right.passed == []
    assert right.changed["turned"] > 2 and right.taken.total() == 0 < right.cells.total()
    wrong = held(reading(C2=CubeReading(turned, State.READ, 1.0)), count=700)
    # with battery and capacitor exchanged, too, the loop is the same the other way round
    assert set(wrong.passed) == {"bench.jpg: turned C2", "bench.jpg: swapped A2 C3"}
    assert wrong.wrong == {"turned": wrong.passed.count("bench.jpg: turned C2"), "swapped": 1}
    assert wrong.as_planned == [f"bench.jpg: turned C2 led {turned.turn} red"]


def test_a_share_has_the_decimal_sign_of_the_language() -> None:
    use_language("de")
    (note,) = settled_note({Cell.parse("B1"): 0.9975}, {}, KIT)
    assert "99,75 %" in note.title
