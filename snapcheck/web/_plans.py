"""What can be built here: the tasks of a course, or the bundled sample designs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from snapcheck import api

if TYPE_CHECKING:
    from pathlib import Path


class Plans:
    """The exercises of a bench page.

    Args:
        course: the course folder, None for the sample designs.

    Raises:
        InputError, DataError: the course is missing or wrong.
    """

    def __init__(self, course: Path | None) -> None:
        self.course = None if course is None else api.course_of(course)
        found = api.sample_exercises() if self.course is None else api.exercises_of(self.course)
        self.exercises = {e.name: e for e in found}

    @property
    def title(self) -> str:
        """Of the course, "" without one."""
        return "" if self.course is None else self.course.title

    def exercise(self, name: str) -> api.Exercise:
        """Raises KeyError."""
        return self.exercises[name]

    def is_student(self, number: str) -> bool:
        """Whether somebody of this number is in the roster."""
        return self.course is not None and any(s.number == number for s in self.course.students)

    def names(self, numbers: str) -> str:
        """The names behind numbers, for the teacher."""
        if self.course is None:
            return ""
        known = {s.number: s.name for s in self.course.students}
        return ", ".join(known.get(n, n) for n in filter(None, numbers.split(",")))
