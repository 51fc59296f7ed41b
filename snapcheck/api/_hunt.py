"""A search for a fault, and an exercise in it: what `find` and `practice` give back."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from snapcheck.api._solver import solver
from snapcheck.board import Design
from snapcheck.diagnose import ask_text, ask_words, expected_words, parse_ask, touches
from snapcheck.errors import InputError
from snapcheck.findings import Finding, finding_to_json
from snapcheck.kit import Kit
from snapcheck.report import picture_html, probes_drawing, probes_on_photo, table_html
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.diagnose import Fault, Outcome, Practice, Search, Step, Suspect
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
        assert self.search is not None
        d = self.search.dictionary
        return ask_words(d, step.ask), expected_words(d, step.ask)

    def drawing(self, step: Step | None = None) -> bytes | str:
        """Where the probes go: on the photo (JPEG bytes) where there is one, else on the board (SVG text)."""
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
