"""A checked build in pieces, as plain values, for pages that put them together in their own way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from snapcheck.board import Board
from snapcheck.check import Verdict
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.pipeline import CheckResult
from snapcheck.report._hints import STEPS, hint
from snapcheck.report._html import icon, sign_svg, student_marks
from snapcheck.report._look import (
    badge_svg,
    cautions,
    danger_caution,
    numbered,
    severity_title,
    verdict_advice,
    verdict_tone,
)
from snapcheck.report._picture import addresses_svg, drawing_svg, jpeg, moved, rectify, window_of
from snapcheck.report._tables import figure_rows

if TYPE_CHECKING:
    import numpy as np

#: pixels of a cell in the picture from straight above: enough to read a print when it is enlarged
_PER_CELL = 144.0


@dataclass(frozen=True)
class Pieces:
    """What is told of a build.

    Attributes:
        told: plain values: ``verdict``, ``sentence``, ``advice``, ``tone``, ``sign``, ``powered`` (may it
            be?), ``findings`` (each with its ``hint`` in three sentences and its ``marks`` for steps 1 to 3),
            ``cautions``, ``notes``, ``figures``, ``picture`` (box and rim of the one from straight above).
        photo: JPEG of the build from straight above, None where there is no photo.
        drawn: the build drawn as it was read, SVG text.
    """

    told: dict[str, Any]
    photo: bytes | None
    drawn: str


def pieces(result: CheckResult, pixels: np.ndarray | None = None) -> Pieces:
    """Everything that a page may tell of a checked build; which of it a person may see is the page's affair.

    Args:
        result: the checked build.
        pixels: the photo, upright.
    """
    plan = None if result.placed is None or result.comparison.own_layout else result.placed.board
    window = window_of(result.built, *([] if plan is None else [plan]))
    told = told_of(result.findings, result.verdict, result.built, result.kit, plan)
    for finding, (_, f) in zip(told["findings"], numbered(result.findings), strict=True):
        finding["plan_cells"] = list(map(str, result.comparison.plan_cells(f.cells, result.design.board)))
    photo = None
    if pixels is not None and result.reading is not None:
        photo = jpeg(rectify(pixels, result.reading, window, _PER_CELL))
    told |= {
        "notes": list(result.notes),
        "figures": [
            {"name": r.name, "range": r.range, "designed": r.designed, "built": r.built, "met": r.met}
            for r in figure_rows(result)
        ],
        "picture": {"box": list(window.box), "rim": addresses_svg(window)},
    }
    return Pieces(told, photo, drawing_svg(result.built, result.kit, window, "", ""))


def told_of(
    found: Sequence[Finding], verdict: Verdict, board: Board, kit: Kit, plan: Board | None = None
) -> dict[str, Any]:
    """The part of `Pieces.told` that any board has: ``verdict`` to ``cautions``.

    Args:
        found: what was found on it.
        verdict: what that adds up to.
        board, kit: the build, or a design by itself.
        plan: what was to be built, laid into the build's cells, where there is such a thing.
    """
    findings = numbered(found)
    own = {danger_caution(f, board) for _, f in findings}
    tone = verdict_tone(verdict)
    return {
        "verdict": verdict.value,
        "sentence": verdict.sentence,
        "advice": verdict_advice(verdict),
        "tone": "pass" if tone is None else tone.name.lower(),
        "sign": sign_svg(tone),
        "powered": tone in (None, Severity.DEVIATION),
        "findings": [_finding(n, f, board, kit, plan) for n, f in findings],
        "cautions": [c for c in cautions([q.kind for q in board.cubes.values()]) if c not in own],
    }


def _finding(number: int, finding: Finding, board: Board, kit: Kit, plan: Board | None) -> dict[str, Any]:
    marks = [student_marks(number, finding, board, kit, plan, step) for step in range(1, STEPS + 1)]
    return {
        "number": number,
        "severity": finding.severity.name.lower(),
        "group": severity_title(finding.severity),
        "badge": icon(badge_svg(finding.severity, str(number), 25, 25, 17)),
        "same": _same(finding),
        "cells": [str(cell) for cell in finding.cells],
        "plan_cells": [],
        "hint": list(hint(finding, board).until(STEPS)),
        "title": finding.title,
        "expected": finding.expected,
        "found": finding.found,
        "why": finding.why,
        "effect": finding.effect,
        "mend": finding.mend,
        "caution": danger_caution(finding, board),
        "marks": [moved(mark) for mark in marks],
    }


def _same(finding: Finding) -> str:
    """By what a finding is known again in the next photo."""
    where = finding.seam or finding.lead or ",".join(map(str, finding.cells))
    return f"{finding.rule} {where}"
