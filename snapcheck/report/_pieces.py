"""A checked build in pieces, as plain values, for pages that put them together in their own way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from snapcheck.findings import Finding, Severity
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
    findings = numbered(result.findings)
    own = {danger_caution(f, result.built) for _, f in findings}
    tone = verdict_tone(result.verdict)
    kinds = [cube.kind for cube in result.built.cubes.values()]
    photo = None
    if pixels is not None and result.reading is not None:
        photo = jpeg(rectify(pixels, result.reading, window, _PER_CELL))
    told = {
        "verdict": result.verdict.value,
        "sentence": result.verdict.sentence,
        "advice": verdict_advice(result.verdict),
        "tone": "pass" if tone is None else tone.name.lower(),
        "sign": sign_svg(tone),
        "powered": tone in (None, Severity.DEVIATION),
        "findings": [_finding(n, f, result, plan) for n, f in findings],
        "cautions": [c for c in cautions(kinds) if c not in own],
        "notes": list(result.notes),
        "figures": [
            {"name": r.name, "range": r.range, "designed": r.designed, "built": r.built, "met": r.met}
            for r in figure_rows(result)
        ],
        "picture": {"box": list(window.box), "rim": addresses_svg(window)},
    }
    return Pieces(told, photo, drawing_svg(result.built, result.kit, window, "", ""))


def _finding(number: int, finding: Finding, result: CheckResult, plan: Any) -> dict[str, Any]:
    steps = range(1, STEPS + 1)
    return {
        "number": number,
        "severity": finding.severity.name.lower(),
        "group": severity_title(finding.severity),
        "badge": icon(badge_svg(finding.severity, str(number), 25, 25, 17)),
        "same": _same(finding),
        "cells": [str(cell) for cell in finding.cells],
        "plan_cells": [str(c) for c in result.comparison.plan_cells(finding.cells, result.design.board)],
        "hint": list(hint(finding, result.built).until(STEPS)),
        "title": finding.title,
        "expected": finding.expected,
        "found": finding.found,
        "why": finding.why,
        "effect": finding.effect,
        "mend": finding.mend,
        "caution": danger_caution(finding, result.built),
        "marks": [moved(student_marks(number, finding, result, plan, step)) for step in steps],
    }


def _same(finding: Finding) -> str:
    """By what a finding is known again in the next photo."""
    where = finding.seam or finding.lead or ",".join(map(str, finding.cells))
    return f"{finding.rule} {where}"
