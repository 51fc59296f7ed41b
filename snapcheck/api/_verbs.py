"""What snapcheck does, one function a job. All raise `SnapcheckError` and nothing else that is the input's or
the surroundings' fault; all speak the language that `snapcheck.words.use_language` has set."""

from __future__ import annotations

import contextvars
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from os import PathLike as _PathLike
from pathlib import Path
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
from snapcheck.api._results import BuildComparison, ClassGrades, Drawing, RuleCheck, Simulation, widened
from snapcheck.api._solver import solver, state_of
from snapcheck.board import (
    Board,
    Cell,
    Design,
    Theme,
    draw_svg,
    parse_probe,
    parse_settings,
    write_layout,
)
from snapcheck.check import (
    Comparison,
    ComparisonSettings,
    State,
    Verdict,
    follow,
    lay,
    open_questions,
    tell,
    with_doubts,
)
from snapcheck.check import compare as compare_boards
from snapcheck.circuit import Circuit, RuleBook, build_circuit, check_rules, with_dangers_ahead
from snapcheck.errors import InputError, SnapcheckError, StoppedError
from snapcheck.kit import Kit
from snapcheck.pipeline import Calculated, CheckResult, check_build, own_figures
from snapcheck.watch import Cancel, Progress, step, stop_if_asked, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BoardLike, BuiltLike, KitLike, PictureLike
    from snapcheck.api._seen import BuildCheck, PhotoReading
    from snapcheck.circuit import OperatingPointLike
    from snapcheck.grade import Course, Crew, Grade, Handed, Rubric
    from snapcheck.grade import Progress as BatchProgress
    from snapcheck.photo import Picture, Reading
    from snapcheck.simulate import Simulator, Sweep, Tolerance, WhatIf

#: usual span of a sweep and whether it is spaced evenly or by ratio
_SPANS = {"pot": (0.0, 1.0, False), "light": (1.0, 10_000.0, True), "temperature": (-10.0, 60.0, False)}
_SWEEP_POINTS = 41


def read(
    picture: PictureLike,
    *,
    also: Sequence[PictureLike] = (),
    kit: KitLike = None,
    name: str = "",
    colours: Colours = "rgb",
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> PhotoReading:
    """What a picture of a build shows.

    Args:
        picture: a path; the bytes of a JPEG, PNG, WebP or HEIC file, or such a file opened for reading; or an
            array, upright, uint8: (h, w, 3) colours, (h, w, 4) with alpha, (h, w) greys.
        also: more pictures of the same build, from other sides: what one hides another shows.
        kit: the cubes: an object, a TOML file's path or text; None: the bundled ones.
        name: of the picture, for messages (usual: the file's own).
        colours: order of an array's channels: ``rgb`` (Pillow, scikit-image) or ``bgr`` (OpenCV).
        progress: is told in words what is being done.
        cancel: an event, or a function, that says when to stop.

    Raises:
        InputError: there is no such file, or the array is no picture.
        PhotoError: it cannot be read as a board: take it again.
        StoppedError: `cancel` said so.
    """
    from snapcheck.api._seen import PhotoReading
    from snapcheck.photo import read_picture

    cubes = kit_of(kit)
    with watched(progress, cancel):
        step(tr("reading the picture"))
        opened, called = picture_of(picture, name, colours)
        stop_if_asked()
        seen = _with_others(read_picture(opened, called, cubes), also, cubes, colours)
        return widened(PhotoReading, seen, picture=opened, kit=cubes)


def _with_others(first: Reading, also: Sequence[PictureLike], kit: Kit, colours: Colours) -> Reading:
    """What all pictures of one build show together, in the cells of the first."""
    if not also:
        return first
    from snapcheck.photo import read_picture
    from snapcheck.together import together

    readings = [first]
    for picture in also:
        opened, called = picture_of(picture, "", colours)
        stop_if_asked()
        readings.append(read_picture(opened, called, kit))
    return together(readings, kit)


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
            from snapcheck.report import draw_ahead

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
    return _with_others(read_picture(opened, called, kit), also, kit, colours), opened


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


def rules(
    board: BoardLike,
    *,
    kit: KitLike = None,
    calculate: bool = True,
    book: RuleBook | PathLike | None = None,
    without: Iterable[str] = (),
    simulator: Simulator | None = None,
    cancel: Cancel | None = None,
) -> RuleCheck:
    """Is a board safe to power, and what is wrong with it by the rules of the trade? Needs no plan.

    Args:
        board: a board or a reading: object, layout text, JSON, or the path of either.
        without: rules that are switched off.
        kit, calculate, book, simulator, cancel: see `check`.

    Raises:
        InputError, DataError: a file or text is missing or wrong, or there is no such rule.
    """
    used = without_rules(book_of(book), without)
    cubes = kit_of(kit)
    design, reading = board_of(board, cubes)
    circuit = build_circuit(design.board, cubes)
    notes: list[str] = []

    def ahead(mended: Circuit) -> OperatingPointLike | None:
        return state_of(mended, design.conditions, simulator, []).point if calculate else None

    with watched(cancel=cancel):
        state = state_of(circuit, design.conditions, simulator, notes) if calculate else State()
        findings = check_rules(
            circuit, state.point, positions=state.positions, book=used, supply_V=design.conditions.supply_V
        )
        findings = with_dangers_ahead(circuit, findings, used, design.conditions.supply_V, ahead)
        if reading is not None:
            findings += open_questions(design.board, circuit, reading.unsure, used, planned=None)
    findings, verdict = with_doubts(findings, reading, unsure=() if reading is None else reading.unsure)
    return RuleCheck(design, circuit, tuple(findings), verdict, state.point, tuple(notes))


def without_rules(book: RuleBook, names: Iterable[str]) -> RuleBook:
    """A book with these rules switched off. Raises InputError where there is no such rule."""
    names = tuple(names)
    for name in names:
        if name not in book.rules:
            raise InputError(
                tr("'{name}' is no rule.", name=name),
                way_out=tr("Rules: {names}.", names=", ".join(book.rules)),
            )
    return book.without(*names)


def simulate(
    board: BoardLike,
    *,
    design: DesignLike | None = None,
    kit: KitLike = None,
    settings: str = "",
    input: str = "",
    output: str = "",
    sweep: str = "",
    start: float | None = None,
    stop: float | None = None,
    tolerance: int | None = None,
    seed: int = 1,
    simulator: Simulator | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Simulation:
    """What a board does: voltages, gain, waveforms, promised figures; sweeps and tolerance where asked for.

    Args:
        board: a board: object, layout text, JSON, or the path of either.
        design: says input, output, conditions and figures instead; the board is held beside it.
        settings: such as ``A2 closed, B1 8 V, light 5 lux``.
        input, output: where the signal goes in and comes out, such as ``C4 collector``.
        sweep: ``light``, ``temperature``, ``pot``, ``supply``, or with a cell: ``pot C4``.
        start, stop: of the sweep, in its unit (a share, lux, degrees Celsius, V); None: its usual span.
        tolerance: try so many boards of parts within tolerance, 10 to 100000.
        seed: of their parts.
        kit, simulator, progress, cancel: see `check`.

    Raises:
        InputError, DataError: a file, text or option is missing or wrong; says where.
        SimulationError: the circuit cannot be calculated; says why.
        MissingLibraryError: ngspice is not installed.
    """
    from snapcheck.simulate import Simulator

    if tolerance is not None and not 10 <= tolerance <= 100_000:
        raise InputError(tr("{n} samples are not possible.", n=tolerance), way_out=tr("Use 10 to 100000."))
    cubes = kit_of(kit)
    own, _ = board_of(board, cubes)
    intended = None if design is None else board_of(design, cubes)[0]
    compared = None if intended is None else compare_boards(intended, own.board, cubes)
    asked = own if intended is None or compared is None else there(intended, compared)
    if input:
        asked = replace(asked, input=parse_probe(input, asked.board, cubes))
    if output:
        asked = replace(asked, output=parse_probe(output, asked.board, cubes))
    if settings:
        asked = replace(asked, conditions=parse_settings(settings, asked.board, cubes, asked.conditions))
    circuit = build_circuit(own.board, cubes)
    with watched(progress, cancel):
        stop_if_asked()
        used = Simulator() if simulator is None else simulator
        try:
            survey = used.survey(asked, circuit)
            beside = None
            if intended is not None and compared is not None:
                beside = _beside(used, intended, compared, asked)
            swept = _sweep(used, circuit, asked, sweep, start, stop) if sweep else None
            spread = None
            if tolerance is not None:
                place = str(board) if isinstance(board, str | _PathLike) else ""
                spread = _tolerance(used, circuit, asked, tolerance, seed, place)
        finally:
            if simulator is None:
                used.close()
    return Simulation(survey, swept, spread, beside)


def there(intended: Design, compared: Comparison) -> Design:
    """The design in the cells of the build, wherever its parts stand."""
    if compared.parts_moved or compared.placed is None:
        return follow(intended, compared).design
    return replace(compared.placed, board=compared.built_circuit.board)


def _beside(simulator: Simulator, intended: Design, compared: Comparison, asked: Design) -> WhatIf:
    """The design's behaviour beside the build's."""
    if compared.parts_moved or compared.placed is None:
        return own_figures(simulator, intended, compared)
    return simulator.what_if(replace(asked, board=compared.placed.board), compared.built_circuit)


def _sweep(
    simulator: Simulator, circuit: Circuit, design: Design, knob: str, first: float | None, last: float | None
) -> Sweep:
    import numpy as np

    from snapcheck.simulate import Knob

    what, *rest = knob.split()
    cell = Cell.parse(rest[0]) if rest else None
    Knob(what, cell)  # says what is accepted before anything is made of it
    start, stop, by_ratio = _SPANS.get(what, (0.0, 0.0, False))
    if what == "supply":
        printed = [p.cube.value for p in circuit.parts if p.device.supplies]
        volts = float(printed[0]) if printed and isinstance(printed[0], (int, float)) else 9.0
        start, stop = 0.5 * volts, 1.3 * volts
    start = start if first is None else first
    stop = stop if last is None else last
    if start == stop or (by_ratio and min(start, stop) <= 0):
        raise InputError(tr("a sweep from {start:g} to {stop:g} is not possible.", start=start, stop=stop))
    space = np.geomspace if by_ratio else np.linspace
    values = [float(value) for value in space(start, stop, _SWEEP_POINTS)]
    return simulator.sweep(circuit, design.conditions, what=what, values=values, cell=cell)


def _tolerance(
    simulator: Simulator, circuit: Circuit, design: Design, samples: int, seed: int, place: str
) -> Tolerance:
    if not design.expectations:
        raise InputError(
            tr("no expected figures are given, so there is nothing to hold the samples against."),
            place=place or None,
            way_out=tr("Add lines such as: expect gain at 1 kHz 40 to 46 dB."),
        )

    def progress(share: float) -> None:
        step(tr("tolerance analysis: {percent:.0f} %", percent=share * 100))

    return simulator.tolerance(
        design, circuit, samples=samples, slow_samples=min(40, samples), seed=seed, progress=progress
    )


def draw(
    board: BoardLike | CheckResult, *, kit: KitLike = None, theme: Theme = "light", title: str | None = None
) -> Drawing:
    """A board's top view; of a checked build, the build's.

    Args:
        board: object, layout text, JSON, or the path of either.
        kit: see `read`.
        theme: ``light``, or ``dark`` for light strokes on a dark ground.
        title: in words; None: the design's own.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
    """
    if isinstance(board, CheckResult):
        cubes, design = board.kit, replace(board.design, board=board.built)
    else:
        cubes = kit_of(kit)
        design, _ = board_of(board, cubes)
    words = design.title if title is None else title
    return Drawing(draw_svg(design.board, cubes, theme=theme, title=words), words)


def layout(board: BoardLike, *, kit: KitLike = None) -> str:
    """The text of a layout file.

    Args:
        board: a board or a reading: object, layout text, JSON, or the path of either.
        kit: see `check`.

    Raises:
        InputError, DataError: a file or text is missing or wrong.
    """
    cubes = kit_of(kit)
    return write_layout(board_of(board, cubes)[0], cubes)


def grade(
    result: CheckResult, rubric: Rubric | PathLike | None = None, *, handed: Handed | None = None
) -> Grade:
    """Points of one checked build.

    Args:
        result: as `check` gave it.
        rubric: an object, or a TOML file's path or text; None: the bundled one.
        handed: when and with which files it was handed in.

    Raises:
        InputError, DataError: there is no such rubric, or it is wrong; says where.
    """
    from snapcheck.grade import Rubric, facts_of, load_rubric, parse_rubric, sample_rubric
    from snapcheck.grade import grade as points_of

    if rubric is None:
        used = sample_rubric()
    elif isinstance(rubric, Rubric):
        used = rubric
    elif isinstance(rubric, str) and "\n" in rubric:
        used = parse_rubric(rubric, "rubric", result.kit)
    else:
        used = load_rubric(Path(rubric), result.kit)
    return points_of(facts_of(result), used, handed)


def grade_class(
    course: Course | PathLike,
    *,
    rubric: PathLike | None = None,
    store: str = "",
    stored: bool = False,
    again: bool = False,
    crew: Crew | None = None,
    workers: int | None = None,
    progress: BatchProgress | None = None,
    cancel: Cancel | None = None,
) -> ClassGrades:
    """Grade what a class handed in; stopped, it goes on where it was when it is called again.

    Args:
        course: the folder that holds ``course.toml``, or an opened course.
        rubric, store: where it is a folder, another rubric (TOML file), another gradebook (file or database
            URL) than the course's.
        stored: open no pictures: grade from stored readings.
        again: retry pictures at which the program failed.
        crew: who does the work (it is closed at the end); None: processes on this machine.
        workers: how many of them; None: one for each core.
        progress: is told of every stretch of work and every step.
        cancel: an event, or a function, that says when to stop; asked after every picture.

    Raises:
        InputError, DataError: the course, its rubric or the submissions are missing or wrong.
        StoreError: the gradebook is damaged, full, in use or cannot be written.
        StoppedError: `cancel` said so; what was done is kept.
    """
    from snapcheck.grade import (
        Course,
        LocalCrew,
        Silent,
        Store,
        load_course,
        regrade,
        review,
        run_batch,
        unclaimed,
    )  # fmt: skip

    opened = (
        course
        if isinstance(course, Course)
        else load_course(Path(course), rubric=None if rubric is None else Path(rubric), store=store)
    )
    with Store(opened.store) as book, watched(cancel=cancel):
        ours = crew or LocalCrew(workers)
        told = _Told(progress or Silent())
        try:
            batch = None
            if stored:
                grades = regrade(opened, book, ours, progress=told)
            else:
                batch = run_batch(opened, book, ours, progress=told, again=again)
                grades = batch.grades
            waiting = review(opened, book, ours, progress=_Told(Silent()))
        except (KeyboardInterrupt, StoppedError):
            ours.stop()
            raise
        ours.close()
        return ClassGrades(opened, grades, waiting, tuple(unclaimed(book.files())), batch)


class _Told:
    """Progress that ends where the work is no longer wanted."""

    def __init__(self, told: BatchProgress) -> None:
        self._told = told

    def begin(self, what: str, total: int) -> None:
        stop_if_asked()
        self._told.begin(what, total)

    def step(self) -> None:
        self._told.step()
        stop_if_asked()
