"""``snapcheck count PHOTO...``: cubes laid out on a plate, counted against a list."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from snapcheck import api
from snapcheck.box import PartsList, piece_words
from snapcheck.cli._box import piece_json
from snapcheck.cli._common import add_kit, kit_of
from snapcheck.cli._output import document, print_json, say
from snapcheck.words import shown, tr

#: something is missing, and a person must look
MISSING, MUST_LOOK = 1, 12


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("photos", nargs="+", metavar="PHOTO", help="cubes laid out on a plate, snapped in")
    parser.add_argument(
        "--of", action="append", default=[], metavar="DESIGN", help="what was packed: its cubes"
    )
    parser.add_argument("--box", metavar="BOX", help="everything in this box should be there")
    parser.add_argument("--benches", type=int, default=1, metavar="N", help="packed for so many")
    parser.add_argument(
        "--answer", action="append", default=[], metavar="LINE",
        help="what stands in an unsure place, such as 'D2 led red anode=up' (with several photos '2: D2 …')",
    )  # fmt: skip
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    wanted: PartsList | None = None
    if args.of:
        wanted = api.parts_list(args.of, benches=args.benches, kit=kit)
    elif args.box:
        wanted = api.whole_box(args.box, kit=kit)
    result = api.count_cubes([Path(p) for p in args.photos], wanted=wanted, answers=args.answer, kit=kit)
    told = result.count
    open_places = [
        (number, question)
        for number, reading in enumerate(result.readings, start=1)
        for question in reading.questions
    ]
    if args.json:
        lines = [
            {**piece_json(n.piece, kit), "wanted": n.wanted, "seen": n.seen, "perhaps": n.perhaps,
             "missing": n.missing, "extra": n.extra}
            for n in told.lines
        ]  # fmt: skip
        asked = [_question(number, q, args.photos) for number, q in open_places]
        print_json(document("count", {"photos": args.photos, "complete": told.complete, "sure": told.sure,
                                      "cubes": lines, "questions": asked}), indent=2)  # fmt: skip
    else:
        for line in told.lines:
            words = [tr("{n} seen", n=line.seen)]
            words += [tr("{n} perhaps", n=line.perhaps)] * bool(line.perhaps)
            if wanted is not None:
                words.insert(0, tr("{n} wanted", n=line.wanted))
                words += [tr("{n} MISSING", n=line.missing)] * bool(line.missing)
                words += [tr("{n} too many", n=line.extra)] * bool(line.extra)
            say(f"{piece_words(line.piece, kit)}: {', '.join(words)}")
        for number, question in open_places:
            where = question.place or tr("the whole picture")
            place = f"{number}: {where}" if len(args.photos) > 1 else where
            say(tr("look at {place} ({reason}); answer with one of:", place=place, reason=question.reason))
            for option in question.options:
                prefix = f"{number}: " if len(args.photos) > 1 else ""
                say(f"  --answer '{shown(prefix + option.line)}'")
        if wanted is not None:
            say(tr("Everything is there.") if told.complete else tr("Not everything is there for sure."))
    if wanted is None or told.complete:
        return 0
    return MISSING if told.sure else MUST_LOOK


def _question(number: int, question: Any, photos: list[str]) -> dict[str, Any]:
    return {
        "photo": photos[number - 1],
        "place": question.place,
        "reason": question.reason,
        "options": [option.line for option in question.options],
    }
