"""``snapcheck cards COURSE --out FILE``: bench cards to print."""

from __future__ import annotations

import argparse
from pathlib import Path

from snapcheck.cli._common import print_json, write_file
from snapcheck.cli._grade import add_course_options
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.words import shown, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("course", metavar="COURSE", help="the course folder")
    parser.add_argument("--task", default="", help="cards for this task only (otherwise they serve all)")
    parser.add_argument("--out", metavar="FILE", default="cards.pdf", help="cards.pdf, .html or .svg")
    add_course_options(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.grade import load_course
    from snapcheck.grade.out import cards_html, cards_svg

    course = load_course(args.course, rubric=args.rubric, store=args.store)
    out = Path(args.out)
    written = [out]
    match out.suffix.lower():
        case ".svg":
            sheets = cards_svg(course, args.task)
            if len(sheets) > 1:
                written = [out.with_name(f"{out.stem}-{n}.svg") for n in range(1, len(sheets) + 1)]
            for path, sheet in zip(written, sheets, strict=True):
                write_file(path, sheet)
        case ".html":
            write_file(out, cards_html(course, args.task))
        case ".pdf":
            from snapcheck.report import html_to_pdf

            write_file(out, html_to_pdf(cards_html(course, args.task)))
        case _:
            raise InputError(tr("cards are written as .pdf, .html or .svg."), place=out)
    if args.json:
        print_json(document("files", {"files": [str(p) for p in written], "notes": []}))
        return 0
    for path in written:
        say(shown(path))
    return 0
