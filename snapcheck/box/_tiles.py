"""Tops of cubes to cut out: as labels for cubes, or as paper tiles to try snapcheck without a kit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from snapcheck.board import LOOKS, Cube, extent, family, symbol_svg
from snapcheck.box._paper import FOOT, HEAD, MARGIN, Page, Paper, cut_marks, sheet
from snapcheck.errors import InputError
from snapcheck.kit import Kit, ValueForm, format_value
from snapcheck.words import tr

#: accepted sides of a cube, millimetres
SIDES_mm = (8.0, 60.0)
#: from one tile to the next, millimetres: room for cut marks
GAP = 4.6
#: colour beyond the cut, millimetres, so that a cut beside the line shows no white
BLEED = 0.5


@dataclass(frozen=True)
class Tile:
    """A tile on a page.

    Attributes:
        page: 0 for the first.
        x, y, width, height: of what is cut out, millimetres from the page's upper left corner.
        cube: what is printed on it, at turn 0.
    """

    page: int
    x: float
    y: float
    width: float
    height: float
    cube: Cube


def top_of(cube: Cube, kit: Kit) -> Cube:
    """A cube as it lies in the box: at turn 0, with what is printed on it."""
    kind = kit[cube.kind]
    if kind.value_form is ValueForm.NONE:
        return Cube(cube.kind, 0, size=kind.size)
    return Cube(cube.kind, 0, cube.value, printed_on(cube, kit), cube.unit, kind.size)


def printed_on(cube: Cube, kit: Kit) -> str:
    """What stands on a cube's top: its print, else its value per IEC 60062."""
    if cube.printed is not None:
        return cube.printed
    return format_value(cube.value, kit[cube.kind].value_form, unit=cube.unit)


def place_tiles(tops: Sequence[Cube], side_mm: float, paper: Paper) -> list[Tile]:
    """Where each top stands on its page: large ones first, in rows of one height.

    Args:
        tops: one for each tile.
        side_mm: side of a cube of one cell.

    Raises:
        InputError: no tile of this size fits on the paper, or the size is none for a cube.
    """
    if not SIDES_mm[0] <= side_mm <= SIDES_mm[1]:
        raise InputError(
            tr("a cube of {side:g} mm is not possible.", side=side_mm),
            way_out=tr("Use {low:g} to {high:g} mm.", low=SIDES_mm[0], high=SIDES_mm[1]),
        )
    left, top = MARGIN + 3, MARGIN + HEAD + 3
    right, bottom = paper.width - MARGIN - 3, paper.height - MARGIN - FOOT - 3
    placed: list[Tile] = []
    page, x, y, row = 0, left, top, 0.0
    for cube in sorted(tops, key=lambda c: (-c.lies[1], -c.lies[0])):
        width, height = (n * side_mm for n in cube.lies)
        if left + width > right or top + height > bottom:
            raise InputError(
                tr("a {kind} of {width:g} x {height:g} mm does not fit on the paper.", kind=cube.kind,
                   width=width, height=height),
                way_out=tr("Choose smaller cubes with --cube."),
            )  # fmt: skip
        if row and (x + width > right or height < row):
            x, y, row = left, y + row + GAP, 0.0
        if y + height > bottom:
            page, x, y, row = page + 1, left, top, 0.0
        placed.append(Tile(page, x, y, width, height, cube))
        x, row = x + width + GAP, max(row, height)
    return placed


def tile_pages(tiles: Sequence[Tile], kit: Kit, paper: Paper, head: str) -> list[Page]:
    """Pages of tiles with cut marks, as SVG in millimetres."""
    last = max((tile.page for tile in tiles), default=-1)
    pages = []
    for number in range(last + 1):
        drawn = (
            tile_svg(t.cube, kit, t.x, t.y, t.width, t.height) + cut_marks(t.x, t.y, t.width, t.height)
            for t in tiles
            if t.page == number
        )
        pages.append(Page(sheet(paper, f"{head} · {number + 1}/{last + 1}", drawn), paper))
    return pages


def tile_svg(cube: Cube, kit: Kit, x: float, y: float, width: float, height: float) -> str:
    """A cube's top with its left upper corner at (x, y), filling what is cut out and a little more."""
    kind = kit[cube.kind]
    look = LOOKS["light"]
    drawn = symbol_svg(kind, turn=cube.turn, label=cube.printed or "", unit=cube.unit, lying=True)
    inner = drawn.partition("</title>")[2].removesuffix("</svg>")
    across, down = extent(*cube.lies)
    ground = look.tiles[family(kind)]
    return (
        f'<rect x="{x - BLEED:.3f}" y="{y - BLEED:.3f}" width="{width + 2 * BLEED:.3f}" '
        f'height="{height + 2 * BLEED:.3f}" fill="{ground}"/>'
        f'<g transform="translate({x:.3f} {y:.3f}) scale({width / across:.5f} {height / down:.5f})">'
        f"{inner}</g>"
    )
