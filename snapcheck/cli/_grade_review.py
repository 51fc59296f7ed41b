"""``snapcheck review COURSE``: what waits for a person; ``snapcheck decide``: what a person decides."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from snapcheck.cli._common import print_json
from snapcheck.cli._grade import add_course_options, add_crew, crew_of, waiting_words, write_beside
from snapcheck.cli._output import document, say
from snapcheck.cli._teach_from import tell_teachable
from snapcheck.words import numeral, shown, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("course", metavar="COURSE", help="the course folder")
    parser.add_argument("--page", metavar="FILE", help="write a page (HTML) with the parts of the pictures")
    parser.add_argument(
        "--all", action="store_true", help="list places, too, at which every choice gives the same grade"
    )
    parser.add_argument("--history", action="store_true", help="list every decision that was ever made")
    add_course_options(parser)
    add_crew(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.grade import Store, history_lines, load_course, review
    from snapcheck.grade.out import review_page

    course = load_course(args.course, rubric=args.rubric, store=args.store)
    with Store(course.store, create=False) as store:
        if args.history:
            return _history(history_lines(store, store.files()), args.json)
        crew = crew_of(args)
        found = review(course, store, crew)
        crew.close()
    listed = tuple(w for w in found.waiting if args.all or not w.idle)
    if args.page:
        write_beside(course, Path(args.page), review_page(course, replace(found, waiting=listed)))
    if args.json:
        print_json(document("review", {
            "waiting": [w.to_json() for w in found.waiting],
            "unmatched": [{"path": f.path, "problem": f.problem} for f in found.unmatched],
        }))  # fmt: skip
        return 1 if found.waiting or found.unmatched else 0
    for w in listed:
        say(f"{w.student} {shown(w.task)}  ({shown(w.path)})")
        say(f"  {shown(w.question)} {shown(w.reason_sentence)}".rstrip())
        for c in w.choices:
            share = "" if c.probability is None else _percent(c.probability)
            points = (
                tr(
                    "{points} points: {verdict}",
                    points=numeral(c.grade.points),
                    verdict=c.grade.verdict_sentence,
                )
                if c.grade
                else tr("cannot be worked out")
            )
            planned = "  " + tr("(as planned)") if c.planned else ""
            say(f"    {share:>6}  {shown(c.line):<40} {points}{planned}")
    for f in found.unmatched:
        say(f"{shown(f.path)}: {shown(f.problem)}")
    tell_teachable(course, args.store)
    if not found.waiting and not found.unmatched:
        say(tr("Nothing waits for a person."))
        return 0
    if left_out := len(found.waiting) - len(listed):
        told = tr("Places at which every choice gives the same grade: {n}.", n=left_out)
        say(f"{told} {tr('They are left out here; --all lists them.')}")
    if found.waiting:
        if args.page:
            say(tr("Page: {file}", file=args.page))
        say(waiting_words(len(found.waiting), len({(w.student, w.task) for w in found.waiting})))
    say(
        tr(
            "Decide with: snapcheck decide {course} STUDENT TASK 'DECISION' --reason 'WHY'",
            course=args.course,
        )
    )
    return 1


def _history(rows: list[dict[str, Any]], as_json: bool) -> int:
    from snapcheck.grade import decision_text

    if as_json:
        print_json(document("history", {"decisions": rows}))
        return 0
    for r in rows:
        state = "" if r["in_force"] or r["takes_back"] else tr(" (taken back)")
        what = tr("takes back number {n}", n=r["takes_back"]) if r["takes_back"] else decision_text(r)
        whose = f"{r['student']} {r['task']}" if r["student"] else r["subject"]
        say(f"{r['number']:>4} {r['at']} {shown(r['by'])}: {shown(whose)}: "
            f"{shown(what)}{state}. {shown(r['reason'])}")  # fmt: skip
    return 0


def _percent(share: float) -> str:
    """``45 %``; what is hardly possible is not impossible."""
    return "<1 %" if share < 0.01 else f"{100 * share:3.0f} %"
