"""How grave a finding is, to the eye: a colour, a shape and a word, so that no one of them is needed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from snapcheck.board import Board
from snapcheck.check import Verdict
from snapcheck.findings import Finding, Severity
from snapcheck.words import tr

PAPER, CARD, INK, QUIET = "#faf7f0", "#fffdf8", "#10243a", "#4a5560"


@dataclass(frozen=True)
class Mark:
    """Colour (CSS, at least 4.5 : 1 against white and paper) and shape of one severity."""

    colour: str
    shape: str


MARKS: dict[Severity, Mark] = {
    Severity.DANGER: Mark("#a8201a", "octagon"),
    Severity.FAULT: Mark("#8f4700", "square"),
    Severity.DEVIATION: Mark("#0b5687", "circle"),
    Severity.NOTE: Mark("#3f5a54", "ring"),
    Severity.QUESTION: Mark("#6a3a94", "diamond"),
}

_SHAPES: dict[str, tuple[tuple[float, float], ...]] = {
    "octagon": ((-0.45, -1.05), (0.45, -1.05), (1.05, -0.45), (1.05, 0.45),
                (0.45, 1.05), (-0.45, 1.05), (-1.05, 0.45), (-1.05, -0.45)),
    "square": ((-0.95, -0.95), (0.95, -0.95), (0.95, 0.95), (-0.95, 0.95)),
    "diamond": ((0.0, -1.3), (1.3, 0.0), (0.0, 1.3), (-1.3, 0.0)),
}  # fmt: skip


def severity_title(severity: Severity) -> str:
    """What a group of findings means for the person."""
    match severity:
        case Severity.DANGER:
            return tr("Do not power")
        case Severity.FAULT:
            return tr("Stops it working")
        case Severity.DEVIATION:
            return tr("Changes what it does")
        case Severity.NOTE:
            return tr("Worth knowing")
        case Severity.QUESTION:
            return tr("Please look")


def badge_svg(severity: Severity, text: str, x: float, y: float, r: float = 16.0) -> str:
    """A finding's number in its shape, centred at (x, y), with a light rim that stands off any photo."""
    mark = MARKS[severity]
    if mark.shape in _SHAPES:
        points = " ".join(f"{x + px * r:.1f},{y + py * r:.1f}" for px, py in _SHAPES[mark.shape])
        body = (
            f'<polygon points="{points}" fill="{mark.colour}" stroke="#fff" stroke-width="{r * 0.17:.1f}"/>'
        )
        ink = "#fff"
    elif mark.shape == "ring":
        body = (
            f'<circle cx="{x:g}" cy="{y:g}" r="{r * 0.92:.1f}" fill="#fff" stroke="{mark.colour}" '
            f'stroke-width="{r * 0.2:.1f}"/>'
        )
        ink = mark.colour
    else:
        body = (
            f'<circle cx="{x:g}" cy="{y:g}" r="{r:g}" fill="{mark.colour}" stroke="#fff" '
            f'stroke-width="{r * 0.17:.1f}"/>'
        )
        ink = "#fff"
    size = r * (1.25 if len(text) < 2 else 1.0)
    return (
        f'{body}<text x="{x:g}" y="{y + size * 0.36:.1f}" font-size="{size:.1f}" font-weight="bold" '
        f'text-anchor="middle" fill="{ink}">{text}</text>'
    )


def numbered(findings: Iterable[Finding]) -> list[tuple[int, Finding]]:
    """Findings with the numbers by which text and picture name them."""
    return list(enumerate(findings, start=1))


def verdict_tone(verdict: Verdict) -> Severity | None:
    """The mark that a verdict wears; None for a pass."""
    return {
        Verdict.DO_NOT_POWER: Severity.DANGER,
        Verdict.DOES_NOT_WORK: Severity.FAULT,
        Verdict.WORKS_DIFFERENTLY: Severity.DEVIATION,
        Verdict.CANT_TELL: Severity.QUESTION,
    }.get(verdict)


def verdict_advice(verdict: Verdict) -> str:
    """What to do now, one sentence."""
    match verdict:
        case Verdict.DO_NOT_POWER:
            return tr("Leave the supply off and lift the battery out until the first finding is mended.")
        case Verdict.DOES_NOT_WORK:
            return tr("Mend the findings below, then check again before you power it.")
        case Verdict.CANT_TELL:
            return tr("Answer the questions below or take the photo again. This is not a pass.")
        case Verdict.WORKS_DIFFERENTLY:
            return tr("It may be powered, but it does not do what was planned.")
        case Verdict.EQUIVALENT:
            return tr("It may be powered: laid out in another way, it is the circuit that was planned.")
        case Verdict.READY:
            return tr("Nothing was found that speaks against powering it.")


def _extra_low() -> str:
    return tr("Extra-low voltage only, from batteries or a bench supply. Never mains.")


def _bursting() -> str:
    return tr("A reversed electrolytic capacitor gets hot and can burst: check plus before you power, "
              "keep your face away.")  # fmt: skip


def _shorting() -> str:
    return tr("The plate conducts: a battery, lead or tool laid across it shorts the supply. Take the battery out "  # noqa: E501
              "before you move cubes.")  # fmt: skip


def _hot() -> str:
    return tr("Parts that get hot stay hot: switch off and wait before you touch them.")


def danger_caution(finding: Finding, board: Board) -> str:
    """The caution that stands beside a danger itself, "" for a finding that is none."""
    if finding.severity is not Severity.DANGER:
        return ""
    if finding.rule == "above-extra-low":
        return _extra_low()
    there = [board.cubes[cell] for cell in finding.cells if cell in board.cubes]
    if finding.rule.startswith("electrolytic") or any(cube.kind == "electrolytic" for cube in there[:1]):
        return _bursting()
    return _shorting() if finding.rule.startswith(("supply", "supplies")) else _hot()


def cautions(kinds: Sequence[str]) -> list[str]:
    """Usual cautions of the bench, those for the parts on this board first (common practice, no source).

    Args:
        kinds: names of the kinds on the board.
    """
    here = set(kinds)
    told = [_extra_low()]
    if "electrolytic" in here:
        told.append(_bursting())
    told.append(_shorting())
    if here & {"speaker", "audio-in", "socket", "buzzer"}:
        told.append(tr("Turn the volume down before sound is connected."))
    if here & {"lamp", "npn", "pnp", "nmos", "resistor"}:
        told.append(_hot())
    told.append(
        tr("A check by photo and calculation cannot see worn contacts or broken parts. The rules of your lab "
           "come first; when in doubt, ask its qualified person.")
    )  # fmt: skip
    return told
