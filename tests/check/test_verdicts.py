"""Verdicts in order of what is worst; what a doubtful tap, lead, cell or edge leaves of findings."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from snapcheck.board import Cell, Lead, Seam, Side, SocketEnd, parse_layout
from snapcheck.check import Verdict, verdict_of
from snapcheck.check._doubts import with_doubts
from snapcheck.findings import Finding, Severity
from snapcheck.kit import bundled_kit
from snapcheck.photo import CubeReading, LeadReading, Reading, State, TapReading, reading_from_truth

KIT = bundled_kit()
B2, C2, D2 = map(Cell.parse, ("B2", "C2", "D2"))
TAP = Seam.between(B2, C2)
LEAD = Lead(SocketEnd(B2, Side.W), SocketEnd(D2, Side.E))
OTHER_LEAD = Lead(SocketEnd(B2, Side.E), SocketEnd(D2, Side.W))


def finding(severity: Severity, rule: str = "some-rule", *cells: Cell, **more: object) -> Finding:
    return Finding(rule, severity, cells, "It is so.", **more)  # type: ignore[arg-type]


ORDER = [
    (Severity.DANGER, Verdict.DO_NOT_POWER),
    (Severity.FAULT, Verdict.DOES_NOT_WORK),
    (Severity.QUESTION, Verdict.CANT_TELL),
    (Severity.DEVIATION, Verdict.WORKS_DIFFERENTLY),
    (Severity.NOTE, Verdict.READY),
]


@pytest.mark.parametrize("count", [1, 2, 3])
def test_the_worst_that_is_certain_decides(count: int) -> None:
    for some in itertools.combinations(ORDER, count):
        found = [finding(s) for s, _ in reversed(some)]
        assert verdict_of(found) is some[0][1]
        plain = some[0][1] is Verdict.READY
        assert verdict_of(found, built_differently=True) is (Verdict.EQUIVALENT if plain else some[0][1])
        unsure = some[0][1] in (Verdict.WORKS_DIFFERENTLY, Verdict.READY)
        assert verdict_of(found, undecided=True) is (Verdict.CANT_TELL if unsure else some[0][1])


def test_nothing_found() -> None:
    assert verdict_of([]) is Verdict.READY and verdict_of([], built_differently=True) is Verdict.EQUIVALENT
    assert verdict_of([], built_differently=True, undecided=True) is Verdict.CANT_TELL


def test_exit_codes_are_those_of_the_readme() -> None:
    assert {v.value: v.exit_code for v in Verdict} == {
        "ready": 0, "equivalent": 0, "works-differently": 10, "do-not-power": 11, "cant-tell": 12,
        "does-not-work": 13,
    }  # fmt: skip


# ---------------------------------------------------------------- doubts

BOARD = parse_layout("plate 6 x 4\nB2 resistor 1k\nC2 resistor 1k\nD2 resistor 1k\n", "b", KIT).board


def reading(**more: object) -> Reading:
    data = {"columns": 6, "rows": 4, "size": [600, 400], "cubes": [], "taps": [], "leads": []}
    cubes = {c: CubeReading(q, State.READ, 1.0) for c, q in BOARD.cubes.items()}
    return replace(reading_from_truth(data, "b.jpg", KIT), cubes=cubes, **more)


def tap(state: State) -> TapReading:
    return TapReading(TAP, state, 0.8)


def lead(state: State) -> LeadReading:
    return LeadReading(LEAD, state, 0.8, ((OTHER_LEAD, 0.2),))


def told(
    found: list[Finding], seen: Reading | None, **more: object
) -> tuple[Verdict, list[tuple[str, Severity]]]:
    findings, verdict = with_doubts(found, seen, **more)  # type: ignore[arg-type]
    return verdict, [(f.rule, f.severity) for f in findings]


def test_a_sure_reading_changes_nothing() -> None:
    fault = finding(Severity.FAULT, "some-rule", B2)
    for seen in (None, reading(), reading(taps=(tap(State.READ),), leads=(lead(State.READ),))):
        assert told([fault], seen) == (Verdict.DOES_NOT_WORK, [("some-rule", Severity.FAULT)])
        assert told([], seen) == (Verdict.READY, [])
        assert told([], seen, built_differently=True)[0] is Verdict.EQUIVALENT
        assert told([], seen, undecided=True)[0] is Verdict.CANT_TELL


@pytest.mark.parametrize("seen", [
    reading(taps=(tap(State.UNSURE),)), reading(leads=(lead(State.UNSURE),)), reading(notes=("Glare.",)),
])  # fmt: skip
def test_an_open_question_never_passes_and_a_danger_stays_one(seen: Reading) -> None:
    assert told([], seen)[0] is Verdict.CANT_TELL
    assert told([finding(Severity.DEVIATION)], seen)[0] is Verdict.CANT_TELL
    assert told([finding(Severity.FAULT)], seen)[0] is Verdict.CANT_TELL
    verdict, rules = told([finding(Severity.DANGER, "hot", seam=TAP, lead=LEAD)], seen)
    assert verdict is Verdict.DO_NOT_POWER and ("hot", Severity.DANGER) in rules


def test_what_rests_on_a_doubtful_tap_or_lead_is_asked_once() -> None:
    open_tap, open_lead = reading(taps=(tap(State.UNSURE),)), reading(leads=(lead(State.UNSURE),))
    by_tap, by_lead = (
        finding(Severity.FAULT, "tap-extra", seam=TAP),
        finding(Severity.FAULT, "lead-extra", lead=LEAD),
    )
    assert told([by_tap], open_tap)[1] == [("tap-extra", Severity.QUESTION)]
    assert told([by_lead], open_lead)[1] == [("lead-extra", Severity.QUESTION)]
    other = finding(Severity.FAULT, "lead-extra", lead=OTHER_LEAD)
    assert ("lead-extra", Severity.FAULT) in told([other], open_lead)[1]
    assert ("lead-unsure", Severity.QUESTION) in told([other], open_lead)[1]


def test_a_lead_that_is_missed_may_be_the_one_that_is_not_clear() -> None:
    missing = finding(Severity.FAULT, "lead-missing", lead=OTHER_LEAD)
    for seen, severity in (
        (reading(), Severity.FAULT),
        (reading(leads=(lead(State.UNSURE),)), Severity.QUESTION),
        (reading(notes=("Perhaps a lead starts there.",)), Severity.QUESTION),
        (reading(taps=(tap(State.UNSURE),)), Severity.FAULT),
    ):
        assert ("lead-missing", severity) in told([missing], seen)[1]


@pytest.mark.parametrize(("cell", "asked"), [
    ("C2", True), ("B2", True), ("C3", True), ("D3", False), ("A2", False), ("C4", False),
])  # fmt: skip
def test_an_unsure_cell_makes_questions_of_what_lies_in_it_or_next_to_it(cell: str, asked: bool) -> None:
    fault = finding(Severity.FAULT, "some-rule", Cell.parse(cell))
    ((_, severity),) = told([fault], reading(), unsure=[C2])[1]
    assert severity is (Severity.QUESTION if asked else Severity.FAULT)


def test_the_edge_matters_where_anything_is_to_be_done() -> None:
    seen = reading(edge="The edge is not clear.")
    assert told([], seen, as_planned=True)[0] is Verdict.READY
    assert told([finding(Severity.NOTE)], seen, as_planned=True)[0] is Verdict.READY
    assert told([], seen)[0] is Verdict.CANT_TELL
    assert told([finding(Severity.DEVIATION)], seen, as_planned=True)[0] is Verdict.CANT_TELL


def test_a_loose_cube_is_told_and_is_no_question() -> None:
    assert told([], reading(loose=(D2,))) == (Verdict.READY, [("cube-loose", Severity.NOTE)])


def test_a_cube_that_is_asked_about_is_not_told_as_wrong_too() -> None:
    question = finding(Severity.QUESTION, "cell-unsure", C2)
    wrong = finding(Severity.FAULT, "wrong-value", C2, found_cube=BOARD.cubes[C2])
    assert [r for r, _ in told([question, wrong], reading())[1]] == ["cell-unsure"]
    assert [r for r, _ in told([wrong], reading())[1]] == ["wrong-value"]
