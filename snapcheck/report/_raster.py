"""Drawings as pixels. The rasterizer's cost lies in the area, so marks are drawn only where there are any."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from snapcheck.board import svg_to_png

#: drawings kept: a class has few plans
_KEPT = 8
#: marks are looked for in a drawing this many times smaller
_COARSE = 8
#: so many pieces of marks are drawn one by one; more, all at once
_MOST_PIECES = 12

Box = tuple[float, float, float, float]


@lru_cache(_KEPT)
def raster(svg: str) -> np.ndarray:
    """An SVG document as (h, w, 4) uint8, blue first, as large as it says; shared, so not to be changed."""
    return _draw(svg)


def _draw(svg: str) -> np.ndarray:
    import cv2

    layer = np.asarray(cv2.imdecode(np.frombuffer(svg_to_png(svg), np.uint8), cv2.IMREAD_UNCHANGED))
    if layer.shape[2] == 3:
        layer = np.dstack([layer, np.full(layer.shape[:2], 255, np.uint8)])
    layer.flags.writeable = False
    return layer


def document(body: str, box: Box, size: tuple[int, int], font: str) -> str:
    """An SVG document of `size` (width, height) pixels that shows `box` (left, top, width, height)."""
    left, top, width, height = box
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size[0]}" height="{size[1]}" '
        f'viewBox="{left:.9g} {top:.9g} {width:.9g} {height:.9g}" preserveAspectRatio="none" '
        f'font-family="{font}">{body}</svg>'
    )


def lay(panel: np.ndarray, body: str, box: Box, font: str) -> None:
    """Draw marks upon a panel, in place.

    Args:
        panel: (h, w, 3) uint8, blue first; shows `box` of the drawing.
        body: SVG elements in the drawing's units.
    """
    if not body:
        return
    height, width = panel.shape[:2]
    x, y = box[2] / width, box[3] / height  # units a pixel
    for left, top, w, h in _pieces(body, box, width, height, font):
        part = (box[0] + left * x, box[1] + top * y, w * x, h * y)
        over = _draw(document(body, part, (w, h), font))
        below = panel[top : top + h, left : left + w]
        alpha = over[..., 3:].astype("uint16")
        below[:] = (over[..., :3] * alpha + below * (255 - alpha)) // 255


def _pieces(body: str, box: Box, width: int, height: int, font: str) -> list[tuple[int, int, int, int]]:
    """(left, top, width, height) in pixels of what the marks cover, by a small drawing of them."""
    import cv2

    small = (-(-width // _COARSE), -(-height // _COARSE))
    # the small drawing's pixels are _COARSE large ones each: it may reach beyond the panel
    whole = (box[0], box[1], box[2] * small[0] * _COARSE / width, box[3] * small[1] * _COARSE / height)
    covered = (_draw(document(body, whole, small, font))[..., 3] > 0).astype(np.uint8)
    covered = np.asarray(cv2.dilate(covered, np.ones((3, 3), np.uint8)))
    _, _, found, _ = cv2.connectedComponentsWithStats(covered, connectivity=8)
    pieces = [(x, y, x + w, y + h) for x, y, w, h, _ in (map(int, row) for row in found[1:])]
    return [
        (
            x * _COARSE,
            y * _COARSE,
            min(r * _COARSE, width) - x * _COARSE,
            min(b * _COARSE, height) - y * _COARSE,
        )
        for x, y, r, b in _apart(pieces)
    ]


def _apart(pieces: list[tuple[int, int, int, int]]) -> list[tuple[int, int, int, int]]:
    """Rectangles (left, top, right, bottom), those that overlap made one: nothing may be drawn twice."""
    apart: list[tuple[int, int, int, int]] = []
    for piece in pieces:
        x, y, r, b = piece
        while hit := [p for p in apart if p[0] < r and x < p[2] and p[1] < b and y < p[3]]:
            apart = [p for p in apart if p not in hit]
            x, y = min(x, *(p[0] for p in hit)), min(y, *(p[1] for p in hit))
            r, b = max(r, *(p[2] for p in hit)), max(b, *(p[3] for p in hit))
        apart.append((x, y, r, b))
    if len(apart) <= _MOST_PIECES:
        return apart
    lefts, tops, rights, bottoms = zip(*apart, strict=True)
    return [(min(lefts), min(tops), max(rights), max(bottoms))]
