"""``snapcheck find DESIGN``: which fault is it, and what to measure next."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck import api
from snapcheck.circuit import volts
from snapcheck.cli._common import add_kit, print_json, write_file
from snapcheck.cli._findings_text import print_findings
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.words import json_text, tr

if TYPE_CHECKING:
    from snapcheck.api import FaultPractice, FaultSearch

#: suspects and steps that are shown
_SUSPECTS, _FAULTS, _STEPS = 5, 4, 3
_FOUND, _DANGER, _UNSURE = 1, 11, 12


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("design", metavar="DESIGN", help="the plan: a layout file")
    parser.add_argument("built", metavar="BUILT", nargs="?", help="a photo or layout file of the build")
    parser.add_argument(
        "--reading", metavar="READING", action="append", default=[],
        help="such as 'C4 collector 4.6V', 'C3|D3 0V' (probe on C3, at its seam to D3), "
        "'C4 base to C4 emitter 0.65V', 'signal C4 base 20mV', 'contact C3|D3 open', 'lifted C3 4k7'; "
        "may be given often",
    )  # fmt: skip
    parser.add_argument(
        "--symptom", metavar="SYMPTOM", action="append", default=[],
        help="silent, too-quiet, distorted, hums, always-on, never-on, wrong-rate or hot",
    )  # fmt: skip
    parser.add_argument("--save", metavar="FILE", help="leave the search there, and take it up again")
    parser.add_argument(
        "--picture", metavar="FILE", help="write where the probes go next (SVG, or JPEG of a photo)"
    )
    parser.add_argument("--table", action="store_true", help="what a good build shows at each test point")
    parser.add_argument(
        "--practice", metavar="SEED", type=int, help="find a hidden fault in a calculated build"
    )
    parser.add_argument("--ask", metavar="PLACE", action="append", default=[], help="practice: a reading")
    parser.add_argument("--answer", metavar="FAULT", help="practice: where the fault is, or which")
    parser.add_argument(
        "--weights", metavar="FILE", help="how often faults happen (TOML), instead of the bundled"
    )
    parser.add_argument("--cache", metavar="FOLDER", help="keep what every fault would show")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    if args.practice is not None:
        return _practice(args)
    if args.table:
        return _table(args)
    from snapcheck.simulate import Simulator

    resume = Path(args.save) if args.save and Path(args.save).exists() else None
    with Simulator() as simulator:
        found = api.find(
            Path(args.design), Path(args.built) if args.built else None, readings=args.reading,
            symptoms=args.symptom, resume=resume, weights=args.weights, cache=args.cache, kit=args.kit,
            simulator=simulator,
        )  # fmt: skip
        _keep(args, found)
        if args.json:
            print_json(document("search", {"file": args.design, **found.to_json()}))
            return _code(found)
        _tell(found)
        if not (args.reading or args.symptom) and found.search is not None:
            found = _talk(args, found)
    return _code(found)


def _code(found: FaultSearch) -> int:
    from snapcheck.diagnose import Outcome

    if found.dangers:
        return _DANGER
    if found.outcome is Outcome.DESIGNED:
        return 0
    return _FOUND if found.outcome is Outcome.FOUND else _UNSURE


def _keep(args: argparse.Namespace, found: FaultSearch) -> None:
    """Leave the search and the picture in their files."""
    if args.save:
        write_file(args.save, json_text(document("search", {"file": args.design, **found.to_json()}), 2))
    if args.picture:
        write_file(args.picture, found.drawing(found.steps[0] if found.steps else None))


def _tell(found: FaultSearch) -> None:
    if found.dangers:
        print_findings(found.dangers)
        say()
        say(found.sentence)
        return
    say(found.sentence)
    for line in found.contradictions:
        say(f"! {line}")
    for suspect in found.suspects[:_SUSPECTS]:
        lines = [fault.text for fault in suspect.faults[:_FAULTS]]
        if len(suspect.faults) > _FAULTS:
            lines.append(
                tr("and {count} more that nothing tells from it", count=len(suspect.faults) - _FAULTS)
            )
        say(f"{suspect.probability:5.0%}  {lines[0]}")
        for line in lines[1:]:
            say("       " + tr("or: {fault}", fault=line))
    assert found.search is not None
    for one, two, probability in found.search.best_pairs[:_STEPS]:
        say(f"{probability:5.0%}  " + tr("both: {one} {two}", one=one.text, two=two.text))
    _tell_steps(found)


def _tell_steps(found: FaultSearch) -> None:
    from snapcheck.diagnose import ask_text

    if not found.steps or found.search is None:
        return
    say(tr("Measure next:"))
    for number, step in enumerate(found.steps[:_STEPS], start=1):
        words, expected = found.words_of(step)
        place = ask_text(found.search.dictionary, step.ask)
        say(f"{number}. {words} " + tr("Expect {value}. (write: {place} …)", value=expected, place=place))


def _talk(args: argparse.Namespace, found: FaultSearch) -> FaultSearch:
    """Readings as they are typed, until nothing more is."""
    for line in _typed(tr("reading (a value alone is for step 1; empty: leave)")):
        try:
            found = _told(found, line)
        except InputError as error:
            say(error)
            continue
        _keep(args, found)
        _tell(found)
    return found


def _told(found: FaultSearch, line: str) -> FaultSearch:
    """The search after what was typed: a symptom, a reading, or a value alone."""
    from snapcheck.diagnose import CONTACT_WORDS, LIFTED_WORDS, ask_text

    if line.startswith("symptom "):
        return found.with_symptom(line.removeprefix("symptom "))
    alone = line[0] in "+-−.0123456789" or line in (*CONTACT_WORDS, *LIFTED_WORDS)
    if alone and found.steps and found.search is not None:
        line = f"{ask_text(found.search.dictionary, found.steps[0].ask)} {line}"
    return found.with_reading(line)


def _typed(prompt: str) -> Iterator[str]:
    """Lines that a person types; nothing after an empty one or the end."""
    while True:
        if sys.stdin.isatty():
            say(f"{prompt}:")
        line = sys.stdin.readline().strip()
        if not line:
            return
        yield line


def _table(args: argparse.Namespace) -> int:
    rows = api.expected_readings(Path(args.design), weights=args.weights, cache=args.cache, kit=args.kit)
    if args.json:
        print_json(document("test-points", {"file": args.design, "test_points": [r.to_json() for r in rows]}))
        return 0
    for row in rows:
        middle = tr("about {volts}", volts=volts(row.volts)) if row.signal else volts(row.volts)
        band = "" if row.signal else tr("{low} to {high}", low=volts(row.low), high=volts(row.high))
        say(f"{row.at:28} {middle:>14}  {band}".rstrip())
    return 0


def _practice(args: argparse.Namespace) -> int:
    from snapcheck.simulate import Simulator

    with Simulator() as simulator:
        exercise = api.practice(
            Path(args.design), args.practice, weights=args.weights, cache=args.cache, kit=args.kit,
            simulator=simulator,
        )  # fmt: skip
        readings = [_asked(exercise, place) for place in args.ask]
        score = None if args.answer is None else exercise.answer(args.answer)
        if args.json:
            told = {"file": args.design, "seed": args.practice, "readings": readings, "score": score}
            print_json(document("practice", told))
            return 0 if score is None or score["right"] else 1
        for reading in readings:
            say(f"{reading['at']}: {reading['words']}")
        if score is None and not args.ask:
            say(tr("This build looks right and does not work. Ask for readings, such as 'C4 collector'; "
                   "answer with 'answer C4' or 'answer C3|D3'."))  # fmt: skip
            score = _dialogue(exercise)
    if score is not None:
        _tell_score(score)
    return 0 if score is None or score["right"] else 1


def _asked(exercise: FaultPractice, place: str) -> dict[str, Any]:
    from snapcheck.diagnose import value_words

    reading = exercise.ask(place)
    return {"at": place, "value": reading.value, "words": value_words(reading)}


def _dialogue(exercise: FaultPractice) -> dict[str, Any] | None:
    for line in _typed(tr("place, or answer")):
        try:
            if line.startswith("answer "):
                return exercise.answer(line.removeprefix("answer "))
            told = _asked(exercise, line)
            say(f"{told['at']}: {told['words']}")
        except InputError as error:
            say(error)
    return None


def _tell_score(score: dict[str, Any]) -> None:
    say(tr("Right.") if score["right"] else tr("That is not it."))
    say(score["fault"]["text"])
    say(
        tr("Readings: {readings}, effort {effort}; the best search needs {best} with effort {best_effort}.",
           readings=score["readings"], effort=score["effort"], best=score["best_readings"],
           best_effort=score["best_effort"])
    )  # fmt: skip
    say(tr("Points: {points} of 100", points=score["points"]))
