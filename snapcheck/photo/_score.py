"""How right a reading is: held against a labelled picture's truth, cube by cube, tap by tap, lead by lead."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise

from snapcheck.board import Board, Cube
from snapcheck.errors import InputError
from snapcheck.kit import Kit, ValueForm, parse_value
from snapcheck.photo._reading import Reading, State


@dataclass(frozen=True)
class Seen:
    """How sure a cube was read and whether it was right, as a whole and in its parts.

    Attributes:
        picture: its name (cubes of one picture are not independent).
        confidence, right: of kind, turn and value together; read: whether it was called `read`.
        symbol, symbol_right: of kind and turn. text, text_right: of the value, None where nothing is printed
            or read.
    """

    picture: str
    confidence: float
    right: bool
    read: bool
    symbol: float
    symbol_right: bool
    text: float | None
    text_right: bool


@dataclass
class Score:
    """Counts over pictures; `mistakes` says each error in words.

    Counted: pictures, failed, boards (right columns and rows), cubes, missing, extra, kind_turn (right),
    values,
    values_right, taps, taps_wrong (missed or false), leads, leads_right, leads_false, read (cubes called
    read),
    empty (cells called empty for sure), silent (called read or empty for sure, but wrong), silent_empty,
    silent_polarity, perfect (pictures without any error).
    """

    count: Counter[str] = field(default_factory=Counter)
    kinds: dict[str, Counter[str]] = field(default_factory=dict)
    turns: dict[int, Counter[str]] = field(default_factory=dict)
    confusion: Counter[tuple[str, str]] = field(default_factory=Counter)
    mistakes: list[str] = field(default_factory=list)
    #: every cube that was seen, those that are not there, too
    sure: list[Seen] = field(default_factory=list)


def same_value(a: Cube, b: Cube, kit: Kit) -> bool:
    """True when two cubes say the same value: numbers to 0.1 %, words without case and spaces, no value as
    such."""
    if kit[a.kind].value_form is ValueForm.NONE:
        return True
    if kit[a.kind].value_form is ValueForm.LAMP and a.value and b.value:
        return _lamp(a.value) == _lamp(b.value)
    if isinstance(a.value, str) or isinstance(b.value, str) or a.value is None or b.value is None:
        return str(a.value).lower().replace(" ", "") == str(b.value).lower().replace(" ", "")
    return abs(a.value - b.value) <= 1e-3 * abs(a.value)


def _lamp(value: float | str) -> object:
    """Volts and amperes, however they are written."""
    try:
        said = parse_value(str(value), ValueForm.LAMP)
    except InputError:
        return value
    return (said.volts, said.amperes)


def add(  # noqa: PLR0915
    score: Score, truth: Board, reading: Reading, kit: Kit
) -> None:
    """Count one picture in."""
    n, name = score.count, reading.photo
    errors: list[str] = []
    n["pictures"] += 1
    if (reading.columns, reading.rows) == (truth.columns, truth.rows):
        n["boards"] += 1
    else:
        errors.append(f"plate {truth.columns}x{truth.rows} read as {reading.columns}x{reading.rows}")
    sure_blank = {cell for cell, b in reading.blanks.items() if b.state is State.READ}
    n["empty"] += len(sure_blank)
    for cell, cube in truth.cubes.items():
        n["cubes"] += 1
        kinds = score.kinds.setdefault(cube.kind, Counter())
        turns = score.turns.setdefault(cube.turn, Counter())
        kinds["all"] += 1
        turns["all"] += 1
        got = reading.cubes.get(cell)
        if got is None:
            n["missing"] += 1
            score.confusion[cube.kind, "-"] += 1
            blank = reading.blanks.get(cell)
            said = "not seen" if blank is None else f"taken for empty ({blank.state}, {blank.confidence:.3f})"
            errors.append(f"{cell} {cube.kind} {said}")
            # a sure empty cell makes a "missing" finding: as silent an error as a wrong cube
            n["silent"] += cell in sure_blank
            n["silent_empty"] += cell in sure_blank
            continue
        right_kind = got.cube.kind == cube.kind
        right_turn = right_kind and kit[cube.kind].same_turn(cube.turn, got.cube.turn)
        right_value = right_kind and same_value(cube, got.cube, kit)
        if not right_kind:
            score.confusion[cube.kind, got.cube.kind] += 1
        n["kind_turn"] += right_turn
        kinds["right"] += right_turn
        turns["right"] += right_turn
        if cube.printed is not None:
            n["values"] += 1
            n["values_right"] += same_value(cube, got.cube, kit) if right_kind else 0
        right = right_turn and right_value
        valued = cube.printed is not None or got.cube.printed is not None
        score.sure.append(
            Seen(
                name, got.confidence, right, got.state is State.READ, got.parts[0], right_turn,
                got.parts[1] if valued else None, right_value,
            )
        )  # fmt: skip
        n["read"] += got.state is State.READ
        if not right:
            errors.append(
                f"{cell} {cube.kind} {cube.turn} {cube.printed or ''} read as "
                f"{got.cube.kind} {got.cube.turn} "
                f"{got.cube.printed or ''} ({got.state}, {got.confidence:.3f})"
            )
            if got.state is State.READ:
                n["silent"] += 1
                n["silent_polarity"] += right_kind and not right_turn and bool(kit[cube.kind].marked)
    for cell, got in reading.cubes.items():
        if cell not in truth.cubes:
            sure = got.state is State.READ
            score.sure.append(Seen(name, got.confidence, False, sure, got.parts[0], False, None, False))
            n["extra"] += 1
            n["silent"] += sure
            errors.append(f"{cell} is empty, read as {got.cube.kind}")
    seen = frozenset(t.seam for t in reading.taps)
    n["taps"] += len(truth.taps)
    n["taps_wrong"] += len(seen ^ truth.taps)
    errors += [
        f"tap {s} {'not seen' if s in truth.taps else 'is not there'}" for s in sorted(seen ^ truth.taps)
    ]
    leads, got_leads = set(truth.leads), {r.lead for r in reading.leads}
    n["leads"] += len(leads)
    n["leads_right"] += len(leads & got_leads)
    n["leads_false"] += len(got_leads - leads)
    n["leads_silent"] += sum(r.lead not in leads and r.state is State.READ for r in reading.leads)
    errors += [f"lead {x} not seen" for x in leads - got_leads] + [
        f"lead {x} is not there" for x in got_leads - leads
    ]
    n["perfect"] += not errors
    score.mistakes += [f"{name}: {e}" for e in errors]


def add_failure(score: Score, truth: Board, photo: str, why: str) -> None:
    """Count a picture that could not be read: all its cubes are missing, none wrong."""
    n = score.count
    n["pictures"] += 1
    n["failed"] += 1
    n["cubes"] += len(truth.cubes)
    n["missing"] += len(truth.cubes)
    n["values"] += sum(c.printed is not None for c in truth.cubes.values())
    n["taps"] += len(truth.taps)
    n["taps_wrong"] += len(truth.taps)
    n["leads"] += len(truth.leads)
    for cube in truth.cubes.values():
        score.kinds.setdefault(cube.kind, Counter())["all"] += 1
        score.turns.setdefault(cube.turn, Counter())["all"] += 1
    score.mistakes.append(f"{photo}: {why}")


def figures(score: Score) -> dict[str, float]:
    """Shares in 0..1 (and silent errors a cube) from the counts; a share of nothing counts as 1."""
    n = score.count

    def share(part: float, whole: str) -> float:
        return part / n[whole] if n[whole] else 1.0

    return {
        "board_found": share(n["boards"], "pictures"),
        "kind_and_turn": share(n["kind_turn"], "cubes"),
        "value": share(n["values_right"], "values"),
        "taps": max(0.0, 1 - n["taps_wrong"] / n["taps"]) if n["taps"] else 1.0,
        "leads": share(n["leads_right"], "leads"),
        "perfect_boards": share(n["perfect"], "pictures"),
        "coverage": share(n["read"], "cubes"),
        "silent_errors": n["silent"] / n["cubes"] if n["cubes"] else 0.0,
    }


#: confidences from one of these to the next make one line of the reliability table
STEPS = (0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 0.999, 1.0)


def reliability(score: Score) -> list[dict[str, float]]:
    """Confidence against truth, in steps: how many cubes, their mean confidence, the share that is right."""
    table = []
    for low, high in pairwise(STEPS):
        part = [s for s in score.sure if low <= s.confidence < high or high == 1.0 == s.confidence]
        if part:
            table.append(
                {
                    "from": low,
                    "to": high,
                    "cubes": len(part),
                    "confidence": sum(s.confidence for s in part) / len(part),
                    "right": sum(s.right for s in part) / len(part),
                }
            )
    return table


def risk_coverage(score: Score) -> list[tuple[float, float]]:
    """(coverage, share wrong) when only the surest cubes are taken, more and more of them (El-Yaniv and
    Wiener 2010)."""
    ranked = sorted(score.sure, key=lambda s: -s.confidence)
    curve, wrong = [], 0
    for n, seen in enumerate(ranked, 1):
        wrong += not seen.right
        if n == len(ranked) or ranked[n].confidence < seen.confidence:
            curve.append((n / len(ranked), wrong / n))
    return curve


def at_most(wrong: int, of: int, sure: float = 0.95) -> float:
    """The share of errors that is not exceeded with this confidence, by Clopper and Pearson (1934)."""
    from scipy.stats import beta

    return 1.0 if wrong >= of else float(beta.ppf(sure, wrong + 1, of - wrong))
