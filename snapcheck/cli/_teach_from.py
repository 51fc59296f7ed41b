"""``snapcheck teach KIT --from COURSE``: what persons decided in a course teaches a kit."""

from __future__ import annotations

import argparse
import contextlib
import shlex
import sys
from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck.cli._common import write_file
from snapcheck.cli._output import document, print_json, say
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.words import shown, tr

if TYPE_CHECKING:
    from snapcheck.api import Corrections, Teaching
    from snapcheck.board import Cube
    from snapcheck.grade import Course, DecidedCell


def add_from(parser: argparse.ArgumentParser) -> None:
    """The options of this way to teach."""
    parser.epilog = tr(
        "Of the boards that you laid and photographed the kit's file holds small pictures (JPEG), one of "
        "each cell, from which other networks can learn again. --from COURSE learns from cells that a person "
        "decided in a course (review, decide, the desk); without it nothing of a course is ever used, and "
        "what students say of their builds never is. Of these cells the file holds no picture: only which "
        "cube was decided, the numbers that the network made of the cell, and a mark by which it is known "
        "again; nothing that says whose it is. Nothing is sent anywhere."
    )
    parser.add_argument(
        "--from",
        dest="course",
        metavar="COURSE",
        help="learn from what persons decided in this course",
    )
    parser.add_argument(
        "--list", action="store_true", help="with --from: only say which cells would be learnt, and which not"
    )
    parser.add_argument(
        "--also", action="append", type=int, metavar="NUMBER",
        help="with --from: learn this decision, too, though the photo does not show it so",
    )  # fmt: skip
    parser.add_argument(
        "--anyway", action="store_true", help="with --from: keep what was learnt even if the kit became worse"
    )
    parser.add_argument("--store", metavar="PLACE", default="", help="with --from: another gradebook")


def from_course(args: argparse.Namespace) -> int:
    """Tell what there is, learn it, and keep it where the kit has not become worse."""
    from snapcheck.api import corrections, teach_from
    from snapcheck.grade import load_course

    if args.back or args.again or args.layout or args.as_laid or args.only or args.plate:
        raise InputError(
            tr("--from goes with --name, --out, --list, --also, --anyway and --store alone."),
            way_out=f"snapcheck teach {args.kit} --from {args.course}",
        )
    course, also = load_course(args.course, store=args.store), args.also or ()
    told = corrections(course, args.kit, name=args.name, also=also)
    _needs(also, told)
    if not args.json:
        _list(told)
    if args.list or not told.ready:
        if args.json:
            seen = teach_from(args.kit, course, name=args.name, also=also, learn=False)
            print_json(document("teaching", {"file": "", **seen.to_json()}))
        return 0 if told.ready else 1
    learnt = teach_from(args.kit, course, name=args.name, also=also)
    assert learnt.cells is not None
    better = learnt.gain is not None and (args.anyway or not learnt.gain.worse)
    out = Path(args.out or args.kit)
    if better:
        write_file(out, learnt.text)
    if args.json:
        kept = str(out) if better else ""
        print_json(document("teaching", {"file": kept, **learnt.to_json()}))
    else:
        gone = {c.number for c in told.ready} - {c.number for c in learnt.cells.ready}
        for cell in learnt.cells.cells:
            if cell.number in gone:
                say(f"  {cell.number}: {_place(cell)}: {_why(cell)}")
        _tell(learnt, args, out, better)
    return 0 if better else 1


def _needs(also: Collection[int], told: Corrections) -> None:
    doubtful = {c.number for c in told.cells if c.doubt}
    for number in also:
        if number not in doubtful:
            raise InputError(
                tr("decision {number} is no doubtful one.", number=number),
                place="--also",
                way_out=tr("Take a number from the list that --list gives."),
            )


def _list(told: Corrections) -> None:
    from snapcheck.grade import Left

    ready = told.ready
    if ready:
        kinds = ", ".join(f"{shown(kind)} {n}" for kind, n in told.kinds.items())
        confirmed = sum(c.confirmed for c in ready)
        say(
            tr(
                "{course}: cells that a person decided and that can be learnt: {n} ({kinds}); read otherwise "
                "before: {other}, only confirmed: {same}.",
                course=told.course, n=len(ready), kinds=kinds, other=len(ready) - confirmed, same=confirmed,
            )
        )  # fmt: skip
    else:
        say(tr("{course}: no cell that a person decided can be learnt.", course=told.course))
    for why, cells in told.left_out.items():
        say(tr("Not learnt, {n}: {why}", n=len(cells), why=_why(cells[0])))
        for cell in cells if why in (Left.DOUBTFUL, Left.HIDDEN) else ():
            say(
                "  "
                + tr(
                    "{number}: {place}: decided {cube}, the photo shows {seen} (--also {number})",
                    number=cell.number, place=_place(cell), cube=cube_words(cell.cube),
                    seen=cube_words(cell.seen) if why is Left.DOUBTFUL else tr("hardly anything"),
                )
            )  # fmt: skip


def _tell(learnt: Teaching, args: argparse.Namespace, out: Path, kept: bool) -> None:
    gain = learnt.gain
    if gain is None:
        say(tr("Nothing was learnt: none of these photos can be opened any more."))
        return
    say(
        tr(
            "Each cube read by what others taught, before and after. Of {laid} laid ones right: {a} and {b}, "
            "called sure: {c} and {d}. Of {n} of the course right: {e} and {f}.",
            laid=gain.laid, a=gain.laid_before, b=gain.laid_after, c=gain.sure_before, d=gain.sure_after,
            n=gain.cells, e=gain.cells_before, f=gain.cells_after,
        )
    )  # fmt: skip
    if not kept:
        say(tr("It would be worse, so nothing was kept. Keep it all the same with --anyway."))
        return
    say(
        tr(
            "Kept as lesson {n} in {file}: numbers, no picture, and nothing of whose cells they are. Take it "
            "back with: snapcheck teach {file} --back",
            n=learnt.lessons, file=out,
        )
    )  # fmt: skip
    say(tr("The next 'snapcheck grade' reads the course's photos anew with it."))


def tell_teachable(course: Course, store: str = "") -> None:
    """One sentence where decisions could teach the course's kit; on standard error, as it is no result."""
    from snapcheck.api import teachable

    n = 0
    with contextlib.suppress(SnapcheckError):  # what is wrong with the kit is said where it is used
        n = teachable(course)
    if n:
        words = ["snapcheck", "teach", str(course.kit_file), "--from", str(course.folder)]
        words += ["--store", store] if store else []
        told = tr("Cells that a person decided, from which the kit could learn: {n}.", n=n)
        say(f"{told} {shown(shlex.join(words))}", file=sys.stderr)


def _place(cell: DecidedCell) -> str:
    return " ".join(filter(None, (str(cell.cell or ""), shown(cell.path))))


def cube_words(cube: Cube | None) -> str:
    """What stands there, or that nothing does."""
    return tr("nothing") if cube is None else tr("{kind} turned {turn}°", kind=cube.kind, turn=cube.turn)


def _why(cell: DecidedCell) -> str:
    from snapcheck.grade import Left

    words = {
        Left.GONE: tr("the photo is no longer there."),
        Left.NOT_READ: tr("the photo was not read with the kit as it is now ('snapcheck grade' first)."),
        Left.NOTHING: tr("decided that nothing stands there."),
        Left.NO_CUBE: tr("a lead or a tap, no cube."),
        Left.PLACE: tr("it is not sure where the plate's cells are in the photo."),
        Left.DISAGREED: tr("two people decided otherwise."),
        Left.NO_KIND: tr("the kit has no such kind."),
        Left.DOUBTFUL: tr("doubtful, because the photo clearly shows something else."),
        Left.HIDDEN: tr("the photo hardly shows them: covered, glared or blurred."),
        Left.KNOWN: tr("learnt before."),
        Left.ENOUGH: tr("others of its kind suffice."),
    }
    return "" if cell.left is None else words[cell.left]
