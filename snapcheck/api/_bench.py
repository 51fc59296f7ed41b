"""What the bench page needs beside the jobs of `_verbs.py`: pictures without a past, designs to try, the
class list of a course, and a way for what was built at the bench into the submissions."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from snapcheck.api._given import PathLike, kit_of, picture_of, plan_of
from snapcheck.board import draw_svg
from snapcheck.errors import PhotoError
from snapcheck.places import designs_dir
from snapcheck.report import pages, style
from snapcheck.simulate import Simulator, is_available

if TYPE_CHECKING:
    import jinja2

    from snapcheck.api._given import PictureLike
    from snapcheck.grade import Course


@dataclass(frozen=True)
class Exercise:
    """Something to build.

    Attributes:
        name: short name.
        title, purpose: for people.
        design_file: the plan.
        kit_file: the cubes, None for the bundled ones.
        drawn: the plan's top view, SVG text.
    """

    name: str
    title: str
    purpose: str
    design_file: Path
    kit_file: Path | None
    drawn: str


def sample_exercises() -> tuple[Exercise, ...]:
    """The bundled designs, by title. Raises DataError where they are missing."""
    found = (_exercise(file.stem, file, None) for file in designs_dir().glob("*.board"))
    return tuple(sorted(found, key=lambda e: e.title.casefold()))


def exercises_of(course: Course) -> tuple[Exercise, ...]:
    """The tasks of a course, in its order."""
    return tuple(_exercise(t.name, t.design_file, course.kit_file, t.title) for t in course.tasks)


def _exercise(name: str, file: Path, kit_file: Path | None, title: str = "") -> Exercise:
    kit = kit_of(kit_file)
    design = plan_of(file, kit)
    title = title or design.title or name
    return Exercise(name, title, design.purpose, file, kit_file, draw_svg(design.board, kit, title=""))


def exercise_of(name: str, file: PathLike, kit: PathLike | None = None) -> Exercise:
    """One design as something to build. Raises InputError and DataError."""
    return _exercise(name, Path(file), None if kit is None else Path(kit))


def course_of(folder: PathLike) -> Course:
    """A course folder, read and checked. Raises InputError and DataError."""
    from snapcheck.grade import load_course

    return load_course(Path(folder))


def hand_in(course: Course, student: str, task: str, picture: bytes, at: datetime) -> str:
    """Add a JPEG picture to a course's submissions folder; returns its path there.

    Args:
        student, task: whose it is, as roster and course name them.
        at: when it was taken, with its time zone.

    Raises:
        InputError: no such student or task, or it cannot be written there.
    """
    from snapcheck.grade import hand_in as put

    return put(course, student, task, picture, at)


def clean_picture(picture: PictureLike, name: str = "") -> bytes:
    """A picture as JPEG bytes that hold nothing but pixels, upright: no place, no device, no time.

    Pictures above 7.5 megapixels are halved, as they are for reading.

    Raises:
        InputError: there is no such file.
        PhotoError: it is no picture, is damaged, too small or too large.
    """
    import cv2

    opened, _ = picture_of(picture, name)
    return bytes(cv2.imencode(".jpg", opened.pixels, [cv2.IMWRITE_JPEG_QUALITY, 95])[1])


def warm_up() -> None:
    """Load the networks, so that the first photo is not kept waiting."""
    from snapcheck.photo import picture_of_array, read_picture

    with suppress(PhotoError):  # there is no plate in it
        read_picture(picture_of_array(np.full((480, 640, 3), 128, np.uint8), "grey"), "grey", kit_of(None))


def lasting_simulator() -> Simulator | None:
    """A simulator for many checks, None where its library is not installed; it ends with the process."""
    return Simulator() if is_available() else None


def page_templates(package: str) -> jinja2.Environment:
    """Templates in the folder `data` of a package: what is filled in is escaped and safe to show."""
    import jinja2

    return pages(jinja2.PackageLoader(package, "data"))


def page_style() -> str:
    """The style sheet of the report, for pages that shall look like it."""
    return style()
