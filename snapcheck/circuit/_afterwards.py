"""What mending would set free: the danger that waits behind a gap.

A light-emitting diode without its resistor does no harm while a ground is missing; with the ground it
burns. Without a plan nobody knows what belongs into the gap, so the likeliest is tried in thought: a joint
where several contacts point at one empty cell, a ground where one does, and a cube that no contact meets
turned so that they do (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from snapcheck.board import Cell, Cube, Side
from snapcheck.circuit._book import RuleBook
from snapcheck.circuit._build import build_circuit, is_part
from snapcheck.circuit._circuit import Circuit
from snapcheck.circuit._context import Context
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.circuit._rules import check_rules
from snapcheck.findings import Finding, Severity
from snapcheck.kit import PLATE, Kit
from snapcheck.words import tr

Point = Callable[[Circuit], OperatingPointLike | None]


def with_dangers_ahead(
    circuit: Circuit,
    findings: Sequence[Finding],
    book: RuleBook,
    supply_V: Mapping[Cell, float] | None = None,
    point: Point | None = None,
) -> list[Finding]:
    """The findings, those about a gap with the danger that closing it would bring.

    Args:
        circuit: as built; findings: what the rules say of it.
        book, supply_V: see `check_rules`.
        point: calculates a mended circuit, None for what structure alone makes certain.
    """
    told = list(findings)
    if any(f.severity is Severity.DANGER for f in told):
        return told  # nothing is told of later while there is something to be told of now
    context = Context(circuit, book, supply_V=dict((supply_V or {}).items()), wordless=True)
    fills = _fills(context, circuit.kit)
    trials = [{cell: cube} for cell, cubes in fills.items() for cube in cubes]
    if len(fills) > 1:
        trials.append({cell: cubes[0] for cell, cubes in fills.items()})
    known = set[tuple[str, tuple[Cell, ...]]]()
    for trial in trials:
        places = {*trial, *(h.cell for cell in trial for h in context.pointing[cell])}
        about = next(
            (i for i, f in enumerate(told) if f.severity is Severity.FAULT and {*f.cells} & places), None
        )
        if about is None or "ahead" in told[about].data:
            continue
        mended = build_circuit(circuit.board.put(dict(trial)), circuit.kit)
        then = check_rules(mended, point and point(mended), book=book, supply_V=supply_V)
        dangers = [f for f in then if f.severity is Severity.DANGER]
        if len(trial) > 1:  # of all together, what none of them brings alone
            dangers = [f for f in dangers if (f.rule, f.cells) not in known]
        known.update((f.rule, f.cells) for f in dangers)
        if dangers:
            finding = told[about]
            warning = tr(
                "Beware: once the gap is closed, this may be a danger: {title}", title=dangers[0].title
            )
            told[about] = replace(
                finding,
                mend=f"{finding.mend} {warning} {dangers[0].mend}".strip(),
                data={**finding.data, "ahead": [f.rule for f in dangers]},
            )
    return told


def _fills(context: Context, kit: Kit) -> dict[Cell, list[Cube]]:
    """Cells that contacts point at in vain: empty ones with what would join them, others with the cube that
    stands there, turned so that it does."""
    board = context.circuit.board
    fills = {}
    for cell, halves in context.pointing.items():
        sides = frozenset(h.side.opposite for h in halves if h.side is not None and h.cell != cell)
        there = board.cube_at(cell)
        cubes = _turned(there, sides, kit) if there is not None else [_joint(sides, kit)]
        if any(cubes):
            fills[cell] = [cube for cube in cubes if cube is not None]
    return fills


def _turned(cube: Cube, sides: frozenset[Side], kit: Kit) -> Sequence[Cube | None]:
    """A cube of one cell in every other turn in which it has contacts on all these sides."""
    kind = kit.kinds.get(cube.kind)
    if kind is None or kind.size != (1, 1):
        return []
    return [
        replace(cube, turn=turn) for turn, contacts in kind.contacts_at.items()
        if turn != cube.turn and sides <= {c.side for c in contacts}
    ]  # fmt: skip


def _joint(sides: frozenset[Side], kit: Kit) -> Cube | None:
    """A cube of one cell with contacts on just these sides, all joined; for a single side, with the plate."""
    for kind in kit.kinds.values():
        if kind.size != (1, 1) or kind.sockets or is_part(kind):
            continue
        if len(kind.terminals) != 1 or (kind.terminals[0] == PLATE) != (len(sides) == 1):
            continue
        for turn, contacts in kind.contacts_at.items():
            if {c.side for c in contacts} == sides:
                return Cube(kind.name, turn)
    return None
