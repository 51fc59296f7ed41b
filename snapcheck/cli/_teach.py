"""``snapcheck teach KIT PHOTO...``: learn a kit's own artwork from photos of the boards of ``primer``, or
from what persons decided in a course (``--from``)."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck.cli._common import plate_of, write_file
from snapcheck.cli._output import document, print_json, say
from snapcheck.cli._primer import add_primer
from snapcheck.cli._teach_from import add_from, cube_words, from_course
from snapcheck.errors import InputError
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api import Teaching
    from snapcheck.photo import Worth


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "kit", metavar="KIT", help="the kit's file (TOML); 'bundled' or 'chips': a new one on top"
    )
    parser.add_argument(
        "photos", nargs="*", metavar="PHOTO", help="photos of the primer's boards, from any side"
    )
    parser.add_argument(
        "-o",
        "--out",
        metavar="FILE",
        help="the kit with what was learnt (default: KIT itself, or NAME-taught.toml)",
    )
    parser.add_argument("--name", default="", help="of the artwork, where a kit comes in several")
    parser.add_argument(
        "--layout", action="append", metavar="FILE", help="what was laid, where it is no board of the primer"
    )
    add_primer(parser)
    parser.add_argument(
        "--as-laid", action="append", metavar="CELL",
        help="this cube is laid as the layout has it, however it looks (A3; 2:A3 on the second board)",
    )  # fmt: skip
    parser.add_argument(
        "--back", action="store_true", help="take the last lesson back, and learn from the others"
    )
    parser.add_argument(
        "--again", action="store_true", help="learn once more from the pictures in KIT, for other networks"
    )
    add_from(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.api import taught_again, teach

    if (args.back or args.again or args.course) and args.photos:
        raise InputError(
            tr("--back, --again and --from take no photos."),
            way_out="snapcheck teach --back KIT",
        )
    if args.course:
        return from_course(args)
    if args.back or args.again:
        learnt = taught_again(args.kit, name=args.name, back=args.back)
    else:
        learnt = teach(
            args.kit, args.photos, layouts=args.layout or (), plate=plate_of(args.plate),
            kinds=args.only or (), name=args.name, as_laid=args.as_laid or (),
        )  # fmt: skip
    given = Path(args.kit)
    out = Path(args.out) if args.out else given if given.exists() else Path(f"{learnt.name}.toml")
    write_file(out, learnt.text)
    if args.json:
        print_json(document("teaching", {"file": str(out), **learnt.to_json()}))
    else:
        _tell(learnt, out)
    return 0 if learnt.worth is None or (learnt.good_enough and not learnt.slips) else 1


def _tell(learnt: Teaching, out: Path) -> None:
    worth = learnt.worth
    if learnt.lost:
        say(
            tr(
                "Cells of courses that other networks had looked at are learnt from no more ({n}): learn "
                "them again with --from COURSE.",
                n=learnt.lost,
            )
        )
    for slip in learnt.slips:
        say(
            tr(
                "Board {board}, {cell}: the layout has {laid}; the photos show {looks}. It was not learnt: "
                "lay it right and teach again, or say --as-laid {board}:{cell}.",
                board=slip.board, cell=slip.cell, laid=cube_words(slip.laid),
                looks=cube_words(slip.looks_like),
            )
        )  # fmt: skip
    if learnt.missing:
        say(tr("Not shown, read as before: {kinds}", kinds=", ".join(learnt.missing)))
    if worth is None:
        say(tr("Nothing is left that '{name}' was taught.", name=learnt.name))
    else:
        say(
            tr(
                "Of {tested} cubes, each held back and read by what the others of its kind taught, {right} "
                "are right ({before} before).",
                tested=worth.tested, right=worth.right, before=worth.before,
            )
        )  # fmt: skip
        say(_told_sure(worth))
        if worth.untested:
            say(tr("Shown once only, so nothing is known of: {kinds}", kinds=", ".join(worth.untested)))
        say(
            tr("Good enough to grade with; what is not sure is asked about.")
            if learnt.good_enough
            else tr(
                "Not good enough to grade with: teach with more photos, or clearer ones, and look at "
                "every build."
            )
        )
    say(tr("Use it with --kit {file}", file=out))


def _told_sure(worth: Worth) -> str:
    """What cross-validation says of the cubes that would be called read."""
    if not worth.sure:
        return tr("None of them would have been called read.")
    most, expected = 1000 * worth.at_most, 1000 * worth.expected / worth.sure
    if not worth.silent:
        return tr(
            "Of these, {sure} would have been called read (as sure as {sure_from:.1%}), and none wrongly; "
            "in 1,000, {expected:.1f} are expected to be wrong, and at most {most:.0f} with 95 % confidence.",
            sure=worth.sure, sure_from=worth.sure_from, most=most, expected=expected,
        )  # fmt: skip
    return tr(
        "Of these, {sure} would have been called read (as sure as {sure_from:.1%}), {silent} wrongly; "
        "in 1,000, {expected:.1f} are expected to be wrong, and at most {most:.0f} with 95 % confidence.",
        sure=worth.sure, sure_from=worth.sure_from, silent=worth.silent, most=most, expected=expected,
    )  # fmt: skip
