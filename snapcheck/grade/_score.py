"""From facts to points. Pure, and in fractions: the same facts give the same points to the last digit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from fnmatch import fnmatch
from fractions import Fraction
from typing import Any

from snapcheck.check import Verdict
from snapcheck.findings import Severity
from snapcheck.grade._facts import Facts, Fault
from snapcheck.grade._rubric import Condition, Item, Late, Measure, Rubric, points_text
from snapcheck.words import tr


@dataclass(frozen=True)
class Handed:
    """What besides the picture matters for points.

    Attributes:
        late_min: minutes after it was due; negative: before; None: no date was given.
        files: (name, bytes) of documents beside the photo.
        by_hand: points that a person gave, by item; with the reason.
        excused: lateness is excused by a person.
        time_is_known: False where nothing but the file system says when: then `late_min` takes nothing off
            and gives nothing; lateness is asked.
    """

    late_min: float | None = None
    files: tuple[tuple[str, int], ...] = ()
    by_hand: Mapping[str, tuple[Fraction, str]] = field(default_factory=dict)
    excused: bool = False
    time_is_known: bool = True

    def is_late(self, late: Late) -> bool:
        """Later than granted."""
        return self.late_min is not None and self.late_min > late.grace_min


@dataclass(frozen=True)
class ScoreLine:
    """Points of one item, with what was taken off and why.

    Attributes:
        name, title: of the item.
        points, most: earned and possible, as text.
        reasons: (words, points taken off or given as text).
        open: True when a person has to decide before the points are final.
    """

    name: str
    title: str
    points: str
    most: str
    reasons: tuple[tuple[str, str], ...]
    open: bool = False


@dataclass(frozen=True)
class Grade:
    """A graded build.

    Attributes:
        points, most: as text in the rubric's step.
        verdict: of the check.
        lines: the items.
        changes: caps, bonuses, lateness and rounding: (words, points as text).
        open: what a person has to decide first; empty when the grade is final.
    """

    points: str
    most: str
    verdict: str
    lines: tuple[ScoreLine, ...]
    changes: tuple[tuple[str, str], ...]
    open: tuple[str, ...]

    @property
    def final(self) -> bool:
        """True when nothing is open."""
        return not self.open

    @property
    def verdict_sentence(self) -> str:
        """The verdict as people read it."""
        return Verdict(self.verdict).sentence

    def to_json(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Grade:
        """A grade from `to_json`."""
        lines = tuple(
            ScoreLine(
                x["name"], x["title"], x["points"], x["most"], tuple(map(_pair, x["reasons"])), x["open"]
            )
            for x in data["lines"]
        )
        return cls(
            data["points"],
            data["most"],
            data["verdict"],
            lines,
            tuple(map(_pair, data["changes"])),
            tuple(data["open"]),
        )


def _pair(value: Sequence[str]) -> tuple[str, str]:
    return value[0], value[1]


def grade(facts: Facts, rubric: Rubric, handed: Handed | None = None) -> Grade:
    """Points for a checked build.

    Every finding costs points in one item only, the first that it concerns; promised figures that are missed
    because of it cost nothing more. Bonuses come after the items, caps after bonuses, lateness after caps,
    rounding last.
    """
    handed = handed or Handed()
    left = [f for f in facts.faults if f.level <= Severity.NOTE]
    lines: list[ScoreLine] = []
    earned: dict[str, Fraction] = {}
    for item in rubric.items:
        points, reasons, is_open = _measured(item, facts, handed, left, rubric)
        if item.name in handed.by_hand:
            given, why = handed.by_hand[item.name]
            points, is_open = given, False
            reasons = [*reasons, (tr("Set by hand: {why}", why=why), points_text(given))]
        earned[item.name] = points
        lines.append(
            ScoreLine(
                item.name, item.title, points_text(points), points_text(item.points), tuple(reasons), is_open
            )
        )
    points = sum(earned.values(), Fraction(0))
    changes: list[tuple[str, str]] = []
    if facts.verdict == Verdict.EQUIVALENT and rubric.equivalent_share < 1:
        lost = points * (1 - rubric.equivalent_share)
        points -= lost
        changes.append((tr("Built differently, the same circuit."), points_text(-lost)))
    for bonus in rubric.bonuses:
        if _holds(bonus.when, facts, rubric, handed, earned):
            gained = max(min(bonus.points, rubric.most - points), Fraction(0))
            points += gained
            changes.append((tr(bonus.title), "+" + points_text(gained)))
    points = _capped(min(points, rubric.most), facts, rubric, handed, earned, changes)
    points = max(points - _late(rubric.late, handed, points, changes), Fraction(0))
    rounded = rounded_to(points, rubric.step)
    if rounded != points:
        changes.append((tr("Rounded."), points_text(rounded - points)))
    open_ends = [
        *(q.title for q in facts.questions),
        *(tr("Points for: {title}", title=tr(x.title)) for x in lines if x.open),
    ]
    if late_is_open(handed, rubric):
        open_ends.append(tr("Late by the time of the file alone, which every copy changes."))
    open_ends += [told for _, told in stale_points(rubric, handed.by_hand)]
    if "total" in handed.by_hand:
        rounded, why = handed.by_hand["total"]
        changes.append((tr("Set by hand: {why}", why=why), points_text(rounded)))
        open_ends = []
    most = points_text(rubric.total)
    return Grade(points_text(rounded), most, facts.verdict, tuple(lines), tuple(changes), tuple(open_ends))


def stale_points(rubric: Rubric, by_hand: Mapping[str, tuple[Fraction, str]]) -> list[tuple[str, str]]:
    """Points that a person gave and that cannot stand as the rubric is now: item, and what to say of it."""
    found = []
    for name, (points, _) in by_hand.items():
        item, given = rubric.item(name), points_text(points)
        if item is None and name != "total":
            told = tr("{points} points given by hand for '{name}' count nowhere: it is not in the rubric.",
                      points=given, name=name)  # fmt: skip
            found.append((name, told))
        elif item is not None and points > item.points:
            told = tr("{points} points given by hand for '{name}' are more than the {most} of the rubric.",
                      points=given, name=name, most=points_text(item.points))  # fmt: skip
            found.append((name, told))
    return found


def nothing(rubric: Rubric, why: str, verdict: str = "cant-tell", *, final: bool = False) -> Grade:
    """No points: nothing was handed in, or the picture cannot be read (then a person must look)."""
    lines = tuple(ScoreLine(i.name, i.title, "0", points_text(i.points), ()) for i in rubric.items)
    return Grade("0", points_text(rubric.total), verdict, lines, ((why, "0"),), () if final else (why,))


def rounded_to(points: Fraction, step: Fraction) -> Fraction:
    """The nearest multiple of the step, halves up."""
    return math.floor(points / step + Fraction(1, 2)) * step


def _measured(
    item: Item, facts: Facts, handed: Handed, left: list[Fault], rubric: Rubric
) -> tuple[Fraction, list[tuple[str, str]], bool]:
    match item.measure:
        case Measure.FINDINGS:
            mine = [f for f in left if _concerns(item, f)]
            for fault in mine:
                left.remove(fault)
            return (*_taken_off(item, mine), False)
        case Measure.FIGURES:
            return _of_figures(item, facts, rubric)
        case Measure.FILES:
            there = any(
                size >= item.least_bytes and any(fnmatch(name.lower(), p.lower()) for p in item.patterns)
                for name, size in handed.files
            )
            if there:
                return item.points, [], False
            return Fraction(0), [(tr("No document was handed in."), points_text(-item.points))], False
        case Measure.HAND:
            if item.from_start is not None:
                return item.from_start, [], False
            return Fraction(0), [(tr("Nobody has given these points yet."), "0")], True


def _concerns(item: Item, fault: Fault) -> bool:
    return (
        fault.level in item.severities
        and (not item.rules or fault.rule in item.rules)
        and (not item.kinds or bool(set(item.kinds) & set(fault.kinds[:1])))
        and (not item.not_kinds or not set(item.not_kinds) & set(fault.kinds[:1]))
    )


def _taken_off(item: Item, faults: Sequence[Fault]) -> tuple[Fraction, list[tuple[str, str]]]:
    points, reasons = item.points, []
    for fault in faults:
        count = max(len(fault.cells), 1) if item.per_cell or fault.rule == "cubes-missing" else 1
        cost = min(item.each * count, points)
        points -= cost
        reasons.append((fault.title, points_text(-cost)))
    return points, reasons


def _charged(facts: Facts, rubric: Rubric) -> tuple[list[Fault], list[Fault]]:
    """Faults that cost points in some item, and those that do not."""
    takers = [i for i in rubric.items if i.measure is Measure.FINDINGS]
    charged: list[Fault] = []
    free: list[Fault] = []
    for fault in facts.faults:
        taker = next((i for i in takers if fault.level <= Severity.NOTE and _concerns(i, fault)), None)
        (charged if taker is not None and taker.each > 0 else free).append(fault)
    return charged, [f for f in free if f.level <= Severity.DEVIATION]


def _causes(figure: int, facts: Facts, charged: Sequence[Fault], free: Sequence[Fault]) -> list[Fault]:
    """The faults that cost points already and of which a figure that is not met is a consequence; none where
    it is not: then it would be missed even with these mended."""
    if not facts.figures[figure].explained:
        return []
    known = [f for f in charged if f.unmet is not None and figure in f.unmet]
    others = [f for f in free if (not known if f.unmet is None else figure in f.unmet)]
    return [] if others else known or list(charged)


def _of_figures(item: Item, facts: Facts, rubric: Rubric) -> tuple[Fraction, list[tuple[str, str]], bool]:
    if not facts.figures:
        return item.points, [(tr("The plan promises no figures."), "0")], False
    if not facts.calculated:
        return Fraction(0), [(tr("Not calculated: ngspice is not installed."), "0")], True
    each = item.points / len(facts.figures)
    points, reasons = Fraction(0), []
    charged, free = _charged(facts, rubric)
    for number, figure in enumerate(facts.figures):
        causes = [] if figure.met else _causes(number, facts, charged, free)
        if causes:
            points += each
            titles = "; ".join(c.title.rstrip(".") for c in causes[:2])
            told = tr("not met, which follows from what is counted already ({causes}): {figure}",
                      causes=titles, figure=figure.text)  # fmt: skip
            reasons.append((told, "0"))
            continue
        share = Fraction(1) if figure.met else Fraction(0)
        if not figure.met and item.near > 0 and figure.off_by() <= item.near:
            share = item.near_share
        points += each * share
        if share < 1:
            told = tr("not met: {figure}", figure=figure.text)
            reasons.append((told, points_text(-each * (1 - share))))
    return points, reasons, False


def _capped(
    points: Fraction,
    facts: Facts,
    rubric: Rubric,
    handed: Handed,
    earned: Mapping[str, Fraction],
    changes: list[tuple[str, str]],
) -> Fraction:
    for cap in sorted(rubric.caps, key=lambda c: c.at_most):
        if points > cap.at_most and _holds(cap.when, facts, rubric, handed, earned):
            told = tr("{reason} At most {most} points.", reason=tr(cap.reason), most=points_text(cap.at_most))
            changes.append((told, points_text(cap.at_most - points)))
            points = cap.at_most
    return points


def _holds(
    when: Condition, facts: Facts, rubric: Rubric, handed: Handed, earned: Mapping[str, Fraction]
) -> bool:
    item = rubric.item(when.item) if when.item else None
    early_min = None if handed.late_min is None or not handed.time_is_known else -handed.late_min
    return (
        (when.severity is None or any(f.level is when.severity for f in facts.faults))
        and (not when.rule or any(f.rule == when.rule for f in facts.faults))
        and (not when.verdicts or facts.verdict in when.verdicts)
        and (item is None or earned[item.name] < when.below * item.points)
        and (not when.all_figures or all(f.met for f in facts.figures))
        and (when.hours_early is None or (early_min is not None and early_min >= when.hours_early * 60))
    )


def _late(late: Late, handed: Handed, points: Fraction, changes: list[tuple[str, str]]) -> Fraction:
    if handed.late_min is None or not handed.is_late(late):
        return Fraction(0)
    days = math.ceil(handed.late_min / (24 * 60))
    if handed.excused:
        changes.append((tr("Late, excused."), "0"))
        return Fraction(0)
    if not handed.time_is_known:
        return Fraction(0)
    lost = late.per_day * days
    if late.at_most is not None:
        lost = min(lost, late.at_most)
    if late.days is not None and days > late.days:
        lost = points
    lost = min(lost, points)
    changes.append((tr("Late: {days} day(s) begun.", days=days), points_text(-lost)))
    return lost


def late_is_open(handed: Handed, rubric: Rubric) -> bool:
    """True where lateness would cost points and its time is not known."""
    late = rubric.late
    costs = late.per_day > 0 or late.days is not None
    return costs and handed.is_late(late) and not handed.time_is_known and not handed.excused


def with_open(graded: Grade, *more: str) -> Grade:
    """The same grade with more that a person has to decide."""
    return replace(graded, open=(*graded.open, *more))
