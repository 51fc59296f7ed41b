"""The pictures of the submissions, opened again where somebody wants to look at them. Nothing is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2

from snapcheck.board import Cell
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.grade._course import Course
from snapcheck.grade._submissions import File, there_now
from snapcheck.photo import open_grey, open_picture, picture_of, reading_from_json
from snapcheck.words import tr

if TYPE_CHECKING:
    import numpy as np

#: pixels of a crop's longer side
CROP_PX = 260
#: what is shown around a cell, in cells
_RIM = 0.55


def pixels_of(file: File, data: bytes | None = None) -> np.ndarray:
    """The upright picture (h, w, 3) of a submission, also of one in a ZIP file.

    Args:
        data: its bytes, where they are at hand.

    Raises:
        InputError, PhotoError: it cannot be opened.
    """
    if data is None and not file.archive:
        return open_picture(file.place).pixels
    return picture_of(file.read() if data is None else data, Path(file.name)).pixels


class Pictures:
    """The pictures of a course by their paths; the last one opened is kept in memory."""

    def __init__(self, course: Course) -> None:
        self._course = course
        self._files = {f.path: f for f in there_now(course.submissions, course.zone)}
        self._last: tuple[str, Any] = ("", None)

    def file(self, path: str) -> File:
        """The file. Raises InputError."""
        if path not in self._files:
            raise InputError(tr("is no longer in the submissions."), place=path)
        return self._files[path]

    def pixels(self, path: str) -> np.ndarray:
        """The upright picture. Raises InputError, PhotoError."""
        if self._last[0] != path:
            self._last = (path, pixels_of(self.file(path)))
        return self._last[1]  # type: ignore[no-any-return]

    def crop(
        self, path: str, reading: Mapping[str, Any] | None, cells: Sequence[str], px: int = CROP_PX
    ) -> bytes | None:
        """The part of a picture that shows these cells, as JPEG; None where it cannot be opened.

        Without a reading or cells, the whole picture, small; `px`: pixels of its longer side.
        """
        try:
            pixels = self.pixels(path)
        except SnapcheckError:
            plain = self._as_it_is(path)
            if plain is None:
                return None
            pixels = plain
        height, width = pixels.shape[:2]
        box = (0, 0, width, height)
        if reading is not None and cells:
            box = self._box(reading, cells, width, height)
        part = pixels[box[1] : box[3], box[0] : box[2]]
        scale = px / max(part.shape[:2])
        how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=how)
        done, data = cv2.imencode(".jpg", part, [cv2.IMWRITE_JPEG_QUALITY, 82])
        return bytes(data) if done else None

    def _as_it_is(self, path: str) -> np.ndarray | None:
        """A picture too dark or too small to be read, for a person to look at."""
        try:
            grey = open_grey(self.file(path).read())
        except SnapcheckError:
            return None
        return None if grey is None else cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)

    def _box(
        self, reading: Mapping[str, Any], names: Sequence[str], width: int, height: int
    ) -> tuple[int, int, int, int]:
        frame = reading_from_json(reading, self._course.kit).frame
        cells = [Cell.parse(c) for c in names]
        x0, x1 = min(c.column for c in cells) - _RIM, max(c.column for c in cells) + 1 + _RIM
        y0, y1 = min(c.row for c in cells) - _RIM, max(c.row for c in cells) + 1 + _RIM
        points = frame.to_photo([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) * (width / frame.size[0])
        (left, top), (right, bottom) = points.min(0), points.max(0)
        box = max(int(left), 0), max(int(top), 0), min(int(right) + 1, width), min(int(bottom) + 1, height)
        return box if box[2] - box[0] >= 8 and box[3] - box[1] >= 8 else (0, 0, width, height)
