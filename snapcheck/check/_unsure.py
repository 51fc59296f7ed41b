"""Cells that a reading leaves open: taken as planned for the moment, asked about, never passed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from snapcheck.board import Board, Cell, Cube
from snapcheck.circuit import (
    RuleBook,
    build_circuit,
    capital,
    check_rules,
    cube_words,
    same_circuit_in_place,
)
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.words import tr

#: cells whose alternatives are followed up one by one
_MOST_FOLLOWED = 10


def _choices(seen: Board, cell: Cell, others: Sequence[Cube | None]) -> list[Cube | None]:
    """What may stand in a cell, most likely first; empty when it could not be read at all."""
    return list(dict.fromkeys([seen.cubes.get(cell), *others])) if others else []


def _same(a: Cube | None, b: Cube | None, kit: Kit) -> bool:
    if a is None or b is None or a.kind != b.kind:
        return a is b
    return (a.value, a.unit) == (b.value, b.unit) and (
        a.turn == b.turn or kit[a.kind].same_turn(a.turn, b.turn)
    )


def settle(
    seen: Board, unsure: Mapping[Cell, Sequence[Cube | None]], planned: Mapping[Cell, Cube], kit: Kit
) -> Board:
    """The board with unsure cells taken as planned where the reading allows it.

    Args:
        seen: as read.
        unsure: cell to alternatives; an empty sequence allows anything.
        planned: what the plan has, by cell of the build.
        kit: the cubes.
    """
    cubes = dict(seen.cubes)
    for cell, others in unsure.items():
        want = planned.get(cell)
        allowed = _choices(seen, cell, others)
        if allowed and not any(_same(want, a, kit) for a in allowed):
            continue
        if want is None:
            cubes.pop(cell, None)
        else:
            cubes[cell] = want
    return replace(seen, cubes=cubes)


def open_questions(
    seen: Board,
    settled: Board,
    unsure: Mapping[Cell, Sequence[Cube | None]],
    kit: Kit,
    book: RuleBook | None,
    *,
    planned: Mapping[Cell, Cube] | None,
) -> list[Finding]:
    """One question for every unsure cell where it matters what stands there."""
    questions = []
    for number, (cell, others) in enumerate(sorted(unsure.items())):
        choices = _choices(seen, cell, others)
        taken = settled.cubes.get(cell)
        differing = [c for c in choices if not _same(c, taken, kit)]
        follow = number < _MOST_FOLLOWED
        if choices and (not differing or (follow and _no_matter(settled, cell, differing, kit))):
            continue
        dangers = _dangers(settled, cell, differing, kit, book) if follow else []
        questions.append(_question(cell, choices, taken, planned, dangers, kit))
    return questions


def _with_cube(board: Board, cell: Cell, cube: Cube | None) -> Board:
    cubes = dict(board.cubes)
    if cube is None:
        cubes.pop(cell, None)
    else:
        cubes[cell] = cube
    return replace(board, cubes=cubes)


def _no_matter(board: Board, cell: Cell, choices: Sequence[Cube | None], kit: Kit) -> bool:
    """True when the circuit is the same whichever of the choices stands there."""
    circuit = build_circuit(board, kit)
    return all(
        same_circuit_in_place(circuit, build_circuit(_with_cube(board, cell, c), kit)) is not None
        for c in choices
    )


def _dangers(
    board: Board, cell: Cell, choices: Sequence[Cube | None], kit: Kit, book: RuleBook | None
) -> list[tuple[Cube | None, Finding]]:
    """Choices that would make it dangerous to power the build."""
    before = {f.rule for f in check_rules(build_circuit(board, kit), book=book) if not f.severity}
    found = []
    for choice in choices:
        for finding in check_rules(build_circuit(_with_cube(board, cell, choice), kit), book=book):
            if finding.severity is Severity.DANGER and finding.rule not in before:
                found.append((choice, finding))
                break
    return found


def _question(
    cell: Cell,
    choices: list[Cube | None],
    taken: Cube | None,
    planned: Mapping[Cell, Cube] | None,
    dangers: list[tuple[Cube | None, Finding]],
    kit: Kit,
) -> Finding:
    names = [_choice_words(c, choices, kit) for c in choices]
    if not choices:
        title = tr("{cell} could not be read.", cell=cell)
        found = tr("It is unknown what stands there.")
    else:
        title = tr("What stands at {cell} is not certain: {choices}?", cell=cell, choices=_either(names))
        found = capital(_either(names)) + "."
    expected = ""
    if planned is not None:
        expected = tr("The plan has {cube} there.", cube=cube_words(planned.get(cell), kit))
    why = tr("Until somebody has looked, the build is not passed.")
    if dangers:
        choice, finding = dangers[0]
        why = tr("If it is {cube}: {title} Look before you power.",
                 cube=_choice_words(choice, choices, kit), title=finding.title)  # fmt: skip
    return Finding(
        rule="cell-unsure",
        severity=Severity.QUESTION,
        cells=(cell,),
        title=title,
        expected=expected,
        found=found,
        why=why,
        mend=tr("Look at the cube at {cell}, or take the picture again.", cell=cell),
        expected_cube=None if planned is None else planned.get(cell),
        found_cube=taken if choices else None,
        data={"choices": names, "danger": bool(dangers)},
        source="reading of the picture",
    )


def _choice_words(cube: Cube | None, among: list[Cube | None], kit: Kit) -> str:
    """The cube, with its turn where only that tells it from another choice."""
    words = cube_words(cube, kit)
    twins = [c for c in among if c is not None and c != cube and cube_words(c, kit) == words]
    return tr("{cube} turned by {turn}°", cube=words, turn=cube.turn) if cube and twins else words


def _either(names: list[str]) -> str:
    if len(names) < 2:
        return "".join(names)
    return tr("{most} or {last}", most=", ".join(names[:-1]), last=names[-1])
