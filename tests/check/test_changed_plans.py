"""Plans that differ from a board by one mistake each, as `accuracy --plans` holds them against pictures."""

from __future__ import annotations

import random

import pytest
from ruleboards import LOOP

from snapcheck.board import Board, Cell, Cube, parse_layout
from snapcheck.check import changed_plans
from snapcheck.check._trial import MISTAKES, _of_kind
from snapcheck.kit import bundled_kit

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
