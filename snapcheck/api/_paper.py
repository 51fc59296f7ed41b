"""Things to print and cut out: tops of cubes, a plate, its corner markers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from snapcheck.api._box import BoxLike, box_of
from snapcheck.api._given import DesignLike, kit_of, plan_of
from snapcheck.board import Board, Cube
from snapcheck.box import (
    Page,
    Piece,
    cube_of,
    extras_page,
    order,
    pages_html,
    paper_of,
    place_tiles,
    plate_pages,
    primer_pages,
    tile_pages,
    top_of,
)
from snapcheck.devices import Store
from snapcheck.errors import InputError
from snapcheck.kit import SERIES, Kit, ValueForm
from snapcheck.report import html_to_pdf
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import KitLike

#: what a paper kit is made of
SHEETS = ("tiles", "plate", "extras")
USUAL_PLATE = (8, 6)
#: values that a kit's cubes get where it lists none, from and below, by what is printed on them
_USUAL = {ValueForm.OHMS: (100.0, 1e6), ValueForm.FARADS: (1e-9, 1e-6), ValueForm.HENRIES: (1e-3, 1e-1)}
#: of photoresistors, thermistors and potentiometers
_OTHER_OHMS = (1e3, 10e3, 100e3)
#: more tiles than this are a slip of the pen
MOST_TILES = 5000


@dataclass(frozen=True)
class Pages:
    """Pages to print.

    Attributes:
        pages: in order.
        title: of the document.
    """

    pages: tuple[Page, ...] = field(repr=False)
    title: str

    @property
    def html(self) -> str:
        """All pages as one HTML text."""
        return pages_html(self.pages, self.title)

    def pdf(self) -> bytes:
        """All pages as a PDF.

        Raises:
            MissingLibraryError: WeasyPrint or the Pango library is not installed.
        """
        return html_to_pdf(self.html)


@dataclass(frozen=True)
class PaperKit(Pages):
    """Pages to print at true size; `tiles`: how many there are on them."""

    tiles: int


def paper_kit(
    designs: Sequence[DesignLike] = (),
    *,
    box: BoxLike | None = None,
    cube_mm: float = 20.0,
    paper: str = "a4",
    plate: tuple[int, int] | None = None,
    sheets: Sequence[str] = SHEETS,
    copies: int = 1,
    kit: KitLike = None,
) -> PaperKit:
    """Sheets to cut out, so that snapcheck can be tried without a kit, or labels for a kit's cubes.

    Args:
        designs: tiles for all of their cubes.
        box: tiles for everything in a box. Without designs and box: one of every kind and value of the kit.
        cube_mm: side of a cube of one cell, millimetres.
        paper: ``a4`` or ``letter``.
        plate: columns and rows of the printed plate; None: the largest that the designs need.
        sheets: which of ``tiles``, ``plate`` and ``extras`` (corner markers and taps).
        copies: so many times the tiles.
        kit: see `check`.

    Raises:
        InputError, DataError: a file or text is missing or wrong, or it does not fit on the paper.
    """
    cubes = kit_of(kit)
    page = paper_of(paper)
    plans = [plan_of(given, cubes) for given in designs]
    for name in sheets:
        if name not in SHEETS:
            raise InputError(
                tr("'{name}' is no sheet here.", name=name),
                way_out=tr("Accepted: {names}.", names=", ".join(SHEETS)),
            )
    tops = [top_of(cube, cubes) for plan in plans for cube in plan.board.cubes.values()]
    if box is not None:
        stock = box_of(box, cubes)
        tops += [top_of(cube_of(p, cubes), cubes) for p, n in stock.cubes.items() for _ in range(n)]
    elif not plans:
        tops = _one_of_each(cubes)
    tops = _in_order(tops * copies, cubes) if "tiles" in sheets else []
    if not copies >= 1 or len(tops) > MOST_TILES:
        raise InputError(
            tr("{n} tiles are not possible.", n=len(tops)), way_out=tr("Use 1 to {most}.", most=MOST_TILES)
        )
    title = ", ".join(plan.title for plan in plans if plan.title) or cubes.title
    pages: list[Page] = []
    if tops:
        pages += tile_pages(place_tiles(tops, cube_mm, page), cubes, page, tr("Tiles: {title}", title=title))
    if "plate" in sheets:
        columns, rows = plate or _largest([p.board.columns for p in plans], [p.board.rows for p in plans])
        words = tr("Plate {columns} x {rows}: cut it out, lay it flat, photograph it from straight above",
                   columns=columns, rows=rows)  # fmt: skip
        pages += plate_pages(columns, rows, cube_mm, page, words)
    if "extras" in sheets:
        pages.append(extras_page(cube_mm, page, tr("Corner markers and taps")))
    return PaperKit(tuple(pages), title, len(tops))


def primer_paper(boards: Sequence[Board], command: str, *, paper: str = "a4", kit: KitLike = None) -> Pages:
    """A primer's boards to print, one on each page with what to do.

    Args:
        boards: as `primer` makes them. command: with which their photos teach the kit.
        paper: ``a4`` or ``letter``.
        kit: see `check`.

    Raises:
        InputError: there is no such paper.
    """
    cubes = kit_of(kit)
    pages = primer_pages(boards, cubes, command, paper_of(paper))
    return Pages(tuple(pages), tr("Layouts to teach: {title}", title=cubes.title))


def _largest(columns: list[int], rows: list[int]) -> tuple[int, int]:
    return (max(columns), max(rows)) if columns else USUAL_PLATE


def _one_of_each(kit: Kit) -> list[Cube]:
    """One cube of every kind and of every value that the kit lists, else of the E3 series (IEC 60063)."""
    pieces = []
    for kind in kit.kinds.values():
        low, high = _USUAL.get(kind.value_form, (0.0, 0.0))
        if kind.device.store is Store.CHARGE and kind.marked:
            low, high = 1e-6, 1e-3
        values: tuple[float | str | None, ...] = kind.values
        if not values and kind.value_form is ValueForm.RANGE:
            values = (15.0,)
        elif not values and kind.value_form is ValueForm.OHMS and not kind.device.resists:
            values = _OTHER_OHMS
        elif not values and low:
            decades = range(round(math.log10(low)), round(math.log10(high)))
            values = tuple(float(f"{m}e{d}") for d in decades for m in SERIES["E3"])
        unit = "V" if kind.value_form is ValueForm.RANGE else ""
        pieces += [Piece(kind.name, value, unit) for value in values or (None,)]
    return [top_of(cube_of(piece, kit), kit) for piece in pieces]


def _in_order(tops: list[Cube], kit: Kit) -> list[Cube]:
    return sorted(tops, key=lambda cube: order(Piece(cube.kind, cube.value, cube.unit), kit))
