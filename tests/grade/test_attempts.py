"""Which pictures are one attempt, which of them is taken, when it was handed in; figures as facts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapcheck.board import Design, Expectation, design_from_json, design_to_json, parse_layout
from snapcheck.grade._attempts import TOGETHER, Attempt, attempts_of
from snapcheck.grade._batch import Grading
from snapcheck.grade._facts import _figures, _undecided
from snapcheck.grade._records import StoredFile, StoredReading
from snapcheck.kit import bundled_kit
from snapcheck.simulate import judge

START = datetime(2031, 3, 5, 16, 0, tzinfo=UTC)
DUE = START + timedelta(hours=2)


def picture(
    name: str, minutes: float, *, student: str = "T-1", task: str = "lamp", clock: str = ""
) -> StoredFile:
    at = (START + timedelta(minutes=minutes)).isoformat()
    return StoredFile(f"{name}.jpg", name, 1000, at, student, task, "name", "", clock=clock)


def read(name: str, **unsure: int) -> StoredReading:
    """A reading with so many unsure entries of each sort."""
    body = {k: [{"state": "unsure"}] * n + [{"state": "read"}] for k, n in unsure.items()}
    return StoredReading(name, "read", body)


def taken(files: list[StoredFile], *readings: StoredReading) -> list[tuple[str, tuple[str, ...]]]:
    attempts = attempts_of(files, {r.sha: r for r in readings})
    return [(a.file.sha, tuple(f.sha for f in a.others)) for a in attempts.get(("T-1", "lamp"), [])]


@pytest.mark.parametrize(("minutes", "count"), [(0, 1), (9.9, 1), (10, 1), (10.1, 2), (600, 2)])
def test_pictures_within_ten_minutes_are_one_attempt(minutes: float, count: int) -> None:
    assert timedelta(minutes=10) == TOGETHER
    assert len(taken([picture("a", 0), picture("b", minutes)])) == count


def test_the_gap_counts_from_the_picture_before() -> None:
    """Five pictures, each nine minutes after the other, are handed in together."""
    assert len(taken([picture(str(n), 9 * n) for n in range(5)])) == 1


def test_other_students_tasks_and_documents_are_apart() -> None:
    files = [picture("a", 0), picture("b", 1, student="T-2"), picture("c", 2, task="siren"),
             StoredFile("a.txt", "d", 10, START.isoformat(), "T-1", "lamp", "name", "")]  # fmt: skip
    found = attempts_of(files, {})
    assert {k: [a.file.sha for a in v] for k, v in found.items()} == {
        ("T-1", "lamp"): ["a"], ("T-2", "lamp"): ["b"], ("T-1", "siren"): ["c"],
    }  # fmt: skip


def test_the_readable_one_is_taken_then_the_surest_then_the_last() -> None:
    files = [picture("a", 0), picture("b", 1), picture("c", 2)]
    blurred = StoredReading("c", "retake", {})
    assert taken(files, read("a", cubes=3), read("b", cubes=2), blurred) == [("b", ("a", "c"))]
    assert taken(files, read("a", cubes=1), read("b", cubes=2), read("c", cubes=2)) == [("a", ("b", "c"))]
    assert taken(files, read("a", cubes=1), read("b", cubes=1), read("c", cubes=2)) == [("b", ("a", "c"))]
    assert taken(files) == [("c", ("a", "b"))]


@pytest.mark.parametrize("sort", ["cubes", "taps", "leads"])
def test_what_is_unsure_counts_whatever_it_is(sort: str) -> None:
    files = [picture("a", 0), picture("b", 1)]
    assert taken(files, read("a", **{sort: 0}), read("b", **{sort: 1})) == [("a", ("b",))]


def test_what_says_nothing_of_its_state_is_sure() -> None:
    """As in a board that somebody wrote."""
    files = [picture("a", 0), picture("b", 1)]
    plain = StoredReading("a", "read", {"cubes": [{}, {}], "leads": [{"state": "read"}]})
    assert taken(files, plain, read("b", taps=1)) == [("a", ("b",))]
    assert taken(files, plain, StoredReading("b", "read", {})) == [("b", ("a",))]


def test_an_attempt_is_handed_in_with_its_last_picture() -> None:
    files = [picture("a", 0), picture("b", 7, clock="file")]
    (attempt,) = attempts_of(files, {"a": read("a")})["T-1", "lamp"]
    assert attempt.file.sha == "a" and attempt.at == START + timedelta(minutes=7)
    assert attempt.at_is_known is files[1].time_is_known


@given(st.permutations(range(6)))
def test_the_order_of_files_makes_no_difference(order: list[int]) -> None:
    files = [picture(str(n), 7 * n * (1 + n % 2)) for n in range(6)]
    assert taken([files[n] for n in order]) == taken(files)


@pytest.mark.parametrize(("hours", "minutes"), [(2, 0), (3, 60), (2 + 1 / 60, 1), (1, -60), (26, 1440)])
def test_lateness_is_in_minutes_after_the_due_time(hours: float, minutes: float) -> None:
    course = SimpleNamespace(task=lambda name: SimpleNamespace(due=DUE if name == "lamp" else None))
    made = SimpleNamespace(course=course, decisions=(), _handed_in=lambda attempt: (attempt.at, True))
    at = START + timedelta(hours=hours)
    assert Grading._late(made, Attempt("T-1", "lamp", at, picture("a", 0))) == pytest.approx(minutes)  # type: ignore[arg-type]
    assert Grading._late(made, Attempt("T-1", "other", at, picture("a", 0))) is None  # type: ignore[arg-type]


# ---------------------------------------------------------------- facts

EXPECTED = (
    Expectation("voltage", None, None, 1.0, 2.0, "voltage 1 to 2 V"),
    Expectation("voltage", None, None, 5.0, float("inf"), "voltage over 5 V"),
)
DESIGN = Design(
    parse_layout("plate 3 x 3\nA1 battery 9V plus=up\n", "b", bundled_kit()).board, expectations=EXPECTED
)


def result(
    electrical: str, *pairs: tuple[float | None, float | None], simulated: bool = True
) -> SimpleNamespace:
    """A check whose figures are (as designed, as built)."""
    figures = [
        tuple(judge(e, DESIGN, value) for value in pair) for e, pair in zip(EXPECTED, pairs, strict=False)
    ]
    comparison = SimpleNamespace(electrical=SimpleNamespace(value=electrical))
    verdict = SimpleNamespace(value="ready")
    return SimpleNamespace(
        design=DESIGN,
        comparison=comparison,
        figures=figures,
        simulated=simulated,
        unexplained=(EXPECTED[1].text,),
        verdict=verdict,
    )


def test_figures_of_the_build_count_where_it_is_another_circuit() -> None:
    pairs = (1.5, 0.5), (6.0, 7.0)
    for electrical, values, met in (
        ("different", [0.5, 7.0], [False, True]),
        ("identical", [1.5, 6.0], [True, True]),
        ("equivalent", [1.5, 6.0], [True, True]),
        ("gave-up", [0.5, 7.0], [False, True]),
    ):
        found = _figures(result(electrical, *pairs))  # type: ignore[arg-type]
        assert [f.value for f in found] == values and [f.met for f in found] == met
        assert [f.explained for f in found] == [True, False]
        assert [(f.low, f.high) for f in found] == [(1.0, 2.0), (5.0, None)]


def test_figures_of_a_design_without_their_words_are_told_apart() -> None:
    """Text of a figure is optional in JSON; without it all figures had the last one's value."""
    data = design_to_json(DESIGN)
    for item in data["expectations"]:
        del item["text"]
    texts = [e.text for e in design_from_json(data).expectations]
    assert texts == ["voltage 1 to 2 V", "voltage over 5 V"]


@pytest.mark.parametrize("electrical", ["identical", "equivalent", "different"])
def test_a_figure_that_was_not_calculated_is_not_met(electrical: str) -> None:
    found = _figures(result(electrical, simulated=False))  # type: ignore[arg-type]
    assert [(f.met, f.value) for f in found] == [(False, None)] * 2
    unmeasured = _figures(result("different", (1.5, None), (6.0, 7.0)))  # type: ignore[arg-type]
    assert [f.met for f in unmeasured] == [False, True]


def test_only_what_is_undecided_is_asked() -> None:
    for verdict, electrical, asked in (
        ("ready", "identical", 0), ("cant-tell", "different", 1), ("ready", "gave-up", 1),
        ("do-not-power", "different", 0),
    ):  # fmt: skip
        some = result(electrical)
        some.verdict.value = verdict
        assert len(_undecided(some)) == asked  # type: ignore[arg-type]
