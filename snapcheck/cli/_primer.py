"""``snapcheck primer [KIT]``: boards to lay and photograph, so that a kit's own artwork can be learnt."""

from __future__ import annotations

import argparse
from pathlib import Path

from snapcheck.cli._common import make_folder, plate_of, write_file
from snapcheck.cli._output import document, print_json, say
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
    add_primer(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.api import draw, layout, primer, text_of_kit
    from snapcheck.kit import parse_kit

    kit = parse_kit(text_of_kit(args.kit), args.kit)
    boards = primer(kit, plate=plate_of(args.plate), kinds=args.only or ())
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
    cubes = sum(len(board.cubes) for board in boards)
    if args.json:
        notes = [tr("{cubes} cubes on {boards} boards", cubes=cubes, boards=len(boards))]
        print_json(document("files", {"files": [str(path) for path in written], "notes": notes}))
        return 0
    for path in written:
        say(shown(path))
    say(
        tr(
            "{cubes} cubes on {boards} boards of {columns} by {rows}. Lay each as drawn, leave free "
            "cells free, and take two photos of it from two sides; then: snapcheck teach {kit} PHOTO...",
            cubes=cubes, boards=len(boards), columns=boards[0].columns, rows=boards[0].rows,
            kit=args.kit,
        )
    )  # fmt: skip
    return 0
