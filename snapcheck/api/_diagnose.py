"""Finding the fault of a build that looks right: the door to `snapcheck.diagnose`."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
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
from snapcheck.api._verbs import rules, there
from snapcheck.board import Board, Design
from snapcheck.check import compare as compare_boards
from snapcheck.datafiles import json_value
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.findings import Finding, Severity, finding_to_json
from snapcheck.kit import Kit
from snapcheck.watch import Cancel, Progress, step, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BuiltLike, KitLike
    from snapcheck.diagnose import (
        ExpectedReading,
        Fault,
        Outcome,
        Practice,
        Priors,
        Search,
        Step,
        Suspect,
        Symptom,
    )
    from snapcheck.diagnose import Reading as Measured
    from snapcheck.photo import Picture, Reading
    from snapcheck.simulate import Simulator


@dataclass(frozen=True)
class FaultSearch:
    """A search for the fault of a build: what was told and measured, what it means, what to measure next.

    Attributes:
        design: the board as it was built, with conditions and places of the design.
        kit: the cubes.
        dangers: findings that must be mended before anything is measured; then there is no search.
        search: the search itself (`snapcheck.diagnose.Search`), None with a danger.
        seen, picture: what a photo showed, and the photo, where there was one.
        simulator: the caller's own.
    """

    design: Design = field(repr=False)
    kit: Kit = field(repr=False)
    dangers: tuple[Finding, ...] = ()
    search: Search | None = field(default=None, repr=False)
    seen: Reading | None = field(default=None, repr=False)
    picture: Picture | None = field(default=None, repr=False)
    simulator: Simulator | None = field(default=None, repr=False)

    @property
    def outcome(self) -> Outcome | None:
        """Where it stands; None while a danger is open."""
        return None if self.search is None else self.search.outcome

    @property
    def sentence(self) -> str:
        """Where it stands, in words."""
        if self.search is None:
            return tr("Do not power, and do not measure: mend this first.")
        return self.search.sentence

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """What may be wrong, likeliest first; several in one where nothing tells them apart."""
        return () if self.search is None else self.search.suspects

    @property
    def steps(self) -> tuple[Step, ...]:
        """What to measure next, best first."""
        return () if self.search is None else self.search.steps

    @property
    def contradictions(self) -> tuple[str, ...]:
        """Readings that cannot go together, in words."""
        return () if self.search is None else self.search.contradictions

    def with_reading(self, *readings: str) -> FaultSearch:
        """The search after more readings, such as ``C4 collector 4.6V``, ``C3|D3 0 V``, ``lifted C3 good``.

        Where no single fault explains them, two at once are tried.

        Raises:
            InputError: one is not understood; says what is accepted.
        """
        if self.search is None:
            return self
        search = self.search
        for reading in readings:
            search = search.with_reading(reading)
        if not search.belief.fits:
            from snapcheck.api._solver import solver

            with solver(self.simulator) as own:
                if own is not None:
                    search = search.with_pairs(own)
        return replace(self, search=search)

    def with_symptom(self, *symptoms: str) -> FaultSearch:
        """The search after more symptoms; `snapcheck find --help` names them. Raises InputError."""
        if self.search is None:
            return self
        search = self.search
        for symptom in symptoms:
            search = search.with_symptom(symptom)
        return replace(self, search=search)

    def words_of(self, step: Step) -> tuple[str, str]:
        """A measurement as it is said at the bench, and what a good build shows."""
        from snapcheck.diagnose import ask_words, expected_words

        assert self.search is not None
        d = self.search.dictionary
        return ask_words(d, step.ask), expected_words(d, step.ask)

    def drawing(self, step: Step | None = None) -> bytes | str:
        """Where the probes go: on the photo (JPEG bytes) where there is one, else on the board (SVG text)."""
        from snapcheck.diagnose import touches
        from snapcheck.report import probes_drawing, probes_on_photo

        marks = () if self.search is None or step is None else touches(self.search.dictionary, step.ask)
        if self.picture is not None and self.seen is not None:
            return probes_on_photo(self.picture.pixels, self.seen, marks)
        return probes_drawing(self.design.board, self.kit, marks, self.design.title)

    def to_json(self) -> dict[str, Any]:
        """Plain values, as the verb ``find`` writes them; `find` takes a file of them up again."""
        told: dict[str, Any] = {
            "title": self.design.title,
            "outcome": None if self.outcome is None else self.outcome.value,
            "sentence": self.sentence,
            "dangers": [finding_to_json(finding) for finding in self.dangers],
            "symptoms": [],
            "readings": [],
            "suspects": [],
            "pairs": [],
            "contradictions": list(self.contradictions),
            "steps": [],
        }
        if self.search is None:
            return told
        told.update(self.search.told())
        told["suspects"] = [
            {
                "probability": round(suspect.probability, 4),
                "faults": [
                    {**_fault_json(fault), "probability": round(p, 4)}
                    for fault, p in zip(suspect.faults, suspect.each, strict=True)
                ],
            }
            for suspect in self.suspects
        ]
        told["pairs"] = [
            {"probability": round(p, 4), "faults": [one.key, two.key]}
            for one, two, p in self.search.best_pairs
        ]
        told["steps"] = [self._step_json(step) for step in self.steps]
        return told

    def _step_json(self, step: Step) -> dict[str, Any]:
        from snapcheck.diagnose import ask_text, touches

        assert self.search is not None
        d = self.search.dictionary
        words, expected = self.words_of(step)
        return {
            "at": ask_text(d, step.ask), "way": step.ask.way.value, "words": words, "expected": expected,
            "powered": step.ask.powered, "bits": round(step.bits, 3), "effort": step.effort,
            "probes": [
                {"sign": t.sign, "cell": str(t.cell), "side": None if t.side is None else t.side.name}
                for t in touches(d, step.ask)
            ],
        }  # fmt: skip

    def _repr_html_(self) -> str:
        from snapcheck.report import picture_html, table_html

        rows = [
            (f"{suspect.probability:.0%}", " / ".join(fault.text for fault in suspect.faults[:4]))
            for suspect in self.suspects[:5]
        ]
        todo = [(*self.words_of(step),) for step in self.steps[:3]]
        picture = self.drawing(self.steps[0] if self.steps else None)
        return (
            table_html((self.sentence, ""), [(f.title, f.mend) for f in self.dangers] or [("", "")])
            + table_html((tr("how likely"), tr("suspect")), rows)
            + table_html((tr("measure next"), tr("expect")), todo)
            + picture_html(picture, tr("Where the probes go"))
        )


def _fault_json(fault: Fault) -> dict[str, Any]:
    return {"key": fault.key, "text": fault.text, "cells": [str(cell) for cell in fault.cells]}


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
    from snapcheck.diagnose import Search, kept_dictionary, unsure_faults

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
    from snapcheck.diagnose import expected_readings as rows
    from snapcheck.diagnose import kept_dictionary

    cubes = kit_of(kit)
    folder = None if cache is None else Path(cache)
    with _needed(simulator) as own:
        d = kept_dictionary(plan_of(design, cubes), cubes, own, _priors(weights), folder=folder)
    return rows(d, every=every)


@dataclass(frozen=True, eq=False)
class FaultPractice:
    """An exercise: a hidden fault in a calculated build; see `practice`."""

    exercise: Practice = field(repr=False)

    def ask(self, place: str) -> Measured:
        """A reading, such as that of ``C4 collector``; it counts.

        Raises:
            InputError: there is no such place.
            SimulationError: the build with its fault has no answer there.
        """
        from snapcheck.diagnose import parse_ask

        return self.exercise.measure(parse_ask(self.exercise.dictionary, place))

    def answer(self, what: str) -> dict[str, Any]:
        """How good an answer is: a fault's key (``seam-open C3|D3``), or its place (``C3|D3``, ``C4``).

        Returns:
            right, readings, effort, best_readings, best_effort, points (0 to 100), fault.

        Raises:
            InputError: no fault is known of there.
        """
        d = self.exercise.dictionary
        name = " ".join(what.split())
        meant = [f for f in d.faults[1:] if f.key == name or name in f.key.split()]
        meant = meant or [f for f in d.faults[1:] if name.upper() in map(str, f.cells)]
        if not meant:
            raise InputError(
                tr("'{text}' is no fault of this board.", text=what),
                way_out=tr("Name a cell, a seam such as C3|D3, or a fault such as 'seam-open C3|D3'."),
            )
        scores = [self.exercise.score(fault) for fault in meant[:1]]
        if not scores[0].right:
            hidden = self.exercise.hidden
            scores += [self.exercise.score(f) for f in meant if f.key == hidden.key]
        best = max(scores, key=lambda score: score.points)
        return {
            "right": best.right, "readings": best.readings, "effort": round(best.effort, 2),
            "best_readings": best.best_readings, "best_effort": round(best.best_effort, 2),
            "points": best.points, "fault": _fault_json(best.fault),
        }  # fmt: skip


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
    from snapcheck.diagnose import Practice, kept_dictionary

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
    from contextlib import nullcontext

    from snapcheck.simulate import Simulator

    return Simulator() if simulator is None else nullcontext(simulator)


def _priors(given: Priors | PathLike | None) -> Priors:
    from snapcheck.diagnose import Priors, bundled_priors, load_priors

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
    asked = there(plan, compare_boards(plan, board, kit), kit)
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
    from snapcheck.board import read_text

    data = json_value(read_text(os.fspath(given)), os.fspath(given))
    if not isinstance(data, dict):
        raise InputError(tr("this is no search that was saved."), place=os.fspath(given))
    return data
