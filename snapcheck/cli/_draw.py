"""``snapcheck draw FILE``: a board's top view as SVG or PNG."""

from __future__ import annotations

import argparse
from pathlib import Path

from snapcheck.board import draw_svg, load_design, svg_to_png
from snapcheck.cli._common import add_kit, kit_of, print_json, write_file
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a layout file, or JSON as 'read' writes it")
    parser.add_argument(
        "-o", "--out", metavar="PICTURE", help="NAME.svg or NAME.png (default: FILE's name .svg)"
    )
    parser.add_argument("--dark", action="store_true", help="light strokes on a dark ground")
    parser.add_argument("--width", type=int, metavar="PIXELS", help="width of a PNG, 100 to 10000")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    out = Path(args.out) if args.out else Path(Path(args.file).stem + ".svg")
    if out.suffix.lower() not in (".svg", ".png"):
        raise InputError(
            tr("'{suffix}' is no picture format here.", suffix=out.suffix),
            place=out,
            way_out=tr("Use .svg or .png."),
        )
    if args.width is not None and not 100 <= args.width <= 10_000:
        raise InputError(
            tr("a width of {width} pixels is not possible.", width=args.width),
            way_out=tr("Use 100 to 10000."),
        )
    kit = kit_of(args)
    design = load_design(args.file, kit)
    svg = draw_svg(design.board, kit, theme="dark" if args.dark else "light", title=design.title)
    write_file(out, svg if out.suffix.lower() == ".svg" else svg_to_png(svg, width=args.width))
    if args.json:
        print_json(document("files", {"files": [str(out)], "notes": []}))
    else:
        say(tr("{file} is drawn in {picture}.", file=args.file, picture=out))
    return 0
