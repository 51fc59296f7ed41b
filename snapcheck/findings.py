"""Findings: what one tells a person about a build. Values, not messages printed on the way."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field

from snapcheck.board import Cell, Cube, Lead, Seam, Side


class Severity(enum.IntEnum):
    """How bad it is; findings are told in this order."""

    DANGER = 0  #: do not power
    FAULT = 1  #: it will not work
    DEVIATION = 2  #: it works differently
    NOTE = 3  #: worth knowing
    QUESTION = 4  #: the photo leaves it open; a person must look


@dataclass(frozen=True)
class Finding:
    """One thing to tell a person.

    Attributes:
        rule: stable name of the rule or comparison that found it, such as ``supply-shorted``.
        severity: see `Severity`.
        cells: the cells concerned, most important first.
        named: names of the parts concerned that stand on no plate, likewise.
        side: side of the first cell concerned, where one matters.
        seam, lead: the tap or lead concerned, where it is one.
        title: one short sentence: what is there ("C5, the plus is on the left").
        expected, found: what was expected and what is there, in words.
        why: why it matters, one sentence.
        effect: the simulated effect in numbers, "" where there is none.
        mend: what to do.
        expected_cube, found_cube: the cubes themselves, for drawings (ghosts, arrows).
        expected_lead: where `lead` should lie instead, for drawings.
        data: numbers behind the words, SI units, for JSON.
        source: published source of the rule, or "common practice, no source".
    """

    rule: str
    severity: Severity
    cells: tuple[Cell, ...]
    title: str
    expected: str = ""
    found: str = ""
    why: str = ""
    effect: str = ""
    mend: str = ""
    side: Side | None = None
    seam: Seam | None = None
    lead: Lead | None = None
    expected_cube: Cube | None = None
    found_cube: Cube | None = None
    expected_lead: Lead | None = None
    data: dict[str, float | str | bool | list[str]] = field(default_factory=dict, hash=False)
    source: str = ""
    named: tuple[str, ...] = ()


def in_order(findings: list[Finding]) -> list[Finding]:
    """Findings in the order of what to do: worst first (what can kill before what breaks), then by place."""
    return sorted(findings, key=lambda f: (f.severity, f.rule != "above-extra-low", f.cells[:1], f.rule))


def finding_to_json(finding: Finding) -> dict[str, object]:
    """A finding as plain values for JSON; empty words are left out."""

    def cube(value: Cube | None) -> dict[str, object] | None:
        if value is None:
            return None
        return {"kind": value.kind, "turn": value.turn, "value": value.value, "printed": value.printed}

    told: dict[str, object] = {
        "rule": finding.rule,
        "severity": finding.severity.name.lower(),
        "cells": [str(cell) for cell in finding.cells],
        "side": None if finding.side is None else finding.side.name,
        "seam": None if finding.seam is None else str(finding.seam),
        "lead": None if finding.lead is None else str(finding.lead),
        "title": finding.title,
        "expected": finding.expected,
        "found": finding.found,
        "why": finding.why,
        "effect": finding.effect,
        "mend": finding.mend,
        "expected_cube": cube(finding.expected_cube),
        "found_cube": cube(finding.found_cube),
        "data": finding.data,
        "source": finding.source,
    }
    return {key: value for key, value in told.items() if value not in (None, "", {}, [])}
