"""``snapcheck rubric [FILE]``: check a rubric, show what it does to a sample, write it as a sheet."""

from __future__ import annotations

import argparse
from pathlib import Path

from snapcheck.cli._common import add_kit, kit_of, print_json, write_file
from snapcheck.cli._output import console, document, say
from snapcheck.words import numeral, shown, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", nargs="?", help="the rubric (default: the bundled one)")
    parser.add_argument("--sheet", metavar="FILE", help="write it as a sheet for students (.html or .pdf)")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.grade import load_rubric, sample_rubric
    from snapcheck.grade.out import preview, sheet_page

    rubric = load_rubric(args.file, kit_of(args)) if args.file else sample_rubric()
    rows = preview(rubric)
    if args.sheet:
        text = sheet_page(rubric)
        if args.sheet.lower().endswith(".pdf"):
            from snapcheck.report import html_to_pdf

            write_file(Path(args.sheet), html_to_pdf(text))
        else:
            write_file(Path(args.sheet), text)
    if args.json:
        print_json(document("rubric", {
            "title": rubric.title,
            "sample": [
                {
                    "build": r.title,
                    "points": r.grade.points,
                    "usual": r.usual.points,
                    "verdict": r.grade.verdict,
                }
                for r in rows
            ],
        }))  # fmt: skip
        return 0
    from rich.table import Table

    table = Table(box=None, pad_edge=False, title=shown(tr(rubric.title)), title_justify="left")
    for heading in (tr("sample build"), tr("verdict"), tr("points"), tr("by the bundled rubric")):
        table.add_column(heading)
    for r in rows:
        open_mark = "" if r.grade.final else " ?"
        points = numeral(f"{r.grade.points} / {r.grade.most}{open_mark}")
        usual = numeral(f"{r.usual.points} / {r.usual.most}")
        table.add_row(r.title, r.grade.verdict_sentence, points, usual)
    console().print(table)
    if args.sheet:
        say(tr("Sheet: {file}", file=args.sheet))
    return 0
