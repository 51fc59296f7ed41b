"""A build held against its plan, from a photo or a file."""

from __future__ import annotations

import contextvars
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from os import PathLike as _PathLike
from typing import TYPE_CHECKING, Any

from snapcheck.api._given import (
    Colours,
    DesignLike,
    PathLike,
    board_of,
    book_of,
    kit_of,
    limits_of,
    picture_of,
    plan_of,
    reading_of,
    shows_a_board,
)
from snapcheck.api._read import with_others
from snapcheck.api._results import BuildComparison, widened
from snapcheck.api._solver import solver
from snapcheck.board import (
    Board,
    Design,
)
from snapcheck.check import (
    ComparisonSettings,
    Verdict,
    lay,
    tell,
    with_doubts,
)
from snapcheck.circuit import RuleBook
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.kit import Kit
from snapcheck.pipeline import Calculated, check_build
from snapcheck.report import draw_ahead
from snapcheck.watch import Cancel, Progress, step, stop_if_asked, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BoardLike, BuiltLike, KitLike, PictureLike
    from snapcheck.api._seen import BuildCheck
    from snapcheck.photo import Picture, Reading
    from snapcheck.simulate import Simulator


def check(
    built: BuiltLike,
    design: DesignLike,
    *,
    also: Sequence[PictureLike] = (),
    reading: Reading | PathLike | Mapping[str, Any] | None = None,
    kit: KitLike = None,
    name: str = "",
    colours: Colours = "rgb",
    calculate: bool = True,
    strict: bool = False,
    book: RuleBook | PathLike | None = None,
    limits: ComparisonSettings | PathLike | None = None,
    simulator: Simulator | None = None,
    report: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> BuildCheck:
    """Check a build against its plan: reading, rules, comparison and calculation in one go.

    Args:
        built: a picture as `read` takes it, a `PhotoReading`, or a board: object, layout text, JSON, path.
        design: the plan: object, layout text, JSON, or the path of either.
        also: more pictures of the same build, see `read`.
        reading: what the picture shows, as `read` gave it, instead of reading it again.
        kit, name, colours, progress, cancel: see `read`.
        calculate: False: judge by how parts are joined, without voltages and currents.
        strict: ask about all that is not clear, whatever the plan says.
        book, limits: rules and limits of your own: objects, or paths of TOML files.
        simulator: `snapcheck.Simulator`, for many checks; None: one for this check alone.
        report: a report will be saved: what it needs is drawn while the picture is read.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
        PhotoError: the picture cannot be read as a board: take it again.
        StoppedError: `cancel` said so.
    """
    from snapcheck.api._seen import BuildCheck

    cubes = kit_of(kit)
    plan = plan_of(design, cubes)
    rules_book = None if book is None else book_of(book)
    settings = None if limits is None else limits_of(limits)
    photo = not shows_a_board(built)
    with watched(progress, cancel), solver(simulator, calculate) as own:
        step(tr("reading the picture"))
        with _ahead(own, plan, cubes, drawn=report and photo) as done:
            seen, picture = _seen(built, also, reading, cubes, name, colours, photo)
            step(tr("checking"))
            done()
        result = check_build(seen, plan, cubes, own, book=rules_book, settings=settings, strict=strict)
    return widened(
        BuildCheck, result, picture=picture, simulator=simulator, book=rules_book, limits=settings,
        strict=strict, calculated=calculate,
    )  # fmt: skip


@contextmanager
def _ahead(
    simulator: Simulator | None, plan: Design, kit: Kit, *, drawn: bool
) -> Iterator[Callable[[], None]]:
    """What the plan does is calculated, and it is drawn, while the picture is being read; gives a function
    that waits for it."""

    def work() -> None:
        with suppress(SnapcheckError):  # told where the result is needed
            if simulator is not None:  # in another process
                simulator.measure_plan(plan, kit)
        if drawn:
            with suppress(SnapcheckError):
                draw_ahead(plan.board, kit)

    thread = threading.Thread(target=contextvars.copy_context().run, args=(work,), daemon=True)
    thread.start()
    try:
        yield thread.join
    finally:
        thread.join(5.0)  # where the picture cannot be read: before the simulator is closed


def _seen(
    built: BuiltLike,
    also: Sequence[PictureLike],
    reading: Reading | PathLike | Mapping[str, Any] | None,
    kit: Kit,
    name: str,
    colours: Colours,
    photo: bool,
) -> tuple[Board | Reading, Picture | None]:
    from snapcheck.api._seen import PhotoReading
    from snapcheck.photo import read_picture

    if also and (reading is not None or not photo or any(shows_a_board(p) for p in also)):
        raise InputError(
            tr("only photos can be taken together."),
            place=str(also[0]) if isinstance(also[0], str | _PathLike) else None,
            way_out=tr("Give photos of one build, then the plan; or one file."),
        )
    if not photo:
        if reading is not None:
            raise InputError(
                tr("a layout file and a reading cannot be checked at once."),
                place=str(built) if isinstance(built, str | _PathLike) else None,
                way_out=tr("Give a photo with --from-reading, or the layout file alone."),
            )
        if isinstance(built, PhotoReading):
            return built, built.picture
        design, doubtful = board_of(built, kit)  # type: ignore[arg-type]
        return doubtful or design.board, None
    opened, called = picture_of(built, name, colours)  # type: ignore[arg-type]
    stop_if_asked()
    if reading is not None:
        return reading_of(reading, kit, called), opened
    return with_others(read_picture(opened, called, kit), also, kit, colours), opened


def compare(
    design: DesignLike,
    built: BoardLike,
    *,
    kit: KitLike = None,
    calculate: bool = True,
    book: RuleBook | PathLike | None = None,
    limits: ComparisonSettings | PathLike | None = None,
    simulator: Simulator | None = None,
    cancel: Cancel | None = None,
) -> BuildComparison:
    """What differs between a plan and a build, and does it matter? Promised figures are not measured.

    Args:
        design, kit, calculate, book, limits, simulator, cancel: see `check`.
        built: a board or a reading: object, layout text, JSON, or the path of either.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
    """
    cubes = kit_of(kit)
    plan = plan_of(design, cubes)
    there, reading = board_of(built, cubes)
    rules_book, settings = book_of(book), limits_of(limits)
    with watched(cancel=cancel), solver(simulator, calculate) as own:
        laid = lay(
            plan, there.board, cubes, unsure=None if reading is None else reading.unsure,
            chances=None if reading is None else reading.chances, settings=settings,
        )  # fmt: skip
        states = Calculated(own, rules_book)
        result = tell(laid, states, rules_book)
        notes = (*states.plan(laid).notes, *states.built(laid, result).notes)
    findings, verdict = with_doubts(
        result.findings,
        reading,
        built_differently=result.verdict is Verdict.EQUIVALENT,
        undecided=result.verdict is Verdict.CANT_TELL,
    )
    result = replace(result, findings=tuple(findings), verdict=verdict)
    return widened(BuildComparison, result, notes=notes)
