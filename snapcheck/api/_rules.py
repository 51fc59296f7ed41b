"""A board by itself, held against the rules of the trade."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from snapcheck.api._given import (
    PathLike,
    board_of,
    book_of,
    kit_of,
)
from snapcheck.api._results import RuleCheck
from snapcheck.api._solver import state_of
from snapcheck.check import (
    State,
    Tried,
    open_questions,
    with_doubts,
)
from snapcheck.circuit import Circuit, RuleBook, build_circuit, check_rules, with_dangers_ahead
from snapcheck.errors import InputError
from snapcheck.watch import Cancel, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BoardLike, KitLike
    from snapcheck.circuit import OperatingPointLike
    from snapcheck.simulate import Simulator


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
            findings += open_questions(
                design.board, Tried(lambda: circuit, used), reading.unsure, planned=None
            )
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
