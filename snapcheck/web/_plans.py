"""What can be built here: the tasks of a course, or the bundled sample designs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from snapcheck import api
from snapcheck.errors import InputError
from snapcheck.words import tr

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
        #: names of those that the teacher added for the lesson
        self.given: list[str] = []

    @property
    def title(self) -> str:
        """Of the course, "" without one."""
        return "" if self.course is None else self.course.title

    def give(self, name: str, file: Path) -> None:
        """A design becomes a task of the lesson; nothing of it is handed in. Raises SnapcheckError."""
        if name in self.exercises:
            raise InputError(tr("There is a task '{name}' already.", name=name))
        kit = None if self.course is None else self.course.kit_file
        self.exercises[name] = api.exercise_of(name, file, kit)
        self.given.append(name)

    def take_back(self, name: str) -> None:
        """A design that was given is no task any more."""
        if name in self.given:
            self.given.remove(name)
            del self.exercises[name]

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
