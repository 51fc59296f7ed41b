"""The annotated picture: the photo seen from straight above, with what to mend drawn upon it."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import TYPE_CHECKING

from snapcheck.board import Board, column_letters, draw_svg, svg_to_png
from snapcheck.errors import PhotoError
from snapcheck.findings import Finding
from snapcheck.kit import Kit
from snapcheck.report._callouts import PITCH, callouts_svg
from snapcheck.report._look import INK, PAPER, numbered
from snapcheck.words import tr

if TYPE_CHECKING:
    import numpy as np

    from snapcheck.photo import Reading

MARGIN = 44.0
_FONT = "'DejaVu Sans', Verdana, 'Segoe UI', sans-serif"
_QUALITY = 84
_STEP = 16


def frame_size(board: Board) -> tuple[int, int]:
    """Width and height of a picture of a board, in units of which a cell has 108; as `draw_svg` has it."""
    return round(2 * MARGIN + board.columns * PITCH), round(2 * MARGIN + board.rows * PITCH)


def rectify(pixels: np.ndarray, reading: Reading, per_cell: float = PITCH) -> np.ndarray:
    """The board seen from straight above, in the frame of `draw_svg`.

    Args:
        pixels: (h, w, 3) uint8 photo, upright; may be smaller than the file (decoded at half size).
        reading: says where the board lies.
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
    w, h = (round((n + 2 * rim) * per_cell) for n in (reading.columns, reading.rows))
    gx, gy = np.arange(0, w + _STEP, _STEP), np.arange(0, h + _STEP, _STEP)
    grid = np.stack(np.meshgrid((gx + 0.5) / per_cell - rim, (gy + 0.5) / per_cell - rim), -1)
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
    """The photo from straight above with numbered callouts, as JPEG.

    Args:
        pixels: the photo, upright.
        reading: what was seen in it, and where.
        findings: numbered from 1 in this order.
        kit: the cubes.
        plan: the design in the cells of the build, where it is known.
    """
    import cv2
    import numpy as np

    flat = rectify(pixels, reading)
    height, width = flat.shape[:2]
    over = svg_to_png(overlay_svg(numbered(findings), reading.board, kit, plan))
    layer = np.asarray(cv2.imdecode(np.frombuffer(over, np.uint8), cv2.IMREAD_UNCHANGED))
    if layer.shape[:2] != (height, width):
        layer = cv2.resize(layer, (width, height), interpolation=cv2.INTER_AREA)
    ink = cv2.cvtColor(layer[..., :3], cv2.COLOR_BGR2RGB)[..., ::-1]
    alpha = layer[..., 3:].astype(np.uint16)
    mixed = (ink.astype(np.uint16) * alpha + flat.astype(np.uint16) * (255 - alpha)) // 255
    return jpeg(mixed.astype(np.uint8))


def overlay_svg(
    findings: Sequence[tuple[int, Finding]], board: Board, kit: Kit, plan: Board | None = None
) -> str:
    """Addresses and callouts alone, on nothing, as an SVG document as large as `frame_size`."""
    return _document(board, addresses_svg(board) + _moved(callouts_svg(findings, board, kit, plan)))


def photo_svg(photo: bytes, board: Board, marks: str, title: str) -> str:
    """A rectified photo (JPEG) with marks upon it (plate units) as one SVG document."""
    width, height = frame_size(board)
    data = base64.b64encode(photo).decode()
    image = (
        f'<image width="{width}" height="{height}" preserveAspectRatio="none" '
        f'href="data:image/jpeg;base64,{data}"/>'
    )
    return _document(board, image + addresses_svg(board) + _moved(marks), title)


def drawing_svg(board: Board, kit: Kit, marks: str, title: str) -> str:
    """The drawn top view with marks upon it as one SVG document."""
    svg = draw_svg(board, kit)
    svg = svg.replace(f"<title>board of {board.columns} x {board.rows}</title>", f"<title>{title}</title>", 1)
    return svg.removesuffix("</svg>") + _moved(marks) + "</svg>"


def addresses_svg(board: Board) -> str:
    """Column letters and row numbers on a light band along the rim, readable on any photo."""
    width, height = frame_size(board)
    parts = [
        f'<path d="M0 0H{width}V{height}H0ZM34 34V{height - 34}H{width - 34}V34Z" fill="{PAPER}" '
        'fill-opacity="0.86" fill-rule="evenodd"/>'
    ]
    for column in range(board.columns):
        x = MARGIN + (column + 0.5) * PITCH
        parts += [_text(x, y, column_letters(column)) for y in (24.0, height - 10.0)]
    for row in range(board.rows):
        y = MARGIN + (row + 0.5) * PITCH + 7
        parts += [_text(x, y, str(row + 1)) for x in (17.0, width - 17.0)]
    return "".join(parts)


def _text(x: float, y: float, text: str) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="19" font-weight="bold" text-anchor="middle" '
        f'fill="{INK}">{text}</text>'
    )


def _moved(marks: str) -> str:
    return f'<g transform="translate({MARGIN:g} {MARGIN:g})">{marks}</g>'


def _document(board: Board, body: str, title: str = "") -> str:
    width, height = frame_size(board)
    named = f"<title>{title}</title>" if title else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="{_FONT}" role="img">{named}{body}</svg>'
    )
