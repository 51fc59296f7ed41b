"""Findings on a terminal: one paragraph each, worst first."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from snapcheck.check import Verdict
from snapcheck.cli._output import say
from snapcheck.findings import Finding, Severity
from snapcheck.words import tr

_WIDTH = 96


def severity_word(severity: Severity) -> str:
    """DANGER, fault, differs, note, question."""
    match severity:
        case Severity.DANGER:
            return tr("DANGER")
        case Severity.FAULT:
            return tr("fault")
        case Severity.DEVIATION:
            return tr("differs")
        case Severity.NOTE:
            return tr("note")
        case Severity.QUESTION:
            return tr("question")


def finding_lines(finding: Finding) -> Iterable[str]:
    """The title with its severity, then what is there, what it does, why, and how to mend."""
    first = f"{severity_word(finding.severity)}: {finding.title}"
    yield from textwrap.wrap(first, _WIDTH, subsequent_indent="    ")
    rows = (
        (tr("expected"), finding.expected),
        (tr("there"), finding.found),
        (tr("effect"), finding.effect),
        (tr("why"), finding.why),
        (tr("mend"), finding.mend),
    )
    for name, words in rows:
        if words:
            yield from textwrap.wrap(f"    {name}: {words}", _WIDTH, subsequent_indent="        ")


def print_findings(findings: Sequence[Finding]) -> None:
    """Every finding, with an empty line between; before a danger the one thing to do first."""
    if any(f.severity is Severity.DANGER for f in findings):
        todo = tr("Leave the supply off and lift the battery out until the first finding is mended.")
        say(f"{Verdict.DO_NOT_POWER.sentence} {todo}")
        say()
    for number, finding in enumerate(findings):
        if number:
            say()
        for line in finding_lines(finding):
            say(line)


def verdict_line(verdict: Verdict) -> str:
    """``Verdict: Do not power.``"""
    return tr("Verdict: {verdict}", verdict=verdict.sentence)
