"""``snapcheck forget COURSE STUDENT``: erase one student everywhere, and say what remains."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import Any

from snapcheck.cli._common import print_json
from snapcheck.cli._grade import add_course_options
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.words import shown, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("course", metavar="COURSE", help="the course folder")
    parser.add_argument("student", metavar="STUDENT", help="number in the roster")
    parser.add_argument("--keep-photos", action="store_true", help="leave the files of the submissions alone")
    parser.add_argument(
        "--yes", action="store_true", help="do it; without this, only say what would be erased"
    )
    add_course_options(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.grade import Store, load_course
    from snapcheck.grade.out import forget

    course = load_course(args.course, rubric=args.rubric, store=args.store)
    with Store(course.store, create=False) as store:
        if not args.yes:
            mine = [f.path for f in store.files() if f.student == args.student]
            if (
                not mine
                and not any(s.number == args.student for s in course.students)
                and not any(student == args.student for student, _ in store.grades())
            ):
                raise InputError(tr("nobody of this number is known."), place=args.student)
            if args.json:
                print_json(_told(args.student, False, 0, mine, ()))
                return 1
            say(tr("Would erase {student}: {n} pictures, with readings, grades, decisions and feedback.",
                     student=args.student, n=len(mine)))  # fmt: skip
            say(tr("This cannot be taken back; do it with --yes."))
            return 1
        done = forget(course, store, args.student, photos=not args.keep_photos)
    if args.json:
        print_json(_told(args.student, True, done.rows, done.files, done.remains))
        return 0
    say(tr("Erased: {rows} rows of the gradebook, {files} files.", rows=done.rows, files=len(done.files)))
    say(tr("What remains:"))
    for line in done.remains:
        say(f"  {shown(line)}")
    return 0


def _told(
    student: str, done: bool, rows: int, files: Sequence[object], remains: Sequence[str]
) -> dict[str, Any]:
    told = {"done": done, "rows": rows, "files": [str(f) for f in files], "remains": list(remains)}
    return document("erasure", {"student": student, **told})
