"""Pictures of other things are never a confident board: those that come with scikit-image."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage

from snapcheck.errors import PhotoError
from snapcheck.kit import bundled_kit
from snapcheck.photo import State, read_photo
from snapcheck.photo._plate import see_markers

FOLDER = Path(skimage.__file__).parent / "data"
PICTURES = sorted(p for p in FOLDER.iterdir() if p.suffix in (".png", ".jpg", ".gif", ".tif"))


@pytest.mark.parametrize("picture", PICTURES, ids=lambda p: p.name)
def test_no_cell_is_called_read(picture: Path) -> None:
    try:
        reading = read_photo(picture, bundled_kit())
    except PhotoError as error:
        assert error.message and error.way_out
        return
    assert not [c for c, r in reading.cubes.items() if r.state is State.READ]
    assert not [t for t in reading.taps if t.state is State.READ]
    assert not [x for x in reading.leads if x.state is State.READ]


def test_no_marker_is_seen_in_them() -> None:
    assert len(PICTURES) > 20
    for picture in PICTURES:
        grey = cv2.imread(str(picture), cv2.IMREAD_GRAYSCALE)
        assert grey is None or not see_markers(grey), picture.name


@pytest.mark.parametrize("tilt", [0, 20, 40])
def test_markers_of_opencv_are_found_to_a_pixel(tilt: int) -> None:
    """The four corner markers as `cv2.aruco` draws them, seen at a tilt, blurred: corners within a pixel."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    sheet = np.full((900, 1200), 200, np.uint8)
    places = {0: (60, 60), 1: (1020, 60), 2: (1020, 720), 3: (60, 720)}
    for number, (x, y) in places.items():
        sheet[y - 16 : y + 136, x - 16 : x + 136] = 255
        sheet[y : y + 120, x : x + 120] = cv2.aruco.generateImageMarker(dictionary, number, 120)
    squeeze = np.cos(np.radians(tilt))
    far = 1 - 0.3 * np.sin(np.radians(tilt))
    seen = np.array(
        [
            (800 - 600 * far, 150),
            (800 + 600 * far, 150),
            (1400, 150 + 900 * squeeze),
            (200, 150 + 900 * squeeze),
        ]
    )
    corners = np.array([(-0.5, -0.5), (1199.5, -0.5), (1199.5, 899.5), (-0.5, 899.5)])
    h = cv2.getPerspectiveTransform(corners.astype(np.float32), seen.astype(np.float32))
    view = cv2.warpPerspective(sheet, h, (1600, 1200), flags=cv2.INTER_AREA, borderValue=90)
    worst = 0.0
    found = see_markers(cv2.GaussianBlur(view, (0, 0), 1.0))
    assert sorted(found) == [0, 1, 2, 3]
    for number, (x, y) in places.items():
        square = np.array([[(x, y), (x + 120, y), (x + 120, y + 120), (x, y + 120)]], np.float32) - 0.5
        want = cv2.perspectiveTransform(square, h)[0]
        worst = max(worst, float(np.hypot(*(found[number] - want).T).max()))
    print(f"\n{tilt} degrees: corners of the markers within {worst:.2f} px")
    assert worst < 1.0
