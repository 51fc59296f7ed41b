"""Teaching a kit whose artwork was never seen: the boards to lay, and learning from their photos."""

from __future__ import annotations

import os
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.api._given import Colours, board_of, picture_of
from snapcheck.board import Board, Cube
from snapcheck.box import primer as primer_of
from snapcheck.errors import InputError
from snapcheck.kit import CHIPS, Kit, Taught, kit_text, parse_kit, taught_text
from snapcheck.watch import Cancel, Progress, step, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BoardLike, KitLike, PathLike, PictureLike
    from snapcheck.api._teach_from import Corrections
    from snapcheck.photo import Doubt, Gain, Notebook, Worth

#: plates that a primer is made for where none is named: the first on which all fits
_PLATES = ((6, 5), (8, 6), (9, 7), (10, 7), (12, 9))
#: what a kit must reach in cross-validation to be graded with: share of cubes that are right, and called
#: read, in each of their photos (heads there have seen half of what the one that is kept has)
GOOD_RIGHT, GOOD_SURE = 0.95, 0.65


@dataclass(frozen=True)
class Slip:
    """A cube of the layout that looks like something else; it was not learnt from.

    Attributes:
        board: number of the board, from 1. cell: of the cube on the layout.
        laid: what the layout has there; looks_like: what the photos show; None: nothing.
        probability: how likely that is.
    """

    board: int
    cell: str
    laid: Cube | None
    looks_like: Cube | None
    probability: float


@dataclass(frozen=True)
class Teaching:
    """What was learnt.

    Attributes:
        text: the kit's file with what was learnt in it.
        name: of the artwork. lessons: how many it has had.
        worth: what cross-validation says; None where nothing is left that was taught.
        slips: cubes that seem to be laid otherwise than the layout has them.
        missing: kinds of the kit that were not shown.
        gain: what the cells of a course changed; None where none were learnt from.
        cells: the cells that persons decided in that course.
        lost: cells of courses that are learnt from no more, because other networks had looked at them.
    """

    text: str = field(repr=False)
    name: str
    lessons: int
    worth: Worth | None
    slips: tuple[Slip, ...] = ()
    missing: tuple[str, ...] = ()
    gain: Gain | None = None
    cells: Corrections | None = None
    lost: int = 0

    @property
    def good_enough(self) -> bool:
        """Whether builds of this artwork can be graded without a person looking at each."""
        w = self.worth
        return bool(
            w
            and w.tested
            and w.right >= GOOD_RIGHT * w.tested
            and w.sure >= GOOD_SURE * w.tested
            and not w.silent
        )

    def save(self, path: PathLike) -> None:
        """Write the kit's file, whole or not at all."""
        from snapcheck.outfiles import write_whole

        write_whole(Path(path), self.text)

    def to_json(self) -> dict[str, Any]:
        """As ``snapcheck teach --json`` prints it."""
        from dataclasses import asdict

        worth = None
        if self.worth is not None:
            worth = {**asdict(self.worth), "untested": list(self.worth.untested)}
        return {
            "name": self.name,
            "lessons": self.lessons,
            "good_enough": self.good_enough,
            "worth": worth,
            "slips": [
                {
                    "board": s.board, "cell": s.cell, "laid": _told(s.laid),
                    "looks_like": _told(s.looks_like), "probability": s.probability,
                }
                for s in self.slips
            ],
            "missing": list(self.missing),
            "gain": None if self.gain is None else {**asdict(self.gain), "worse": self.gain.worse},
            "cells": None if self.cells is None else self.cells.to_json(),
            "lost": self.lost,
        }  # fmt: skip


def _told(cube: Cube | None) -> dict[str, Any] | None:
    return None if cube is None else {"kind": cube.kind, "turn": cube.turn}


def primer(
    kit: KitLike = None, *, plate: tuple[int, int] | None = None, kinds: Collection[str] = ()
) -> tuple[Board, ...]:
    """Boards to lay and photograph once, so that a kit can be learnt: every kind in two turns.

    Args:
        kit: see `read`.
        plate: columns and rows of the plate; None: the smallest usual one on which all fits.
        kinds: those to show, none: all.

    Raises:
        InputError: a kind is none of the kit, or does not fit on the plate.
    """
    cubes = kit if isinstance(kit, Kit) else parse_kit(text_of_kit(kit), source_of(kit))
    if plate is not None:
        return primer_of(cubes, *plate, kinds)
    found: tuple[Board, ...] = ()
    for columns, rows in _PLATES:
        try:
            found = primer_of(cubes, columns, rows, kinds)
        except InputError:
            if (columns, rows) == _PLATES[-1]:
                raise
            continue
        if len(found) == 1:
            break
    return found


def text_of_kit(kit: PathLike | None) -> str:
    """The text of a kit's file, or of one that starts from a bundled kit (None, ``bundled``, ``chips``)."""
    base = "bundled" if kit is None else os.fspath(kit)
    if base in ("bundled", CHIPS) and not Path(base).exists():
        return f'name = "{base}-taught"\ntitle = "Cubes with our own artwork"\nbased_on = "{base}"\n'
    return base if "\n" in base else kit_text(Path(base))


def teach(
    kit: PathLike | None,
    pictures: Sequence[PictureLike],
    *,
    layouts: Sequence[BoardLike] = (),
    plate: tuple[int, int] | None = None,
    kinds: Collection[str] = (),
    name: str = "",
    as_laid: Collection[str] = (),
    colours: Colours = "rgb",
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Teaching:
    """Learn a kit's artwork from photos of boards whose layout is known.

    Args:
        kit: a TOML file's path or text; None or ``bundled``: a new one on top of the bundled kit, ``chips``:
        of that with chips.
        pictures: of the boards of `primer` for the same kit, plate and kinds, each from any side; two at
        least of each board are better than one.
        layouts: what was laid, where it was not `primer`'s boards.
        plate, kinds: as given to `primer`.
        name: of the artwork; one that the kit has learnt already learns more. Usual: the kit's name.
        as_laid: cells (``A3``, or ``2:A3`` on the second board) that are laid as the layout has them, however
            they look.
        colours: of arrays.
        progress, cancel: see `snapcheck.watch`.

    Raises:
        InputError: there is no picture, or a file is missing.
        DataError: the kit is wrong, or what it was taught is damaged.
        PhotoError: a picture shows none of the layouts.
        StoppedError: `cancel` said so.
    """
    from snapcheck.photo import Lesson, Notebook, examples_of, notebook_of

    text = text_of_kit(kit)
    cubes = parse_kit(text, source_of(kit))
    if not pictures:
        raise InputError(
            tr("no photo is given."), way_out=tr("Give two photos of the layout, from two sides.")
        )
    boards = [board_of(b, cubes)[0].board for b in layouts] or list(primer(cubes, plate=plate, kinds=kinds))
    named = {str(n): board for n, board in enumerate(boards, 1)}
    known = {t.name: t for t in cubes.taught}
    called = name or cubes.name
    with watched(progress, cancel):
        examples = None
        for number, picture in enumerate(pictures):
            step(tr("looking at photo {n} of {all}", n=number + 1, all=len(pictures)))
            opened, photo = picture_of(picture, "", colours)
            seen = examples_of(opened, photo, named, cubes).examples
            examples = seen if examples is None else examples.and_those(seen)
        assert examples is not None
        before = notebook_of(known[called]) if called in known else Notebook(called)
        places = {c if ":" in c else f"1:{c}" for c in as_laid}
        laid = frozenset(p.replace(":", " ", 1) for p in places)
        return learnt_by(text, cubes, before.and_lesson(Lesson.of(examples)), laid, boards)


def taught_again(
    kit: PathLike, *, name: str = "", back: bool = False, progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Teaching:  # fmt: skip
    """Learn once more from the pictures in a kit's file: for other networks, or without the last lesson.

    Args:
        kit: a TOML file's path or text.
        name: of the artwork; needed where the kit has several.
        back: take the last lesson back first.
        progress, cancel: see `snapcheck.watch`.

    Raises:
        InputError: the kit was not taught, or not under this name.
        DataError: the file is damaged.
    """
    from snapcheck.photo import notebook_of

    text = text_of_kit(kit)
    cubes = parse_kit(text, source_of(kit))
    known = artwork_of(cubes, name, source_of(kit))
    with watched(progress, cancel):
        book = notebook_of(known)
        return learnt_by(text, cubes, book.taken_back() if back else book, frozenset(), ())


def artwork_of(kit: Kit, name: str, source: str) -> Taught:
    """What a kit was taught under a name ("": the only one). Raises InputError."""
    known = {t.name: t for t in kit.taught}
    called = name or (next(iter(known)) if len(known) == 1 else "")
    if called in known:
        return known[called]
    raise InputError(
        tr("the kit was not taught '{name}'.", name=called)
        if known
        else tr("the kit was not taught anything."),
        place=source,
        way_out=tr("Accepted for --name: {names}.", names=", ".join(known)) if known else "",
    )


def source_of(kit: PathLike | None) -> str:
    """What messages call a kit."""
    given = "kit" if kit is None else os.fspath(kit)
    return "kit" if "\n" in given else given


def learnt_by(
    text: str,
    kit: Kit,
    book: Notebook,
    as_laid: frozenset[str],
    boards: Sequence[Board],
    of_course: bool = False,
) -> Teaching:
    """What all lessons of a notebook teach, and the kit's text with it.

    Args:
        as_laid, boards: of the last lesson. of_course: that one holds cells of a course.
    """
    from snapcheck.photo import taught_by

    others = [t for t in kit.taught if t.name != book.name]
    if not book.lessons:
        return Teaching(taught_text(text, others), book.name, 0, None)
    step(tr("learning"))
    symmetry = {name: kind.symmetry // 90 for name, kind in kit.kinds.items() if kind.size == (1, 1)}
    taught, learnt = taught_by(book, symmetry, as_laid, of_course)
    shown = {piece.split(" ")[0] for lesson in book.lessons for piece in lesson.pieces}
    slips = _slips(learnt.doubts, len(book.lessons) - 1, boards, kit)
    missing = tuple(k for k in kit.kinds if k not in shown)
    return Teaching(
        taught_text(text, [*others, taught]), book.name, len(book.lessons), learnt.worth, slips, missing,
        learnt.gain, lost=book.lost,
    )  # fmt: skip


def _slips(doubts: Sequence[Doubt], lesson: int, boards: Sequence[Board], kit: Kit) -> tuple[Slip, ...]:
    """Doubts about the last lesson, told in the layout's own cells and turns."""
    slips = []
    for doubt in doubts:
        number, board_name, cell = doubt.place.split(" ")
        if int(number) != lesson or not boards:
            continue
        board = boards[int(board_name) - 1]
        laid = next((cube for anchor, cube in board.cubes.items() if str(anchor) == cell), None)
        turned = doubt.likely_quarter - doubt.quarter + (laid.turn // 90 if laid else 0)
        kind = doubt.likely.split(" ")[0]
        looks = Cube(kind, turned % 4 * 90) if kind in kit else None
        slips.append(Slip(int(board_name), cell, laid, looks, round(doubt.probability, 4)))
    return tuple(slips)
