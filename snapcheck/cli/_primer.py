"""``snapcheck primer [KIT]``: boards to lay and photograph, so that a kit's own artwork can be learnt."""

from __future__ import annotations

import argparse
import shlex
from pathlib import Path

from snapcheck.cli._common import make_folder, plate_of, write_file
from snapcheck.cli._output import document, print_json, say
from snapcheck.errors import InputError
from snapcheck.words import shown, tr


def add_primer(parser: argparse.ArgumentParser) -> None:
    """What `primer` and `teach` must be given alike."""
    parser.add_argument(
        "--plate", metavar="CxR", help="columns and rows of your plate (default: the smallest that will do)"
    )
    parser.add_argument("--only", action="append", metavar="KIND", help="show this kind only (repeatable)")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "kit", nargs="?", default="bundled", metavar="KIT", help="the kit's file (TOML), 'bundled' or 'chips'"
    )
    parser.add_argument(
        "-o", "--out", default=".", metavar="FOLDER", help="where the layouts go (default: here)"
    )
    parser.add_argument(
        "--print", dest="sheets", metavar="FILE", help="also write pages to print: FILE is NAME.pdf or .html"
    )
    parser.add_argument("--paper", default="a4", metavar="SIZE", help="with --print: a4 or letter")
    add_primer(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.api import draw, layout, primer, primer_paper, text_of_kit
    from snapcheck.kit import parse_kit

    kit = parse_kit(text_of_kit(args.kit), args.kit)
    boards = primer(kit, plate=plate_of(args.plate), kinds=args.only or ())
    command = _command(args)
    sheets = Path(args.sheets) if args.sheets else None
    if sheets is not None and sheets.suffix.lower() not in (".pdf", ".html"):
        raise InputError(tr("layouts are printed as .pdf or .html."), place=sheets)
    folder = Path(args.out)
    make_folder(folder)
    written = []
    for number, board in enumerate(boards, 1):
        title = tr("Layout {n} of {all}: any value will do", n=number, all=len(boards))
        for ending, content in (
            (".board", layout(board, kit=kit)),
            (".svg", draw(board, kit=kit, title=title).svg),
        ):
            written.append(folder / f"primer-{number}{ending}")
            write_file(written[-1], content)
    if sheets is not None:
        pages = primer_paper(boards, command, paper=args.paper, kit=kit)
        write_file(sheets, pages.pdf() if sheets.suffix.lower() == ".pdf" else pages.html)
        written.append(sheets)
    cubes = sum(len(board.cubes) for board in boards)
    if args.json:
        notes = [
            tr("{cubes} cubes on one board", cubes=cubes)
            if len(boards) == 1
            else tr("{cubes} cubes on {boards} boards", cubes=cubes, boards=len(boards))
        ]
        print_json(document("files", {"files": [str(path) for path in written], "notes": notes}))
        return 0
    for path in written:
        say(shown(path))
    size = {"columns": boards[0].columns, "rows": boards[0].rows}
    say(tr("This is no circuit, and may short a supply: power nothing of it, and take batteries out."))
    say(
        tr("{cubes} cubes on one board of {columns} by {rows}. Lay it as drawn, leave free cells free, and "
           "take two photos of it from two sides; then: {command}", cubes=cubes, command=command, **size)
        if len(boards) == 1
        else tr("{cubes} cubes on {boards} boards of {columns} by {rows}. Lay each as drawn, leave free "
                "cells free, and take two photos of each from two sides; then: {command}",
                cubes=cubes, boards=len(boards), command=command, **size)
    )  # fmt: skip
    return 0


def _command(args: argparse.Namespace) -> str:
    """What teaches a kit by photos of these boards."""
    words = ["snapcheck", "teach", args.kit, "PHOTO..."]
    words += ["--plate", args.plate] if args.plate else []
    for kind in args.only or ():
        words += ["--only", kind]
    return " ".join(w if w == "PHOTO..." else shlex.quote(w) for w in words)
