"""How far a build on the way has come: which step is done, what is next, and what is wrong in it so far.

The build is thought to be finished as planned, and that board is held against the plan: so what is not there
yet is no mistake, and a wrong cube is told as in a finished build, with what it would do. Dangers of the
board as it stands are looked for as well, and come first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from snapcheck.board import Board, Cell, Conditions, Cube, Design, Lead, Seam
from snapcheck.check import Alignment, align, compare
from snapcheck.circuit import (
    OperatingPointLike,
    RuleBook,
    build_circuit,
    check_rules,
    equivalence,
    is_shorted,
    same_number,
)
from snapcheck.errors import InputError, SimulationError
from snapcheck.findings import Finding, Severity, in_order
from snapcheck.kit import Kit, usual_spelling
from snapcheck.sheet._steps import Course, Step
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.simulate import Simulator

#: share of the cubes that must lie where the plan has one of their kind for the plan to be taken as it lies
_IN_PLACE = 0.5
#: what a comparison with the finished board may say of what is not there yet
_NOT_YET = frozenset({"cube-missing", "lead-missing", "tap-missing"})


@dataclass(frozen=True)
class Progress:
    """A build on the way, matched to the steps of its sheet.

    Attributes:
        course: the steps.
        done: how many steps are done, 0 for none.
        right: cells of the build where a cube stands as planned.
        findings: what is wrong so far, worst first; dangers of the board as it stands before all else.
        open_cells: cells of the build that steps up to `done` fill and that are empty still.
        ahead: cells of the build that later steps fill and that are filled already.
        to_built: cell of the plan to cell of the build.
        complete: everything planned is there.
        own_layout: it does not lie as in the sheet, so that its step is known of the whole circuit alone.
        unlike: it neither lies as in the sheet nor is the whole circuit: it may be another one.
    """

    course: Course
    done: int
    right: tuple[Cell, ...]
    findings: tuple[Finding, ...]
    open_cells: tuple[Cell, ...]
    ahead: tuple[Cell, ...]
    to_built: Mapping[Cell, Cell]
    complete: bool
    own_layout: bool = False
    unlike: bool = False

    @property
    def next_step(self) -> Step | None:
        """What comes next, None when all is done."""
        return self.course.steps[self.done] if self.done < len(self.course.steps) else None

    @property
    def danger(self) -> bool:
        """Something forbids to power it."""
        return any(f.severity is Severity.DANGER for f in self.findings)

    @property
    def mistakes(self) -> tuple[Finding, ...]:
        """What is to be mended before one goes on; questions and remarks are left out."""
        return tuple(f for f in self.findings if f.severity < Severity.NOTE)


def progress(
    course: Course,
    built: Board,
    *,
    unsure: Mapping[Cell, Sequence[Cube | None]] | None = None,
    chances: Mapping[Cell, tuple[tuple[Cube | None, float], ...]] | None = None,
    simulator: Simulator | None = None,
    book: RuleBook | None = None,
) -> Progress:
    """Match a build on the way to the steps of its design.

    Args:
        course: the steps.
        built: what stands on the plate; it may be shifted or turned as a whole.
        unsure, chances: cells of the build that could not be read for sure, see `compare`.
        simulator: says whether the board as it stands harms a part; None: by structure alone.
        book: rules, None for the bundled ones.

    Raises:
        InputError: a kind is not in the kit.
    """
    design, kit = course.design, course.kit
    lies = _as_it_lies(design, built, kit)
    placed = _placed(design.board, lies, built, kit)
    to_built = _cells(design.board, lies)
    found = board_dangers(design, built, kit, simulator, book, to_built)
    right = [c for c, q in placed.cubes.items() if _same(q, built.cubes.get(c), kit)]
    if len(built.cubes) > 2 and 2 * len(right) < len(built.cubes):
        return _by_circuit(course, built, right, found, to_built)
    wrong = _wrong_findings(course, placed, to_built, built, unsure or {}, chances or {}, book)
    known = {(f.rule, f.cells[:1]) for f in found}
    found += [f for f in wrong if (f.rule, f.cells[:1]) not in known]
    done = _done(course, built, placed, to_built)
    filled = {to_built[c]: number for number, s in enumerate(course.steps) for c in s.cells}
    open_cells = [c for c, n in filled.items() if n < done and built.cube_at(c) is None]
    ahead = [c for c, n in filled.items() if n >= done and built.cube_at(c) is not None]
    complete = placed.cubes.keys() <= set(built.cubes) and set(placed.leads) <= set(built.leads)
    if len(right) < len(built.cubes) and equivalence(course.circuit, build_circuit(built, kit)):
        done, open_cells, ahead, complete = len(course.steps), [], [], True  # finished in its own way
    return Progress(
        course, done, tuple(sorted(right)), tuple(in_order(found)), tuple(sorted(open_cells)),
        tuple(sorted(ahead)), to_built, complete,
    )  # fmt: skip


def _by_circuit(
    course: Course, built: Board, right: Sequence[Cell], dangers: list[Finding], to_built: Mapping[Cell, Cell]
) -> Progress:
    """A build that does not lie as in the sheet: finished, where it is the whole circuit, else unknown. (Of a
    circuit that is not closed yet nearly nothing can be compared.)"""
    if equivalence(course.circuit, build_circuit(built, course.kit)):
        return Progress(
            course, len(course.steps), tuple(right), tuple(in_order(dangers)), (), (), to_built, True,
            own_layout=True,
        )  # fmt: skip
    told = Finding(
        "step-unknown",
        Severity.QUESTION,
        (),
        tr("The build does not lie as in the sheet, and it is not the whole circuit yet."),
        why=tr("Which step it has reached cannot be told."),
        mend=tr("Lay it out as in the sheet, or finish it and check it against the plan."),
        source="common practice, no source",
    )
    return Progress(
        course, 0, tuple(right), tuple(in_order([*dangers, told])), (), (), to_built, False,
        own_layout=True, unlike=True,
    )  # fmt: skip


def _as_it_lies(design: Design, built: Board, kit: Kit) -> Alignment | None:
    """How the build lies against the plan; None where it lies as planned, which a few cubes may not show."""
    plan = design.board
    fits = [c for c, q in built.cubes.items() if c in plan.cubes and plan.cubes[c].kind == q.kind]
    if plan.columns >= built.columns and len(fits) >= _IN_PLACE * len(built.cubes):
        return None
    found = align(plan, built, kit)
    most = max(len(plan.cubes), len(built.cubes))
    if not found.moved or found.score * most <= len(fits):
        return None
    try:
        _placed(plan, found, built, kit)
    except InputError:  # it falls off
        return None
    return found


def _cells(plan: Board, lies: Alignment | None) -> dict[Cell, Cell]:
    if lies is None:
        return {c: c for c in plan.cubes}
    move = plan.anchors_after(lies.to_built)
    return {c: move(c) for c in plan.cubes}


def _placed(plan: Board, lies: Alignment | None, built: Board, kit: Kit) -> Board:
    """The plan in the cells of the build. Raises InputError where it falls off the plate."""
    if lies is not None:
        size = max(built.columns, plan.columns), max(built.rows, plan.rows)
        return plan.moved(size, lies.to_built, lambda cube: lies.cube_on_built(cube, kit))
    return replace(plan, columns=max(plan.columns, built.columns), rows=max(plan.rows, built.rows))


def board_dangers(
    design: Design,
    built: Board,
    kit: Kit,
    simulator: Simulator | None = None,
    book: RuleBook | None = None,
    to_built: Mapping[Cell, Cell] | None = None,
) -> list[Finding]:
    """The dangers that the rules find in a board as it stands, under the conditions of its design.

    Args:
        to_built: cell of the plan to cell of the build, None where the build lies as planned.
    """
    circuit = build_circuit(built, kit)
    to_built = {c: c for c in design.board.cubes} if to_built is None else to_built
    given = design.conditions
    supply = given.moved(to_built, built.cubes).supply_V
    point: OperatingPointLike | None = None
    positions: Mapping[str, OperatingPointLike] = {}
    if simulator is not None and not is_shorted(circuit):
        conditions = given.moved(to_built, circuit.part_at)
        try:
            point = simulator.operating_point(circuit, conditions)
            positions = simulator.other_positions(circuit, conditions)
        except SimulationError:
            point = None
    found = check_rules(circuit, point, positions=positions, book=book, supply_V=supply)
    return [f for f in found if f.severity is Severity.DANGER]


# ---------------------------------------------------------------- which step


def _done(course: Course, built: Board, placed: Board, to_built: Mapping[Cell, Cell]) -> int:
    """The step up to which most is there and after which least is; the earlier of two that do as well."""
    leads = set(built.leads)
    there: list[tuple[int, int]] = []
    moved_leads = dict(zip(course.design.board.leads, placed.leads, strict=True))
    for step in course.steps:
        filled = [to_built[c] for c in step.cells]
        wanted: list[Lead] = [moved_leads[lead] for lead in step.leads]
        have = sum(built.cube_at(c) is not None for c in filled) + sum(lead in leads for lead in wanted)
        there.append((have, len(filled) + len(wanted)))
    best, done = None, 0
    for number in range(len(there) + 1):
        missing = sum(many - have for have, many in there[:number])
        early = sum(have for have, _ in there[number:])
        if best is None or missing + early < best:
            best, done = missing + early, number
    return done


def _same(planned: Cube, found: Cube | None, kit: Kit) -> bool:
    """Kind, value and turn as planned."""
    if found is None or found.kind != planned.kind:
        return False
    kind = kit[planned.kind]
    return _same_value(planned, found, kit) and kind.same_turn(planned.turn, found.turn)


def _same_value(planned: Cube, found: Cube, kit: Kit) -> bool:
    a, b = planned.value, found.value
    if a is None or (a == b and planned.unit == found.unit):
        return True
    if isinstance(a, str) and isinstance(b, str):
        form = kit[planned.kind].value_form
        return usual_spelling(a, form) == usual_spelling(b, form)
    numbers = isinstance(a, float | int) and isinstance(b, float | int)
    return numbers and planned.unit == found.unit and same_number(float(a), float(b), 0.001)  # type: ignore[arg-type]


# ---------------------------------------------------------------- what is wrong


def _wrong_findings(
    course: Course,
    placed: Board,
    to_built: Mapping[Cell, Cell],
    built: Board,
    unsure: Mapping[Cell, Sequence[Cube | None]],
    chances: Mapping[Cell, tuple[tuple[Cube | None, float], ...]],
    book: RuleBook | None,
) -> list[Finding]:
    """What a comparison says of the build, finished as planned; what is merely not there yet is left out."""
    design = course.design
    if any(a != b for a, b in to_built.items()):
        supply = {to_built[c]: v for c, v in design.conditions.supply_V.items()}
        design = Design(placed, conditions=Conditions(supply_V=supply))
    result = compare(
        replace(design, board=placed),
        _finished(placed, built, course.kit),
        course.kit,
        book=book,
        unsure={c: v for c, v in unsure.items() if c in built.cubes},
        chances={c: v for c, v in chances.items() if c in built.cubes},
    )
    return [f for f in result.findings if f.rule not in _NOT_YET]


def _finished(placed: Board, built: Board, kit: Kit) -> Board:
    """The build with everything that is planned and not there yet; what would stand in the way, or stands
    elsewhere already, is not put in."""
    extra = [q for c, q in built.cubes.items() if c not in placed.cubes]
    board = replace(built, columns=placed.columns, rows=placed.rows)
    cubes = dict(board.cubes)
    covered = set(board.occupied)
    for cell, cube in placed.cubes.items():
        if covered.isdisjoint(cube.cells(cell)):
            stray = next((q for q in extra if q.kind == cube.kind and _same_value(cube, q, kit)), None)
            if stray is not None and not kit[cube.kind].wire:
                extra.remove(stray)  # it stands elsewhere: moved
            else:
                cubes[cell] = cube
    taps: set[Seam] = set(built.taps) | set(placed.taps)
    wrong = [lead for lead in built.leads if lead not in placed.leads]
    used = {end for lead in wrong for end in lead.ends}
    rest = [x for x in placed.leads if x not in built.leads and not (x.ends & used)]
    return replace(board, cubes=cubes, taps=frozenset(taps), leads=(*built.leads, *rest))


def progress_json(found: Progress) -> dict[str, Any]:
    """How far a build has come as plain values for JSON; findings left to the caller."""
    step = found.next_step
    return {
        "title": found.course.design.title,
        "steps": len(found.course.steps),
        "done": found.done,
        "complete": found.complete,
        "own_layout": found.own_layout,
        "right": [str(c) for c in found.right],
        "open_cells": [str(c) for c in found.open_cells],
        "ahead": [str(c) for c in found.ahead],
        "next": None if step is None else {
            "number": step.number,
            "cells": [str(found.to_built[c]) for c in step.cells],
            "words": next_words(found),
        },
    }  # fmt: skip


def next_words(found: Progress) -> list[str]:
    """What to put down next, where the build lies."""
    step = found.next_step
    if step is None:
        return []
    moved = any(a != b for a, b in found.to_built.items())
    if not moved:
        return [put.words for put in step.puts]
    return [
        put.words if put.cell is None
        else tr("{cell} ({planned} of the sheet): {what}", cell=found.to_built[put.cell], planned=put.cell,
                what=put.what)
        for put in step.puts
    ]  # fmt: skip
