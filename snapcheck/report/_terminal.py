"""A checked build on a terminal: rich where it is one, plain lines where it is a pipe."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from snapcheck.findings import Finding, Severity
from snapcheck.pipeline import CheckResult
from snapcheck.report._characters import board_lines, marks_of
from snapcheck.report._hints import hint
from snapcheck.report._look import numbered, severity_title, verdict_advice, verdict_tone
from snapcheck.report._tables import figure_rows, unsure_words
from snapcheck.words import shown, tr

if TYPE_CHECKING:
    from rich.console import Console

_STYLES = {
    Severity.DANGER: "bold white on red",
    Severity.FAULT: "bold black on yellow",
    Severity.DEVIATION: "bold white on blue",
    Severity.NOTE: "bold",
    Severity.QUESTION: "bold white on magenta",
}
_ROLES = {
    "address": "dim",
    "wire": "cyan",
    "part": "bold",
    "empty": "dim",
    "mark": "bold reverse",
    "ghost": "yellow",
}
_WIDTH = 100


def print_result(
    result: CheckResult, console: Console, *, student: int = 0, quiet: bool = False, verbose: bool = False
) -> None:
    """Verdict, findings and a picture of the board in characters.

    Args:
        result: what to tell.
        console: rich's; without colour and boxes where it is no terminal.
        student: 0 for everything, 1 to 3 for that many steps of hints.
        quiet: the verdict and titles alone.
        verbose: also sources of rules, promised figures that are met, and notes on the calculation.
    """
    from rich.text import Text

    tone = verdict_tone(result.verdict)
    style = "bold white on green" if tone is None else _STYLES[tone]
    console.print(Text.assemble((f" {result.verdict.sentence} ", style)))
    findings = numbered(result.findings)
    if quiet:
        for number, finding in findings:
            words = hint(finding, result.built).where if student else finding.title
            console.print(Text(f"{number}  {words}"))
        return
    console.print(Text(verdict_advice(result.verdict)))
    if not student:
        _print_board(result, console, findings)
    previous = None
    for number, finding in findings:
        if finding.severity != previous:
            console.print()
            console.print(Text(severity_title(finding.severity).upper(), style="bold underline"))
            previous = finding.severity
        if student:
            steps = hint(finding, result.built).until(student)
            _paragraph(console, number, finding, steps[0], [("", s) for s in steps[1:]])
            continue
        rows = [
            (tr("planned"), finding.expected),
            (tr("there"), finding.found),
            (tr("why"), finding.why),
            (tr("effect"), finding.effect),
            (tr("mend"), finding.mend),
        ]
        if verbose:
            rows.append((tr("source of the rule"), finding.source))
        _paragraph(console, number, finding, finding.title, rows)
    if student and student < 3 and findings:
        console.print()
        console.print(Text(tr("More help: the same command with --step {step}.", step=student + 1)))
    if not student:
        _print_figures(result, console, verbose=verbose)
    for note in result.notes:
        console.print(Text(f"· {shown(note)}", style="dim"))


def _paragraph(
    console: Console, number: int, finding: Finding, title: str, rows: list[tuple[str, str]]
) -> None:
    from rich.text import Text

    width = min(console.width if console.is_terminal else _WIDTH, _WIDTH)
    first, *more = textwrap.wrap(shown(title), max(20, width - 5)) or [""]
    console.print(Text.assemble((f" {number} ", _STYLES[finding.severity]), " ", (first, "bold")))
    for line in more:
        console.print(Text(f"    {line}", style="bold"))
    for name, words in rows:
        if not words:
            continue
        label = f"{name}: " if name else ""
        first, *more = textwrap.wrap(label + shown(words), max(20, width - 6), subsequent_indent="  ")
        console.print(Text.assemble("    ", (label, "dim"), first[len(label) :]))
        for line in more:
            console.print(Text(f"    {line}"))


def _print_board(result: CheckResult, console: Console, findings: list[tuple[int, Finding]]) -> None:
    from rich.text import Text

    planned = {} if result.placed is None else result.placed.board.cubes
    ghosts = {c: q for c, q in planned.items() if result.built.anchor_at(c) is None}
    console.print()
    for row in board_lines(result.built, result.kit, marks_of(findings), ghosts):
        text = Text("  ")
        for piece, role in row:
            text.append(piece, style=_ROLES[role])
        console.print(text, no_wrap=True, overflow="ignore", crop=False)


def _print_figures(result: CheckResult, console: Console, *, verbose: bool) -> None:
    from rich.text import Text

    rows = [r for r in figure_rows(result) if verbose or not r.met]
    if not rows:
        return
    console.print()
    console.print(Text(tr("Promised figures").upper(), style="bold underline"))
    if told := unsure_words(result):
        console.print(Text(told))
    for row in rows:
        sign = "✓" if row.met else "✗"
        line = tr("{name}: planned {range}, as designed {designed}, as built {built}",
                  name=row.name, range=row.range, designed=row.designed, built=row.built)  # fmt: skip
        console.print(Text(f"{sign} {line}" + (f" ({row.reason})" if row.reason else "")))
