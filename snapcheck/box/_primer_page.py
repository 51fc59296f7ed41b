"""A primer's boards to print: one on each sheet, with what to do."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace

from snapcheck.board import Board, draw_svg
from snapcheck.box._paper import FONT, HEAD, MARGIN, Page, Paper, placed_drawing, text
from snapcheck.kit import Kit
from snapcheck.words import tr

#: size of letters, height of a line, room between paragraphs, millimetres; and a letter's width in its size
_SIZE, _LINE, _GAP, _WIDE = 3.5, 5.2, 2.2, 0.6
#: share of the sheet's height that a drawing takes at most
_MOST = 0.6


def primer_pages(boards: Sequence[Board], kit: Kit, command: str, paper: Paper) -> list[Page]:
    """A sheet for each board: what lies where, and what to do.

    Args:
        command: with which the photos teach the kit, ready to be typed.
    """
    steps = [
        tr("This is no circuit, and may short a supply: power nothing of it, and take batteries out."),
        tr("1. Lay every cube as drawn: kind, place and turn. Any value will do. Leave free cells free; no "
           "leads, no taps."),
        tr("2. Take two photos from two sides, from above, each with the whole plate in it, in the light of "
           "your room."),
        tr("3. Then, with all photos:") if len(boards) == 1
        else tr("3. Then, with the photos of all layouts:"),
        command,
    ]  # fmt: skip
    pages = []
    for number, board in enumerate(boards, 1):
        head = tr("Layout {n} of {all}: any value will do", n=number, all=len(boards))
        pages.append(Page(_sheet(board, kit, head, steps, paper), paper))
    return pages


def _sheet(board: Board, kit: Kit, head: str, steps: Sequence[str], paper: Paper) -> str:
    named = {cell: replace(cube, printed=cube.kind) for cell, cube in board.cubes.items()}
    top, room = MARGIN + HEAD, (paper.width - 2 * MARGIN, _MOST * paper.height)
    drawn, height = placed_drawing(draw_svg(Board(board.columns, board.rows, named), kit), MARGIN, top, *room)
    y, lines = top + height + 8, []
    for number, words in enumerate(steps):
        last = number == len(steps) - 1
        for line in textwrap.wrap(words, int((paper.width - 2 * MARGIN) / (_WIDE * _SIZE))):
            lines.append(text(MARGIN, y, line, _SIZE, bold=number == 0 or last))
            y += _LINE
        y += 0 if number == len(steps) - 2 else _GAP
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{paper.width:g}mm" height="{paper.height:g}mm" '
        f'viewBox="0 0 {paper.width:g} {paper.height:g}" font-family="{FONT}">'
        f"{text(MARGIN, MARGIN + 4, head, 4.4, bold=True)}{drawn}{''.join(lines)}</svg>"
    )
