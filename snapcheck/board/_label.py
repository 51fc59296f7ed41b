"""Where a value fits on a tile without touching its symbol."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from snapcheck.board._shapes import TILE, Stroke

# advance widths of DejaVu Sans Bold, in parts of the font size (from the font's own table)
_WIDTH = {
    ".": 0.38, ",": 0.38, "/": 0.365, " ": 0.348, "-": 0.415, "m": 1.042, "M": 0.995, "W": 1.103,
    "w": 0.924, "i": 0.343, "l": 0.343, "I": 0.372, "r": 0.493, "t": 0.478, "f": 0.435, "Ω": 0.85,
}  # fmt: skip
_ROOM = 4.0  # free space kept to strokes and to the tile's edge
_CAP = 0.74  # height of a capital, in parts of the size


@dataclass(frozen=True)
class Placed:
    """A label: its baseline's middle, font size, and whether it reads from the right (ISO 129-1)."""

    x: float
    y: float
    size: float
    upright: bool


def text_width(text: str, size: float) -> float:
    """Width of a bold text, about."""
    return size * sum(_WIDTH.get(char, 0.72) for char in text)


def wrapped(text: str, size: float, width: float) -> list[tuple[str, float]]:
    """The text in lines no wider than `width`; a word too long for a line is set smaller."""
    lines: list[tuple[str, float]] = []
    for word in text.split():
        longer = f"{lines[-1][0]} {word}" if lines else word
        if lines and lines[-1][1] == size and text_width(longer, size) <= width:
            lines[-1] = (longer, size)
        else:
            lines.append((word, min(size, width / text_width(word, 1))))
    return lines


def place_label(
    text: str, strokes: tuple[Stroke, ...], tile: tuple[float, float] = (TILE, TILE), *, lying: bool = False
) -> Placed:
    """The largest place beside the symbol; lying text is preferred to text read from the right.

    Args:
        text: the label.
        strokes: the symbol.
        tile: its width and height.
        lying: rather small than read from the right.
    """
    marks = list(_dots(strokes))
    least = 9 if lying else 12
    tries = [*((s, False) for s in _sizes(17, least)), *((s, True) for s in _sizes(17, 9)),
             *((s, False) for s in _sizes(least - 0.5, 6))]  # fmt: skip
    for points, upright in tries:
        length, height = text_width(text, points), points * _CAP
        if length > tile[1 if upright else 0] - 2 * _ROOM - 4:
            continue
        for x, y in _middles(length, height, upright, tile):
            w, h = (height, length) if upright else (length, height)
            if not any(abs(mx - x) < w / 2 + _ROOM and abs(my - y) < h / 2 + _ROOM for mx, my in marks):
                return _placed(x, y, points, upright)
    points = min(12.0, 12.0 * (tile[0] - 12) / max(text_width(text, 12), 1))
    return _placed(tile[0] / 2, 14, points, False)


def _placed(x: float, y: float, size: float, upright: bool) -> Placed:
    drop = size * _CAP / 2
    return Placed(x + drop, y, size, True) if upright else Placed(x, y + drop, size, False)


def _sizes(largest: float, smallest: float) -> Iterator[float]:
    size = largest
    while size >= smallest:
        yield size
        size -= 0.5


def _middles(
    length: float, height: float, upright: bool, tile: tuple[float, float]
) -> Iterator[tuple[float, float]]:
    """Centres to try, best first: above, below, right, left, then the corners."""
    near_x, near_y = (8 + height / 2, 7 + length / 2) if upright else (7 + length / 2, 8 + height / 2)
    far_x, far_y = tile[0] - near_x, tile[1] - near_y
    x, y = tile[0] / 2, tile[1] / 2
    if not upright:
        yield from ((x, near_y), (x, far_y))
    yield from ((far_x, y), (near_x, y), (far_x, near_y), (far_x, far_y), (near_x, near_y), (near_x, far_y))


def _dots(strokes: tuple[Stroke, ...]) -> Iterator[tuple[float, float]]:
    """Points along the strokes, close enough together that no letter slips between them."""
    for stroke in strokes:
        points = (*stroke.points, stroke.points[0]) if stroke.closed else stroke.points
        for (x0, y0), (x1, y1) in pairwise(points):
            steps = max(1, math.ceil(math.hypot(x1 - x0, y1 - y0) / 3))
            for n in range(steps + 1):
                yield x0 + (x1 - x0) * n / steps, y0 + (y1 - y0) * n / steps
