"""Sheets to print: true size, everything on the page, markers that a detector finds."""

from __future__ import annotations

import re

import cv2
import numpy as np
import pytest
from largekit import LARGE_KIT
from paperphoto import PX, pixels_of

from snapcheck import draw, paper_kit
from snapcheck.board import Cube
from snapcheck.box import PAPERS, fitted_page, pages_html, place_tiles, plate_pages, plate_size, top_of
from snapcheck.box._plate import INSIDE, LAP, MARKER, RIM, plate_svg
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit

KIT = bundled_kit()
PLAN = """plate 5 x 4
title Small & <odd>
A1 resistor 4k7
B1 npn BC547 base=left
C1 ground stem=up
tap A1|B1
"""


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("side", [8.0, 20.0, 31.5, 60.0])
def test_tiles_are_of_true_size_apart_and_on_the_page(paper: str, side: float) -> None:
    sheet = PAPERS[paper]
    tiles = place_tiles([Cube("ground")] * 40 + [Cube("straight")] * 20, side, sheet)
    assert len(tiles) == 60
    for tile in tiles:
        assert (tile.width, tile.height) == (side, side)
        assert tile.x >= 10 and tile.y >= 10 and tile.x + side <= sheet.width - 10
        assert tile.y + side <= sheet.height - 15
    for i, a in enumerate(tiles):
        for b in tiles[i + 1 :]:
            assert a.page != b.page or abs(a.x - b.x) >= side + 4 or abs(a.y - b.y) >= side + 4


def test_large_cubes_get_tiles_of_their_cells() -> None:
    kind = next(k for k in LARGE_KIT.kinds.values() if k.size == (2, 1))
    tiles = place_tiles(
        [top_of(Cube(kind.name, size=kind.size), LARGE_KIT), Cube("ground")], 20.0, PAPERS["a4"]
    )
    assert {(t.width, t.height) for t in tiles} == {(40.0, 20.0), (20.0, 20.0)}
    made = paper_kit(kit=LARGE_KIT, sheets=["tiles"])
    assert made.tiles > len(LARGE_KIT.kinds)


def test_a_printed_tile_is_as_wide_as_it_should_be() -> None:
    """Measured on the rendered page: the colour of a ground tile, with its bleed of half a millimetre."""
    made = paper_kit(["plate 2 x 2\nA1 ground stem=up\n"], sheets=["tiles"], cube_mm=25)
    page = pixels_of(made.pages[0].svg, 210.0).astype(int)
    coloured = np.ptp(page[round(30 * PX) : round(50 * PX)], axis=2) > 12
    columns = np.flatnonzero(coloured.mean(0) > 0.5)
    assert (columns[-1] - columns[0] + 1) / PX == pytest.approx(26.0, abs=0.4)


def test_a_detector_finds_the_four_markers_where_reading_expects_them() -> None:
    side, columns, rows = 20.0, 6, 4
    width, height = plate_size(columns, rows, side)
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">'
    picture = cv2.cvtColor(
        pixels_of(f"{head}{plate_svg(columns, rows, side)}</svg>", width), cv2.COLOR_BGR2GRAY
    )
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    corners, ids, _ = cv2.aruco.ArucoDetector(book).detectMarkers(picture)
    assert ids is not None
    found = {int(i): np.asarray(c).reshape(4, 2) / PX for i, c in zip(np.ravel(ids), corners, strict=True)}
    assert sorted(found) == [0, 1, 2, 3]
    outer = ((0, 0), (width, 0), (width, height), (0, height))
    for number, (x, y) in enumerate(outer):
        # each marker upright, its outermost corner 0.12 cells inside the plate's
        assert found[number][number] == pytest.approx(
            [abs(x - INSIDE * side), abs(y - INSIDE * side)], abs=0.6
        )
        size = np.linalg.norm(found[number][0] - found[number][1])
        assert size == pytest.approx(MARKER * side, abs=0.6)
    assert INSIDE + MARKER < RIM


@pytest.mark.parametrize(("columns", "rows", "count"), [(5, 4, 1), (8, 6, 1), (12, 9, 2), (20, 18, 6)])
def test_a_plate_is_cut_into_pieces_that_overlap_and_cover_it(columns: int, rows: int, count: int) -> None:
    pages = plate_pages(columns, rows, 20.0, PAPERS["a4"], "plate")
    windows = [
        tuple(map(float, re.search(r'<svg x=.*?viewBox="([^"]+)"', page.svg)[1].split())) for page in pages
    ]
    assert len(pages) == count
    width, height = plate_size(columns, rows, 20.0)
    assert min(x for x, *_ in windows) == 0 and max(x + w for x, _, w, _ in windows) == pytest.approx(width)
    assert min(y for _, y, *_ in windows) == 0 and max(y + h for *_, y, _, h in windows) == pytest.approx(
        height
    )
    for i, (x, y, w, _) in enumerate(windows[:-1]):
        after = windows[i + 1]
        if after[1] == y:
            assert x + w - after[0] == pytest.approx(LAP, abs=0.01)


def test_html_names_each_paper_and_escapes_what_a_file_says() -> None:
    made = paper_kit([PLAN], cube_mm=30, paper="letter")
    assert "Small &amp; &lt;odd&gt;" in made.html and "<odd>" not in made.html
    assert "size:letter" in made.html and made.tiles == 3


def test_a_pdf_has_the_pages_at_their_size() -> None:
    weasyprint = pytest.importorskip("weasyprint", exc_type=(ImportError, OSError))

    def sizes(html: str) -> list[tuple[int, int]]:
        pages = weasyprint.HTML(string=html).render().pages
        return [(round(p.width / 96 * 25.4), round(p.height / 96 * 25.4)) for p in pages]

    made = paper_kit([PLAN], plate=(9, 4))
    assert sizes(made.html) == [(210, 297), (297, 210), (210, 297)]
    assert made.pdf().startswith(b"%PDF")
    wide = draw("plate 9 x 3\nA1 ground stem=up\n").svg
    assert sizes(pages_html([fitted_page(wide, "letter")], "")) == [(279, 216)]
    assert draw(PLAN).pdf().startswith(b"%PDF")


def test_without_a_plan_there_is_one_of_each_kind_and_value() -> None:
    made = paper_kit(sheets=["tiles"])
    text = "".join(page.svg for page in made.pages)
    for said in (">4k7<", ">100n<", ">BC547<", ">15V<", ">red<"):
        assert said in text, said


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"cube_mm": 3}, "8 to 60"), ({"paper": "a3"}, "letter"), ({"sheets": ["tops"]}, "tiles"),
        ({"copies": 0}, "1 to 5000"), ({"copies": 9999}, "1 to 5000"),
    ],
)  # fmt: skip
def test_what_cannot_be_printed_is_said(how: dict[str, object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        paper_kit([PLAN], **how)  # type: ignore[arg-type]
