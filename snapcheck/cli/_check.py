"""``snapcheck check PHOTO DESIGN``: a photo in, findings and a report out."""

from __future__ import annotations

import argparse
import sys
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from snapcheck import api
from snapcheck.cli._common import add_among, add_kit, add_photos, kit_of, print_json
from snapcheck.cli._output import console
from snapcheck.errors import InputError
from snapcheck.words import shown, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    add_photos(parser)
    parser.add_argument("--out", metavar="FOLDER", help="where the report goes (default: NAME-check here)")
    parser.add_argument(
        "--from-reading", metavar="FILE", help="JSON as 'read' wrote it, instead of reading the photo again"
    )
    parser.add_argument("--student", action="store_true", help="hints in steps instead of everything")
    parser.add_argument(
        "--step", type=int, choices=(1, 2, 3), default=1, help="how much the hints tell (with --student)"
    )
    parser.add_argument(
        "--strict", action="store_true", help="ask about all that is not clear, whatever the plan says"
    )
    add_among(parser)
    parser.add_argument("--no-pdf", action="store_true", help="write no PDF")
    parser.add_argument("-q", "--quiet", action="store_true", help="verdict and titles only")
    parser.add_argument("-v", "--verbose", action="store_true", help="also sources, and figures that are met")
    parser.add_argument(
        "--structure-only", action="store_true", help="judge by how parts are joined, without calculation"
    )
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    args.photo, *args.more = args.photos
    kit = kit_of(args)
    design = api.plan_of(Path(args.design), kit)
    report = bool(args.out or not args.json)
    if report:
        _folder(args)
    files = None
    with ExitStack() as stack:
        say = _progress(args, stack)
        # the report calculates, too
        simulator = stack.enter_context(api.solver(None, not args.structure_only))
        result = api.check(
            Path(args.photo), design, also=[Path(p) for p in args.more],
            reading=Path(args.from_reading) if args.from_reading else None, kit=kit,
            calculate=not args.structure_only, strict=args.strict, simulator=simulator, report=report,
            progress=say,
        )  # fmt: skip
        result = api.as_another_task(result, Path(args.design), args.among)
        if report:
            files = result.save(
                _folder(args), student=args.step if args.student else 0, pdf=not args.no_pdf, progress=say
            )
    if args.json:
        data = result.to_json()
        if files is not None:
            data = {**data, "notes": [*data["notes"], *files.notes]}
        print_json(data)
        return result.verdict.exit_code
    from snapcheck.report import print_result

    screen = console(soft_wrap=not sys.stdout.isatty())
    print_result(
        result, screen, student=args.step if args.student else 0, quiet=args.quiet, verbose=args.verbose
    )
    if files is not None:
        screen.print()
        for note in files.notes:
            screen.print(f"· {shown(note)}")
        screen.print(tr("Report: {path}", path=files.html), soft_wrap=True)
        if files.pdf is not None and not args.quiet:
            screen.print(tr("PDF:    {path}", path=files.pdf), soft_wrap=True)
    return result.verdict.exit_code


def _progress(args: argparse.Namespace, stack: ExitStack) -> Any:
    """A line on standard error that says what is being done, where a person watches."""
    if args.quiet or args.json or not sys.stderr.isatty():
        return lambda _: None
    status = stack.enter_context(console(stderr=True).status(""))
    return lambda text: status.update(f"{text} …")


def _folder(args: argparse.Namespace) -> Path:
    """Where the report goes; refused where it would take the place of what it is made from."""
    from snapcheck.report import REPORT_NAMES

    folder = Path(args.out) if args.out else Path(f"{Path(args.photo).stem}-check")
    given = [Path(g) for g in (*args.photos, args.design, args.from_reading) if g]
    for path in (folder / name for name in REPORT_NAMES):
        if path.exists() and any(g.exists() and path.samefile(g) for g in given):
            raise InputError(
                tr("the report would take the place of this file."),
                place=path,
                way_out=tr("Choose another folder with --out."),
            )
    return folder
