"""A picture that shows another task of the course: asked about, not charged as so many mistakes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from snapcheck.check import Verdict
from snapcheck.circuit import build_circuit, bundled_rules
from snapcheck.decisions import with_edits
from snapcheck.findings import Severity
from snapcheck.grade._facts import Facts, Fault
from snapcheck.grade._rubric import Rubric
from snapcheck.grade._score import Grade, nothing
from snapcheck.grade._work import Plan, plan_of
from snapcheck.photo import reading_from_json
from snapcheck.sheet import as_another, looks_like, worth_asking
from snapcheck.words import tr


@dataclass(frozen=True)
class OtherTask:
    """What a picture shows instead of its task.

    Attributes:
        task: the other one.
        said: that it looks like it, in words.
        dangers: of the board itself, and of a build of the other task.
    """

    task: str
    said: str
    dangers: tuple[Fault, ...]


def other_task(
    facts: Facts, body: Mapping[str, Any], edits: tuple[str, ...], task: str, plans: Mapping[str, Plan]
) -> OtherTask | None:
    """The other task that a build looks like; None where it looks like its own or like none.

    Args:
        facts: of the build, checked against its own task.
        body: its reading.
        edits: decisions on that.
        task: its own task.
        plans: of all tasks.
    """
    if facts.verdict in (Verdict.READY, Verdict.EQUIVALENT) or len(plans) < 2:
        return None
    if not worth_asking(f.level for f in facts.faults):
        return None
    design, kit = plan_of(plans[task])
    built = with_edits(reading_from_json(body, kit), edits, kit).board
    others = [(name, plan_of(plan)[0]) for name, plan in plans.items() if name != task]
    found = looks_like(build_circuit(built, kit), design, others, kit)
    if found is None:
        return None
    findings, _ = as_another(found, design, built, kit)
    # what calculation found is no matter of the plan either
    known = [f for f in facts.faults if f.level is Severity.DANGER and f.rule in bundled_rules().rules]
    places = {f.cells[:1] for f in known}
    known += [
        Fault(f.rule, "danger", f.title, cells, (), (), f.why, f.effect, f.mend)
        for f in findings
        if f.severity is Severity.DANGER and (cells := tuple(map(str, f.cells)))[:1] not in places
    ]
    return OtherTask(found.name, findings[-1].title, tuple(known))


def asked(found: OtherTask, facts: Facts, rubric: Rubric) -> tuple[Grade, Facts]:
    """The grade that waits, without points, and what is left of the facts: dangers."""
    verdict = Verdict.DO_NOT_POWER if found.dangers else Verdict.CANT_TELL
    left = replace(facts, verdict=verdict.value, faults=found.dangers, questions=(), figures=())
    return nothing(rubric, found.said, verdict.value), left


def way_out(found: OtherTask, path: str) -> str:
    """What to do about it, in words."""
    return tr(
        "Handed in for the wrong task: 'belongs {path}', decided for {task}. Meant for this one: it counts.",
        path=path, task=found.task,
    )  # fmt: skip
