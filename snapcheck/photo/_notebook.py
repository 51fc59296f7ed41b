"""What an artwork's file keeps besides its head: what it was learnt from, lesson by lesson, so that more
photos add to it, a lesson can be taken back, and other networks can learn again.

Of the boards that a teacher laid these are the crops. Of cells that a person decided in a course they are
numbers alone, what the network made of them: photos of students are not kept, and other networks cannot learn
from such a lesson."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import cv2
import numpy as np

from snapcheck.errors import InputError
from snapcheck.kit import Taught
from snapcheck.photo._cells import CROP
from snapcheck.photo._learn import Learnt, learn
from snapcheck.photo._nets import symbols_digest
from snapcheck.photo._taught import Scale, arrays_of, damaged, head_of, packed, unpacked
from snapcheck.photo._views import VIEWS, Examples, Numbers, numbers_of
from snapcheck.photo._worth import Worth
from snapcheck.words import tr

_QUALITY = 92
#: crops in one lesson, and lessons, at most: a file of some megabytes
MOST_CROPS, MOST_LESSONS = 1200, 12


@dataclass(frozen=True)
class Lesson:
    """What one teaching showed.

    Attributes:
        photos: how many there were. pieces, quarters, places, photo: as of `Examples`.
        coded: the crops as JPEG, one below the other; b"" for a course's cells.
        residual: as of `Examples`; 0 for a course's cells, which say nothing of the kit's artwork there.
        marks: of a course's cells, by which each is known again; only who has the photo can make them.
        numbers: of a course's cells; see there.
    """

    photos: int
    pieces: tuple[str, ...]
    quarters: tuple[int, ...]
    places: tuple[str, ...]
    photo: tuple[int, ...]
    coded: bytes
    residual: float = 0.0
    marks: tuple[str, ...] = ()
    numbers: Numbers | None = None

    @classmethod
    def of(cls, examples: Examples) -> Lesson:
        """A lesson of these examples; raises InputError where there are too many."""
        n = len(examples.pieces)
        _few_enough(n)
        strip = examples.crops.reshape(n * CROP, CROP, 3)
        how = [cv2.IMWRITE_JPEG_QUALITY, _QUALITY, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, 0x111111]
        coded = cv2.imencode(".jpg", strip, how)[1].tobytes()
        return cls(*_told(examples), coded, round(float(examples.residual), 4))

    @classmethod
    def of_course(cls, examples: Examples, marks: tuple[str, ...], scale: Scale) -> Lesson:
        """Of a course's cells, without their pictures; raises InputError where there are too many."""
        _few_enough(len(examples.pieces))
        return cls(*_told(examples), b"", marks=marks, numbers=numbers_of(examples.crops, scale))

    def examples(self, number: int) -> Examples:
        """The examples; `number` keeps places of different lessons apart."""
        places = tuple(f"{number} {place}" for place in self.places)
        n, quarters, photo = len(self.pieces), np.array(self.quarters), np.array(self.photo)
        if self.numbers is not None:
            return Examples(np.zeros((n, 0), np.uint8), self.pieces, quarters, places, photo)
        strip = cv2.imdecode(np.frombuffer(self.coded, np.uint8), cv2.IMREAD_COLOR)
        if strip is None or strip.shape != (n * CROP, CROP, 3):
            raise ValueError("crops do not fit")
        crops = strip.reshape(n, CROP, CROP, 3)
        return Examples(crops, self.pieces, quarters, places, photo, self.residual)


def _few_enough(n: int) -> None:
    if n > MOST_CROPS:
        raise InputError(
            tr("there are {n} pictures of cubes, more than {most}.", n=n, most=MOST_CROPS),
            way_out=tr("Teach with fewer photos at a time."),
        )


def _told(
    examples: Examples,
) -> tuple[int, tuple[str, ...], tuple[int, ...], tuple[str, ...], tuple[int, ...]]:
    quarters, photo = (tuple(int(v) for v in a) for a in (examples.quarters, examples.photos))
    return len(set(photo)), examples.pieces, quarters, examples.places, photo


@dataclass(frozen=True)
class Notebook:
    """An artwork's lessons, oldest first, and what its head was worth when it was learnt.

    Attributes:
        scale: of the numbers of courses' cells; they are nothing without it.
        lost: cells of courses that other networks had looked at.
    """

    name: str
    lessons: tuple[Lesson, ...] = ()
    worth: Worth | None = None
    scale: Scale | None = None
    lost: int = 0

    @property
    def marks(self) -> frozenset[str]:
        """Of the courses' cells that were learnt from."""
        return frozenset(mark for lesson in self.lessons for mark in lesson.marks)

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
        lessons = tuple(_lesson_of(told, arrays, n) for n, told in enumerate(about["lessons"]))
        worth = dict(about["worth"])
        told = Worth(**{**worth, "untested": tuple(worth["untested"])})
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise damaged(taught.name) from error
    if taught.network == symbols_digest():
        return Notebook(taught.name, lessons, told, head_of(taught).scale)
    own = tuple(lesson for lesson in lessons if lesson.numbers is None)
    lost = sum(len(lesson.marks) for lesson in lessons)
    return Notebook(taught.name, own, told, lost=lost)


def _lesson_of(told: Mapping[str, Any], arrays: Mapping[str, np.ndarray], n: int) -> Lesson:
    lesson = Lesson(
        int(told["photos"]),
        tuple(str(p) for p in told["pieces"]),
        tuple(int(q) % 4 for q in told["quarters"]),
        tuple(str(p) for p in told["places"]),
        tuple(int(p) for p in told["photo"]),
        arrays[f"lesson{n}"].astype(np.uint8).tobytes(),
        float(told.get("residual", 0.0)),
        tuple(str(m) for m in told.get("marks", ())),
    )
    if lesson.coded:
        return lesson
    numbers = Numbers(arrays[f"features{n}"], arrays[f"out{n}"])
    views = (len(lesson.pieces), 4, VIEWS)
    all_there = views == numbers.features.shape[:3] == numbers.out.shape[:3]
    if (
        not all_there
        or len(lesson.marks) != views[0]
        or not (np.isfinite(numbers.features).all() and np.isfinite(numbers.out).all())
    ):
        raise ValueError("numbers do not fit")
    return replace(lesson, numbers=numbers)


def taught_by(
    notebook: Notebook,
    symmetry: Mapping[str, int],
    as_laid: frozenset[str] = frozenset(),
    gain: bool = False,
) -> tuple[Taught, Learnt]:
    """Learn from all lessons of a notebook.

    Args:
        symmetry: of kinds: quarter turns that change nothing (1, 2 or 4).
        as_laid: places of the last lesson that are known to be laid as said.
        gain: whether to find out what the last lesson changed, which is of a course.

    Raises:
        DataError: a lesson's pictures are damaged.
    """
    lessons = list(enumerate(notebook.lessons))
    try:
        examples = _together([x.examples(n) for n, x in lessons if x.numbers is None])
        kept = [(x.examples(n), x.numbers) for n, x in lessons if x.numbers is not None]
        shown = None
        if kept:
            features = np.concatenate([numbers.features for _, numbers in kept])
            out = np.concatenate([numbers.out for _, numbers in kept])
            shown = _together([some for some, _ in kept]), Numbers(features, out)
        last = len(lessons) - 1
        fresh = frozenset(notebook.lessons[last].examples(last).places if gain else ())
        laid = frozenset(f"{last} {place}" for place in as_laid)
        scale = notebook.scale if kept else None
        learnt = learn(examples, symmetry, laid, shown, fresh, scale)
    except (ValueError, IndexError, cv2.error) as error:
        raise damaged(notebook.name) from error
    head = learnt.head
    drop = ("coded", "numbers")
    told: list[dict[str, Any]] = [
        {k: list(v) if isinstance(v, tuple) else v for k, v in vars(lesson).items() if k not in drop}
        for lesson in notebook.lessons
    ]
    about = {
        "pieces": head.pieces, "near": head.near, "spread": head.spread, "sharpness": head.sharpness, "sure":
        head.sure, "bare": head.bare, "residual": examples.residual,
        "worth": asdict(learnt.worth), "lessons": told,
    }  # fmt: skip
    arrays = arrays_of(head)
    for n, lesson in lessons:
        arrays[f"lesson{n}"] = np.frombuffer(lesson.coded, np.uint8)
        if lesson.numbers is not None:
            arrays |= {f"features{n}": lesson.numbers.features, f"out{n}": lesson.numbers.out}
    return Taught(notebook.name, symbols_digest(), packed(about, arrays)), learnt


def _together(parts: list[Examples]) -> Examples:
    examples = parts[0]
    for part in parts[1:]:
        examples = examples.and_those(part)
    return examples
