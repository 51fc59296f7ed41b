"""What an artwork's file keeps besides its head: the crops it was learnt from, lesson by lesson, so that
more photos add to them, a lesson can be taken back, and other networks can learn from them again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import cv2
import numpy as np

from snapcheck.errors import InputError
from snapcheck.kit import Taught
from snapcheck.photo._cells import CROP
from snapcheck.photo._learn import Doubt, learn
from snapcheck.photo._nets import symbols_digest
from snapcheck.photo._taught import arrays_of, damaged, packed, unpacked
from snapcheck.photo._views import Examples
from snapcheck.photo._worth import Worth
from snapcheck.words import tr

_QUALITY = 92
#: crops in one lesson, and lessons, at most: a file of some megabytes
MOST_CROPS, MOST_LESSONS = 1200, 12


@dataclass(frozen=True)
class Lesson:
    """What one teaching showed; `photos` says how many there were, `coded` holds the crops as JPEG, one
    below the other, `residual` is as of `Examples`."""

    photos: int
    pieces: tuple[str, ...]
    quarters: tuple[int, ...]
    places: tuple[str, ...]
    photo: tuple[int, ...]
    coded: bytes
    residual: float = 0.0

    @classmethod
    def of(cls, examples: Examples) -> Lesson:
        """A lesson of these examples; raises InputError where there are too many."""
        n = len(examples.pieces)
        if n > MOST_CROPS:
            raise InputError(
                tr("there are {n} pictures of cubes, more than {most}.", n=n, most=MOST_CROPS),
                way_out=tr("Teach with fewer photos at a time."),
            )
        strip = examples.crops.reshape(n * CROP, CROP, 3)
        how = [cv2.IMWRITE_JPEG_QUALITY, _QUALITY, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, 0x111111]
        coded = cv2.imencode(".jpg", strip, how)[1].tobytes()
        photos = len(set(examples.photos.tolist()))
        quarters, photo = (tuple(int(v) for v in a) for a in (examples.quarters, examples.photos))
        residual = round(float(examples.residual), 4)
        return cls(photos, examples.pieces, quarters, examples.places, photo, coded, residual)

    def examples(self, number: int) -> Examples:
        """The examples; `number` keeps places of different lessons apart."""
        strip = cv2.imdecode(np.frombuffer(self.coded, np.uint8), cv2.IMREAD_COLOR)
        n = len(self.pieces)
        if strip is None or strip.shape != (n * CROP, CROP, 3):
            raise ValueError("crops do not fit")
        places = tuple(f"{number} {place}" for place in self.places)
        crops = strip.reshape(n, CROP, CROP, 3)
        quarters, photo = np.array(self.quarters), np.array(self.photo)
        return Examples(crops, self.pieces, quarters, places, photo, self.residual)


@dataclass(frozen=True)
class Notebook:
    """An artwork's lessons, oldest first, and what its head was worth when it was learnt."""

    name: str
    lessons: tuple[Lesson, ...] = ()
    worth: Worth | None = None

    def and_lesson(self, lesson: Lesson) -> Notebook:
        """With one lesson more. Raises InputError where there are too many."""
        if len(self.lessons) >= MOST_LESSONS:
            raise InputError(
                tr("'{name}' has had {n} lessons already.", name=self.name, n=len(self.lessons)),
                way_out=tr("Take the last one back with --back, or teach it under another name."),
            )
        return replace(self, lessons=(*self.lessons, lesson), worth=None)

    def taken_back(self) -> Notebook:
        """Without the last lesson."""
        return replace(self, lessons=self.lessons[:-1], worth=None)


def notebook_of(taught: Taught) -> Notebook:
    """What a kit's file keeps of one artwork. Raises DataError where it is damaged."""
    about, arrays = unpacked(taught)
    try:
        lessons = tuple(
            Lesson(
                int(told["photos"]),
                tuple(str(p) for p in told["pieces"]),
                tuple(int(q) % 4 for q in told["quarters"]),
                tuple(str(p) for p in told["places"]),
                tuple(int(p) for p in told["photo"]),
                arrays[f"lesson{n}"].astype(np.uint8).tobytes(),
                float(told.get("residual", 0.0)),
            )
            for n, told in enumerate(about["lessons"])
        )
        worth = dict(about["worth"])
        return Notebook(taught.name, lessons, Worth(**{**worth, "untested": tuple(worth["untested"])}))
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise damaged(taught.name) from error


def taught_by(
    notebook: Notebook, symmetry: Mapping[str, int], as_laid: frozenset[str] = frozenset()
) -> tuple[Taught, Worth, tuple[Doubt, ...]]:
    """Learn from all lessons of a notebook.

    Args:
        symmetry: of kinds: quarter turns that change nothing (1, 2 or 4).
        as_laid: places of the last lesson that are known to be laid as said.

    Raises:
        DataError: a lesson's pictures are damaged.
    """
    try:
        parts = [lesson.examples(number) for number, lesson in enumerate(notebook.lessons)]
        examples = parts[0]
        for part in parts[1:]:
            examples = examples.and_those(part)
    except (ValueError, IndexError, cv2.error) as error:
        raise damaged(notebook.name) from error
    last = len(notebook.lessons) - 1
    head, worth, doubts = learn(examples, symmetry, frozenset(f"{last} {place}" for place in as_laid))
    told: list[dict[str, Any]] = [
        {k: list(v) if isinstance(v, tuple) else v for k, v in asdict(lesson).items() if k != "coded"}
        for lesson in notebook.lessons
    ]
    about = {
        "pieces": head.pieces, "near": head.near, "spread": head.spread, "sharpness": head.sharpness, "sure":
        head.sure, "bare": head.bare, "residual": examples.residual,
        "worth": asdict(worth), "lessons": told,
    }  # fmt: skip
    coded = {f"lesson{n}": np.frombuffer(x.coded, np.uint8) for n, x in enumerate(notebook.lessons)}
    data = packed(about, {**arrays_of(head), **coded})
    return Taught(notebook.name, symbols_digest(), data), worth, doubts
