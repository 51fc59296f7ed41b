"""Sheets of paper, in millimetres: cut marks, and pages of SVG made into one HTML text."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from snapcheck.errors import InputError
from snapcheck.words import active_language, shown, tr

FONT = "'DejaVu Sans', Verdana, 'Segoe UI', sans-serif"


@dataclass(frozen=True)
class Paper:
    """A sheet of paper: name as CSS knows it, width and height upright in millimetres."""

    name: str
    width: float
    height: float

    def turned(self) -> Paper:
        """The sheet lying on its side."""
        return Paper(f"{self.name} landscape", self.height, self.width)


#: ISO 216 A4; ANSI/ASME Y14.1 size A, 8.5 by 11 inches
PAPERS = {"a4": Paper("A4", 210.0, 297.0), "letter": Paper("letter", 215.9, 279.4)}
#: what common printers leave white at each edge, millimetres (common practice, no source)
MARGIN = 10.0
#: height of the line at the head of a page, and of the ruler at its foot
HEAD, FOOT = 9.0, 8.0


def paper_of(name: str) -> Paper:
    """The paper of this name; raises InputError."""
    found = PAPERS.get(name.lower())
    if found is None:
        raise InputError(
            tr("'{name}' is no paper size here.", name=name),
            way_out=tr("Accepted: {names}.", names=", ".join(PAPERS)),
        )
    return found


def sheet(paper: Paper, head: str, body: Iterable[str]) -> str:
    """One page as an SVG in millimetres: a line of words, a ruler to hold the print against, and the body."""
    ruler = "".join(f"M{x:g} 0v{-3 if x % 50 == 0 else -2:g}" for x in (10.0 * n for n in range(11)))
    y = paper.height - MARGIN
    words = tr("This line is 100 mm long; where it is not, print without fitting to the page.")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{paper.width:g}mm" height="{paper.height:g}mm" '
        f'viewBox="0 0 {paper.width:g} {paper.height:g}" font-family="{FONT}">'
        f'<rect width="{paper.width:g}" height="{paper.height:g}" fill="#fff"/>'
        f"{text(MARGIN, MARGIN + 4, head, 3.6, bold=True)}"
        f'<g transform="translate({MARGIN:g} {y:g})"><path d="M0 0h100{ruler}" stroke="#000" '
        f'stroke-width=".2" fill="none"/></g>{text(MARGIN + 103, y, words, 2.1)}'
        f"{''.join(body)}</svg>"
    )


def text(
    x: float,
    y: float,
    words: str,
    size: float,
    *,
    bold: bool = False,
    middle: bool = False,
    ink: str = "#111",
) -> str:
    """A line of text; `size` in millimetres."""
    weight = ' font-weight="bold"' if bold else ""
    anchor = ' text-anchor="middle"' if middle else ""
    said = escape(shown(words, isolate=False))
    return f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" fill="{ink}"{weight}{anchor}>{said}</text>'


def cut_marks(x: float, y: float, width: float, height: float, off: float = 0.8, long: float = 1.4) -> str:
    """Short lines outside the corners of a piece to cut out, in line with its edges."""
    d = ""
    for cx, sx in ((x, -1), (x + width, 1)):
        for cy, sy in ((y, -1), (y + height, 1)):
            d += f"M{cx + sx * off:.3f} {cy:.3f}h{sx * long:g}M{cx:.3f} {cy + sy * off:.3f}v{sy * long:g}"
    return f'<path d="{d}" stroke="#000" stroke-width=".15" fill="none"/>'


@dataclass(frozen=True)
class Page:
    """One page: its SVG in millimetres, and the paper the way it lies."""

    svg: str
    paper: Paper


def fitted_page(svg: str, paper_name: str) -> Page:
    """A drawing as large as it goes on a sheet, which lies on its side for a wide one. Raises InputError."""
    paper = paper_of(paper_name)
    width, height = _size_of(svg)
    if width > height:
        paper = paper.turned()
    room = paper.width - 2 * MARGIN, paper.height - 2 * MARGIN
    scale = min(room[0] / width, room[1] / height)
    body, _ = placed_drawing(svg, MARGIN, (paper.height - scale * height) / 2, *room)
    drawn = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{paper.width:g}mm" height="{paper.height:g}mm" '
        f'viewBox="0 0 {paper.width:g} {paper.height:g}" font-family="{FONT}">'
        f"{body}</svg>"
    )
    return Page(drawn, paper)


def _size_of(svg: str) -> tuple[float, float]:
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    assert size is not None  # as `draw_svg` writes it
    return float(size[1]), float(size[2])


def placed_drawing(svg: str, left: float, top: float, wide: float, high: float) -> tuple[str, float]:
    """A drawing of `draw_svg` as large as it goes in this room of a page, from the top and in the middle, and
    how high it is; millimetres."""
    width, height = _size_of(svg)
    scale = min(wide / width, high / height)
    left += (wide - scale * width) / 2
    body = svg.partition("</title>")[2].removesuffix("</svg>")
    return f'<g transform="translate({left:.3f} {top:.3f}) scale({scale:.5f})">{body}</g>', scale * height


def pages_html(pages: Sequence[Page], title: str) -> str:
    """Pages as one HTML text, to be printed at true size or made into a PDF."""
    papers = list(dict.fromkeys(page.paper for page in pages))
    css = "".join(f"@page p{i}{{size:{p.name};margin:0}}.p{i}{{page:p{i}}}" for i, p in enumerate(papers))
    css += "body{margin:0}div{break-after:page}div:last-child{break-after:auto}svg{display:block}"
    head = f'<meta charset="utf-8"><title>{escape(shown(title))}</title><style>{css}</style>'
    body = "".join(f'<div class="p{papers.index(page.paper)}">{page.svg}</div>' for page in pages)
    return f'<!doctype html><html lang="{active_language()}"><head>{head}</head><body>{body}</body></html>'
