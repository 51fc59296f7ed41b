"""``snapcheck adopt PHOTO...``: a photo of a reference build becomes a plan, ready to edit."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck import api
from snapcheck.cli._common import add_kit, kit_of, write_file
from snapcheck.cli._output import document, print_json, say
from snapcheck.errors import InputError
from snapcheck.words import shown, tr

if TYPE_CHECKING:
    from snapcheck.api import Adopted

#: exit codes as of `check`
DANGER, MUST_LOOK = 11, 12


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "photos",
        nargs="+",
        metavar="PHOTO",
        help="picture of the reference build, or several of the same one",
    )
    parser.add_argument("--title", default="", help="what it is called")
    parser.add_argument("--input", default="", metavar="PLACE", help="where the signal goes in, such as A5")
    parser.add_argument("--output", default="", metavar="PLACE", help="where it comes out: 'C4 collector'")
    parser.add_argument("--set", default="", metavar="SETTINGS", help="such as 'A2 closed, light 5 lux'")
    parser.add_argument(
        "--answer", action="append", default=[], metavar="LINE",
        help="what stands in an unsure place: 'D2 led red anode=up', 'remove D2', 'looked'",
    )  # fmt: skip
    parser.add_argument("-o", "--out", metavar="FILE", help="the plan (default: PHOTO's name .board, here)")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    first, *more = (Path(p) for p in args.photos)
    answers = list(args.answer)
    out = Path(args.out) if args.out else Path(f"{first.stem}.board")
    if not args.out and out.exists():
        raise InputError(
            tr("is there already."), place=out,
            way_out=tr("Give the plan's name with --out; a file of that name is written over."),
        )  # fmt: skip
    while True:
        made = api.adopt(
            first, also=more, answers=answers, title=args.title, input=args.input, output=args.output,
            settings=args.set, kit=kit,
        )  # fmt: skip
        given = _ask(made) if made.questions and sys.stdin.isatty() and not args.json else []
        if not given:
            break
        answers += given
    whole = not made.questions
    if whole:
        write_file(out, made.layout)
    if args.json:
        questions = [
            {"place": q.place, "reason": q.reason, "options": [o.line for o in q.options]}
            for q in made.questions
        ]
        data = {
            "photos": args.photos, "written": str(out) if whole else None,
            "layout": made.layout if whole else None, "questions": questions,
            "figures": [f.text for f in made.design.expectations],
            "dangers": [f.title for f in made.dangers], "notes": list(made.notes),
        }  # fmt: skip
        print_json(document("plan", data), indent=2)
    else:
        _tell(made, out)
    return MUST_LOOK if made.questions else DANGER if made.dangers else 0


def _ask(made: Adopted) -> list[str]:
    """What a person at the terminal says to each question; nothing where they give up."""
    given = []
    for question in made.questions:
        say(f"{question.place or tr('the whole picture')}: {shown(question.reason)}")
        for number, option in enumerate(question.options, start=1):
            say(f"  {number}  {shown(option.line)}")
        try:
            said = input(tr("number, or a line of your own (empty: stop): ")).strip()
        except EOFError:
            return []
        if not said:
            return []
        chosen = said.isdecimal() and 1 <= int(said) <= len(question.options)
        given.append(question.options[int(said) - 1].line if chosen else said)
    return given


def _tell(made: Adopted, out: Path) -> None:
    if made.questions:
        say(tr("Something is not sure, so this is no plan yet. Look, and answer:"))
        for question in made.questions:
            say(f"  {question.place or tr('the whole picture')}: {shown(question.reason)}")
            for option in question.options:
                say(f"    --answer '{shown(option.line)}'")
        return
    for finding in made.dangers:
        say(tr("Do not power this: {title}", title=finding.title))
    say(tr("{out}: cubes: {n}, figures: {figures}", n=len(made.design.board.cubes),
           figures=len(made.design.expectations), out=out))  # fmt: skip
    for figure in made.design.expectations:
        say(f"  {shown(figure.text)}")
    for note in made.notes:
        say(f"  {shown(note)}")
