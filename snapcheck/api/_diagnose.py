"""Finding the fault of a build that looks right: the door to `snapcheck.diagnose`."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck.api._given import (
    Colours,
    DesignLike,
    PathLike,
    board_of,
    kit_of,
    picture_of,
    plan_of,
    shows_a_board,
)
from snapcheck.api._hunt import FaultPractice, FaultSearch
from snapcheck.api._rules import rules
from snapcheck.api._simulate import there
from snapcheck.board import Board, Design, read_text
from snapcheck.check import compare as compare_boards
from snapcheck.datafiles import json_value
from snapcheck.diagnose import (
    Practice,
    Priors,
    Search,
    bundled_priors,
    kept_dictionary,
    load_priors,
    unsure_faults,
)
from snapcheck.diagnose import expected_readings as rows
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.simulate import Simulator
from snapcheck.watch import Cancel, Progress, step, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BuiltLike, KitLike
    from snapcheck.diagnose import ExpectedReading, Symptom
    from snapcheck.photo import Picture, Reading


def find(
    design: DesignLike,
    built: BuiltLike | None = None,
    *,
    readings: Sequence[str] = (),
    symptoms: Iterable[str | Symptom] = (),
    resume: PathLike | Mapping[str, Any] | None = None,
    weights: Priors | PathLike | None = None,
    cache: PathLike | None = None,
    kit: KitLike = None,
    colours: Colours = "rgb",
    simulator: Simulator | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> FaultSearch:
    """Search for the fault of a build that looks right and does not work, with a meter.

    Args:
        design: the plan, see `check`.
        built: the build, where it is laid out otherwise or there is a photo of it; what the photo leaves open
            is then a suspect, too.
        readings: such as ``C4 collector 4.6V`` (black probe on the plate), ``C3|D3 0V`` (red probe on C3,
            at its
            seam to D3), ``C4 base to C4 emitter 0.65V``, ``signal C4 base 20mV``, and with the battery out
            ``contact C3|D3 open``, ``lifted C3 good`` or ``lifted C3 4k7``.
        symptoms: ``silent``, ``too-quiet``, ``distorted``, ``hums``, ``always-on``, ``never-on``,
            ``wrong-rate``
            or ``hot``.
        resume: what `FaultSearch.to_json` gave, or a file of it: the search goes on from there.
        weights: how often faults happen: a TOML file's path; None: the bundled ones.
        cache: a folder in which what every fault would show is kept.
        kit, colours, simulator, progress, cancel: see `check`.

    Raises:
        InputError, DataError: a file, text or reading is missing or wrong; says where.
        PhotoError: the picture cannot be read as a board.
        SimulationError: the circuit cannot be calculated; says why.
        MissingLibraryError: ngspice is not installed.
        StoppedError: `cancel` said so.
    """
    cubes = kit_of(kit)
    with watched(progress, cancel):
        asked, seen, picture, others = _board(plan_of(design, cubes), built, cubes, colours)
        dangers = _dangers(asked, cubes, simulator)
        found = FaultSearch(asked, cubes, dangers, None, seen, picture, simulator)
        if dangers:
            return found
        step(tr("calculating what each fault would show"))
        with _needed(simulator) as own:
            d = kept_dictionary(
                asked, cubes, own, _priors(weights), others=unsure_faults(others, asked.board, cubes),
                folder=None if cache is None else Path(cache),
            )  # fmt: skip
        search = Search(d)
        if resume is not None:
            search = search.take_up(_resumed(resume))
        found = replace(found, search=search).with_symptom(*map(str, symptoms))
        return found.with_reading(*readings)


def expected_readings(
    design: DesignLike,
    *,
    every: bool = False,
    weights: Priors | PathLike | None = None,
    cache: PathLike | None = None,
    kit: KitLike = None,
    simulator: Simulator | None = None,
) -> tuple[ExpectedReading, ...]:
    """What a good build shows at each test point, with tolerances and the meter's error: for build sheets.

    Args:
        design: the plan, see `check`.
        every: every contact, not one place for each net.
        weights, cache, kit, simulator: see `find`.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
        SimulationError: the circuit cannot be calculated; says why.
        MissingLibraryError: ngspice is not installed.
    """
    cubes = kit_of(kit)
    folder = None if cache is None else Path(cache)
    with _needed(simulator) as own:
        d = kept_dictionary(plan_of(design, cubes), cubes, own, _priors(weights), folder=folder)
    return rows(d, every=every)


def symptoms() -> dict[str, str]:
    """What a build may show that `find` can begin with: name to words for people."""
    from snapcheck.diagnose import Symptom

    return {str(symptom): symptom.words for symptom in Symptom}


def practice(
    design: DesignLike,
    seed: int = 1,
    *,
    weights: Priors | PathLike | None = None,
    cache: PathLike | None = None,
    kit: KitLike = None,
    simulator: Simulator,
) -> FaultPractice:
    """An exercise in fault finding: the same seed hides the same fault.

    Args:
        design: the plan, see `check`.
        seed: of the fault, of the parts within their tolerances, and of the meter's error.
        weights, cache, kit: see `find`.
        simulator: calculates the readings; must stay open.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
        SimulationError: the circuit cannot be calculated; says why.
        MissingLibraryError: ngspice is not installed.
    """
    cubes = kit_of(kit)
    plan = plan_of(design, cubes)
    dangers = _dangers(plan, cubes, simulator)
    if dangers:
        raise InputError(tr("this board must not be powered: {title}", title=dangers[0].title))
    folder = None if cache is None else Path(cache)
    d = kept_dictionary(plan, cubes, simulator, _priors(weights), folder=folder)
    return FaultPractice(Practice(d, simulator, seed))


def _needed(simulator: Simulator | None) -> Any:
    """The caller's simulator, or one for this alone. Raises MissingLibraryError where there is none to be
    had."""
    return Simulator() if simulator is None else nullcontext(simulator)


def _priors(given: Priors | PathLike | None) -> Priors:
    if given is None or isinstance(given, Priors):
        return given or bundled_priors()
    return load_priors(os.fspath(given))


def _dangers(design: Design, kit: Kit, simulator: Simulator | None) -> tuple[Finding, ...]:
    """What forbids measuring, with the supply on or at all."""
    found = rules(design, kit=kit, simulator=simulator).findings
    return tuple(finding for finding in found if finding.severity is Severity.DANGER)


def _board(
    plan: Design, built: BuiltLike | None, kit: Kit, colours: Colours
) -> tuple[Design, Reading | None, Picture | None, list[tuple[Board, float]]]:
    """The build in its own cells with what the design says, and other boards that it may be."""
    if built is None:
        return plan, None, None, []
    picture: Picture | None = None
    seen: Reading | None
    if shows_a_board(built):
        own, seen = board_of(built, kit)  # type: ignore[arg-type]
        board = own.board
        picture = getattr(built, "picture", None)
    else:
        from snapcheck.photo import read_picture

        picture, name = picture_of(built, "", colours)  # type: ignore[arg-type]
        step(tr("reading the picture"))
        seen = read_picture(picture, name, kit)
        board = seen.board
    asked = there(plan, compare_boards(plan, board, kit))
    return asked, seen, picture, [] if seen is None else _others(seen, kit)


def _others(seen: Reading, kit: Kit) -> list[tuple[Board, float]]:
    """Boards that a photo may show as well, with the probability of each."""
    from snapcheck.decisions import questions_of, with_edits

    found = []
    for question in questions_of(seen, kit):
        for option in question.options[1:]:
            if option.probability:
                try:
                    found.append((with_edits(seen, [option.line], kit).board, option.probability))
                except SnapcheckError:
                    continue
    return found


def _resumed(given: PathLike | Mapping[str, Any]) -> Mapping[str, Any]:
    if isinstance(given, Mapping):
        return given
    data = json_value(read_text(os.fspath(given)), os.fspath(given))
    if not isinstance(data, dict):
        raise InputError(tr("this is no search that was saved."), place=os.fspath(given))
    return data
