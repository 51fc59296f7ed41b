"""``snapcheck grade COURSE``: grade what a class handed in."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from snapcheck import api
from snapcheck.cli._common import print_json, write_file
from snapcheck.cli._output import console, document, say
from snapcheck.cli._teach_from import tell_teachable
from snapcheck.errors import InputError
from snapcheck.words import numeral, shown, tr

if TYPE_CHECKING:
    from snapcheck.grade import Course, Crew


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("course", metavar="COURSE", help="the course folder; it holds course.toml")
    parser.add_argument("--stored", action="store_true", help="open no pictures: grade from stored readings")
    parser.add_argument("--again", action="store_true", help="retry pictures at which the program failed")
    parser.add_argument("--gradebook", metavar="FILE", help="write the gradebook as CSV")
    add_course_options(parser)
    add_crew(parser)


def add_course_options(parser: argparse.ArgumentParser) -> None:
    """``--store`` and ``--rubric``."""
    parser.add_argument("--store", metavar="PLACE", default="", help="gradebook file or database URL")
    parser.add_argument("--rubric", metavar="FILE", help="another rubric than the course's")


def add_crew(parser: argparse.ArgumentParser) -> None:
    """``--workers`` and ``--cluster``."""
    parser.add_argument("--workers", type=_count, metavar="N", help="processes (usual: one for each core)")
    parser.add_argument("--cluster", metavar="ADDRESS", help="work on the Dask cluster at this address")


def _count(text: str) -> int:
    value = int(text)
    if not 1 <= value <= 512:
        raise argparse.ArgumentTypeError("1 to 512")
    return value


def crew_of(args: argparse.Namespace) -> Crew:
    """Who does the work, as the command line asks."""
    from snapcheck.grade import ClusterCrew, LocalCrew

    return ClusterCrew(args.cluster) if args.cluster else LocalCrew(args.workers)


class Bar:
    """A progress bar with rate and time left; plain lines where standard error is no terminal."""

    def __init__(self) -> None:
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        self._console = console(stderr=True)
        self._bar = Progress(
            TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(),
            TextColumn("{task.fields[rate]}", markup=False), TimeRemainingColumn(), console=self._console,
            transient=True, disable=not self._console.is_terminal,
        )  # fmt: skip
        self._task: Any = None

    def begin(self, what: str, total: int) -> None:
        if self._task is not None:
            self._bar.remove_task(self._task)
        self._task = self._bar.add_task(what, total=total, rate="")
        if total and not self._console.is_terminal:
            say(f"{what}: {total}", file=sys.stderr)

    def step(self) -> None:
        self._bar.advance(self._task)
        speed = self._bar.tasks[-1].speed
        if speed:
            rate = tr("{n} a minute", n=f"{speed * 60:.0f}")
            self._bar.update(self._task, rate=rate)

    def __enter__(self) -> Bar:
        self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bar.stop()


def write_beside(course: Course, path: Path, text: str) -> None:
    """Write what a course comes to. Raises InputError: that is a file of the course itself, or see
    `write_file`."""
    store = () if "://" in course.store else (Path(course.store),)
    if path.resolve() in {file.resolve() for file in (*course.files, course.submissions, *store)}:
        raise InputError(
            tr("is a file of the course itself, and is left as it is."),
            place=path,
            way_out=tr("Choose another place for the file."),
        )
    write_file(path, text)


def run(args: argparse.Namespace) -> int:
    from snapcheck.grade import load_course
    from snapcheck.grade.out import gradebook_csv

    course = load_course(args.course, rubric=args.rubric, store=args.store)
    with Bar() as bar:
        try:
            graded = api.grade_class(
                course, stored=args.stored, again=args.again, crew=crew_of(args), progress=bar
            )
        except KeyboardInterrupt:
            say(tr("Stopped. Run it again to go on: what was done is kept."), file=sys.stderr)
            raise
    entries, result, unmatched = graded.grades, graded.batch, graded.unmatched
    places = len(graded.waiting.waiting)
    if args.gradebook:
        write_beside(course, Path(args.gradebook), gradebook_csv(course, entries))
    waiting = [e for e in entries.values() if not e.grade.final]
    if args.json:
        print_json(document("grades", {
            "course": course.title,
            "read_now": None if result is None else result.new,
            "grades": [
                {"student": e.student, "task": e.task, **e.to_json(), "more": list(e.more)}
                for e in entries.values()
            ],
            "waiting": {"grades": len(waiting), "places": places},
            "unmatched": [{"path": f.path, "problem": f.problem} for f in unmatched],
        }))  # fmt: skip
        return 1 if waiting or unmatched else 0
    _tell(course, entries)
    if result is not None:
        say(tr("{n} pictures, {new} read now.", n=result.pictures, new=result.new))
    more = [shown(path) for e in entries.values() for path in e.more]
    if more:
        say(tr("Further pictures of the same builds, kept beside those that count ({n}):", n=len(more)))
        say("  " + ", ".join(more))
    if unmatched:
        say(tr("Belong to nobody known ({n}):", n=len(unmatched)))
        for file in unmatched:
            say(f"  {shown(file.path)}: {shown(file.problem)}")
    tell_teachable(course, args.store)
    if waiting:
        say(waiting_words(places, len(waiting)) + f" (snapcheck review {shown(args.course)})")
    return 1 if waiting or unmatched else 0


def waiting_words(places: int, grades: int) -> str:
    """How much waits for a person: questions, and the grades that hang on them."""
    return tr(
        "For a person to decide: {places} places, on which {grades} grades hang", places=places, grades=grades
    )


def _tell(course: Any, entries: Any) -> None:
    from rich.table import Table

    from snapcheck.grade.out import state_of

    table = Table(box=None, pad_edge=False)
    for heading in (tr("number"), tr("name"), *(shown(t.name) for t in course.tasks)):
        table.add_column(heading)
    words = {"missing": tr("nothing"), "open": tr("look")}
    for student in course.students:
        cells = [student.number, shown(student.name)]
        for task in course.tasks:
            entry = entries[student.number, task.name]
            state = state_of(entry)
            cells.append(words.get(state) or f"{numeral(entry.grade.points)} / {numeral(entry.grade.most)}")
        table.add_row(*cells)
    console().print(table)
