"""A whole build sheet as values: what is needed, the steps, and what a meter should show."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from contextvars import copy_context
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from snapcheck.board import Board, Cell, Design, Stage, label_of, settings_words, stage_lines
from snapcheck.circuit import RuleBook, capital, listing
from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.kit import Kit, ValueForm, format_value
from snapcheck.sheet._readings import Expected, Reading, StageCheck, expected_readings
from snapcheck.sheet._steps import Course, Step, course_of
from snapcheck.simulate import Simulator
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.simulate import Figure


@dataclass(frozen=True)
class Needed:
    """Cubes of one sort that a build needs.

    Attributes:
        kind: its name in the kit.
        title, printed, value: in words, as printed on the cube, and spelled out where that differs.
        count: how many.
        cells: where they go.
        wire: a conductor, a ground or a socket: no part.
    """

    kind: str
    title: str
    printed: str
    value: str
    count: int
    cells: tuple[Cell, ...]
    wire: bool


@dataclass(frozen=True)
class Sheet:
    """A build sheet.

    Attributes:
        course: stages and steps.
        needed: the parts list, wiring cubes at its end.
        leads, taps: how many of each.
        expected: test points and checks.
        figures: what the design promises, calculated; empty where nothing was calculated.
    """

    course: Course
    needed: tuple[Needed, ...]
    expected: Expected
    figures: tuple[Figure, ...] = ()

    @property
    def design(self) -> Design:
        return self.course.design

    @property
    def kit(self) -> Kit:
        return self.course.kit

    @property
    def leads(self) -> int:
        return len(self.design.board.leads)

    @property
    def taps(self) -> int:
        return len(self.design.board.taps)

    def check_after(self, stage: int) -> StageCheck | None:
        """The check at the end of a stage."""
        return next((c for c in self.expected.checks if c.stage == stage), None)


def make_sheet(
    design: Design, kit: Kit, simulator: Simulator | None = None, book: RuleBook | None = None
) -> Sheet:
    """The build sheet of a design.

    Args:
        design: what is to be built.
        kit: the cubes.
        simulator: calculates what a meter should show; None: the sheet does without.
        book: rules by which a part of the build may be powered or not, None for the bundled ones.

    Raises:
        InputError: a kind is not in the kit.
    """
    course = course_of(design, kit)
    parts = needed_of(design.board, kit)
    if simulator is None:
        return Sheet(course, parts, Expected())
    with ThreadPoolExecutor(1) as other:  # two processes calculate at the same time
        waiting = other.submit(copy_context().run, _figures, design, course)
        try:
            expected = expected_readings(course, simulator, book)
        except (MissingLibraryError, SimulationError) as error:
            expected = Expected(note=str(error))
        return Sheet(course, parts, expected, waiting.result())


def _figures(design: Design, course: Course) -> tuple[Figure, ...]:
    """What the design promises, calculated by a simulator of its own; nothing where that cannot be."""
    if not design.expectations:
        return ()
    try:
        with Simulator() as own:
            return tuple(own.evaluate(design, course.circuit))
    except (MissingLibraryError, SimulationError):  # said by the other one
        return ()


def needed_of(board: Board, kit: Kit) -> tuple[Needed, ...]:
    """The parts list of a board: parts first, by kind and value, then wiring cubes."""
    found: dict[tuple[str, str], list[Cell]] = {}
    for cell, cube in board.cubes.items():
        kind = kit[cube.kind]
        spelled = "" if kind.wire else format_value(cube.value, kind.value_form, unit=cube.unit)
        found.setdefault((kind.name, spelled), []).append(cell)
    rows = []
    for (name, _), cells in found.items():
        kind, cube = kit[name], board.cubes[cells[0]]
        printed = "" if kind.wire else label_of(cube, kind)
        value = format_value(cube.value, kind.value_form, style="spaced", unit=cube.unit)
        same = kind.value_form in (ValueForm.TYPE, ValueForm.COLOUR, ValueForm.NONE)
        told = "" if same or _bare(value) == _bare(printed) else value
        wire = not kind.device.is_part
        rows.append(Needed(name, tr(kind.title), printed, told, len(cells), tuple(cells), wire))
    order = list(kit.kinds)

    def key(row: Needed) -> tuple[bool, int, bool, float, str]:
        value = board.cubes[row.cells[0]].value
        number = float(value) if isinstance(value, float | int) else 0.0
        return row.wire, order.index(row.kind), not number, number, row.printed

    return tuple(sorted(rows, key=key))


def _bare(text: str) -> str:
    """A value as it is printed, without its unit: what says the same needs no second spelling."""
    return text.replace(" ", "").replace("µ", "u").rstrip("ΩFHR")


def conditions_words(sheet: Sheet) -> list[str]:
    """Each set of conditions in words: as it stands, and what is different then."""
    first, *others = sheet.expected.conditions or (sheet.design.conditions,)
    told = [capital(listing(settings_words(first, type(first)()))) or tr("As it stands")]
    return told + [capital(listing(settings_words(c, first))) for c in others]


def stages_text(sheet: Sheet) -> str:
    """The stages as lines of a layout file, for the teacher to regroup and rename."""
    stages = [Stage(stage.name.replace(":", ","), stage.cells, stage.note) for stage in sheet.course.stages]
    return "\n".join(stage_lines(sheet.design.note, stages)) + "\n"


def sheet_json(sheet: Sheet) -> dict[str, Any]:
    """The sheet as plain values for JSON; volts, and what a figure's unit says."""
    return {
        "title": sheet.design.title,
        "purpose": sheet.design.purpose,
        "note": sheet.design.note,
        "needed": [
            {
                "kind": n.kind, "title": n.title, "printed": n.printed, "count": n.count,
                "cells": [str(c) for c in n.cells],
            }
            for n in sheet.needed
        ],
        "taps": sheet.taps,
        "leads": sheet.leads,
        "stages": [_stage_json(sheet, number) for number in range(len(sheet.course.stages))],
        "steps": [_step_json(step) for step in sheet.course.steps],
        "conditions": conditions_words(sheet),
        "test_points": [
            {
                "number": p.number,
                "place": {"cell": str(p.place.cell), "terminal": p.place.terminal},
                "words": p.words,
                "readings": [None if r is None else _reading_json(r) for r in p.readings],
            }
            for p in sheet.expected.points
        ],
        "figures": [
            {"text": f.expectation.text, "value": f.value, "unit": f.expectation.unit, "met": f.met}
            for f in sheet.figures
        ],
        "note_on_calculation": sheet.expected.note,
    }  # fmt: skip


def _stage_json(sheet: Sheet, number: int) -> dict[str, Any]:
    stage, check = sheet.course.stages[number], sheet.check_after(number)
    told = None
    if check is not None:
        place = check.reading.place
        told = {
            "place": {"cell": str(place.cell), "terminal": place.terminal},
            "words": check.reading.words,
            "power": [str(c) for c in check.power],
            **_reading_json(check.reading),
        }
    steps = [s.number for s in sheet.course.steps if s.stage == number]
    return {"name": stage.name, "note": stage.note, "steps": steps, "check": told}


def _reading_json(reading: Reading) -> dict[str, float]:
    return {"volts": reading.volts, "low": reading.low, "high": reading.high}


def _step_json(step: Step) -> dict[str, Any]:
    return {
        "number": step.number,
        "stage": step.stage + 1,
        "cells": [str(c) for c in step.cells],
        "taps": [str(s) for s in step.taps],
        "leads": [str(lead) for lead in step.leads],
        "power": step.power,
        "words": [put.words for put in step.puts],
    }
