"""``snapcheck describe KIND --kit FILE``: add a kind of cube to a kit, asked for what is missing."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from snapcheck.cli._common import plate_of, write_file
from snapcheck.cli._kit import tell_kind
from snapcheck.cli._output import say
from snapcheck.errors import InputError
from snapcheck.words import shown, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", metavar="KIND", help="its name: one word, such as timer-2x2")
    parser.add_argument(
        "--kit", required=True, metavar="FILE", help="the kit it goes into, begun if there is none"
    )
    parser.add_argument("--title", help="what people call it")
    parser.add_argument("--model", help="what it is calculated as (resistor, npn, battery, network ...)")
    parser.add_argument("--footprint", metavar="CxR", help="cells that it covers (default: 1x1)")
    parser.add_argument(
        "--leg",
        action="append",
        metavar="NAME:SIDE",
        help="a leg at turn 0: plus:W, on several cells plus:A2-W",
    )
    parser.add_argument("--value", metavar="FORM", help="what is printed: ohms, volts, type, none ...")
    parser.add_argument(
        "--values", action="append", metavar="VALUE", help="one that the box has (repeatable)"
    )
    parser.add_argument("--draw", metavar="FILE", help="draw it (SVG)")


def run(args: argparse.Namespace) -> int:
    from snapcheck.api import text_of_kit
    from snapcheck.board import symbol_svg
    from snapcheck.kit import chips_kit, kind_table, like, needed_legs, parse_kit, taught_text, untaught_text

    file = Path(args.kit)
    text = text_of_kit(file) if file.exists() else _begun(file)
    kit = parse_kit(text, str(file))
    model = _asked(args.model, "--model", tr("What is it calculated as?"))
    legs = list(args.leg or ())
    for leg in needed_legs(model):
        if not any(given.partition(":")[0] == leg for given in legs):
            side = _asked(
                None, f"--leg {leg}:SIDE", tr("Where does the leg '{leg}' lie (W, or A2-W)?", leg=leg)
            )
            legs.append(f"{leg}:{side}")
    table = kind_table(
        args.kind, title=_asked(args.title, "--title", tr("What do people call it?")), model=model, legs=legs,
        size=plate_of(args.footprint) or (1, 1), form=args.value or "", values=args.values or (),
        start=like(kit, model) or like(chips_kit(), model),
    )  # fmt: skip
    whole = taught_text(f"{untaught_text(text)}\n{table}", kit.taught)
    made = parse_kit(whole, str(file))  # says what is wrong before anything is written
    write_file(file, whole)
    if args.draw:
        write_file(Path(args.draw), symbol_svg(made[args.kind]))
    tell_kind(made[args.kind], made, as_json=args.json)
    if not args.json:
        say(tr("It stands in {file}.", file=shown(file)))
    return 0


def _begun(file: Path) -> str:
    return f'name = "{file.stem}"\ntitle = "Our cubes"\nbased_on = "bundled"\n'


def _asked(given: str | None, option: str, question: str) -> str:
    """What was given, or what a person at the terminal answers."""
    if given:
        return given
    if not sys.stdin.isatty():
        raise InputError(tr("{option} is missing.", option=option), way_out=question)
    say(question)
    answer = input("> ").strip()
    if not answer:
        raise InputError(tr("{option} is missing.", option=option), way_out=question)
    return answer
