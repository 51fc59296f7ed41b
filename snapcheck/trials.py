"""Labelled pictures held against plans: does a good build pass, and is a faulty one ever passed?

Each picture is held against its own board as the plan (a good build), and against plans changed in one place
(a faulty build of each). It lies beside ``pipeline``, because it needs reading and checking.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, field

from snapcheck.board import Board, Cell, Design
from snapcheck.check import bundled_settings, cell_trials, changed_plans
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.photo import Reading
from snapcheck.pipeline import check_build


@dataclass
class Trials:
    """Counts over pictures.

    Attributes:
        good: ``builds``, ``passed``, ``asked`` (a question), ``blamed`` (a fault that is not there).
        changed: trials by kind of mistake; wrong: those that were passed.
        passed: each wrongly passed trial in words.
        cells: single cells held against everything else that a plan may have there, by kind of mistake;
            taken: those that would be taken as planned; as_planned: each of them in words.
    """

    good: Counter[str] = field(default_factory=Counter)
    changed: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    passed: list[str] = field(default_factory=list)
    cells: Counter[str] = field(default_factory=Counter)
    taken: Counter[str] = field(default_factory=Counter)
    as_planned: list[str] = field(default_factory=list)


def _objections(findings: tuple[Finding, ...]) -> set[tuple[str, tuple[Cell, ...], bool]]:
    """What keeps a build from passing."""
    return {
        (f.rule, f.cells, f.severity is Severity.QUESTION)
        for f in findings
        if f.severity is not Severity.NOTE
    }


def hold(trials: Trials, reading: Reading, truth: Board, kit: Kit, rng: random.Random, count: int) -> None:
    """Count one picture in: as a good build, and against `count` changed plans.

    What the plan itself is objected to for (a random board may be dangerous) counts neither way.
    """
    own = _objections(check_build(truth, Design(truth), kit).findings)
    seen = _objections(check_build(reading, Design(truth), kit).findings) - own
    trials.good["builds"] += 1
    asked = any(question for *_, question in seen)
    outcome = "passed" if not seen else "asked" if asked else "blamed"
    trials.good[outcome] += 1
    if any(not question for *_, question in seen):
        trials.good["told faults"] += 1
    for what, plan in changed_plans(truth, kit, rng, count):
        design = Design(plan)
        planned = _objections(check_build(plan, design, kit).findings)
        if not _objections(check_build(truth, design, kit).findings) - planned:
            continue  # the mistake makes no difference: passing it is right
        kind = what.split()[0]
        trials.changed[kind] += 1
        if not _objections(check_build(reading, design, kit).findings) - planned:
            trials.wrong[kind] += 1
            trials.passed.append(f"{reading.photo}: {what}")
    for what, cell, other, taken in cell_trials(reading, truth, kit, bundled_settings()):
        trials.cells[what] += 1
        if taken:
            trials.taken[what] += 1
            instead = "nothing" if other is None else f"{other.kind} {other.turn} {other.value or ''}".strip()
            trials.as_planned.append(f"{reading.photo}: {what} {cell} {instead}")
