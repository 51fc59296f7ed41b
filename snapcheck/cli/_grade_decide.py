"""``snapcheck decide COURSE STUDENT TASK DECISION --reason WHY``: what a person decides, kept for good."""

from __future__ import annotations

import argparse
import getpass
import sys
from pathlib import Path
from typing import Any

from snapcheck.cli._common import print_json
from snapcheck.cli._grade import add_course_options, add_crew, crew_of
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.words import numeral, tr

FORMS = """DECISION is one of:
  D3 pnp BC327 base=left    what stands in a cell, as in a layout file
  remove D3                 nothing stands there (also: remove tap C4|D4)
  tap C4|D4, lead F1 to C4|D4
  looked                    what the reading remarks on hides nothing
  points ITEM 2             points for one item; points total 15
  excused                   late for a good reason
  counts PATH               which of several pictures counts
  belongs PATH              whose picture it is
  unreadable                a picture that cannot be read stays without points
  kept PATH, withdrawn PATH a picture that is no longer there goes on counting, or not
  handed-in 2031-03-05T18:00   when it was handed in
"""


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = tr(FORMS)
    parser.add_argument("course", metavar="COURSE", help="the course folder")
    parser.add_argument("student", metavar="STUDENT", nargs="?", help="number in the roster")
    parser.add_argument("task", metavar="TASK", nargs="?", help="name of the task")
    parser.add_argument("decision", metavar="DECISION", nargs="?", help="see below")
    parser.add_argument("--reason", metavar="WHY", default="", help="why, in a few words")
    parser.add_argument(
        "--from", dest="table", metavar="FILE", help="CSV: student,task,decision,reason; all of it or nothing"
    )
    parser.add_argument("--by", metavar="NAME", help="who decides (default: the name you are logged in with)")
    parser.add_argument("--picture", metavar="PATH", default="", help="a picture that does not count now")
    parser.add_argument("--take-back", type=int, metavar="NUMBER", help="take an earlier decision back")
    add_course_options(parser)
    add_crew(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.grade import Store, decide, decide_all, decisions_in, load_course, regrade

    course = load_course(args.course, rubric=args.rubric, store=args.store)
    by = args.by or _login()
    _needs(args)
    with Store(course.store, create=False) as store:
        before = store.grades()
        if args.take_back is not None:
            if args.decision or args.student:
                raise InputError(tr("to take back, give nothing but the number."), place="--take-back")
            numbers = [store.take_back(args.take_back, by=by, reason=args.reason)]
        elif args.table:
            numbers = decide_all(course, store, decisions_in(Path(args.table), args.reason), by=by)
        else:
            numbers = [
                decide(
                    course, store, args.student, args.task, args.decision, by=by, reason=args.reason,
                    picture=args.picture,
                )
            ]  # fmt: skip
        crew = crew_of(args)
        try:
            entries = regrade(course, store, crew)
        except SnapcheckError as error:  # the decision stands, whatever becomes of the rest
            entries = {}
            say(tr("Grades are worked out the next time: {why}", why=error), file=sys.stderr)
        crew.close()
    changed = {
        key: (before[key]["grade"]["points"] if key in before else None, e)
        for key, e in entries.items()
        if key == (args.student, args.task)
        or _short(before.get(key, {}).get("grade")) != _short(e.grade.to_json())
    }
    if args.json:
        print_json(document("decision", {
            "number": numbers[-1],
            "numbers": numbers,
            "changed": [
                {"student": s, "task": t, "before": old, "after": e.grade.points, "final": e.grade.final}
                for (s, t), (old, e) in changed.items()
            ],
        }))  # fmt: skip
        return 0
    if args.table:
        say(tr("Decisions kept: {n}.", n=len(numbers)))
    else:
        say(tr("Kept as number {number}.", number=numbers[0]))
    for (student, task), (old, e) in changed.items():
        state = tr("final") if e.grade.final else tr("still open")
        points = numeral(f"{old or '-'} → {e.grade.points} / {e.grade.most}")
        say(f"{student} {task}: {points}, {state}")
    return 0


def _needs(args: argparse.Namespace) -> None:
    """A reason, unless a table may hold it; and not two kinds of decision at once."""
    if args.table and (args.decision or args.student or args.take_back is not None or args.picture):
        raise InputError(tr("with a table of decisions, give nothing but a reason."), place="--from")
    if not args.table and args.take_back is None and not (args.student and args.task and args.decision):
        raise InputError(
            tr("student, task and decision are needed."),
            way_out="snapcheck decide COURSE T-104 night-lamp 'D3 pnp BC327 base=left' --reason WHY",
        )
    if not args.reason and not args.table:
        raise InputError(tr("a decision needs a reason."), place="--reason")


def _short(grade: dict[str, Any] | None) -> tuple[str, bool] | None:
    """What matters of a grade to somebody who decides: points, and whether they are final."""
    return None if grade is None else (grade["points"], not grade["open"])


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"
