"""Plans that differ from a board by one mistake each, as `accuracy --plans` holds them against pictures."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from ruleboards import LOOP

from snapcheck.board import Board, Cell, Cube, parse_layout
from snapcheck.check import bundled_settings, cell_trials, changed_plans
from snapcheck.check._trial import MISTAKES, _of_kind, other_cubes
from snapcheck.kit import bundled_kit
from snapcheck.photo import BlankReading, CubeReading, State, reading_from_truth

KIT = bundled_kit()


def differ(one: Board, other: Board) -> set[str]:
    return {str(c) for c in one.cubes.keys() | other.cubes.keys() if one.cubes.get(c) != other.cubes.get(c)}


def test_every_plan_has_the_one_mistake_that_it_is_called_by() -> None:
    board = parse_layout(LOOP, "loop", KIT).board
    seen = set()
    for said, plan in changed_plans(board, KIT, random.Random(5), 70):
        what, *cells = said.split()
        seen.add(what)
        apart = differ(board, plan)
        assert apart <= set(cells) and (apart or what == "swapped"), said
        cell = Cell.parse(cells[0])
        was, now = board.cubes.get(cell), plan.cubes.get(cell)
        match what:
            case "missing":
                assert was is None and now in board.cubes.values()
            case "extra":
                assert now is None
            case "turned":
                assert now is not None and was is not None and (now.kind, now.value) == (was.kind, was.value)
                assert not KIT[was.kind].same_turn(was.turn, now.turn)
            case "value":
                assert now is not None and was is not None
                assert (now.kind, now.turn) == (was.kind, was.turn) and now.value != was.value
            case "kind":
                assert now is not None and was is not None and now.kind != was.kind
    assert seen >= {"missing", "extra", "turned", "value", "kind", "swapped"} and seen <= set(MISTAKES)


@pytest.mark.parametrize(("name", "value"), [
    ("capacitor", 100.0),  # the kit lists none: any number will do
    ("npn", KIT["npn"].values[0]), ("ground", None), ("photoresistor", 470.0),
])  # fmt: skip
def test_another_kind_keeps_turn_and_a_value_it_can_have(name: str, value: float | str | None) -> None:
    assert _of_kind(Cube("resistor", 90, 470.0), name, KIT) == Cube(name, 90, value)


OHMS, LED, WIRE = Cube("resistor", 0, 470.0, "470"), Cube("led", 0, "red", "red"), Cube("tee", 0)


def test_other_cubes_are_every_single_mistake() -> None:
    values = {o.value for what, o in other_cubes(OHMS, KIT) if what == "value" and o is not None}
    e12 = {100.0, 120.0, 150.0, 180.0, 220.0, 270.0, 330.0, 390.0, 560.0, 680.0, 820.0}  # IEC 60063
    assert values == {*e12, 4700.0, 47.0, 470e3, 0.47}
    assert [o for what, o in other_cubes(OHMS, KIT) if what == "extra"] == [None]
    assert {o.turn for what, o in other_cubes(OHMS, KIT) if what == "turned" and o} == {90, 270}
    assert {o.turn for what, o in other_cubes(LED, KIT) if what == "turned" and o} == {90, 180, 270}
    colours = {o.value for what, o in other_cubes(LED, KIT) if what == "value" and o}
    assert colours == set(KIT["led"].values) - {"red"}
    assert {o.kind for what, o in other_cubes(WIRE, KIT) if what == "kind" and o} == {
        "straight", "corner", "cross", "crossover",
    }  # fmt: skip
    instead = [o for what, o in other_cubes(None, KIT) if what == "missing"]
    assert len(instead) == 4 * len(KIT.kinds) and len({(o.kind, o.turn) for o in instead if o}) == len(
        instead
    )


def test_a_cell_passes_what_is_read_there_and_what_both_leave_no_doubt_about() -> None:
    truth = Board(3, 1, {Cell(0, 0): OHMS, Cell(0, 1): LED})
    data = {"columns": 3, "rows": 1, "size": [300, 100], "cubes": [], "taps": [], "leads": []}
    more = replace(OHMS, value=560.0)
    doubtful = ((OHMS, 0.6), (more, 0.4))
    seen = replace(
        reading_from_truth(data, "b.jpg", KIT),
        cubes={
            Cell(0, 0): CubeReading(OHMS, State.UNSURE, 0.6, doubtful, chances=doubtful),
            Cell(0, 1): CubeReading(LED, State.READ, 0.999),
        },
        blanks={Cell(0, 2): BlankReading(State.READ, 0.999)},
    )
    trials = list(cell_trials(seen, truth, KIT, bundled_settings()))
    assert {c for _, c, *_ in trials} == {Cell(0, 0), Cell(0, 1), Cell(0, 2)}
    assert not any(passes for *_, passes in trials)  # 560 at 2 to 3 is not taken either
    lax = replace(bundled_settings(), settled_from=0.99, settled_from_rival=0.99)
    taken = [(what, c, o) for what, c, o, passes in cell_trials(seen, truth, KIT, lax) if passes]
    assert taken == [("value", Cell(0, 0), replace(more, printed=None))]
    misread = replace(
        seen, cubes={**seen.cubes, Cell(0, 1): CubeReading(replace(LED, turn=90), State.READ, 1.0)}
    )
    wrong = [
        (what, o) for what, _, o, passes in cell_trials(misread, truth, KIT, bundled_settings()) if passes
    ]
    assert wrong == [("turned", replace(LED, turn=90))]
    assert list(cell_trials(replace(seen, columns=4), truth, KIT, lax)) == []
