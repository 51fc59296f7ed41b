"""The boards that teach a kit: every kind in two turns, and no slip in laying them that looks right."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from largekit import LARGE_KIT

from snapcheck.board import Board, Cell, Cube
from snapcheck.box import likeness, primer
from snapcheck.errors import InputError
from snapcheck.kit import Kit, bundled_kit

KIT = bundled_kit()


@pytest.mark.parametrize(("kit", "columns", "rows"), [(KIT, 10, 7), (KIT, 7, 6), (LARGE_KIT, 14, 9)])
def test_every_kind_is_shown_in_two_turns_that_look_different(kit: Kit, columns: int, rows: int) -> None:
    boards = primer(kit, columns, rows)
    turns: dict[str, list[int]] = {}
    for board in boards:
        assert (board.columns, board.rows) == (columns, rows)
        covered = [c for a, cube in board.cubes.items() for c in cube.cells(a)]
        assert len(covered) == len(set(covered)) <= columns * rows - 3
        assert likeness(board) < 0.5
        for cube in board.cubes.values():
            assert cube.size == kit[cube.kind].size
            turns.setdefault(cube.kind, []).append(cube.turn)
    assert set(turns) == set(kit.kinds) and {len(t) for t in turns.values()} == {2}
    assert all(a != b for a, b in turns.values())
    assert all(kit[k].symmetry == 90 or not kit[k].same_turn(a, b) for k, (a, b) in turns.items())
    assert primer(kit, columns, rows) == boards


def test_like_cubes_lie_apart() -> None:
    (board,) = primer(KIT, 10, 7)
    for cell, cube in board.cubes.items():
        for other, kind in ((c, q.kind) for c, q in board.cubes.items() if c != cell):
            assert kind != cube.kind or max(abs(cell.row - other.row), abs(cell.column - other.column)) > 1


def test_a_kit_with_one_of_a_kind_needs_no_second_one() -> None:
    kinds = {**KIT.kinds, "meter": replace(KIT["meter"], count=1)}
    boards = primer(Kit("k", "K", kinds), 10, 7, ["meter", "led", "npn"])
    assert [Counter(q.kind for q in b.cubes.values())["meter"] for b in boards] == [1, 1]


def test_likeness_tells_boards_that_look_alike_turned_round_or_shifted() -> None:
    row = Board(4, 1, {Cell(0, c): Cube("led") for c in range(4)})
    assert likeness(row) == 1.0
    mixed = {Cell(0, c): Cube(k) for c, k in enumerate(("led", "npn", "lamp", "fuse"))}
    assert likeness(Board(4, 1, mixed)) == 0.25  # laid two cells too far and turned round, one is the same
    there_and_back = {**mixed, Cell(0, 2): Cube("npn"), Cell(0, 3): Cube("led")}
    assert likeness(Board(4, 1, there_and_back)) == 1.0


def test_what_cannot_be_laid_is_told() -> None:
    with pytest.raises(InputError, match="no kind 'lde'"):
        primer(KIT, 10, 7, ["lde"])
    with pytest.raises(InputError, match="larger plate"):
        primer(LARGE_KIT, 1, 5, ["chip"])
