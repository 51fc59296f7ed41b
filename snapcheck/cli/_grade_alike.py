"""``snapcheck alike COURSE``: nearly the same picture handed in under different names."""

from __future__ import annotations

import argparse

from snapcheck.cli._common import print_json
from snapcheck.cli._grade import add_course_options
from snapcheck.cli._output import document, say
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("course", metavar="COURSE", help="the course folder")
    add_course_options(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.grade import Store, load_course
    from snapcheck.grade.out import look_alikes

    course = load_course(args.course, rubric=args.rubric, store=args.store)
    with Store(course.store, create=False) as store:
        pairs = look_alikes(store)
    if args.json:
        told = [
            {"files": [p.first.path, p.second.path], "students": [p.first.student, p.second.student],
             "bits": p.bits} for p in pairs
        ]  # fmt: skip
        print_json(document("alike", {"pairs": told}))
        return 1 if pairs else 0
    for p in pairs:
        say(tr("{a} and {b} show nearly the same picture.", a=p.first.path, b=p.second.path))
    if pairs:
        say(tr("That is a fact to look at, not a judgement: people may share a bench, or a picture."))
        return 1
    say(tr("No two pictures of different people look nearly the same."))
    return 0
