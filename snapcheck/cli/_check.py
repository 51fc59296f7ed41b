"""``snapcheck check PHOTO DESIGN``: a photo in, findings and a report out."""

from __future__ import annotations

import argparse
import contextvars
import sys
import threading
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.board import Board, Design
from snapcheck.cli._common import add_kit, kit_of, load_built, load_plan, print_json, reading_of
from snapcheck.cli._output import console
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.kit import Kit
from snapcheck.pipeline import CheckResult, check_build
from snapcheck.words import active_language, shown, tr

if TYPE_CHECKING:
    import numpy as np

    from snapcheck.photo import Reading
    from snapcheck.report import ReportFiles
    from snapcheck.simulate import Simulator

_BOARDS = (".board", ".json", ".txt", ".layout")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "photos",
        metavar="PHOTO",
        nargs="+",
        help="picture of the build, or several from different sides (or a layout file, or JSON)",
    )
    parser.add_argument("design", metavar="DESIGN", help="the plan: a layout file, or JSON")
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
    parser.add_argument("--no-pdf", action="store_true", help="write no PDF")
    parser.add_argument("-q", "--quiet", action="store_true", help="verdict and titles only")
    parser.add_argument("-v", "--verbose", action="store_true", help="also sources, and figures that are met")
    parser.add_argument(
        "--structure-only", action="store_true", help="judge by how parts are joined, without calculation"
    )
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    args.photo, *args.more = args.photos
    if args.more and (args.from_reading or any(Path(p).suffix.lower() in _BOARDS for p in args.photos)):
        raise InputError(
            tr("only photos can be taken together."),
            place=args.more[0],
            way_out=tr("Give photos of one build, then the plan; or one file."),
        )
    kit = kit_of(args)
    design = load_plan(args.design, kit)
    if args.out or not args.json:
        _folder(args)
    with ExitStack() as stack:
        say = _progress(args, stack)
        simulator = _simulator(args, stack)
        say(tr("reading the picture"))
        ahead = _work_ahead(args, simulator, design, kit)
        stack.callback(ahead.join, 5.0)  # where the picture cannot be read: before the simulator is closed
        built, pixels = _built(args, kit)
        say(tr("checking"))
        ahead.join()
        result = check_build(built, design, kit, simulator, strict=args.strict)
        files = None
        if args.out or not args.json:
            files = _write(args, result, pixels, simulator, say)
    if args.json:
        from snapcheck.report import report_json

        data = report_json(result)
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


def _simulator(args: argparse.Namespace, stack: ExitStack) -> Simulator | None:
    if args.structure_only:
        return None
    from snapcheck.simulate import Simulator, is_available

    return stack.enter_context(Simulator()) if is_available() else None


def _work_ahead(
    args: argparse.Namespace, simulator: Simulator | None, design: Design, kit: Kit
) -> threading.Thread:
    """What the plan does is calculated, and it is drawn, while the picture is being read."""

    def work() -> None:
        with suppress(SnapcheckError):  # told where the result is needed
            if simulator is not None:  # in another process
                simulator.measure_plan(design, kit)
        if Path(args.photo).suffix.lower() not in _BOARDS and (args.out or not args.json):
            from snapcheck.report import draw_ahead

            with suppress(SnapcheckError):
                draw_ahead(design.board, kit)

    thread = threading.Thread(target=contextvars.copy_context().run, args=(work,), daemon=True)
    thread.start()
    return thread


def _built(args: argparse.Namespace, kit: Kit) -> tuple[Board | Reading, np.ndarray | None]:
    path = Path(args.photo)
    if path.suffix.lower() in _BOARDS:
        if args.from_reading:
            raise InputError(
                tr("a layout file and a reading cannot be checked at once."),
                place=args.photo,
                way_out=tr("Give a photo with --from-reading, or the layout file alone."),
            )
        return load_built(path, kit), None
    from snapcheck.photo import open_picture, read_picture

    picture = open_picture(path)
    if args.from_reading:
        return reading_of(args.from_reading, kit, path.name), picture.pixels
    reading = read_picture(picture, path.name, kit)
    if args.more:
        from snapcheck.photo import read_photo
        from snapcheck.together import together

        reading = together([reading, *(read_photo(Path(more), kit) for more in args.more)], kit)
    return reading, picture.pixels


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


def _write(
    args: argparse.Namespace, result: CheckResult, pixels: np.ndarray | None, simulator: Simulator | None,
    say: Any,
) -> ReportFiles:  # fmt: skip
    from snapcheck.report import behaviour, write_report

    folder = _folder(args)
    what = None
    if simulator is not None and result.simulated and not args.student:
        say(tr("calculating what it does"))
        what = behaviour(result, simulator)
    return write_report(
        result, folder, pixels=pixels, behaviour=what, student=args.student, lang=active_language(),
        pdf=not args.no_pdf, progress=say,
    )  # fmt: skip
