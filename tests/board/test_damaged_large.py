"""Kits and boards with cubes of several cells, damaged in any way: taken, or refused with a sentence."""

from __future__ import annotations

import json
import tomllib

from damaged import damaged, damaged_text, toml_text
from hypothesis import HealthCheck, given, settings
from largekit import LARGE_KIT, LARGE_TEXT, large_cube

from snapcheck.board import (
    Board,
    Cell,
    Cube,
    board_from_json,
    board_to_json,
    draw_svg,
    oddities,
    parse_layout,
    write_layout,
)
from snapcheck.circuit import build_circuit, check_rules
from snapcheck.errors import DataError, InputError
from snapcheck.kit import parse_kit

#: without the bundled kinds, so that the damage falls on the large ones
KIT = {k: v for k, v in tomllib.loads(LARGE_TEXT).items() if k != "based_on"}
BOARD = Board(
    8, 6,
    {Cell(0, 0): large_cube("battery-box", 0), Cell(0, 1): large_cube("chip", 90),
     Cell(0, 4): large_cube("big-speaker", 0), Cell(3, 0): large_cube("battery-box", 90)},
)  # fmt: skip
slow = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@slow
@given(damaged(KIT).map(toml_text) | damaged_text(toml_text(KIT)))
def test_damaged_kits(text: str) -> None:
    try:
        kit = parse_kit(text, "mine.toml")
    except DataError as error:
        assert error.message and "mine.toml" in error.place and len(str(error)) < 3000
        return
    for kind in kit.kinds.values():
        for turn in (0, 90, 180, 270):
            value = kind.values[0] if kind.values else None
            cube = Cube(kind.name, turn, value, size=kind.size)
            board = Board(10, 10, {Cell(1, 1): cube})
            assert len(board.turned(90).turned(270).cubes) == 1
            draw_svg(board, kit)
            check_rules(build_circuit(board, kit))


def used(board: Board) -> None:
    draw_svg(board, LARGE_KIT)
    oddities(board, LARGE_KIT)
    check_rules(build_circuit(board, LARGE_KIT))
    try:
        text = write_layout(board, LARGE_KIT)
    except InputError as error:
        assert error.message
        return
    assert parse_layout(text, "again", LARGE_KIT).board == board


@slow
@given(damaged_text(write_layout(BOARD, LARGE_KIT)))
def test_damaged_layout_files(text: str) -> None:
    try:
        board = parse_layout(text, "a.board", LARGE_KIT).board
    except InputError as error:
        assert error.message and "a.board" in error.place and len(str(error)) < 3000
        return
    used(board)


@slow
@given(damaged(json.loads(json.dumps(board_to_json(BOARD)))))
def test_damaged_json(data: object) -> None:
    for kit in (LARGE_KIT, None):
        try:
            board = board_from_json(data, kit)
        except InputError as error:
            assert error.message and len(str(error)) < 3000
            continue
        if kit is not None:
            used(board)
