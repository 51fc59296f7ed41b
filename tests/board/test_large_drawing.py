"""Top views of cubes of several cells: one block with its legs, in whatever way it stands."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from hypothesis import given, settings
from largekit import LARGE, LARGE_KIT, large_boards, large_cube
from PIL import Image

from snapcheck.board import Board, Cell, draw_svg, legs, svg_to_png, symbol_svg
from snapcheck.report._characters import board_lines

PITCH, MARGIN = 108.0, 44.0


def ink(svg: str) -> np.ndarray:
    with Image.open(io.BytesIO(svg_to_png(svg))) as picture:
        return np.asarray(picture.convert("RGBA"))[:, :, 3] / 255.0


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("name", sorted(LARGE))
def test_a_symbol_is_as_large_as_its_cube_and_reaches_every_leg(name: str, turn: int) -> None:
    kind = LARGE_KIT[name]
    columns, rows = kind.lies(turn)
    drawn = ink(symbol_svg(kind, turn=turn, label="8", tile=False, size=104))
    assert drawn.shape == (rows * 108 - 4, columns * 108 - 4)
    for contact in kind.contacts_at[turn]:
        x, y = contact.column * 108 + 52, contact.row * 108 + 52
        across, down = {"N": (0, -48), "E": (48, 0), "S": (0, 48), "W": (-48, 0)}[contact.side.name]
        assert drawn[y + down - 3 : y + down + 4, x + across - 3 : x + across + 4].max() > 0.5, contact
    blank = {(r, c, s) for r in range(rows) for c in range(columns) for s in "NESW"}
    blank -= {(c.row, c.column, c.side.name) for c in kind.contacts_at[turn]}
    for row, column, side in blank:
        x, y = column * 108 + 52, row * 108 + 52
        across, down = {"N": (0, -48), "E": (48, 0), "S": (0, 48), "W": (-48, 0)}[side]
        outside = {"N": row == 0, "E": column == columns - 1, "S": row == rows - 1, "W": column == 0}[side]
        if outside:
            assert not drawn[y + down - 2 : y + down + 3, x + across - 2 : x + across + 3].any(), side


def test_a_board_shows_one_block_for_a_large_cube() -> None:
    board = Board(4, 3, {Cell.parse("B1"): large_cube("chip", 90)})
    svg = draw_svg(board, LARGE_KIT, badges={Cell.parse("B1"): "1"}, ghosts={})
    assert svg.count('width="208" height="208" rx="13"') == 1
    assert 'width="214" height="214" rx="15"' in svg  # the ring of its number
    assert all(f">p{n}<" in svg for n in range(1, 9)) and ">RN8<" in svg
    ghost = draw_svg(Board(4, 3), LARGE_KIT, ghosts={Cell.parse("A1"): large_cube("battery-box", 90)})
    assert 'width="204" height="96" rx="12"' in ghost


@settings(max_examples=40, deadline=None)
@given(large_boards())
def test_every_contact_is_drawn_where_it_lies(board: Board) -> None:
    svg = draw_svg(Board(board.columns, board.rows, board.cubes), LARGE_KIT)
    svg = svg[svg.index("<path") :]  # behind the group that holds the whole plate
    found = set()
    for x0, y0, group in re.findall(r'<g transform="translate\(([-\d.]+) ([-\d.]+)\)">(.*?)</g>', svg):
        for x, y, w, h in re.findall(
            r'<rect x="([-\d.]+)" y="([-\d.]+)" width="(\d+)" height="(\d+)" rx="2.5"', group
        ):
            found.add((float(x0) + float(x) + int(w) / 2, float(y0) + float(y) + int(h) / 2))
    wanted = set()
    for leg in legs(board, LARGE_KIT):
        across, down = {"N": (0, -49), "E": (49, 0), "S": (0, 49), "W": (-49, 0)}[leg.side.name]
        x, y = leg.cell.column * PITCH + 54 + across, leg.cell.row * PITCH + 54 + down
        wanted.add((x, y))
    assert {(round(x), round(y)) for x, y in found} == {(round(x), round(y)) for x, y in wanted}


def test_where_print_and_symbol_stand_may_be_said() -> None:
    from dataclasses import replace

    kind = replace(LARGE_KIT["chip"], print_at=(0.5, 1.5))
    svg = symbol_svg(kind, label="RN8", tile=False)
    (x, y) = re.findall(r'<text x="([\d.]+)" y="([\d.]+)" font-size="17"[^>]*>RN8', svg)[0]
    assert (float(x), float(y)) == (52.0, 162.0)
    turned = symbol_svg(kind, turn=90, label="RN8", tile=False)
    (x, y) = re.findall(r'<text x="([\d.]+)" y="([\d.]+)" font-size="17"[^>]*>RN8', turned)[0]
    assert (float(x), float(y)) == (52.0, 58.0)


def test_the_board_in_characters_fills_the_cells_of_a_block() -> None:
    cubes = {Cell.parse("A1"): large_cube("chip", 0), Cell.parse("C1"): large_cube("battery-box", 0)}
    rows = ["".join(text for text, _ in row) for row in board_lines(Board(4, 2, cubes), LARGE_KIT, {})]
    assert rows == ["    A  B  C  D ", " 1 ─U  ▒─ B  · ", " 2 ─▒  ▒─ ▒  · "]
