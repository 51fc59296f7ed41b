"""``snapcheck paper [DESIGN...]``: tiles, a plate and corner markers to print at true size and cut out."""

from __future__ import annotations

import argparse
from pathlib import Path

from snapcheck import api
from snapcheck.cli._common import add_kit, kit_of, plate_of, write_file
from snapcheck.cli._output import document, print_json, say
from snapcheck.errors import InputError
from snapcheck.words import shown, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "designs", nargs="*", metavar="DESIGN", help="tiles for these plans (without: one of each cube)"
    )
    parser.add_argument("--box", metavar="BOX", help="tiles for everything in a box file")
    parser.add_argument("--cube", type=float, default=20.0, metavar="MM", help="side of a cube (default: 20)")
    parser.add_argument("--paper", default="a4", metavar="SIZE", help="a4 or letter")
    parser.add_argument("--plate", metavar="CxR", help="columns and rows of the printed plate, such as 12x9")
    parser.add_argument("--copies", type=int, default=1, metavar="N", help="so many times the tiles")
    parser.add_argument(
        "--only", action="append", metavar="SHEET", help="tiles, plate or extras (corner markers, taps)"
    )
    parser.add_argument(
        "-o", "--out", default="paper-kit.pdf", metavar="FILE", help="NAME.pdf, .html or .svg"
    )
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    made = api.paper_kit(
        [Path(d) for d in args.designs], box=args.box, cube_mm=args.cube, paper=args.paper,
        plate=plate_of(args.plate), sheets=args.only or api.SHEETS, copies=args.copies, kit=kit_of(args),
    )  # fmt: skip
    out = Path(args.out)
    written = [out]
    match out.suffix.lower():
        case ".pdf":
            write_file(out, made.pdf())
        case ".html":
            write_file(out, made.html)
        case ".svg":
            if len(made.pages) > 1:
                written = [out.with_name(f"{out.stem}-{n}.svg") for n in range(1, len(made.pages) + 1)]
            for path, page in zip(written, made.pages, strict=True):
                write_file(path, page.svg)
        case _:
            raise InputError(tr("sheets are written as .pdf, .html or .svg."), place=out)
    if args.json:
        notes = [tr("{tiles} tiles on {pages} pages", tiles=made.tiles, pages=len(made.pages))]
        print_json(document("files", {"files": [str(path) for path in written], "notes": notes}))
        return 0
    say(
        tr("{tiles} tiles on {pages} pages, to be printed at 100 %:", tiles=made.tiles, pages=len(made.pages))
    )
    for path in written:
        say(f"  {shown(path)}")
    return 0
