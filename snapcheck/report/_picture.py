"""The annotated picture: the photo seen from straight above, with what to mend drawn upon it."""

from __future__ import annotations

import base64
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np

from snapcheck.board import PITCH, Board, Cell, column_letters, draw_svg
from snapcheck.errors import PhotoError
from snapcheck.findings import Finding
from snapcheck.kit import Kit
from snapcheck.report._callouts import callouts_svg, reference_svg, rings_of
from snapcheck.report._look import INK, PAPER, numbered
from snapcheck.report._raster import document as pixel_document
from snapcheck.report._raster import lay, raster
from snapcheck.words import shown, tr

if TYPE_CHECKING:
    from snapcheck.photo import Reading

MARGIN = 44.0
_FONT = "'DejaVu Sans', Verdana, 'Segoe UI', sans-serif"
_QUALITY = 84
_LARGEST = 1600  # pixels of the longer side of an annotated picture
_RIM = 34  # width of the band with letters and numbers, in the drawing's units
_STRIP = 40  # height of the words above a panel, in the drawing's units
_WIDE = 1.25  # wider photos have the drawing below, not beside


@dataclass(frozen=True)
class Window:
    """The part of the plate that is shown: first cell, and how many columns and rows."""

    column: int
    row: int
    columns: int
    rows: int

    @property
    def box(self) -> tuple[int, int, int, int]:
        """Left, top, width and height in units of `draw_svg`, of which a cell has 108."""
        return (
            round(self.column * PITCH),
            round(self.row * PITCH),
            round(2 * MARGIN + self.columns * PITCH),
            round(2 * MARGIN + self.rows * PITCH),
        )


def window_of(*boards: Board) -> Window:
    """The cells that hold something on any of these boards, which share a frame."""
    cells = [c for b in boards for c in b.occupied] or [Cell(0, 0)]
    left, top = min(c.column for c in cells), min(c.row for c in cells)
    right, bottom = max(c.column for c in cells), max(c.row for c in cells)
    return Window(left, top, right - left + 1, bottom - top + 1)


def rectify(pixels: np.ndarray, reading: Reading, window: Window, per_cell: float = PITCH) -> np.ndarray:
    """The board seen from straight above, in the frame of `draw_svg`.

    Args:
        pixels: (h, w, 3) uint8 photo, upright; may be smaller than the file (decoded at half size).
        reading: says where the board lies.
        window: the cells to show.
        per_cell: pixels per cell of the result.

    Raises:
        PhotoError: photo and reading do not belong together.
    """
    from snapcheck.photo import flatten

    height, width = pixels.shape[:2]
    scale = width / reading.frame.size[0]
    if abs(height - scale * reading.frame.size[1]) > 0.02 * height:
        raise PhotoError(
            tr("the photo and its reading do not have the same shape."),
            way_out=tr("Read this very photo again."),
        )
    return flatten(
        pixels, reading.frame, window.columns, window.rows, per_cell, MARGIN / PITCH,
        first=(window.column, window.row), scale=scale,
    )  # fmt: skip


def jpeg(pixels: np.ndarray, quality: int = _QUALITY) -> bytes:
    """JPEG bytes of an array; nothing but pixels goes into it."""
    import cv2

    done, data = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise PhotoError(tr("the picture cannot be written as JPEG."))
    return bytes(data)


def annotate(
    pixels: np.ndarray, reading: Reading, findings: Sequence[Finding], kit: Kit, plan: Board | None = None
) -> bytes:
    """The photo from straight above with numbered callouts, and a drawing in the same frame, as JPEG.

    The drawing is the plan where it is given, otherwise what was understood. It stands beside the photo, or
    below a wide one. Cells that could not be read for sure have a dashed ring.

    Args:
        pixels: the photo, upright.
        reading: what was seen in it, and where.
        findings: numbered from 1 in this order.
        kit: the cubes.
        plan: the design in the cells of the build, where it is known.

    Raises:
        PhotoError: photo and reading do not belong together.
    """
    board = reading.board
    window = window_of(board, *([] if plan is None else [plan]))
    scale, beside = _layout(window)
    built = rectify(pixels, reading, window, PITCH * scale)
    told = numbered(findings)
    asked = {cell for finding in findings for cell in finding.cells}
    unsure = rings_of([cell for cell in reading.unsure if cell not in asked], board)
    drawn = raster(_drawn(plan or board, kit, window, scale))[..., :3].copy()
    rim = round(_RIM * scale)
    for side in (np.s_[:rim], np.s_[-rim:], np.s_[:, :rim], np.s_[:, -rim:]):
        built[side] = drawn[side]  # letters and numbers are the same on both
    box = window.box
    lay(built, moved(callouts_svg(told, board, kit, plan) + unsure), box, _FONT)
    lay(drawn, moved(reference_svg(told, plan) if plan is not None else unsure), box, _FONT)
    words = tr("As planned") if plan is not None else tr("As understood")
    panels = [
        np.vstack([_heading(text, built.shape[1], scale), panel])
        for text, panel in ((tr("As built"), built), (words, drawn))
    ]
    return jpeg(np.concatenate(panels, axis=1 if beside else 0))


def draw_ahead(plan: Board, kit: Kit) -> None:
    """Draw a plan before the photo of its build is read: `annotate` then finds it drawn, if the build lies in
    the plan's own cells."""
    window = window_of(plan)
    raster(_drawn(plan, kit, window, _layout(window)[0]))


def _layout(window: Window) -> tuple[float, bool]:
    """Pixels to a unit of the drawing, and whether the two panels stand side by side.

    Everything is drawn as small as it will be: a drawing's cost is in its pixels.
    """
    _, _, width, height = window.box
    beside = width <= _WIDE * height
    whole = max(2 * width, height + _STRIP) if beside else max(width, 2 * (height + _STRIP))
    return min(1.0, _LARGEST / whole), beside


def _drawn(board: Board, kit: Kit, window: Window, scale: float) -> str:
    """The drawn top view with its addresses, an SVG document as large as the rectified photo."""
    rim, per_cell = MARGIN / PITCH, PITCH * scale
    size = (round((window.columns + 2 * rim) * per_cell), round((window.rows + 2 * rim) * per_cell))
    return pixel_document(_top_view(board, kit) + addresses_svg(window), window.box, size, _FONT)


def _heading(text: str, width: int, scale: float) -> np.ndarray:
    """A strip with words above a panel, (about 40 * scale, width, 3)."""
    body = (
        f'<rect width="{width / scale:.1f}" height="{_STRIP}" fill="{PAPER}"/><text x="12" y="28" '
        f'font-size="22" font-weight="bold" fill="{INK}">{escape(shown(text, isolate=False))}</text>'
    )
    size = (width, round(_STRIP * scale))
    return raster(pixel_document(body, (0, 0, width / scale, _STRIP), size, _FONT))[..., :3]


def photo_svg(photo: bytes, window: Window, marks: str, title: str) -> str:
    """A rectified photo (JPEG) with marks upon it (plate units) as one SVG document."""
    left, top, width, height = window.box
    data = base64.b64encode(photo).decode()
    image = (
        f'<image x="{left}" y="{top}" width="{width}" height="{height}" preserveAspectRatio="none" '
        f'href="data:image/jpeg;base64,{data}"/>'
    )
    return document(window, image + addresses_svg(window) + moved(marks), title)


def drawing_svg(board: Board, kit: Kit, window: Window, marks: str, title: str) -> str:
    """The drawn top view with marks (plate units) upon it as one SVG document."""
    return document(window, _top_view(board, kit) + addresses_svg(window) + moved(marks), title)


def detail_svg(
    board: Board, kit: Kit, window: Window, marks: str, title: str, faded: Collection[Cell] = ()
) -> str:
    """As `drawing_svg`, with nothing in it that lies beyond the window; `faded`: see `draw_svg`."""
    step = (-window.column, -window.row)
    whole = range(window.column, window.column + window.columns), range(window.row, window.row + window.rows)
    inside = board.within(*whole)
    part = replace(inside.shifted(*step), columns=window.columns, rows=window.rows)
    back = {Cell(c.row + step[1], c.column + step[0]) for c in faded if c in inside.cubes}
    body = _body(draw_svg(part, kit, faded=back, addresses=False))
    x, y = window.column * PITCH, window.row * PITCH
    drawn = f'<g transform="translate({x:g} {y:g})">{body}</g>'
    return document(window, drawn + addresses_svg(window, around=False) + moved(marks), title)


def lay_marks(panel: np.ndarray, marks: str, window: Window) -> None:
    """Draw addresses and marks (plate units) upon a rectified photo (blue first), in place."""
    lay(panel, addresses_svg(window) + moved(marks), window.box, _FONT)


def _top_view(board: Board, kit: Kit) -> str:
    """What `draw_svg` draws, without the document around it."""
    return _body(draw_svg(board, kit))


def _body(drawn: str) -> str:
    return drawn[drawn.index("</title>") + len("</title>") :].removesuffix("</svg>")


def addresses_svg(window: Window, *, around: bool = True) -> str:
    """Column letters and row numbers on a light band along the rim; at the top and on the left alone where
    they need not stand `around`."""
    left, top, width, height = window.box
    inner = f"M{left + _RIM} {top + _RIM}v{height - 2 * _RIM}h{width - 2 * _RIM}v{2 * _RIM - height}Z"
    parts = [
        f'<path d="M{left} {top}h{width}v{height}h{-width}Z{inner}" fill="{PAPER}" fill-rule="evenodd"/>'
    ]
    for column in range(window.column, window.column + window.columns):
        x = MARGIN + (column + 0.5) * PITCH
        parts += [
            _text(x, y, column_letters(column)) for y in (top + 24.0, top + height - 10.0)[: 1 + around]
        ]
    for row in range(window.row, window.row + window.rows):
        y = MARGIN + (row + 0.5) * PITCH + 7
        parts += [_text(x, y, str(row + 1)) for x in (left + 17.0, left + width - 17.0)[: 1 + around]]
    return "".join(parts)


def _text(x: float, y: float, text: str) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="19" font-weight="bold" text-anchor="middle" '
        f'fill="{INK}">{text}</text>'
    )


def moved(marks: str) -> str:
    """Marks in plate units, at their place in the frame of `draw_svg`."""
    return f'<g transform="translate({MARGIN:g} {MARGIN:g})">{marks}</g>'


def document(window: Window, body: str, title: str = "") -> str:
    """An SVG document that shows a window of the frame of `draw_svg`."""
    left, top, width, height = window.box
    named = f"<title>{escape(title)}</title>" if title else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="{left} {top} {width} {height}" font-family="{_FONT}" role="img">{named}{body}</svg>'
    )
