"""Marks drawn piece by piece look as if drawn at once."""

from __future__ import annotations

import numpy as np
import pytest

from snapcheck.report import _raster
from snapcheck.report._raster import document, lay, raster

FONT = "'DejaVu Sans'"
BOX = (30.0, 10.0, 640.0, 480.0)


def marks(many: int) -> str:
    spots = [(60 + 97 * i % 590, 40 + 61 * i % 430) for i in range(many)]
    return (
        "".join(
            f'<circle cx="{x}" cy="{y}" r="14" fill="none" stroke="#b00" stroke-width="3"/>'
            f'<text x="{x}" y="{y}" font-size="15" fill="#00f" fill-opacity="0.6">{i}</text>'
            for i, (x, y) in enumerate(spots)
        )
        + '<path d="M40 480L660 470" stroke="#060" stroke-width="0.8"/>'
    )


@pytest.mark.parametrize("many", [1, 5, 40])
@pytest.mark.parametrize("size", [(640, 480), (501, 373)])
def test_pieces_make_up_the_whole(many: int, size: tuple[int, int]) -> None:
    width, height = size
    ground = np.random.default_rng(2).integers(0, 256, (height, width, 3)).astype(np.uint8)
    over = raster(document(marks(many), BOX, size, FONT)).astype(int)
    alpha = over[..., 3:]
    whole = (over[..., :3] * alpha + ground * (255 - alpha)) // 255
    panel = ground.copy()
    lay(panel, marks(many), BOX, FONT)
    assert (whole != ground).any(2).sum() > 500
    assert (panel == whole).all()


def test_few_marks_draw_few_pixels(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = []
    before = _raster._draw

    def counted(svg: str) -> np.ndarray:
        layer = before(svg)
        drawn.append(layer.shape[0] * layer.shape[1])
        return layer

    monkeypatch.setattr(_raster, "_draw", counted)
    panel = np.zeros((480, 640, 3), np.uint8)
    lay(panel, '<circle cx="300" cy="200" r="20" fill="#fff"/>', BOX, FONT)
    assert panel.max() == 255 and sum(drawn) < 0.05 * 640 * 480
    drawn.clear()
    lay(panel, "", BOX, FONT)
    assert not drawn
