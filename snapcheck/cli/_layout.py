"""``snapcheck layout FILE``: is this layout readable, and what looks like a slip in it?"""

from __future__ import annotations

import argparse
import sys

from snapcheck.board import design_to_json, load_design, oddities, write_layout
from snapcheck.cli._common import add_kit, kit_of, print_json, write_file
from snapcheck.cli._output import document, for_output, say
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a layout file, or JSON as 'read' writes it")
    parser.add_argument(
        "--write", metavar="OUT", help="write it again, tidied, as a layout ('-': to the screen)"
    )
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    design = load_design(args.file, kit)
    odd = oddities(design.board, kit)
    if args.write and args.write != "-":
        write_file(args.write, write_layout(design, kit))
    if args.json:
        notes = [{"place": None if o.place is None else str(o.place), "text": o.text} for o in odd]
        print_json(document("layout", {"file": args.file, **design_to_json(design), "oddities": notes}))
        return 0
    if args.write == "-":
        sys.stdout.write(for_output(write_layout(design, kit)))
    board = design.board
    say(
        tr(
            "{file}: readable. Plate {columns} x {rows}, {cubes} cubes, {taps} taps, {leads} leads, "
            "{figures} expected figures.",
            file=args.file, columns=board.columns, rows=board.rows, cubes=len(board.cubes),
            taps=len(board.taps), leads=len(board.leads), figures=len(design.expectations),
        ),
        file=sys.stderr if args.write == "-" else sys.stdout,
    )  # fmt: skip
    for oddity in odd:
        where = "" if oddity.place is None else f"{oddity.place}: "
        say(tr("look again: {text}", text=f"{where}{oddity.text}"), file=sys.stderr)
    return 0
