"""Cells that a reading leaves open: taken as planned for the moment, asked about, never passed."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property

from snapcheck.board import Board, Cell, Cube, Lead, Seam
from snapcheck.circuit import (
    Circuit,
    RuleBook,
    build_circuit,
    capital,
    check_rules,
    cube_words,
    lead_words,
    rules_for_danger,
    same_circuit_in_place,
)
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.words import numeral, tr

#: cells whose alternatives are followed up one by one
_MOST_FOLLOWED = 10
#: choices that are named in a question; more are "something else"
_MOST_TOLD = 4
#: combinations of choices that are tried at most
_MOST_TRIED = 100


def _choices(seen: Board, cell: Cell, others: Sequence[Cube | None]) -> list[Cube | None]:
    """What may stand in a cell, most likely first; empty when it could not be read at all.

    What would reach beyond the plate is no choice. A cell that is called unsure without any other choice may
    hold anything: it is as good as not read.
    """
    choices: dict[object, Cube | None] = {}
    fitting = (cube for cube in others if seen.fits(cell, cube))
    for cube in (seen.cubes.get(cell), *fitting):  # however its value is spelt, it is one choice
        choices.setdefault(None if cube is None else (cube.kind, cube.turn, cube.value, cube.unit), cube)
    return list(choices.values()) if len(choices) > 1 else []


def same_cube(a: Cube | None, b: Cube | None, kit: Kit) -> bool:
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
    taken = []
    for cell, others in unsure.items():
        allowed = _choices(seen, cell, others)
        want = planned.get(cell)
        possible = not allowed or any(same_cube(want, a, kit) for a in allowed)
        if possible and seen.fits(cell, want):
            taken.append(cell)
    return as_planned(seen, taken, planned)


def as_planned(board: Board, cells: Iterable[Cell], planned: Mapping[Cell, Cube]) -> Board:
    """The board with these cells as planned."""
    return board.put({cell: planned.get(cell) for cell in cells})


class Tried:
    """A build with other cubes tried in single cells; each circuit is made, and looked at, once.

    Args:
        circuit: gives the build's circuit; asked for when something is tried.
        book: rule book, None for the bundled one.
    """

    def __init__(self, circuit: Callable[[], Circuit], book: RuleBook | None = None) -> None:
        self._give = circuit
        self._book = book
        self._made: dict[tuple[Cell, Cube | None], Circuit] = {}
        self._feared: dict[tuple[Cell, Cube | None], Finding | None] = {}

    @cached_property
    def circuit(self) -> Circuit:
        """As the build is taken to stand."""
        return self._give()

    def _with(self, cell: Cell, cube: Cube | None) -> Circuit:
        if (cell, cube) not in self._made:
            board = self.circuit.board.put({cell: cube})
            self._made[cell, cube] = build_circuit(board, self.circuit.kit)
        return self._made[cell, cube]

    @cached_property
    def _dangerous(self) -> frozenset[str]:
        """Rules that find a danger in the build as it is."""
        return frozenset(f.rule for f in self._dangers_of(self.circuit))

    def _dangers_of(self, circuit: Circuit) -> list[Finding]:
        found = check_rules(circuit, book=self._book, only=rules_for_danger(self._book))
        return [f for f in found if f.severity is Severity.DANGER]

    def dangers(self, cell: Cell, choices: Iterable[Cube | None]) -> list[tuple[Cube | None, Finding]]:
        """Choices that would make it dangerous to power the build."""
        found = []
        for choice in choices:
            if (cell, choice) not in self._feared:
                fresh = (
                    f for f in self._dangers_of(self._with(cell, choice)) if f.rule not in self._dangerous
                )
                self._feared[cell, choice] = next(fresh, None)
            finding = self._feared[cell, choice]
            if finding is not None:
                found.append((choice, finding))
        return found

    def no_matter(self, cell: Cell, choices: Iterable[Cube | None]) -> bool:
        """True when the circuit is the same whichever of the choices stands there."""
        return all(same_circuit_in_place(self.circuit, self._with(cell, c)) is not None for c in choices)

    def no_matter_together(self, choices: Mapping[Cell, Sequence[Cube | None]]) -> bool:
        """True where cells that do not matter one by one do not all at once; False where too many to try.

        Two wires that each end blindly may meet each other.
        """
        if len(choices) < 2:
            return True
        if math.prod(1 + len(c) for c in choices.values()) > _MOST_TRIED:
            return False
        circuit, board = self.circuit, self.circuit.board
        for taken in itertools.product(*([board.cubes.get(cell), *c] for cell, c in choices.items())):
            tried = board
            for cell, cube in zip(choices, taken, strict=True):
                tried = tried.put({cell: cube})
            if same_circuit_in_place(circuit, build_circuit(tried, circuit.kit)) is None:
                return False
        return True


def open_questions(
    seen: Board,
    tried: Tried,
    unsure: Mapping[Cell, Sequence[Cube | None]],
    *,
    planned: Mapping[Cell, Cube] | None,
) -> list[Finding]:
    """One question for every unsure cell where it matters what stands there.

    Args:
        seen: as read.
        tried: tries cubes in the circuit of what is taken to stand there.
        unsure: cell to what else may stand there.
        planned: what the plan has in the cells of the build, None where that says nothing.
    """
    cubes, kit = tried.circuit.board.cubes, tried.circuit.kit
    choices_of = {cell: _choices(seen, cell, others) for cell, others in unsure.items()}
    differing_of = {
        cell: [c for c in choices if not same_cube(c, cubes.get(cell), kit)]
        for cell, choices in choices_of.items()
    }
    followed = set(sorted(unsure)[:_MOST_FOLLOWED])
    harmless = {c for c in followed if differing_of[c] and tried.no_matter(c, differing_of[c])}
    if not tried.no_matter_together({c: differing_of[c] for c in sorted(harmless)}):
        harmless.clear()
    questions = []
    for cell, others in sorted(unsure.items()):
        choices, differing = choices_of[cell], differing_of[cell]
        if cell in harmless or (choices and not differing):
            continue
        feared = tried.dangers(cell, differing) if cell in followed else []
        seen_cube = seen.cubes.get(cell) if others else None
        questions.append(_question(cell, choices, cubes.get(cell), planned, feared, kit, seen_cube))
    return questions


def _question(
    cell: Cell,
    choices: list[Cube | None],
    taken: Cube | None,
    planned: Mapping[Cell, Cube] | None,
    feared: list[tuple[Cube | None, Finding]],
    kit: Kit,
    seen: Cube | None,
) -> Finding:
    names = [_choice_words(c, choices, kit) for c in choices]
    if not choices:
        title = tr("{cell} could not be read for sure.", cell=cell)
        found = tr("It is unknown what stands there.")
        if seen is not None:
            found = tr("Perhaps {cube}.", cube=cube_words(seen, kit))
    else:
        told = names if len(names) <= _MOST_TOLD else [*names[: _MOST_TOLD - 1], tr("something else")]
        title = tr("What stands at {cell} is not certain: {choices}?", cell=cell, choices=_either(told))
        found = capital(_either(told)) + "."
    expected = ""
    if planned is not None:
        expected = tr("The plan has {cube} there.", cube=cube_words(planned.get(cell), kit))
    why = tr("Until somebody has looked, the build is not passed.")
    if feared:
        choice, finding = feared[0]
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
        mend=tr("Look at the cube at {cell}, or add a close-up that shows it and its neighbours.", cell=cell),
        expected_cube=None if planned is None else planned.get(cell),
        found_cube=taken if choices else None,
        data={"choices": names, "danger": bool(feared)},
        source="reading of the picture",
    )


def settled_note(settled: Mapping[Cell, float], planned: Mapping[Cell, Cube], kit: Kit) -> list[Finding]:
    """Which cells were taken as planned because picture and plan together leave no doubt."""
    if not settled:
        return []
    told = [
        tr("{cell}: {cube}, {percent} %", cell=cell, cube=cube_words(planned.get(cell), kit),
           percent=numeral(f"{100 * min(p, 0.9999):.2f}"))
        for cell, p in sorted(settled.items())
    ]  # fmt: skip
    return [
        Finding(
            rule="taken-as-planned",
            severity=Severity.NOTE,
            cells=tuple(sorted(settled)),
            title=tr("Not quite clear in the picture, taken as planned: {cells}.", cells="; ".join(told)),
            why=tr("Picture and plan together leave no doubt worth a question."),
            data={str(cell): p for cell, p in sorted(settled.items())},
            source="reading of the picture",
        )
    ]


def tap_question(seam: Seam) -> Finding:
    """Is there a tap, or is there none?"""
    return Finding(
        rule="tap-unsure",
        severity=Severity.QUESTION,
        cells=(seam.first, seam.second),
        title=tr("Is there a tap between {a} and {b}?", a=seam.first, b=seam.second),
        why=tr("Until somebody has looked, the build is not passed."),
        mend=tr("Look at the seam {seam}, or take the picture again.", seam=seam),
        seam=seam,
        source="reading of the picture",
    )


def lead_question(lead: Lead, others: Sequence[Lead] = ()) -> Finding:
    """Does a lead go where it seems to go?"""
    return Finding(
        rule="lead-unsure",
        severity=Severity.QUESTION,
        cells=(),
        title=tr("Where a lead goes is not certain: {lead}?", lead=capital(lead_words(lead))),
        found=tr("It may also be {other}.", other=lead_words(others[0])) if others else "",
        why=tr("Until somebody has looked, the build is not passed."),
        mend=tr("Follow the lead with a finger from plug to plug."),
        lead=lead,
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
