"""Points from facts alone: every limit from both sides, every unit, every order. Sums are done by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapcheck.errors import DataError
from snapcheck.grade import Facts, Rubric, grade, parse_rubric
from snapcheck.grade._facts import Fault, Promise
from snapcheck.grade._score import Grade, Handed, late_is_open, rounded_to

FACTS = Facts("ready", "identical", False, (), (), (), True)
HAND = '[[item]]\nname = "all"\ntitle = "All"\npoints = 10\nby = "hand"\nfrom_start = {points}\n'
DAY = 24 * 60


def rubric(body: str, *, points: float = 10, top: str = "") -> Rubric:
    """A rubric of one item of 10 points, of which `points` are given, and of what is said besides."""
    return parse_rubric(f'title = "T"\nround_to = 0.01\n{top}\n{HAND.format(points=points)}{body}', "test")


def fault(rule: str, severity: str = "fault", *kinds: str, cells: tuple[str, ...] = ("A1",), **more) -> Fault:  # type: ignore[no-untyped-def]
    return Fault(rule, severity, "It is so.", cells, cells, kinds, **more)


def points(graded: Grade) -> float:
    return float(graded.points)


@pytest.mark.parametrize(("given", "told"), [
    ({"all": (Fraction(10), "seen")}, ()),
    ({"all": (Fraction(10) + Fraction(1, 100), "seen")},
     ("10.01 points given by hand for 'all' are more than the 10 of the rubric.",)),
    ({"old": (Fraction(2), "seen")},
     ("2 points given by hand for 'old' count nowhere: it is not in the rubric.",)),
    ({"old": (Fraction(2), "seen"), "total": (Fraction(3), "seen")}, ()),
])  # fmt: skip
def test_points_given_under_another_rubric_are_asked_about(
    given: dict[str, tuple[Fraction, str]], told: tuple[str, ...]
) -> None:
    assert grade(FACTS, rubric(""), Handed(by_hand=given)).open == told


# ---------------------------------------------------------------- late and early

LATE = "[late]\ngrace_min = 15\nper_day = 2\n"


@pytest.mark.parametrize(("minutes", "lost"), [
    (None, 0), (-60, 0), (0, 0), (15, 0), (15.1, 2), (60, 2), (DAY, 2), (DAY + 1, 4), (2 * DAY, 4),
    (2 * DAY + 1, 6), (30 * DAY, 10),
])  # fmt: skip
def test_lateness_is_in_minutes_and_costs_by_days_begun(minutes: float | None, lost: int) -> None:
    assert points(grade(FACTS, rubric(LATE), Handed(minutes))) == 10 - lost


@pytest.mark.parametrize(("days", "lost"), [(1, 2), (2, 3), (5, 3)])
def test_no_more_than_so_much_is_taken_off(days: int, lost: int) -> None:
    assert points(grade(FACTS, rubric(LATE + "at_most = 3\n"), Handed(days * DAY))) == 10 - lost


@pytest.mark.parametrize(("minutes", "left"), [(3 * DAY, 4), (3 * DAY + 1, 0)])
def test_after_so_many_days_nothing_is_left(minutes: float, left: int) -> None:
    assert points(grade(FACTS, rubric(LATE + "days = 3\n"), Handed(minutes))) == left


def test_excused_or_by_a_clock_that_nobody_trusts() -> None:
    some = rubric(LATE)
    late = Handed(DAY)
    assert points(grade(FACTS, some, replace(late, excused=True))) == 10
    unknown = grade(FACTS, some, replace(late, time_is_known=False))
    assert (
        points(unknown) == 10 and not unknown.final and late_is_open(replace(late, time_is_known=False), some)
    )
    assert grade(FACTS, some, late).final
    excused = replace(late, time_is_known=False, excused=True)
    assert grade(FACTS, some, excused).final and not late_is_open(excused, some)
    assert grade(FACTS, some, Handed(10, time_is_known=False)).final  # within what is granted
    assert grade(FACTS, rubric(""), replace(late, time_is_known=False)).final  # where it costs nothing


EARLY = '[[bonus]]\nname = "early"\ntitle = "Early"\npoints = 1\nhours_early = 48\n'


@pytest.mark.parametrize(("minutes", "bonus"), [
    (-48 * 60, 1), (-48 * 60 + 1, 0), (-49 * 60, 1), (-48, 0), (48 * 60, 0), (0, 0), (None, 0),
])  # fmt: skip
def test_early_is_in_hours(minutes: float | None, bonus: int) -> None:
    assert points(grade(FACTS, rubric(EARLY, points=5), Handed(minutes))) == 5 + bonus
    assert points(grade(FACTS, rubric(EARLY, points=5), Handed(minutes, time_is_known=False))) == 5


# ---------------------------------------------------------------- bonuses, caps, rounding


def test_a_bonus_fills_up_to_the_most() -> None:
    bonus = '[[bonus]]\nname = "b"\ntitle = "B"\npoints = 3\nverdicts = ["ready"]\n'
    assert points(grade(FACTS, rubric(bonus, points=9))) == 12
    full = grade(FACTS, rubric(bonus, points=9, top="most = 11"))
    assert points(full) == 11 and full.changes == (("B", "+2"),)
    assert points(grade(FACTS, rubric(bonus, points=5, top="most = 11"))) == 8
    assert points(grade(replace(FACTS, verdict="cant-tell"), rubric(bonus, points=5))) == 5


CAPS = "".join(
    f'[[cap]]\nat_most = {most}\nreason = "Cap."\nseverity = "{severity}"\n'
    for most, severity in ((7, "fault"), (3, "danger"), (9, "deviation"), (9.5, "note"))
)


@pytest.mark.parametrize(("severities", "most"), [
    ((), 10), (("note",), 9.5), (("deviation",), 9), (("fault", "deviation"), 7),
    (("deviation", "danger"), 3),
])  # fmt: skip
def test_the_lowest_cap_counts_and_is_told_once(severities: tuple[str, ...], most: int) -> None:
    facts = replace(FACTS, faults=tuple(fault("some", s) for s in severities))
    graded = grade(facts, rubric(CAPS))
    assert points(graded) == most and len(graded.changes) == (most < 10)
    assert points(grade(facts, rubric(CAPS, points=2))) == 2


@pytest.mark.parametrize(("condition", "words"), [
    ("", "nothing says when this applies"), ('item = "documentation"', "go together"),
])  # fmt: skip
def test_a_cap_says_when_it_applies(condition: str, words: str) -> None:
    with pytest.raises(DataError, match=words) as told:
        rubric(f'[[cap]]\nat_most = 3\nreason = "Cap."\n{condition}\n')
    assert "cap" in told.value.place


@pytest.mark.parametrize(("given_", "capped"), [(4.9, True), (5, False), (6, False)])
def test_a_cap_below_a_share_of_an_item(given_: float, capped: bool) -> None:
    cap = '[[cap]]\nat_most = 1\nreason = "Cap."\nitem = "all"\nbelow = 0.5\n'
    assert points(grade(FACTS, rubric(cap, points=given_))) == (1 if capped else given_)


def test_late_comes_after_caps_and_rounding_last() -> None:
    text = 'title = "T"\nround_to = 0.5\n' + HAND.format(points=9.8) + CAPS + "[late]\nper_day = 2.3\n"
    facts = replace(FACTS, faults=(fault("some"),))
    assert points(grade(facts, parse_rubric(text, "test"), Handed(60))) == 4.5  # 7 - 2.3 is 4.7


@pytest.mark.parametrize(("value", "step", "rounded"), [
    ("2.25", "0.5", "2.5"), ("2.24", "0.5", "2"), ("2.75", "0.5", "3"), ("2.5", "1", "3"), ("2.49", "1", "2"),
    ("7", "0.25", "7"),
])  # fmt: skip
def test_halves_are_rounded_up(value: str, step: str, rounded: str) -> None:
    assert rounded_to(Fraction(value), Fraction(step)) == Fraction(rounded)


def test_the_same_circuit_built_differently_keeps_a_share() -> None:
    some = rubric("", top="equivalent_share = 0.8")
    assert points(grade(replace(FACTS, verdict="equivalent"), some)) == 8
    assert points(grade(FACTS, some)) == 10


# ---------------------------------------------------------------- findings


def taking(body: str) -> Rubric:
    item = '[[item]]\nname = "f"\ntitle = "F"\npoints = 4\nby = "findings"\n'
    return parse_rubric(f'title = "T"\nround_to = 0.01\n{item}{body}', "test")


def test_what_concerns_an_item() -> None:
    some = taking('rules = ["reversed"]\nkinds = ["led", "diode"]\neach = 1\n')
    for kinds, rule, severity, lost in (
        (("led",), "reversed", "fault", 1),
        (("diode", "led"), "reversed", "danger", 1),
        (("resistor", "led"), "reversed", "fault", 0),  # the first is the one that it is about
        (("led",), "turned", "fault", 0),
        (("led",), "reversed", "note", 0),
    ):
        facts = replace(FACTS, faults=(fault(rule, severity, *kinds),))
        assert points(grade(facts, some)) == 4 - lost
    but = taking('severities = ["fault"]\nnot_kinds = ["straight"]\n')
    for kinds, lost in ((("straight",), 0), (("led", "straight"), 1), ((), 1)):
        assert points(grade(replace(FACTS, faults=(fault("some", "fault", *kinds),)), but)) == 4 - lost


def test_points_of_an_item_never_fall_below_nothing() -> None:
    five = tuple(fault("reversed", "fault", "led", cells=(f"A{n}",)) for n in range(1, 6))
    graded = grade(replace(FACTS, faults=five), taking('rules = ["reversed"]\neach = 1.5\n'))
    assert points(graded) == 0
    assert [cost for _, cost in graded.lines[0].reasons] == ["-1.5", "-1.5", "-1", "0", "0"]


@pytest.mark.parametrize(("per_cell", "rule", "lost"), [
    ("false", "reversed", 1), ("true", "reversed", 3), ("false", "cubes-missing", 3),
])  # fmt: skip
def test_cells_count_where_the_rubric_says_so(per_cell: str, rule: str, lost: int) -> None:
    some = taking(f'rules = ["{rule}"]\neach = 1\nper_cell = {per_cell}\n')
    facts = replace(FACTS, faults=(fault(rule, "fault", cells=("A1", "B1", "C1")),))
    assert points(grade(facts, some)) == 4 - lost


def test_the_first_item_takes_it() -> None:
    item = '[[item]]\nname = "{0}"\ntitle = "F"\npoints = 2\nby = "findings"\nseverities = ["fault"]\n'
    some = parse_rubric('title = "T"\n' + item.format("one") + item.format("two"), "test")
    graded = grade(replace(FACTS, faults=(fault("some"),)), some)
    assert [x.points for x in graded.lines] == ["1", "2"]


# ---------------------------------------------------------------- figures and files


def figures(*more: Promise, calculated: bool = True) -> Facts:
    return replace(FACTS, figures=more, calculated=calculated)


def promise(
    value: float | None, met: bool = False, low: float | None = 10, high: float | None = 20
) -> Promise:
    return Promise("voltage", low, high, value, met, explained=False)


FIGURES = parse_rubric(
    'title = "T"\nround_to = 0.01\n[[item]]\nname = "g"\ntitle = "G"\npoints = 6\nby = "figures"\n'
    "near = 0.25\nnear_share = 0.5\n",
    "test",
)


def test_figures_that_were_not_calculated_are_not_met() -> None:
    """A person must decide; no points go to what nobody knows."""
    for some in ((promise(None),), (promise(15.0, True),)):
        graded = grade(figures(*some, calculated=False), FIGURES)
        assert points(graded) == 0 and not graded.final
    assert points(grade(figures(), FIGURES)) == 6  # nothing was promised
    assert points(grade(figures(promise(None)), FIGURES)) == 0
    assert points(grade(figures(promise(15.0, True)), FIGURES)) == 6


@pytest.mark.parametrize(("value", "earned"), [
    (7.5, 3), (7.4, 0), (25.0, 3), (25.1, 0), (9.9, 3), (float("nan"), 0), (float("inf"), 0), (None, 0),
])  # fmt: skip
def test_a_little_outside_the_range_is_measured_by_the_limit_missed(value: float | None, earned: int) -> None:
    assert points(grade(figures(promise(value)), FIGURES)) == earned


def causes(each: float, *faults: Fault, explained: bool = True) -> tuple[float, tuple[tuple[str, str], ...]]:
    """Points of one missed figure (of 6), with the reasons; `reversed` costs points in an item before it."""
    some = parse_rubric(
        'title = "T"\nround_to = 0.01\n[[item]]\nname = "f"\ntitle = "F"\npoints = 4\n'
        f'by = "findings"\nrules = ["reversed"]\neach = {each}\n'
        '[[item]]\nname = "g"\ntitle = "G"\npoints = 6\nby = "figures"\n',
        "test",
    )
    missed = replace(promise(5.0), explained=explained)
    line = grade(replace(figures(missed), faults=faults), some).lines[1]
    return float(line.points), line.reasons


CHARGED, FREE = fault("reversed"), fault("turned", "deviation")


@pytest.mark.parametrize(("faults", "earned"), [
    ((replace(CHARGED, unmet=(0,)),), 6),  # it follows from what is counted already
    ((replace(CHARGED, unmet=None),), 6), ((replace(CHARGED, unmet=(1,)),), 6),  # perhaps with others
    ((), 0), ((replace(FREE, unmet=(0,)),), 0),  # from nothing that costs points
    ((replace(CHARGED, unmet=(0,)), replace(FREE, unmet=(0,))), 0),
    ((replace(CHARGED, unmet=(0,)), replace(FREE, unmet=(1,))), 6),
    ((replace(CHARGED, unmet=(0,)), replace(FREE, unmet=None)), 6),
    ((replace(CHARGED, unmet=None), replace(FREE, unmet=None)), 0),
    ((replace(CHARGED, unmet=None), replace(FREE, unmet=None, severity="note")), 6),
    ((replace(CHARGED, severity="note", unmet=(0,)),), 0),  # a note costs nothing
])  # fmt: skip
def test_a_figure_missed_because_of_a_mistake_that_costs(faults: tuple[Fault, ...], earned: int) -> None:
    got, reasons = causes(1, *faults)
    assert got == earned and [cost for _, cost in reasons] == (["0"] if earned else ["-6"])
    assert causes(1, *faults, explained=False)[0] == 0  # missed even with everything mended
    assert causes(0, *faults)[0] == 0  # the mistake costs nothing: so the figure does


def test_how_far_off() -> None:
    assert promise(8.0).off_by() == pytest.approx(0.2) and promise(25.0).off_by() == pytest.approx(0.25)
    assert promise(-12.0, low=-10, high=None).off_by() == pytest.approx(0.2)
    assert promise(15.0, True).off_by() == 0 and promise(None).off_by() == float("inf")
    assert promise(1.0, low=None, high=0.0).off_by() == float("inf")  # no fraction of nothing


def test_a_bonus_for_all_figures_wants_all() -> None:
    bonus = rubric('[[bonus]]\nname = "b"\ntitle = "B"\npoints = 1\nall_figures = true\n', points=5)
    some = promise(15.0, True), promise(5.0)
    assert points(grade(figures(*some), bonus)) == 5 and points(grade(figures(some[0]), bonus)) == 6


FILES = parse_rubric(
    'title = "T"\n[[item]]\nname = "d"\ntitle = "D"\npoints = 1\nby = "files"\npatterns = ["*.txt"]\n'
    "least_bytes = 40\n",
    "test",
)


@pytest.mark.parametrize(("name", "size", "earned"), [
    ("note.txt", 40, 1), ("NOTE.TXT", 400, 1), ("note.txt", 39, 0), ("note.doc", 400, 0),
])  # fmt: skip
def test_a_document_beside_the_photo(name: str, size: int, earned: int) -> None:
    assert points(grade(FACTS, FILES, Handed(files=((name, size),)))) == earned


@given(
    st.lists(st.sampled_from(["danger", "fault", "deviation", "note"]), max_size=6),
    st.floats(-5000, 20_000), st.floats(0, 10),
)  # fmt: skip
def test_points_lie_between_nothing_and_the_most_and_more_faults_never_earn_more(
    severities: list[str], minutes: float, start: float
) -> None:
    some = rubric(CAPS + EARLY + LATE, points=round(start, 2), top="most = 10.5")
    faults = tuple(fault("some", s) for s in severities)
    before = points(grade(replace(FACTS, faults=faults[1:]), some, Handed(minutes)))
    after = points(grade(replace(FACTS, faults=faults), some, Handed(minutes)))
    assert 0 <= after <= before <= 10.5
    assert after >= points(grade(replace(FACTS, faults=faults), some, Handed(minutes + 60)))


def test_every_figure_has_its_share_and_its_reason() -> None:
    """Four figures of 1.5 points: met, a little off, missed because of mistakes counted already, missed."""
    some = parse_rubric(
        'title = "T"\nround_to = 0.01\n[[item]]\nname = "f"\ntitle = "F"\npoints = 4\nby = "findings"\n'
        'rules = ["reversed"]\n[[item]]\nname = "g"\ntitle = "G"\npoints = 6\nby = "figures"\nnear = 0.25\n'
        "near_share = 0.4\n",
        "test",
    )
    four = [replace(promise(v, v == 15.0), text=f"{n}") for n, v in enumerate((15.0, 8.0, 1.0, 2.0))]
    four[2] = replace(four[2], explained=True)
    three = tuple(replace(CHARGED, title=f"{n}.", unmet=(2,)) for n in "abc")
    graded = grade(replace(figures(*four), faults=three), some)
    taken, function = graded.lines
    assert (taken.points, function.points, function.open) == ("1", "3.6", False)
    assert function.reasons == (
        ("not met: 1", "-0.9"),
        ("not met, which follows from what is counted already (a; b): 2", "0"),
        ("not met: 3", "-1.5"),
    )
    plain = replace(some, items=(some.items[0], replace(some.items[1], near=0.0)))
    assert grade(replace(figures(*four), faults=three), plain).lines[1].points == "3"


@pytest.mark.parametrize(("cells", "lost"), [((), 1), (("A1",), 1), (("A1", "B1"), 2)])
def test_a_finding_without_a_cell_counts_once(cells: tuple[str, ...], lost: int) -> None:
    some = taking('rules = ["reversed"]\neach = 1\nper_cell = true\n')
    assert points(grade(replace(FACTS, faults=(fault("reversed", cells=cells),)), some)) == 4 - lost
