"""Where the probes go, drawn and on a photo."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from snapcheck.board import Cell, Seam, Side, load_design, svg_to_png
from snapcheck.diagnose import Touch
from snapcheck.kit import bundled_kit
from snapcheck.photo import open_picture, read_picture
from snapcheck.report import probes_drawing, probes_on_photo

FIXTURES = Path(__file__).parents[2] / "fixtures"
PROBES = [
    Touch("+", Cell.parse("D2"), Side.N),
    Touch("-", Cell.parse("A2"), Side.S),
    Touch("Ω", Cell.parse("C1")),
    Touch("~", Cell.parse("A1"), None, Seam.parse("A1|B1")),
]


def pixels(data: bytes) -> np.ndarray:
    import cv2

    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR).astype(int)


def test_marks_stand_on_the_contacts() -> None:
    kit = bundled_kit()
    board = load_design(str(FIXTURES / "designs" / "first-light.board"), kit).board
    svg = probes_drawing(board, kit, PROBES)
    plain = pixels(svg_to_png(probes_drawing(board, kit, [])))
    marked = pixels(svg_to_png(svg))
    changed = np.abs(plain - marked).sum(axis=2) > 60
    # the upper contact of D2: 3.5 columns right, 1.14 rows down, in cells of 108 after a margin of 44
    assert changed[44 + round(1.14 * 108), 44 + round(3.5 * 108)]
    assert changed[44 + round(1.86 * 108), 44 + round(0.5 * 108)]
    assert changed.mean() < 0.06  # nothing else


def test_marks_on_the_photo() -> None:
    kit = bundled_kit()
    picture = open_picture(FIXTURES / "photos" / "first-light-good.jpg")
    reading = read_picture(picture, "first-light-good.jpg", kit)
    plain = pixels(probes_on_photo(picture.pixels, reading, []))
    marked = pixels(probes_on_photo(picture.pixels, reading, PROBES[:1]))
    rows, columns = np.nonzero(np.abs(plain - marked).sum(axis=2) > 120)
    left, top = min(c.column for c in reading.board.occupied), min(c.row for c in reading.board.occupied)
    assert abs(columns.mean() - (44 + (3.5 - left) * 108)) < 4
    assert abs(rows.mean() - (44 + (1.14 - top) * 108)) < 4
