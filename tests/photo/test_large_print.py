"""The print of cubes of several cells: where it is looked for, and when what it says is sure."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from snapcheck.board import Cell, Cube
from snapcheck.kit import Kind, load_kit
from snapcheck.photo import CubeReading, State
from snapcheck.photo._cells import FINE, Print
from snapcheck.photo._large_print import _USUAL, _boxes, rows_of, told, with_prints

KIT = load_kit("chips")
RELAY, CHIP = KIT["relay"], KIT["opamp"]


def seen(kind: Kind, p: float = 0.99, turn: int = 0) -> CubeReading:
    cube = Cube(kind.name, turn, size=kind.size)
    return CubeReading(cube, State.UNSURE, p, parts=(p, 1.0))


def line(text: str, p: float = 0.999, *rivals: tuple[str, float]) -> Print:
    return Print(text, p, rivals)


def test_marks_in_a_row_are_a_line_and_others_are_not() -> None:
    row = [(0.1 * n, 0.5, 0.07, 0.1) for n in range(1, 5)]
    far, tall, below = (0.9, 0.5, 0.07, 0.1), (0.5, 0.5, 0.1, 0.3), (0.1, 0.7, 0.07, 0.1)
    lines = rows_of([*row, far, tall, below])
    assert len(lines) == 4
    assert any(np.allclose(b, (0.25, 0.5, 0.37, 0.1)) for b in lines)


@pytest.mark.parametrize(
    ("kind", "p", "lines", "value", "read"),
    [
        (RELAY, 0.99, [line("12V")], 12.0, True),
        (RELAY, 0.99, [line("coil1"), line("5V"), line("1", 0.4)], 5.0, True),
        (RELAY, 0.97, [line("12V")], 12.0, False),  # the symbol is not clear
        (RELAY, 0.99, [line("12V", 0.6, ("17V", 0.39))], 12.0, False),  # the print is not
        (RELAY, 0.99, [line("12V"), line("5V")], None, False),  # two values
        (RELAY, 0.99, [line("24V")], None, False),  # the kit has none such
        (RELAY, 0.99, [line("coil1"), line("rest")], None, False),
        (RELAY, 0.99, [], None, False),
        (CHIP, 0.99, [line("out1"), line("LM358")], "LM358", True),
        (CHIP, 0.99, [line("LM393")], None, False),
    ],
)  # fmt: skip
def test_a_value_is_sure_where_one_line_says_what_the_kit_has(
    kind: Kind, p: float, lines: list[Print], value: float | str | None, read: bool
) -> None:
    found = told(seen(kind, p), lines, kind)
    assert (found.state is State.READ) is read
    assert value is None or found.cube.value == value
    assert found.cube.size == (2, 2) and (read or found.reason)
    if not read:
        assert sum(p for _, p in found.chances) <= 1


def test_print_is_looked_for_where_the_kit_has_it_and_the_largest_first() -> None:
    top = np.full((2 * FINE, 2 * FINE, 3), 215, np.uint8)
    for text, x, y, size in (("12V", 20, 40, 0.9), ("5V", 150, 220, 0.5)):
        cv2.putText(top, text, (x, y), cv2.FONT_HERSHEY_SIMPLEX, size, (30, 30, 30), 2, cv2.LINE_AA)
    first, second = _boxes(top, replace(RELAY, print_at=None))[:2]
    assert first[:2] == pytest.approx((0.27, 0.16), abs=0.03)
    assert second[:2] == pytest.approx((1.23, 1.69), abs=0.03) and first[2] > second[2]
    assert _boxes(top, replace(RELAY, print_at=(1.4, 1.75))) == [second]
    # nothing is seen there: the place itself, in a print's usual size
    assert _boxes(top, replace(RELAY, print_at=(1.7, 0.7))) == [(1.7, 0.7, *_USUAL)]


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_print_is_found_and_read_whichever_way_a_cube_stands(turn: int) -> None:
    top = np.full((2 * FINE, 2 * FINE, 3), 215, np.uint8)
    cv2.rectangle(top, (34, 34), (206, 206), (40, 40, 40), 4)
    for text, x, y, size in (("12V", 95, 24, 0.62), ("coil1", 44, 60, 0.35), ("rest", 160, 62, 0.35)):
        cv2.putText(top, text, (x, y), cv2.FONT_HERSHEY_SIMPLEX, size, (30, 30, 30), 2, cv2.LINE_AA)
    rim = 0.1
    board = np.full((round(3.2 * FINE), round(4.2 * FINE), 3), 120, np.uint8)
    edge = round(rim * FINE)
    board[edge + FINE : edge + 3 * FINE, edge + FINE : edge + 3 * FINE] = np.rot90(top, -(turn // 90))
    found = with_prints(board, rim, {Cell(1, 1): seen(RELAY, turn=turn)}, KIT)[Cell(1, 1)]
    assert (found.cube.value, found.cube.printed) == (12.0, "12V") and found.state is State.READ
    known = CubeReading(Cube("timer", turn, "NE555", size=(2, 2)), State.READ, 0.99)
    assert with_prints(board, rim, {Cell(1, 1): known}, KIT) == {Cell(1, 1): known}
