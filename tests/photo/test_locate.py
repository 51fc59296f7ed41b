"""Where the board lies: the second, straight look at it, and what is told of a plate that is cut off."""

from __future__ import annotations

import numpy as np
import pytest

from snapcheck.photo import _locate
from snapcheck.photo._camera import Camera
from snapcheck.photo._lattice import Lattice
from snapcheck.photo._reading import Frame

SIZE = (1500, 2000)


@pytest.fixture()
def camera() -> Camera:
    """Seen from 30 degrees aside, through a lens that bends a little."""
    return Camera(
        np.array([0.52, 0.1, 0.05]), np.array([-3.0, -2.0, 14.0]), 1600.0, np.array([1000.0, 750.0]), 0.03
    )


def lattice(camera: Camera) -> Lattice:
    cells = np.array([(x, y) for x in range(6) for y in range(4)])
    return Lattice(np.arange(24), cells, camera, 0.05, 0.7)


def test_tops_seen_straight_are_told_where_they_are_in_the_picture(
    monkeypatch: pytest.MonkeyPatch, camera: Camera
) -> None:
    top = np.array([2.5, 1.5])

    def run(name: str, pictures: np.ndarray) -> np.ndarray:
        """A network that sees one top, with steps of one cell."""
        h, w = (n // 4 for n in pictures.shape[1:3])
        at = ((top + _locate.AROUND) * _locate.EASY + 0.5) / 4 - 0.5  # see locate_targets in fit.py
        ys, xs = np.mgrid[:h, :w]
        heat = np.exp(-((xs - at[0]) ** 2 + (ys - at[1]) ** 2) / 2) * 0.98
        out = np.zeros((1, 8, h, w), np.float32)
        out[0, 0] = np.log(np.clip(heat, 1e-6, 1) / (1 - heat))
        out[0, 3] = out[0, 6] = _locate.EASY / 32
        return out

    monkeypatch.setattr(_locate, "run", run)
    pixels = np.full((*SIZE, 3), 128, np.uint8)
    at, height, right, down = _locate._look_straight(pixels, lattice(camera), {})
    assert len(at) == 1 and height[0] == pytest.approx(0.98, abs=0.05)
    places = camera.to_pixels(top + np.array([(0, 0), (1, 0), (0, 1)]))
    assert np.allclose([at[0], at[0] + right[0], at[0] + down[0]], places, atol=1.0)
    mark = at[0] + np.array([(-20, -20), (20, -20), (20, 20), (-20, 20)])  # a marker is no cube
    assert len(_locate._look_straight(pixels, lattice(camera), {0: mark})[0]) == 0


def test_only_a_plate_whose_cells_are_cut_off_is_remarked_on(camera: Camera) -> None:
    def notes(columns: int, plate: list[tuple[float, float]]) -> tuple[str, ...]:
        frame = Frame(
            (SIZE[1], SIZE[0]), camera.tops, (1000.0, 750.0), 1600.0, 0.03, 0.01, np.array(plate, float)
        )
        return _locate._look(np.zeros((*SIZE, 3), np.uint8), frame, columns, 4, "photo")

    rim = [(-9.0, -9.0), (1990.0, 5.0), (1990.0, 1490.0), (5.0, 1490.0)]
    assert notes(6, rim) == ()
    assert notes(30, rim) != ()


def test_a_cell_that_is_mostly_in_the_picture_is_seen_and_one_that_is_not_is_named() -> None:
    """A plate of 4 by 3 cells of 100 pixels, shifted over the picture's left edge."""

    def cut(columns_out: float) -> list[str]:
        straight = np.array([[100.0, 0, -100 * columns_out], [0, 100, 50], [0, 0, 1]])
        frame = Frame((400, 400), straight, (200.0, 200.0), 1e6, 0.0, 0.01, np.zeros((4, 2)))
        return [str(cell) for cell in _locate._cut_off(frame, 4, 3, 400, 400)]

    assert cut(-0.1) == []
    assert cut(0.2) == []  # four fifths of the cells in column A are seen
    assert cut(0.5) == ["A1", "A2", "A3"]
    assert cut(1.5) == ["A1", "B1", "A2", "B2", "A3", "B3"]
