"""A plate to print: a sheet with a grid and the four markers that tell its corners, on as many pages as it
needs; and the markers alone, for a plate of steel."""

from __future__ import annotations

import math
from collections.abc import Iterator

from snapcheck.board import column_letters
from snapcheck.box._paper import FOOT, HEAD, MARGIN, Page, Paper, cut_marks, sheet, text
from snapcheck.words import tr

#: rim of a printed plate around its cells, side of a marker in it and how far that lies inside the plate's
#: corner, in cells: reading expects a rim of 0.6 to 1.15 cells where there are markers, and the corner 0.12
#: cells outside of them (`photo/_plate.py`)
RIM, MARKER, INSIDE = 0.74, 0.5, 0.12
#: white around a marker, as a share of its side: up to the edge of the plate
QUIET = 0.235
#: marker numbers at the upper left, upper right, lower right and lower left corner
CORNERS = (0, 1, 2, 3)
#: strip that two pages share, to be glued, millimetres
LAP = 8.0
#: dark, with faint marks: what a plate of steel looks like, and what reading takes for empty (of the marks
#: tried, brighter ones and lighter grounds left up to half of the empty cells open)
GROUND, LINES, LETTERS = "#4a565c", "#76848b", "#c3ccd1"
#: a fine grid all over the cells, so many lines a cell: no cube looks like that, while a plain dark square
#: between cubes may be one whose print is not seen (`python tests/paperphoto.py`; as good a little darker,
#: lighter, bolder, and on lighter and darker grounds)
FINE, PARTS = "#5a676e", 6


def marker_path(number: int) -> str:
    """A corner marker (ArUco dictionary MIP 36h12) as SVG path data on a square of side 1: what is black."""
    import cv2

    d = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    cells = cv2.aruco.generateImageMarker(d, number, 8, borderBits=1) < 128
    size = 1 / len(cells)
    return "".join(
        f"M{c * size:.4f} {r * size:.4f}h{size:.4f}v{size:.4f}h{-size:.4f}z"
        for r, row in enumerate(cells.tolist())
        for c, black in enumerate(row)
        if black
    )


def marker_svg(number: int, x: float, y: float, side: float) -> str:
    """A marker with its white edge, `side` without it."""
    quiet = QUIET * side
    return (
        f'<rect x="{x - quiet:.3f}" y="{y - quiet:.3f}" width="{side + 2 * quiet:.3f}" '
        f'height="{side + 2 * quiet:.3f}" fill="#fff"/>'
        f'<path transform="translate({x:.3f} {y:.3f}) scale({side:.4f})" d="{marker_path(number)}" '
        f'fill="#000" shape-rendering="crispEdges"/>'
    )


def plate_size(columns: int, rows: int, cell_mm: float) -> tuple[float, float]:
    """Width and height of a printed plate, millimetres."""
    return (columns + 2 * RIM) * cell_mm, (rows + 2 * RIM) * cell_mm


def plate_svg(columns: int, rows: int, cell_mm: float) -> str:
    """A printed plate with its upper left corner at (0, 0), millimetres: grid, names of cells, markers."""
    width, height = plate_size(columns, rows, cell_mm)
    rim, side, inside = RIM * cell_mm, MARKER * cell_mm, INSIDE * cell_mm
    parts = [f'<rect width="{width:.3f}" height="{height:.3f}" fill="{GROUND}"/>']
    step, across, down = cell_mm / PARTS, columns * cell_mm, rows * cell_mm
    fine = "".join(f"M{rim:.3f} {rim + n * step:.3f}h{across:.3f}" for n in range(rows * PARTS + 1))
    fine += "".join(f"M{rim + n * step:.3f} {rim:.3f}v{down:.3f}" for n in range(columns * PARTS + 1))
    parts.append(f'<path d="{fine}" stroke="{FINE}" stroke-width="{0.015 * cell_mm:.3f}" fill="none"/>')
    arm = 0.12 * cell_mm
    crosses = "".join(
        f"M{rim + c * cell_mm - arm:.3f} {rim + r * cell_mm:.3f}h{2 * arm:.3f}"
        f"M{rim + c * cell_mm:.3f} {rim + r * cell_mm - arm:.3f}v{2 * arm:.3f}"
        for r in range(rows + 1)
        for c in range(columns + 1)
    )
    parts.append(f'<path d="{crosses}" stroke="{LINES}" stroke-width="{0.02 * cell_mm:.3f}" fill="none"/>')
    size = 0.22 * cell_mm
    for c in range(columns):
        parts.append(
            text(rim + (c + 0.5) * cell_mm, 0.5 * cell_mm, column_letters(c), size, ink=LETTERS, middle=True)
        )
    for r in range(rows):
        y = rim + (r + 0.5) * cell_mm + 0.08 * cell_mm
        parts.append(text(0.42 * cell_mm, y, str(r + 1), size, ink=LETTERS, middle=True))
    low, right, down = inside, width - inside - side, height - inside - side
    places = ((low, low), (right, low), (right, down), (low, down))
    for number, (x, y) in zip(CORNERS, places, strict=True):
        parts.append(marker_svg(number, x, y, side))
    return "".join(parts)


def plate_pages(columns: int, rows: int, cell_mm: float, paper: Paper, head: str) -> list[Page]:
    """Pages of one printed plate, the paper turned the way that needs fewer of them.

    A plate that needs more than one page is cut into parts that overlap by `LAP`: cut each out, lay the next
    one over the strip.
    """
    size = plate_size(columns, rows, cell_mm)
    upright, lying = (_parts(size, p) for p in (paper, paper.turned()))
    if len(lying) < len(upright):
        parts, paper = lying, paper.turned()
    else:
        parts = upright
    drawn = plate_svg(columns, rows, cell_mm)
    pages = []
    for number, (x, y, width, height) in enumerate(parts):
        left = (paper.width - width) / 2
        top = MARGIN + HEAD + 3
        window = (
            f'<svg x="{left:.3f}" y="{top:.3f}" width="{width:.3f}" height="{height:.3f}" '
            f'viewBox="{x:.3f} {y:.3f} {width:.3f} {height:.3f}">{drawn}</svg>'
        )
        place = "" if len(parts) == 1 else f" · {number + 1}/{len(parts)}"
        drawn_page = sheet(paper, head + place, (window, cut_marks(left, top, width, height)))
        pages.append(Page(drawn_page, paper))
    return pages


def _parts(size: tuple[float, float], paper: Paper) -> list[tuple[float, float, float, float]]:
    """The windows (x, y, width, height) of a plate that fit on one page each, row by row."""
    room = paper.width - 2 * MARGIN - 4, paper.height - 2 * MARGIN - HEAD - FOOT - 6
    across, down = (list(_cuts(length, most)) for length, most in zip(size, room, strict=True))
    return [(x, y, w, h) for y, h in down for x, w in across]


def _cuts(length: float, most: float) -> Iterator[tuple[float, float]]:
    """Starts and lengths of pieces of one size, each at most `most`, that overlap by LAP."""
    count = max(1, math.ceil((length - LAP) / (most - LAP)))
    piece = (length + (count - 1) * LAP) / count
    for n in range(count):
        yield n * (piece - LAP), piece


#: a tap on paper, as a share of the cell: with cubes of 20 mm what a common hole punch cuts out
TAP = 0.3


def extras_page(cell_mm: float, paper: Paper, head: str) -> Page:
    """The four corner markers, for a plate of steel, and taps to punch out."""
    side = MARKER * cell_mm
    quiet = QUIET * side
    y = MARGIN + HEAD + 8
    parts = [
        text(MARGIN + 3, y, tr("Corner markers for a plate of your own: cut out with the white edge."), 3)
    ]
    y += 6 + quiet
    names = (tr("upper left"), tr("upper right"), tr("lower right"), tr("lower left"))
    for number, name in zip(CORNERS, names, strict=True):
        x = MARGIN + 8 + quiet + number * max(side + 2 * quiet + 8, 30)
        parts.append(marker_svg(number, x, y, side))
        parts.append(cut_marks(x - quiet, y - quiet, side + 2 * quiet, side + 2 * quiet))
        parts.append(text(x + side / 2, y + side + quiet + 5.5, name, 2.4, middle=True))
    y += side + quiet + 18
    words = tr("Taps: punch them out and lay them across the seam of two tiles. A lead is a piece of thread.")
    parts.append(text(MARGIN + 3, y, words, 3))
    y += 4
    step = max(2 * TAP * cell_mm, 10)
    across = int((paper.width - 2 * MARGIN - 6) // step)
    for n in range(2 * across):
        cx = MARGIN + 3 + (n % across + 0.5) * step
        cy = y + (n // across + 0.5) * step
        parts.append(tap_svg(cx, cy, TAP * cell_mm / 2))
    return Page(sheet(paper, head, parts), paper)


def tap_svg(x: float, y: float, radius: float) -> str:
    """A tap's top: brass with a hole."""
    return (
        f'<circle cx="{x:.3f}" cy="{y:.3f}" r="{radius:.3f}" fill="#a8761a" stroke="#10243a" '
        f'stroke-width="{0.12 * radius:.3f}"/><circle cx="{x:.3f}" cy="{y:.3f}" r="{0.45 * radius:.3f}" '
        f'fill="#1e1914"/>'
    )
