"""``snapcheck lay LIST``: parts and nets to a board that is ready to build."""

from __future__ import annotations

import argparse
import re
import sys
from typing import TYPE_CHECKING

from snapcheck import api
from snapcheck.board import write_layout
from snapcheck.cli._common import add_kit, kit_of, print_json, write_file
from snapcheck.cli._output import document, for_output, say
from snapcheck.errors import InputError
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.place import LaidBoard


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "parts",
        metavar="LIST",
        help="parts and nets: lines such as 'R101 resistor 470 a=supply b=light'; a netlist; a board",
    )
    parser.add_argument(
        "--plate", metavar="SIZE", help="columns x rows, such as 9x7 (usual for a board: its own)"
    )
    parser.add_argument(
        "--box", metavar="FILE", help="how many cubes there are (TOML): 'snapcheck new box' begins one"
    )
    parser.add_argument("--no-leads", action="store_true", help="rather fail than use a lead")
    parser.add_argument(
        "--seed", type=int, default=0, metavar="NUMBER", help="another number, another layout"
    )
    parser.add_argument("-o", "--out", metavar="FILE", help="the layout file (default: to the screen)")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    laid = api.lay(
        args.parts,
        _plate(args.plate),
        box=args.box,
        kit=kit,
        leads=not args.no_leads,
        seed=args.seed,
        progress=_tell if sys.stderr.isatty() and not args.json else None,
    )
    text = write_layout(laid.design, kit)
    if args.out:
        write_file(args.out, text)
    if args.json:
        print_json(document("lay", _as_json(laid, text, args)))
        return 0
    if not args.out:
        sys.stdout.write(for_output(text))
        return 0
    say(
        tr("{parts} parts are laid in {cells} cells of {columns} x {rows}, written to {file}.",
           parts=len(laid.cells), cells=laid.occupied, columns=laid.board.columns, rows=laid.board.rows,
           file=args.out)
    )  # fmt: skip
    if laid.leads:
        say(tr("Leads that no wire could spare: {count}.", count=laid.leads))
    return 0


def _tell(words: str) -> None:
    say(words, file=sys.stderr)


def _plate(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    found = re.fullmatch(r"\s*(\d{1,2})\s*[x×*]\s*(\d{1,2})\s*", text)
    if not found:
        raise InputError(
            tr("'{text}' is no size of a plate.", text=text),
            place="--plate",
            way_out=tr("Write columns x rows, such as 9x7."),
        )
    return int(found[1]), int(found[2])


def _as_json(laid: LaidBoard, text: str, args: argparse.Namespace) -> dict[str, object]:
    return {
        "file": args.parts,
        "columns": laid.board.columns,
        "rows": laid.board.rows,
        "occupied": laid.occupied,
        "cubes": dict(laid.cubes),
        "leads": laid.leads,
        "taps": len(laid.board.taps),
        "sameness": laid.sameness.value,
        "cells": {name: str(cell) for name, cell in laid.cells.items()},
        "layout": text,
        "written": args.out,
    }
