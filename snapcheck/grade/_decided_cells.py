"""Cells of a course that a person decided: which are examples of what a kit's cubes look like."""

from __future__ import annotations

import contextlib
import enum
import hashlib
from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from snapcheck.board import Cell, Cube, board_of_line
from snapcheck.decisions import LOOKED
from snapcheck.errors import SnapcheckError
from snapcheck.grade._batch import last_on_each_place
from snapcheck.grade._course import Course
from snapcheck.grade._records import Decision
from snapcheck.grade._store import Store
from snapcheck.grade._submissions import digest, there_now
from snapcheck.grade._work import Reader, reader_name, reader_of
from snapcheck.kit import Kit
from snapcheck.photo import TRUE_GRID, Picture, Reading, State, off_grid, picture_of, reading_from_json

#: a symbol read as this likely is sure, whatever may be open about its print
SURE_OF_ANOTHER = 0.95
#: cells of one kind that a kit learns at most: more change little, and the kit's file grows
MOST_OF_KIND = 16


class Left(enum.StrEnum):
    """Why a decided cell is no example."""

    GONE = "gone"  #: its photo is no longer there
    NOT_READ = "not-read"  #: the photo has not been read with the kit as it is now
    NOTHING = "nothing"  #: decided that nothing stands there
    NO_CUBE = "no-cube"  #: a lead or a tap
    PLACE = "place"  #: it is not sure where on the photo the plate's cells are
    DISAGREED = "disagreed"  #: two people decided otherwise, or a later decision covers it
    NO_KIND = "no-kind"  #: the kit has no such kind
    DOUBTFUL = "doubtful"  #: the photo clearly shows another symbol
    HIDDEN = "hidden"  #: the photo hardly shows it: covered, glared, blurred
    KNOWN = "known"  #: it was learnt from before
    ENOUGH = "enough"  #: others of its kind suffice


@dataclass(frozen=True)
class DecidedCell:
    """One cell that a person decided.

    Attributes:
        number: of the decision.
        path, sha: of the photo. size: columns and rows of its plate, as read.
        cell, cube: what stands where; None of what is no cube.
        build: the same for photos of one student's build of one task; says nothing of whose it is.
        confirmed: kind and turn are what was read, but was asked about.
        left: why it is no example, None where it is one.
        seen: what was read there: kind and turn; None: nothing.
        doubt: what speaks against it as an example: `Left.DOUBTFUL` or `Left.HIDDEN`, None: nothing.
    """

    number: int
    path: str
    sha: str
    size: tuple[int, int]
    cell: Cell | None
    cube: Cube | None
    build: int
    confirmed: bool
    left: Left | None
    seen: Cube | None = None
    doubt: Left | None = None

    @property
    def mark(self) -> str:
        """By which it is known again; without the photo itself nobody can make it."""
        shown = "" if self.cube is None else f"{self.cell} {self.cube.kind} {self.cube.turn}"
        return hashlib.blake2b(f"{self.sha} {shown}".encode(), digest_size=8).hexdigest()


def decided_cells(
    course: Course,
    store: Store,
    kit: Kit | None = None,
    *,
    known: Collection[str] = (),
    also: Collection[int] = (),
    reader: Reader | None = None,
) -> list[DecidedCell]:
    """Every cell, seam and lead of a course that a person decided, oldest first; no photo is opened.

    Args:
        kit: what is to learn; None: the course's.
        known: marks of cells that were learnt from before.
        also: numbers of doubtful decisions that are examples all the same.
        reader: whose readings are meant, None: what reads the course.

    Raises:
        StoreError: see `Store`.
    """
    decisions = [d for d in store.standing() if d.kind == "cell"]
    if not decisions:
        return []
    cubes = kit or course.kit
    readings = store.readings(reader_name(reader or reader_of(course)))
    files = {f.sha: f for f in store.files() if not f.gone}
    builds: dict[tuple[str | None, str | None], int] = {}
    by_photo: dict[str, list[Decision]] = defaultdict(list)
    for d in decisions:
        by_photo[d.subject].append(d)
    found: list[DecidedCell] = []
    for sha, mine in by_photo.items():
        file, body, why = files.get(sha), readings.get(sha), None
        whose = (None, sha) if file is None else (file.student, file.task)
        photo = _Photo(sha, "" if file is None else file.path, builds.setdefault(whose, len(builds)))
        if file is None:
            why = Left.GONE
        elif body is None or body.state != "read":
            why = Left.NOT_READ
        elif body.body.get("edge") or not _true_grid(float(body.body.get("lattice_residual", 0)), course.kit):
            why = Left.PLACE
        if body is None or why is not None:
            found += [photo.left_out(d, why or Left.NOT_READ) for d in _last(mine)]
            continue
        reading = reading_from_json(body.body, course.kit)
        for d in _last(mine):
            others = [o for o in mine if o.choice != LOOKED and _place(o) == _place(d)]
            found.append(photo.decided(d, others, reading, course.kit))
    return _enough([_for_kit(c, cubes, known, also) for c in sorted(found, key=lambda c: c.number)])


def _enough(cells: Sequence[DecidedCell]) -> list[DecidedCell]:
    """Of a kind no more than suffice: those that were read wrong before those that were confirmed."""
    room = {c.cube.kind: MOST_OF_KIND for c in cells if c.cube is not None}
    for c in cells:
        if c.cube is not None and c.left is Left.KNOWN:
            room[c.cube.kind] -= 1
    out: set[int] = set()
    for c in sorted(cells, key=lambda c: (c.confirmed, -c.number)):
        if c.cube is not None and c.left is None:
            room[c.cube.kind] -= 1
            if room[c.cube.kind] < 0:
                out.add(c.number)
    return [replace(c, left=Left.ENOUGH) if c.number in out else c for c in cells]


def photos_of(
    course: Course, cells: Sequence[DecidedCell]
) -> Iterator[tuple[list[DecidedCell], Picture | None]]:
    """Cells with the photo that shows them, photo by photo; None where it is gone, or another by now."""
    files = {f.path: f for f in there_now(course.submissions, course.zone)}
    for sha in dict.fromkeys(c.sha for c in cells):
        mine = [c for c in cells if c.sha == sha]
        picture = None
        with contextlib.suppress(SnapcheckError, OSError):
            file = files.get(mine[0].path)
            data = b"" if file is None else file.read()
            if file is not None and digest(data) == sha:
                picture = picture_of(data, Path(file.name))
        yield mine, picture


def _true_grid(residual: float, kit: Kit) -> bool:
    """Whether a lattice is off by no more than usual, or than the kit's artwork is known to draw it aside."""
    return residual < TRUE_GRID or residual <= off_grid(kit)


def _last(decisions: Sequence[Decision]) -> list[Decision]:
    """Of several decisions on one place the last."""
    return list({_place(d): d for d in decisions if d.choice != LOOKED}.values())


def _place(decision: Decision) -> str:
    """What it is about: a cell's name, or a seam or lead."""
    (line,) = last_on_each_place([decision.choice.removeprefix("remove ")])
    return line if line.startswith(("tap ", "lead ")) else line.split()[0].upper()


@dataclass(frozen=True)
class _Photo:
    sha: str
    path: str
    build: int

    def left_out(self, decision: Decision, why: Left, cell: Cell | None = None) -> DecidedCell:
        return DecidedCell(decision.id, self.path, self.sha, (0, 0), cell, None, self.build, False, why)

    def decided(
        self, decision: Decision, others: Sequence[Decision], reading: Reading, kit: Kit
    ) -> DecidedCell:
        """What the decision says of a cell.

        Args:
            others: all decisions on this place, itself among them.
        """
        place = _place(decision)
        if place.startswith(("tap ", "lead ")):
            return self.left_out(decision, Left.NO_CUBE)
        cell, cube = Cell.parse(place), _cube(decision, reading, kit)
        words = {o.by: _cube(o, reading, kit) for o in others}
        if not all(_alike(cube, other, kit) for other in words.values()):
            return self.left_out(decision, Left.DISAGREED, cell)
        if cube is None:
            return self.left_out(decision, Left.NOTHING, cell)
        if any(c.column >= reading.columns or c.row >= reading.rows for c in cube.cells(cell)):
            return self.left_out(decision, Left.PLACE, cell)
        seen, likely = _shown(reading, cell, kit)
        same, read = _alike(cube, seen, kit), reading.cubes.get(cell)
        doubt = None
        if not same and likely >= SURE_OF_ANOTHER:
            doubt = Left.DOUBTFUL
        elif read is not None and read.state is State.HIDDEN:
            doubt = Left.HIDDEN
        return DecidedCell(
            decision.id, self.path, self.sha, (reading.columns, reading.rows), cell, cube, self.build, same,
            None, seen, doubt,
        )  # fmt: skip


def _cube(decision: Decision, reading: Reading, kit: Kit) -> Cube | None:
    """What a decision puts into its cell; None: nothing, or what can no longer be understood."""
    if decision.choice.startswith("remove "):
        return None
    try:
        return next(iter(board_of_line(decision.choice, reading.board, kit).cubes.values()), None)
    except SnapcheckError:
        return None


def _shown(reading: Reading, cell: Cell, kit: Kit) -> tuple[Cube | None, float]:
    """What a cell shows as read, and how likely that is whatever is printed on it."""
    cube, blank = reading.cubes.get(cell), reading.blanks.get(cell)
    seen, read = (cube.cube, cube) if cube is not None else (None, blank)
    if read is None:
        return None, 0.0  # a part of a larger cube
    if read.state is State.READ:
        return seen, 1.0
    each = read.chances or ((seen, read.confidence), *read.alternatives)
    return seen, sum(p for other, p in each if _alike(seen, other, kit))


def _alike(one: Cube | None, other: Cube | None, kit: Kit) -> bool:
    """Whether two cubes look alike but for their print."""
    if one is None or other is None:
        return one is other
    return one.kind == other.kind and kit[one.kind].same_turn(one.turn, other.turn)


def _for_kit(cell: DecidedCell, kit: Kit, known: Collection[str], also: Collection[int]) -> DecidedCell:
    """The same, as this kit may learn it."""
    if cell.cube is None:
        return cell
    if cell.mark in known:
        return replace(cell, left=Left.KNOWN)
    if cell.cube.kind not in kit:
        return replace(cell, left=Left.NO_KIND)
    return cell if cell.number in also else replace(cell, left=cell.doubt)
