"""What a photo leaves open besides cubes: taps, leads and remarks; asked about, never passed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from snapcheck.board import Cell
from snapcheck.check._unsure import lead_question, tap_question
from snapcheck.check._verdict import Verdict, verdict_of
from snapcheck.findings import Finding, Severity, in_order
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.photo import Reading


def with_doubts(
    findings: Sequence[Finding],
    reading: Reading | None,
    *,
    built_differently: bool = False,
    undecided: bool = False,
    unsure: Collection[Cell] = (),
    as_planned: bool = False,
) -> tuple[list[Finding], Verdict]:
    """Findings and verdict of a build, with the doubts of the reading that they rest on.

    Dangers stay dangers, because leaving the supply off costs nothing. Everything else that rests on a tap
    or lead that was not read for sure becomes a question, and no build with such a question passes: what was
    not seen may mend or make any fault.

    Args:
        findings: of rules and comparison, unsure cells asked about already (`open_questions`).
        reading: what the photo said; None for a board that somebody wrote.
        built_differently, undecided: see `verdict_of`.
        unsure: cells that were not read for sure, where no comparison has weighed what may stand in them.
        as_planned: a comparison has found every cube of a plan in its place.
    """
    if reading is None:
        verdict = verdict_of(findings, built_differently=built_differently, undecided=undecided)
        return in_order(list(findings)), verdict
    told = _questioned(findings, reading, unsure)
    told += [_loose(cell) for cell in reading.loose]
    asked = {f.lead for f in told if f.lead is not None and f.severity is Severity.QUESTION}
    asked_seams = {f.seam for f in told if f.seam is not None and f.severity is Severity.QUESTION}
    questions = reading_questions(reading)
    if reading.edge and (questions or not as_planned or any(f.severity is not Severity.NOTE for f in told)):
        # where a build is as planned wherever it lies on the plate, the edge does not matter
        questions.append(_remark(reading.edge))
    told += [q for q in questions if not (q.lead in asked if q.lead else q.seam and q.seam in asked_seams)]
    verdict = verdict_of(told, built_differently=built_differently, undecided=undecided)
    if questions and verdict is not Verdict.DO_NOT_POWER:
        verdict = Verdict.CANT_TELL
    return in_order(told), verdict


def reading_questions(reading: Reading) -> list[Finding]:
    """One question for every remark on the picture and every tap and lead that is not sure."""
    questions = [_remark(note) for note in dict.fromkeys(reading.notes)]
    questions += [tap_question(tap.seam) for tap in reading.unsure_taps]
    return questions + [
        lead_question(lead.lead, [other for other, _ in lead.alternatives[:2]])
        for lead in reading.unsure_leads
    ]


def _loose(cell: Cell) -> Finding:
    return Finding(
        rule="cube-loose",
        severity=Severity.NOTE,
        cells=(cell,),
        title=tr("A cube lies loose at {cell}.", cell=cell),
        why=tr("It is not snapped in and was not counted; its contacts may touch others, or the plate."),
        mend=tr("Take it off the plate before you power."),
        source="reading of the picture",
    )


def _beside(cells: Iterable[Cell], unsure: Collection[Cell]) -> bool:
    """True where a cell, or the one next to it, was not read for sure."""
    return any(abs(a.column - b.column) + abs(a.row - b.row) <= 1 for a in cells for b in unsure)


def _remark(note: str) -> Finding:
    """A remark such as "a corner of the plate lies outside the picture" leaves part of the build open."""
    return Finding(
        rule="picture-remark",
        severity=Severity.QUESTION,
        cells=(),
        title=note,
        why=tr("Until somebody has looked, the build is not passed."),
        mend=tr("Look there yourself, or take the picture again."),
        source="reading of the picture",
    )


def _questioned(findings: Iterable[Finding], reading: Reading, unsure: Collection[Cell]) -> list[Finding]:
    """Findings, those that rest on something doubtful told as questions."""
    leads = {r.lead for r in reading.unsure_leads}
    seams = {r.seam for r in reading.unsure_taps}
    asked = {f.cells for f in findings if f.rule == "cell-unsure"}
    told = []
    for f in findings:
        if f.severity is Severity.DANGER:
            told.append(f)
        elif f.found_cube is not None and f.rule != "cell-unsure" and f.cells in asked:
            continue  # the question about this very cube says what the plan has there
        elif (
            (f.lead is not None and f.lead in leads)
            or (f.seam is not None and f.seam in seams)
            # a lead taken for another, or one whose end was not found, may be the very one that is missed
            or (f.rule == "lead-missing" and (leads or reading.notes))
            or (f.severity is not Severity.QUESTION and _beside(f.cells, unsure))
        ):
            doubt = tr("This rests on something that could not be read for sure. Look before you mend it.")
            title = tr("If the photo was read rightly: {title}", title=f.title)
            told.append(replace(f, severity=Severity.QUESTION, title=title, why=doubt))
        else:
            told.append(f)
    return told
