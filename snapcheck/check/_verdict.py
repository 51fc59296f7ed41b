"""The verdict on a build, in one word, with the exit code of the commands that give it."""

from __future__ import annotations

import enum
from collections.abc import Iterable

from snapcheck.findings import Finding, Severity
from snapcheck.words import tr


class Verdict(enum.StrEnum):
    """What to do with a build. The worst that is certain decides; what is unsure is never a pass."""

    DO_NOT_POWER = "do-not-power"
    DOES_NOT_WORK = "does-not-work"
    CANT_TELL = "cant-tell"
    WORKS_DIFFERENTLY = "works-differently"
    EQUIVALENT = "equivalent"
    READY = "ready"

    @property
    def exit_code(self) -> int:
        """0 for a build that may be powered and does what the plan does, 10 and up otherwise."""
        return {
            Verdict.READY: 0,
            Verdict.EQUIVALENT: 0,
            Verdict.WORKS_DIFFERENTLY: 10,
            Verdict.DO_NOT_POWER: 11,
            Verdict.CANT_TELL: 12,
            Verdict.DOES_NOT_WORK: 13,
        }[self]

    @property
    def sentence(self) -> str:
        """The verdict as people read it."""
        match self:
            case Verdict.DO_NOT_POWER:
                return tr("Do not power.")
            case Verdict.DOES_NOT_WORK:
                return tr("Does not work yet.")
            case Verdict.CANT_TELL:
                return tr("Can't tell: a person must look.")
            case Verdict.WORKS_DIFFERENTLY:
                return tr("Works differently.")
            case Verdict.EQUIVALENT:
                return tr("Built differently, the same circuit.")
            case Verdict.READY:
                return tr("Ready to power.")


def verdict_of(
    findings: Iterable[Finding], *, built_differently: bool = False, undecided: bool = False
) -> Verdict:
    """The verdict that findings add up to.

    Args:
        findings: of rules and comparison.
        built_differently: the build differs from the plan without making a difference.
        undecided: the comparison gave up before it knew.
    """
    severities = {f.severity for f in findings}
    if Severity.DANGER in severities:
        return Verdict.DO_NOT_POWER
    if Severity.FAULT in severities:
        return Verdict.DOES_NOT_WORK
    if Severity.QUESTION in severities or undecided:
        return Verdict.CANT_TELL
    if Severity.DEVIATION in severities:
        return Verdict.WORKS_DIFFERENTLY
    return Verdict.EQUIVALENT if built_differently else Verdict.READY
