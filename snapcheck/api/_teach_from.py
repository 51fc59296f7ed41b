"""Corrections teach: a kit learns from cells that persons decided in a course, if its teacher asks for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.api._teach import Teaching, artwork_of, learnt_by, source_of, text_of_kit
from snapcheck.errors import PhotoError
from snapcheck.grade import Course, DecidedCell, Left, Store, decided_cells, load_course, photos_of
from snapcheck.kit import parse_kit
from snapcheck.watch import Cancel, Progress, step, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import PathLike
    from snapcheck.photo import Examples


@dataclass(frozen=True)
class Corrections:
    """Cells that persons decided in a course.

    Attributes:
        course: its title.
        cells: every one, oldest decision first; see `DecidedCell`.
    """

    course: str
    cells: tuple[DecidedCell, ...]

    @property
    def ready(self) -> tuple[DecidedCell, ...]:
        """Those that a kit can learn from."""
        return tuple(c for c in self.cells if c.left is None)

    @property
    def kinds(self) -> dict[str, int]:
        """How many of these of each kind."""
        return dict(Counter(c.cube.kind for c in self.ready if c.cube is not None).most_common())

    @property
    def left_out(self) -> dict[Left, list[DecidedCell]]:
        """The others, by why."""
        found: dict[Left, list[DecidedCell]] = {}
        for cell in self.cells:
            if cell.left is not None:
                found.setdefault(cell.left, []).append(cell)
        return found

    def to_json(self) -> dict[str, Any]:
        """As ``snapcheck teach --from --json`` prints it."""
        return {
            "course": self.course,
            "kinds": self.kinds,
            "confirmed": sum(c.confirmed for c in self.ready),
            "left_out": {str(why): [c.number for c in cells] for why, cells in self.left_out.items()},
        }


def corrections(
    course: Course | PathLike,
    kit: PathLike | None = None,
    *,
    name: str = "",
    also: Collection[int] = (),
    store: str = "",
) -> Corrections:
    """What persons decided in a course, and what of it a taught kit could learn. Opens no photo.

    Args:
        course: the folder, or an opened course.
        kit: a TOML file's path or text; None: the course's own. It must have been taught.
        name: of the artwork, where the kit has several.
        also: numbers of doubtful decisions that are to be learnt from all the same.
        store: another gradebook than the course's.

    Raises:
        InputError, DataError: the course or the kit is missing or wrong; the kit was not taught so.
        StoreError: the gradebook is damaged or cannot be read.
    """
    from snapcheck.photo import notebook_of

    opened = course if isinstance(course, Course) else load_course(Path(course), store=store)
    cubes = opened.kit if kit is None else parse_kit(text_of_kit(kit), source_of(kit))
    known = notebook_of(artwork_of(cubes, name, source_of(kit))).marks
    with Store(opened.store, create=False) as book:
        return Corrections(opened.title, tuple(decided_cells(opened, book, cubes, known=known, also=also)))


def teachable(course: Course | PathLike) -> int:
    """How many cells that persons decided could teach a course's own kit; 0 where that was taught nothing, or
    comes in several artworks. Raises InputError, DataError and StoreError."""
    opened = course if isinstance(course, Course) else load_course(Path(course))
    return len(corrections(opened).ready) if len(opened.kit.taught) == 1 else 0


def teach_from(
    kit: PathLike,
    course: Course | PathLike,
    *,
    name: str = "",
    also: Collection[int] = (),
    store: str = "",
    learn: bool = True,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Teaching:
    """Learn once more, also from cells that persons decided in a course; see `corrections`.

    What is kept of them is what the network made of them: numbers, no picture, and nothing that says whose
    they are. Whether they made the kit better says `Teaching.gain`, which is None where there is nothing to
    learn.

    Args:
        kit: a TOML file's path or text; it has been taught already.
        course, name, also, store: as of `corrections`.
        learn: False: only look what there is.
        progress, cancel: see `snapcheck.watch`.

    Raises:
        InputError, DataError, StoreError: as of `corrections`; too many lessons.
        StoppedError: `cancel` said so.
    """
    from snapcheck.photo import Lesson, cells_of, head_of, notebook_of

    opened = course if isinstance(course, Course) else load_course(Path(course), store=store)
    text = text_of_kit(kit)
    cubes = parse_kit(text, source_of(kit))
    artwork = artwork_of(cubes, name, source_of(kit))
    scale, before = head_of(artwork).scale, notebook_of(artwork)
    told = corrections(opened, kit, name=name, also=also)
    cells = {c.number: c for c in told.cells}
    examples: Examples | None = None
    marks: list[str] = []
    with watched(progress, cancel):
        for mine, picture in photos_of(opened, told.ready if learn else ()):
            step(tr("looking at {photo}", photo=mine[0].path))
            if picture is None:
                cells |= {c.number: replace(c, left=Left.GONE) for c in mine}
                continue
            shown = {c.cell: c.cube for c in mine if c.cell is not None and c.cube is not None}
            try:
                seen = cells_of(picture, mine[0].path, mine[0].size, shown, cubes)
            except PhotoError:
                cells |= {c.number: replace(c, left=Left.PLACE) for c in mine}
                continue
            mark = {str(c.cell): c.mark for c in mine}
            marks += [mark[place] for place in seen.places]
            seen = replace(seen, places=tuple(f"{mine[0].build} {place}" for place in seen.places))
            examples = seen if examples is None else examples.and_those(seen)
        told = Corrections(told.course, tuple(cells.values()))
        if examples is None:
            return Teaching(text, artwork.name, len(before.lessons), before.worth, cells=told)
        book = before.and_lesson(Lesson.of_course(examples, tuple(marks), scale))
        return replace(learnt_by(text, cubes, book, frozenset(), (), of_course=True), cells=told)
