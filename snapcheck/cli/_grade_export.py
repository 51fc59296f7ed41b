"""``snapcheck export COURSE WHAT``: gradebook, feedback, overview, audit file, copy without names."""

from __future__ import annotations

import argparse
from pathlib import Path

from snapcheck.cli._common import make_folder, print_json
from snapcheck.cli._grade import Bar, add_course_options, add_crew, crew_of, write_beside
from snapcheck.cli._output import document, say
from snapcheck.words import shown, tr

WHAT = ("gradebook", "feedback", "overview", "audit", "pseudonymous")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("course", metavar="COURSE", help="the course folder")
    parser.add_argument("what", choices=WHAT, nargs="+", help="what to write")
    parser.add_argument("--out", metavar="FOLDER", help="where to (default: 'out' in the course folder)")
    parser.add_argument("--pdf", action="store_true", help="feedback as PDF, too")
    parser.add_argument("--only", metavar="STUDENT", default="", help="feedback for this one only")
    add_course_options(parser)
    add_crew(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.grade import Store, load_course, regrade
    from snapcheck.grade import out as o

    course = load_course(args.course, rubric=args.rubric, store=args.store)
    folder = Path(args.out) if args.out else course.folder / o.OUT
    if args.only:
        course.student(args.only)
    written: list[Path] = []
    notes: tuple[str, ...] = ()
    with Store(course.store, create=False) as store, Bar() as bar:
        crew = crew_of(args)
        entries = regrade(course, store, crew, progress=bar)
        make_folder(folder)

        def put(name: str, text: str) -> None:
            write_beside(course, folder / name, text)
            written.append(folder / name)

        if "gradebook" in args.what:
            put("gradebook.csv", o.gradebook_csv(course, entries))
        if "overview" in args.what:
            put("overview.html", o.overview_page(course, entries))
        if "pseudonymous" in args.what:
            put("pseudonymous.csv", o.pseudonymous_csv(course, entries, o.pseudonym_key(course)))
        if "audit" in args.what:
            o.write_audit(store, folder / "audit.jsonl")
            written.append(folder / "audit.jsonl")
            chain = o.check_audit(store, folder / "audit.jsonl")
            told = tr("The chain of the audit file holds: {n} lines, the last hash {hash}.",
                      n=chain.lines, hash=chain.last[:16])  # fmt: skip
            if chain.gaps:
                told += " " + tr("Lines are missing in {n} places because somebody was erased.", n=chain.gaps)
            notes += (told,)
        if "feedback" in args.what:
            made = o.write_feedback(
                course, store, crew, folder / "feedback", pdf=args.pdf, only=args.only, progress=bar
            )
            written += made.files
            notes += made.notes
        crew.close()
    if args.json:
        print_json(document("files", {"files": [str(p) for p in written], "notes": list(notes)}))
        return 0
    for note in notes:
        say(f"· {shown(note)}")
    for path in written[:6]:
        say(shown(path))
    if len(written) > 6:
        say(tr("… and {n} more", n=len(written) - 6))
    return 0
