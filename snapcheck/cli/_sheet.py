"""``snapcheck sheet DESIGN``: a build sheet as PDF or HTML."""

from __future__ import annotations

import argparse
import sys
import threading
from contextlib import suppress
from pathlib import Path

from snapcheck import api
from snapcheck.cli._common import add_kit, print_json, write_file
from snapcheck.cli._output import document, for_output, say
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("design", metavar="DESIGN", help="the plan: a layout file, or JSON")
    parser.add_argument(
        "-o", "--out", metavar="FILE", help="NAME.pdf or NAME.html (default: DESIGN's name -sheet.pdf)"
    )
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size of the pages")
    parser.add_argument(
        "--stages", action="store_true", help="print the stages as lines to regroup and put into the design"
    )
    parser.add_argument("--no-figures", action="store_true", help="without calculated voltages and figures")
    parser.add_argument("--book", metavar="FILE", help="a rule file of your own (TOML)")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    out = Path(args.out) if args.out else Path(Path(args.design).stem + "-sheet.pdf")
    if out.suffix.lower() not in (".pdf", ".html", ".htm"):
        raise InputError(
            tr("'{suffix}' is no format of a build sheet.", suffix=out.suffix),
            place=out,
            way_out=tr("Use .pdf or .html."),
        )
    calculate = not (args.no_figures or args.stages)
    loading: threading.Thread | None = None
    if calculate and out.suffix.lower() == ".pdf" and (args.out or not args.json):
        loading = threading.Thread(target=_load_paper, daemon=True)
        loading.start()  # while another process calculates
    made = api.sheet(Path(args.design), kit=args.kit, book=args.book, calculate=calculate)
    if args.stages and not args.json:
        sys.stdout.write(for_output(made.stages_text()))
        return 0
    if args.out or not args.json:
        if loading is not None:
            loading.join()
        pdf = out.suffix.lower() == ".pdf"
        write_file(out, made.to_pdf(args.paper) if pdf else made.to_html(args.paper))
    if args.json:
        print_json(document("sheet", {"file": args.design, **made.to_json()}))
        return 0
    if made.expected.note:
        say(made.expected.note, file=sys.stderr)
    say(
        tr(
            "{steps} steps in {stages} stages, {points} test points: {file}",
            steps=len(made.course.steps), stages=len(made.course.stages),
            points=len(made.expected.points), file=out,
        )
    )  # fmt: skip
    return 0


def _load_paper() -> None:
    """Import what a PDF is made with, so that it is there when the figures are."""
    from snapcheck.report import html_to_pdf

    with suppress(SnapcheckError):  # said where the PDF is made
        html_to_pdf("<p>x</p>")
