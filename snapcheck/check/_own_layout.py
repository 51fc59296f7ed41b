"""A build that is laid out in its own way: only what it is electrically can be compared."""

from __future__ import annotations

from collections.abc import Mapping

from snapcheck.board import Cell
from snapcheck.check._sentence import difference_words
from snapcheck.circuit import (
    Circuit,
    Difference,
    Equivalence,
    Sameness,
    What,
    capital,
    differences,
    net_words,
    part_words,
    single_difference,
)
from snapcheck.devices import Store
from snapcheck.findings import Finding, Severity
from snapcheck.words import tr

#: with more differences than this, the two circuits have little in common
_MOST_DIFFERENCES = 8
_SOURCE = "comparison with the plan"

_Answer = tuple[list[Finding], str, Mapping[Cell, Cell], Mapping[int, int]]


def own_layout_findings(plan: Circuit, built: Circuit, answer: Equivalence) -> _Answer:
    """Findings, the electrical answer in a word, and the parts and nets that correspond.

    Args:
        plan, built: the circuits.
        answer: what comparing them as a whole gave.
    """
    if answer:
        return [_same_note()], "equivalent", answer.cells, answer.nets
    fit = differences(plan, built)
    single = single_difference(plan, built) if answer.sameness is Sameness.DIFFERENT else None
    if single is not None:
        return [_finding(single, plan, built, fit.nets)], "different", fit.cells, fit.nets
    if answer.sameness is Sameness.GAVE_UP and not fit.differences:
        return [_undecided()], "gave-up", fit.cells, fit.nets
    findings = [_finding(d, plan, built, fit.nets) for d in fit.differences]
    if len(findings) > _MOST_DIFFERENCES:
        dangers = [f for f in findings if f.severity is Severity.DANGER]
        return [_little_in_common(plan, built, fit.cells), *dangers], "different", fit.cells, fit.nets
    findings += _sockets(plan, built, fit.nets)
    if not findings:  # they differ, and it cannot be said where
        return [_undecided()], "gave-up", fit.cells, fit.nets
    return findings, "different", fit.cells, fit.nets


def _note(rule: str, severity: Severity, title: str, why: str, mend: str) -> Finding:
    return Finding(rule=rule, severity=severity, cells=(), title=title, why=why, mend=mend, source=_SOURCE)


def _same_note() -> Finding:
    return _note(
        "built-differently",
        Severity.NOTE,
        tr("The build has a layout of its own, but it is the same circuit."),
        tr("It makes no difference to the circuit."),
        tr("Nothing need be done."),
    )


def _undecided() -> Finding:
    return _note(
        "undecided",
        Severity.QUESTION,
        tr("The circuit is so regular that the comparison was given up."),
        tr("It could not be decided whether the build is the same circuit as the plan."),
        tr("Build it in the layout of the plan, or compare by eye."),
    )


def _little_in_common(plan: Circuit, built: Circuit, parts: Mapping[Cell, Cell]) -> Finding:
    return _note(
        "another-circuit",
        Severity.FAULT,
        tr("The build has little in common with the plan: {common} of {planned} parts can be paired.",
           common=len(parts), planned=len(plan.parts)),
        tr("Neither the places of the cubes nor their connections fit the plan ({built} parts were built).",
           built=len(built.parts)),
        tr("Is it the right plan? If so, begin with the part where the supply enters."),
    )  # fmt: skip


def _finding(difference: Difference, plan: Circuit, built: Circuit, nets: Mapping[int, int]) -> Finding:
    there, here = difference.part, difference.built_part
    severity, mend = Severity.FAULT, tr("Compare the connections there with the plan.")
    match difference.what:
        case What.MISSING if there is not None:
            title = tr("{part} of the plan is missing.", part=capital(part_words(there)))
            mend = tr("Add it.")
        case What.EXTRA if here is not None:
            title = tr("{part} is not in the plan.", part=capital(part_words(here)))
            severity, mend = Severity.DEVIATION, tr("Take it out.")
        case What.VALUE if here is not None and there is not None:
            title = tr("{built} stands for {planned} of the plan.",
                       built=capital(part_words(here)), planned=part_words(there))  # fmt: skip
            severity, mend = Severity.DEVIATION, tr("Exchange it.")
        case What.KIND if here is not None and there is not None:
            title = tr("{built} stands for {planned} of the plan.",
                       built=capital(part_words(here)), planned=part_words(there))  # fmt: skip
            mend = tr("Exchange it.")
        case What.LEGS if here is not None:
            title = tr("{part} is connected the wrong way round.", part=capital(part_words(here)))
            mend = tr("Turn it, or exchange its connections.")
            danger = here.device.supplies or here.device.store is Store.CHARGE
            if danger and set(here.nets) == {"plus", "minus"}:
                severity = Severity.DANGER
        case What.APART if not difference.pieces:
            pieces = " | ".join(net_words(built, n, 2) for n in difference.built_nets)
            title = tr("Joined in the plan, apart here: {pieces}.", pieces=pieces)
        case _:
            title = difference_words(difference, plan)
    if severity is Severity.DANGER:
        mend = tr("Do not power.") + " " + mend
    return Finding(
        rule=f"circuit-{difference.what.value}",
        severity=severity,
        cells=_cells(difference, built, nets),
        title=title,
        expected=tr("The names of parts in this sentence are those of the plan.")
        if difference.what in (What.JOINED, What.HANGS) or difference.pieces
        else "",
        why=tr("So the build is not the circuit of the plan."),
        mend=mend,
        source=_SOURCE,
    )


def _sockets(plan: Circuit, built: Circuit, nets: Mapping[int, int]) -> list[Finding]:
    """Sockets of the plan that the build does not have."""
    gone = [n for n in sorted(plan.open_sockets) if nets.get(n, -1) not in built.open_sockets]
    return [
        Finding(
            rule="circuit-socket",
            severity=Severity.FAULT,
            cells=tuple(built.nets[nets[n]].cells[:1]) if nets.get(n, -1) >= 0 else (),
            title=tr("A socket of the plan is missing: {net}.", net=net_words(plan, n, 2)),
            why=tr("Without it nothing can be plugged in there."),
            mend=tr("Add it."),
            source=_SOURCE,
        )
        for n in gone
    ]


def _cells(difference: Difference, built: Circuit, nets: Mapping[int, int]) -> tuple[Cell, ...]:
    if difference.built_part is not None:
        return (difference.built_part.cell,)
    numbers = [n for n in difference.built_nets if n >= 0] or [nets[n] for n in difference.nets if n in nets]
    return tuple(dict.fromkeys(built.board.named(c) for n in numbers for c in built.nets[n].cells))
