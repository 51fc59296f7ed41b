"""Student mode: every finding in three steps, from a nudge to the mend."""

from __future__ import annotations

from dataclasses import dataclass

from snapcheck.board import PITCH, Board, SocketEnd
from snapcheck.findings import Finding, Severity
from snapcheck.report._callouts import middle_of
from snapcheck.words import tr

STEPS = 3


@dataclass(frozen=True)
class Hint:
    """Three sentences about one finding; each gives away more than the one before.

    Attributes:
        where: which part of the plate.
        which: which cube, tap or lead.
        mend: what is wrong and how to mend it.
    """

    where: str
    which: str
    mend: str

    def until(self, step: int) -> tuple[str, ...]:
        """The sentences up to a step, 1 to 3."""
        return (self.where, self.which, self.mend)[: max(1, min(step, STEPS))]


def hint(finding: Finding, board: Board) -> Hint:
    """The steps for one finding on a board."""
    region = _region(finding, board)
    if finding.severity is Severity.QUESTION:
        where = tr("The photo leaves something open {region}.", region=region)
    elif finding.severity is Severity.DANGER:
        where = tr("Something is dangerous {region}. Keep the supply off while you look.", region=region)
    elif finding.severity is Severity.FAULT:
        where = tr("Something {region} stops it working.", region=region)
    elif finding.severity is Severity.DEVIATION:
        where = tr("Something {region} makes it work differently.", region=region)
    else:
        where = tr("There is a remark about something {region}.", region=region)
    mend = " ".join(part for part in (finding.title, finding.why, finding.mend) if part)
    return Hint(where, _which(finding), mend)


def _which(finding: Finding) -> str:  # noqa: PLR0911
    if finding.seam is not None:
        return tr("Look at the seam {seam}.", seam=finding.seam)
    if finding.lead is not None:
        places = " / ".join(
            str(e.cell) if isinstance(e, SocketEnd) else str(e.seam)
            for e in (finding.lead.start, finding.lead.end)
        )
        return tr("Look at the lead at {places}.", places=places)
    if not finding.cells:
        return tr("Compare the build with the plan as a whole.")
    if finding.rule in ("cube-missing", "cubes-missing"):
        return tr("Look at {cells}: is everything there?", cells=", ".join(map(str, finding.cells[:6])))
    if finding.rule in ("turned", "reversed"):
        return tr("Look at {cell}: which way round must it stand?", cell=finding.cells[0])
    if len(finding.cells) > 1:
        return tr("Look at {cells}.", cells=", ".join(map(str, finding.cells[:6])))
    return tr("Look closely at {cell} and compare it with the plan.", cell=finding.cells[0])


def _region(finding: Finding, board: Board) -> str:
    at = middle_of(finding)
    if at is None:
        return tr("somewhere on the plate")
    column = min(2, int(3 * at[0] / (board.columns * PITCH)))
    row = min(2, int(3 * at[1] / (board.rows * PITCH)))
    return (
        (tr("in the upper left"), tr("at the top, in the middle"), tr("in the upper right")),
        (tr("on the left"), tr("in the middle"), tr("on the right")),
        (tr("in the lower left"), tr("at the bottom, in the middle"), tr("in the lower right")),
    )[row][column]
