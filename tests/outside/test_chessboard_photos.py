"""The grid's camera against real photographs and their published calibration (fixtures/outside/opencv).

The corners come from `cv2.findChessboardCorners`; our fit takes them for middles of cubes. It has one picture
where OpenCV's calibration had thirteen, and one radial coefficient where that has five numbers.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from snapcheck.photo._lattice import fit

FOLDER = Path(__file__).parents[2] / "fixtures" / "outside" / "opencv"
FOCAL, MIDDLE, RADIAL = 535.92, (342.28, 235.57), -0.2664  # left_intrinsics.yml
PHOTOS = ("left01.jpg", "left02.jpg", "left06.jpg", "left08.jpg")


def corners(name: str) -> np.ndarray:
    """(6, 9, 2) inner corners in pixels, to a fraction of one."""
    grey = cv2.imread(str(FOLDER / name), cv2.IMREAD_GRAYSCALE)
    found, at = cv2.findChessboardCorners(grey, (9, 6))
    assert found
    at = cv2.cornerSubPix(grey, at, (5, 5), (-1, -1), (3, 30, 0.01))
    return np.asarray(at).reshape(6, 9, 2).astype(np.float64)


@pytest.mark.parametrize("name", PHOTOS)
def test_the_lattice_lies_on_the_corners_and_the_camera_is_the_published_one(name: str) -> None:
    grid = corners(name)
    right, down = (np.gradient(grid, axis=k).reshape(-1, 2) for k in (1, 0))
    guess = 27 / 36 * 640  # what is taken for a phone that does not say
    lattice = fit(grid.reshape(-1, 2), np.ones(54), right, down, np.array([320.0, 240.0]), guess)
    assert lattice is not None and len(lattice.index) == 54
    order = np.stack([lattice.index % 9, lattice.index // 9], -1)
    assert (lattice.cells - order == (lattice.cells - order)[0]).all()
    off = np.hypot(*(lattice.camera.to_pixels(lattice.cells + 0.5) - grid.reshape(-1, 2)[lattice.index]).T)
    rms = float(np.sqrt((off**2).mean()))
    print(f"\n{name}: {rms:.2f} px rms, focal {lattice.camera.focal:.0f}, k1 {lattice.camera.k1:.3f}")
    assert rms < 0.5 and off.max() < 1.5
    assert lattice.camera.focal == pytest.approx(FOCAL, rel=0.08)
    assert lattice.camera.k1 == pytest.approx(RADIAL, abs=0.07)
    assert np.hypot(*(lattice.camera.centre - MIDDLE)) < 25


def test_two_columns_left_out_are_foretold() -> None:
    """As cells without cubes are placed: beyond what was seen."""
    for name in PHOTOS:
        grid = corners(name)
        right, down = (np.gradient(grid, axis=k).reshape(-1, 2) for k in (1, 0))
        at = grid.reshape(-1, 2)
        kept = np.arange(54) % 9 < 7
        guess = 27 / 36 * 640
        lattice = fit(at[kept], np.ones(42), right[kept], down[kept], np.array([320.0, 240.0]), guess)
        assert lattice is not None and len(lattice.index) == 42
        numbers = np.flatnonzero(kept)[lattice.index]
        shift = lattice.cells[0] - (numbers[0] % 9, numbers[0] // 9)
        rest = np.flatnonzero(~kept)
        want = np.stack([rest % 9, rest // 9], -1) + shift + 0.5
        off = np.hypot(*(lattice.camera.to_pixels(want) - at[rest]).T)
        print(f"\n{name}: two columns further, {np.sqrt((off**2).mean()):.2f} px rms")
        assert off.max() < 5.0  # a seventh of a square
