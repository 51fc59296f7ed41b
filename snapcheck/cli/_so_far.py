"""``snapcheck so-far PHOTO DESIGN``: how far has a build come, what is next, what is wrong so far?"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from snapcheck import api
from snapcheck.check import Verdict, verdict_of
from snapcheck.cli._common import add_among, add_kit, add_photos, add_structure_only, print_json
from snapcheck.cli._findings_text import print_findings
from snapcheck.cli._output import document, say
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    add_photos(parser)
    add_among(parser)
    parser.add_argument("--book", metavar="FILE", help="a rule file of your own (TOML)")
    add_structure_only(parser)
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    photo, *more = args.photos
    result = api.so_far(
        Path(photo), Path(args.design), also=[Path(p) for p in more], among=args.among, kit=args.kit,
        book=args.book, calculate=not args.structure_only,
    )  # fmt: skip
    verdict = verdict_of(result.findings)
    code = 0 if verdict is Verdict.READY else verdict.exit_code
    if args.json:
        told = {"file": photo, "design_file": args.design, **result.to_json(), "exit_code": code}
        print_json(document("so-far", told))
        return code
    for note in result.notes:
        say(note, file=sys.stderr)
    print_findings(result.findings)
    if result.findings:
        say()
    if result.another is None:
        _say_steps(result, photo, args.design)
    return code


def _say_steps(result: object, photo: str, design: str) -> None:
    from snapcheck.sheet import next_words

    assert isinstance(result, api.SoFar)
    many = len(result.course.steps)
    if result.unlike:
        return
    if result.own_layout:
        say(tr("Laid out in its own way, it is the whole circuit."))
        say(_before_power(photo, design))
        return
    say(
        tr("Steps done: {done} of {steps}; {right} cubes stand as planned.",
           done=result.done, steps=many, right=len(result.right))
    )  # fmt: skip
    if result.open_cells:
        cells = ", ".join(map(str, result.open_cells))
        say(tr("Still to put in from these steps: {cells}", cells=cells))
    if result.ahead:
        say(tr("There already from later steps: {cells}", cells=", ".join(map(str, result.ahead))))
    if result.mistakes:
        say(tr("Mend what is named above before you go on."))
    if result.complete:
        say(_before_power(photo, design))
        return
    step = result.next_step
    if step is not None:
        say(tr("Next, step {number}:", number=step.number))
        for words in next_words(result):
            say(f"  {words}")


def _before_power(photo: str, design: str) -> str:
    return tr(
        "Everything is there. Before you power it: snapcheck check {photo} {design}",
        photo=photo,
        design=design,
    )
