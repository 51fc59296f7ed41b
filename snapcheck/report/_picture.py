"""The annotated picture: the photo seen from straight above, with what to mend drawn upon it."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from snapcheck.board import Board, Cell, column_letters, draw_svg, svg_to_png
from snapcheck.errors import PhotoError
from snapcheck.findings import Finding
from snapcheck.kit import Kit
from snapcheck.report._callouts import PITCH, callouts_svg, reference_svg, rings_of
from snapcheck.report._look import INK, PAPER, numbered
from snapcheck.words import tr

if TYPE_CHECKING:
    import numpy as np

    from snapcheck.photo import Reading

MARGIN = 44.0
_FONT = "'DejaVu Sans', Verdana, 'Segoe UI', sans-serif"
_QUALITY = 84
_STEP = 16
_LARGEST = 1600  # pixels of the longer side of an annotated picture
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
    cells = [c for b in boards for c in b.cubes] or [Cell(0, 0)]
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
    import cv2
    import numpy as np

    height, width = pixels.shape[:2]
    scale = width / reading.frame.size[0]
    if abs(height - scale * reading.frame.size[1]) > 0.02 * height:
        raise PhotoError(
            tr("the photo and its reading do not have the same shape."),
            way_out=tr("Read this very photo again."),
        )
    rim = MARGIN / PITCH
    w, h = (round((n + 2 * rim) * per_cell) for n in (window.columns, window.rows))
    gx, gy = np.arange(0, w + _STEP, _STEP), np.arange(0, h + _STEP, _STEP)
    x = (gx + 0.5) / per_cell - rim + window.column
    y = (gy + 0.5) / per_cell - rim + window.row
    grid = np.stack(np.meshgrid(x, y), -1)
    at = ((reading.frame.to_photo(grid.reshape(-1, 2)) + 0.5) * scale - 0.5).reshape(len(gy), len(gx), 2)
    spread = np.array([[1.0 / _STEP, 0, 0], [0, 1.0 / _STEP, 0]])
    mx, my = (
        cv2.warpAffine(
            np.ascontiguousarray(at[..., i].astype(np.float32)), spread, (w, h),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
        )
        for i in (0, 1)
    )  # fmt: skip
    return np.asarray(cv2.remap(pixels, mx, my, cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE))


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
    import numpy as np

    board = reading.board
    window = window_of(board, *([] if plan is None else [plan]))
    _, _, width, height = window.box
    across = 0 if width > _WIDE * height else 1
    whole = max(width, 2 * (height + _STRIP)) if across == 0 else max(2 * width, height + _STRIP)
    scale = min(1.0, _LARGEST / whole)  # drawn as small as it will be: a drawing's cost is in its pixels
    flat = rectify(pixels, reading, window, PITCH * scale)
    told = numbered(findings)
    asked = {cell for finding in findings for cell in finding.cells}
    unsure = rings_of([cell for cell in reading.unsure if cell not in asked])
    marks = callouts_svg(told, board, kit, plan) + unsure
    over = _pixels(document(window, addresses_svg(window) + moved(marks)), flat.shape)
    alpha = over[..., 3:].astype(np.uint16)
    built = (over[..., :3].astype(np.uint16) * alpha + flat.astype(np.uint16) * (255 - alpha)) // 255
    below = reference_svg(told, plan) if plan is not None else unsure
    drawn = _pixels(drawing_svg(plan or board, kit, window, below, ""), flat.shape)[..., :3]
    words = tr("As planned") if plan is not None else tr("As understood")
    panels = [
        np.vstack([_heading(text, flat.shape[1], scale), panel])
        for text, panel in ((tr("As built"), built), (words, drawn))
    ]
    return jpeg(np.concatenate(panels, axis=across).astype(np.uint8))


def _pixels(svg: str, shape: tuple[int, ...]) -> np.ndarray:
    """A drawing as (h, w, 4) uint8, blue first, as large as `shape` says."""
    import cv2
    import numpy as np

    layer = np.asarray(
        cv2.imdecode(np.frombuffer(svg_to_png(svg, width=shape[1]), np.uint8), cv2.IMREAD_UNCHANGED)
    )
    if layer.shape[2] == 3:
        layer = np.dstack([layer, np.full(layer.shape[:2], 255, np.uint8)])
    if layer.shape[:2] != shape[:2]:
        layer = np.asarray(cv2.resize(layer, (shape[1], shape[0]), interpolation=cv2.INTER_AREA))
    return layer


def _heading(text: str, width: int, scale: float) -> np.ndarray:
    """A strip with words above a panel, (about 40 * scale, width, 3)."""
    height = round(_STRIP * scale)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 '
        f'{width / scale:.1f} {_STRIP}" preserveAspectRatio="xMinYMid slice" '
        f'font-family="{_FONT}">'
        f'<rect width="{width / scale:.1f}" height="{_STRIP}" fill="{PAPER}"/><text x="12" y="28" '
        f'font-size="22" font-weight="bold" fill="{INK}">{escape(text)}</text></svg>'
    )
    return _pixels(svg, (height, width))[..., :3]


def overlay_svg(
    findings: Sequence[tuple[int, Finding]], board: Board, kit: Kit, window: Window, plan: Board | None = None
) -> str:
    """Addresses and callouts alone, on nothing, as an SVG document as large as the window."""
    return document(window, addresses_svg(window) + moved(callouts_svg(findings, board, kit, plan)))


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
    """The drawn top view with marks upon it as one SVG document."""
    drawn = draw_svg(board, kit)
    body = drawn[drawn.index("</title>") + len("</title>") :].removesuffix("</svg>")
    return document(window, body + addresses_svg(window) + moved(marks), title)


def addresses_svg(window: Window) -> str:
    """Column letters and row numbers on a light band along the rim, readable on any photo."""
    left, top, width, height = window.box
    inner = f"M{left + 34} {top + 34}v{height - 68}h{width - 68}v{68 - height}Z"
    parts = [
        f'<path d="M{left} {top}h{width}v{height}h{-width}Z{inner}" fill="{PAPER}" fill-opacity="0.9" '
        'fill-rule="evenodd"/>'
    ]
    for column in range(window.column, window.column + window.columns):
        x = MARGIN + (column + 0.5) * PITCH
        parts += [_text(x, y, column_letters(column)) for y in (top + 24.0, top + height - 10.0)]
    for row in range(window.row, window.row + window.rows):
        y = MARGIN + (row + 0.5) * PITCH + 7
        parts += [_text(x, y, str(row + 1)) for x in (left + 17.0, left + width - 17.0)]
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
