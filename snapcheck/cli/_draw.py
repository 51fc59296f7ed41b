"""``snapcheck draw FILE``: a board's top view as SVG, PNG or PDF."""

from __future__ import annotations

import argparse
from pathlib import Path

from snapcheck import api
from snapcheck.board import draw_svg, load_design, svg_to_png
from snapcheck.cli._common import add_kit, kit_of, print_json, write_file
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a layout file, or JSON as 'read' writes it")
    parser.add_argument(
        "-o", "--out", metavar="PICTURE", help="NAME.svg, NAME.png or NAME.pdf (default: FILE's name .svg)"
    )
    parser.add_argument("--dark", action="store_true", help="light strokes on a dark ground")
    parser.add_argument("--width", type=int, metavar="PIXELS", help="width of a PNG, 100 to 10000")
    parser.add_argument("--paper", default="a4", metavar="SIZE", help="of a PDF: a4 or letter")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    out = Path(args.out) if args.out else Path(Path(args.file).stem + ".svg")
    if out.suffix.lower() not in (".svg", ".png", ".pdf"):
        raise InputError(
            tr("'{suffix}' is no picture format here.", suffix=out.suffix),
            place=out,
            way_out=tr("Use .svg, .png or .pdf."),
        )
    if args.width is not None and not 100 <= args.width <= 10_000:
        raise InputError(
            tr("a width of {width} pixels is not possible.", width=args.width),
            way_out=tr("Use 100 to 10000."),
        )
    kit = kit_of(args)
    design = load_design(args.file, kit)
    svg = draw_svg(design.board, kit, theme="dark" if args.dark else "light", title=design.title)
    match out.suffix.lower():
        case ".svg":
            write_file(out, svg)
        case ".png":
            write_file(out, svg_to_png(svg, width=args.width))
        case _:
            write_file(out, api.Drawing(svg, design.title).pdf(args.paper))
    if args.json:
        print_json(document("files", {"files": [str(out)], "notes": []}))
    else:
        say(tr("{file} is drawn in {picture}.", file=args.file, picture=out))
    return 0
