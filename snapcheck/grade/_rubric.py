"""The rubric: what is worth how many points, as data (TOML), checked on load."""

from __future__ import annotations

import enum
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from snapcheck.check import Verdict
from snapcheck.circuit import bundled_rules
from snapcheck.datafiles import read_data_text, toml_table
from snapcheck.findings import Severity
from snapcheck.kit import Kit
from snapcheck.tables import TableReader, accepted_words
from snapcheck.words import tr

#: rules of the comparison, besides those of the rule book
COMPARISON_RULES = (
    "cube-missing",
    "cubes-missing",
    "cube-extra",
    "wrong-kind",
    "wrong-value",
    "turned",
    "reversed",
    "swapped",
    "moved",
    "tap-missing",
    "tap-extra",
    "lead-missing",
    "lead-extra",
    "lead-wrong",
    "built-differently",
    "build-shifted",
    "another-circuit",
    "undecided",
    "circuit-joined",
    "circuit-apart",
    "circuit-hangs",
    "circuit-legs",
    "circuit-missing",
    "circuit-extra",
    "circuit-value",
    "circuit-kind",
)


class Measure(enum.StrEnum):
    """How an item of the rubric is measured."""

    FINDINGS = "findings"  #: points are taken off for findings
    FIGURES = "figures"  #: share of the design's promised figures that the build meets
    FILES = "files"  #: a document is handed in beside the photo
    HAND = "hand"  #: a person gives the points


@dataclass(frozen=True)
class Item:
    """One line of the rubric.

    Attributes:
        name, title, points: what it is called and worth.
        measure: see `Measure`.
        rules, severities, kinds, not_kinds: which findings concern it (FINDINGS); empty: any. `kinds` are
            those of the planned cube, or of the one found where none was planned.
        each: points taken off for each finding.
        per_cell: count the cells of a finding, not the finding.
        near, near_share: a figure outside its range by at most this fraction earns this share (FIGURES).
        patterns: file names that count as documentation (FILES), `least_bytes` each.
        from_start: points as long as nobody has given any (HAND).
    """

    name: str
    title: str
    points: Fraction
    measure: Measure
    rules: tuple[str, ...] = ()
    severities: tuple[Severity, ...] = ()
    kinds: tuple[str, ...] = ()
    not_kinds: tuple[str, ...] = ()
    each: Fraction = Fraction(0)
    per_cell: bool = False
    near: float = 0.0
    near_share: Fraction = Fraction(0)
    patterns: tuple[str, ...] = ()
    least_bytes: int = 1
    from_start: Fraction | None = None


@dataclass(frozen=True)
class Condition:
    """When a cap or a bonus applies; every part that is given must hold.

    Attributes:
        severity: a finding of this severity is there.
        rule: a finding of this rule is there.
        verdicts: the verdict is one of these.
        item, below: this item earned less than this share of its points.
        all_figures: every promised figure is met.
        hours_early: handed in at least so long before it was due.
    """

    severity: Severity | None = None
    rule: str = ""
    verdicts: tuple[Verdict, ...] = ()
    item: str = ""
    below: Fraction = Fraction(0)
    all_figures: bool = False
    hours_early: float | None = None


@dataclass(frozen=True)
class Cap:
    """At most so many points while the condition holds; `reason` is told to the student."""

    at_most: Fraction
    when: Condition
    reason: str


@dataclass(frozen=True)
class Bonus:
    """Points on top."""

    name: str
    title: str
    points: Fraction
    when: Condition


@dataclass(frozen=True)
class Late:
    """What being late costs: after `grace_min` minutes, `per_day` points for each day begun.

    `at_most` points are lost for it; after `days` days begun nothing counts any more (None: it always does).
    """

    grace_min: float = 0.0
    per_day: Fraction = Fraction(0)
    at_most: Fraction | None = None
    days: int | None = None


@dataclass(frozen=True)
class Rubric:
    """Everything that turns a checked build into points.

    Attributes:
        title: of the sheet.
        items: in the order in which findings are given to them; one finding costs points once.
        caps, bonuses, late: see there.
        step: points are rounded to a multiple of it, halves up.
        most: points never exceed this (points of the items where a bonus must not go above them).
        equivalent_share: share of the points kept by a build that is the same circuit, built differently.
        source: file, for messages.
    """

    title: str
    items: tuple[Item, ...]
    caps: tuple[Cap, ...]
    bonuses: tuple[Bonus, ...]
    late: Late
    step: Fraction
    most: Fraction
    equivalent_share: Fraction
    source: str

    @property
    def total(self) -> Fraction:
        """Points of all items, without bonuses."""
        return sum((item.points for item in self.items), Fraction(0))

    def item(self, name: str) -> Item | None:
        """The item of this name."""
        return next((i for i in self.items if i.name == name), None)


@lru_cache(maxsize=1)
def sample_rubric() -> Rubric:
    """The rubric that comes with snapcheck."""
    text = (resources.files("snapcheck.grade") / "data" / "rubric.toml").read_text(encoding="utf-8")
    return parse_rubric(text, "rubric.toml")


def load_rubric(path: str | Path, kit: Kit | None = None) -> Rubric:
    """Read a rubric.

    Raises:
        InputError: the file cannot be opened.
        DataError: it is no rubric; the message names file, key and what is accepted.
    """
    path = Path(path)
    text = read_data_text(path, tr("a rubric"), 1, tr("Check the name of the rubric."))
    return parse_rubric(text, str(path), kit)


def parse_rubric(text: str, source: str, kit: Kit | None = None) -> Rubric:
    """A rubric from TOML text; kinds are checked where a kit is given. Raises DataError."""
    return _Reader(source, kit).rubric(toml_table(text, source))


def points_text(points: Fraction) -> str:
    """Points in as few digits as they need: 7, 7.5, 6.25."""
    whole = points * 10000
    number = int(whole) if whole.denominator == 1 else round(whole)
    sign, number = ("-" if number < 0 else ""), abs(number)
    text = f"{sign}{number // 10000}.{number % 10000:04d}".rstrip("0").rstrip(".")
    return text


#: severities that count where an item does not say which
_BLAMED = ("danger", "fault", "deviation")


class _Reader(TableReader):
    """Reads the tables of a rubric."""

    def __init__(self, source: str, kit: Kit | None) -> None:
        super().__init__(source)
        self.kit = kit

    def points(self, value: object, key: str, low: float = 0.0, high: float = 1e6) -> Fraction:
        """A number as it is written, so that points add up."""
        self.number(value, key, low, high, tr("Write a plain number."))
        return Fraction(str(value))

    def word(self, value: object, key: str, accepted: Collection[str]) -> str:
        """One word; as with `texts`, it may stand alone in a list."""
        found = self.texts(value or [], key, accepted)
        if len(found) != 1:
            self.fail(key, tr("one word is needed."), accepted_words(accepted))
        return found[0]

    def rubric(self, data: Mapping[str, Any]) -> Rubric:
        self.known(
            data, "", ("title", "round_to", "most", "equivalent_share", "item", "cap", "bonus", "late")
        )
        items = tuple(self.item(t) for t in self.tables(data.get("item", []), "item"))
        if not items:
            self.fail("item", tr("a rubric needs at least one item."), tr("Begin one with [[item]]."))
        names = [i.name for i in items]
        twice = next((n for n in names if names.count(n) > 1), None)
        if twice is not None:
            self.fail(f"item {twice}", tr("the name is used twice."), tr("Give each item its own name."))
        caps = tuple(
            Cap(
                self.points(t.get("at_most"), f"cap {n}.at_most"),
                self.condition(f"cap {n}.", t, names, ("at_most", "reason")),
                self.some_text(t.get("reason"), f"cap {n}.reason"),
            )
            for n, t in enumerate(self.tables(data.get("cap", []), "cap"), 1)
        )
        bonuses = tuple(
            Bonus(
                self.some_text(t.get("name"), f"bonus {n}.name"),
                self.some_text(t.get("title"), f"bonus {n}.title"),
                self.points(t.get("points"), f"bonus {n}.points"),
                self.condition(f"bonus {n}.", t, names, ("name", "title", "points")),
            )
            for n, t in enumerate(self.tables(data.get("bonus", []), "bonus"), 1)
        )
        total = sum((i.points for i in items), Fraction(0))
        extra = sum((b.points for b in bonuses), Fraction(0))
        step = self.points(data.get("round_to", 0.5), "round_to", 0.0001)
        return Rubric(
            self.some_text(data.get("title"), "title"),
            items,
            caps,
            bonuses,
            self.late(data.get("late", {})),
            step,
            self.points(data["most"], "most") if "most" in data else total + extra,
            self.points(data.get("equivalent_share", 1), "equivalent_share", 0, 1),
            self.source,
        )

    def item(self, table: Mapping[str, Any]) -> Item:
        name = self.some_text(table.get("name"), "item.name")
        where = f"item {name}."
        by = self.word(table.get("by", ""), f"{where}by", [m.value for m in Measure])
        measure = Measure(by)
        own = {
            Measure.FINDINGS: ("rules", "severities", "kinds", "not_kinds", "each", "per_cell"),
            Measure.FIGURES: ("near", "near_share"),
            Measure.FILES: ("patterns", "least_bytes"),
            Measure.HAND: ("from_start",),
        }[measure]
        self.known(table, where.rstrip("."), ("name", "title", "points", "by", *own))
        points = self.points(table.get("points"), f"{where}points")
        kinds = None if self.kit is None else tuple(self.kit.kinds)
        rules = {*COMPARISON_RULES, *bundled_rules().rules}
        severities = {s.name.lower(): s for s in Severity if s <= Severity.NOTE}
        item = Item(
            name,
            self.some_text(table.get("title"), f"{where}title"),
            points,
            measure,
            self.texts(table.get("rules", []), f"{where}rules", rules),
            tuple(
                severities[w]
                for w in self.texts(table.get("severities", list(_BLAMED)), f"{where}severities", severities)
            ),
            self.texts(table.get("kinds", []), f"{where}kinds", kinds),
            self.texts(table.get("not_kinds", []), f"{where}not_kinds", kinds),
            self.points(table.get("each", 1), f"{where}each"),
            self.flag(table.get("per_cell", False), f"{where}per_cell"),
            float(self.points(table.get("near", 0), f"{where}near", 0, 10)),
            self.points(table.get("near_share", 0), f"{where}near_share", 0, 1),
            self.texts(table.get("patterns", []), f"{where}patterns"),
            int(self.points(table.get("least_bytes", 1), f"{where}least_bytes")),
            self.points(table["from_start"], f"{where}from_start", 0, float(points))
            if "from_start" in table
            else None,
        )
        if measure is Measure.FINDINGS and not item.rules and not item.kinds and "severities" not in table:
            self.fail(
                where + "rules",
                tr("nothing says which findings concern this item."),
                tr("Give rules, kinds or severities."),
            )
        if measure is Measure.FILES and not item.patterns:
            self.fail(where + "patterns", tr("nothing says which files count."), tr('For example ["*.txt"].'))
        return item

    def condition(
        self, where: str, table: Mapping[str, Any], names: list[str], besides: tuple[str, ...]
    ) -> Condition:
        own = ("severity", "rule", "verdicts", "item", "below", "all_figures", "hours_early")
        self.known(table, where.rstrip("."), (*own, *besides))
        if not any(key in table for key in own):
            self.fail(
                where + "severity",
                tr("nothing says when this applies."),
                tr("Give one of {keys}.", keys=", ".join(own)),
            )
        if ("item" in table) != ("below" in table):
            self.fail(where + "item", tr("'item' and 'below' go together."))
        severities = {s.name.lower(): s for s in Severity if s <= Severity.NOTE}
        one = self.word(table["severity"], f"{where}severity", severities) if "severity" in table else ""
        rules = {*COMPARISON_RULES, *bundled_rules().rules}
        return Condition(
            severities[one] if one else None,
            self.word(table["rule"], f"{where}rule", rules) if "rule" in table else "",
            tuple(
                Verdict(v) for v in self.texts(table.get("verdicts", []), f"{where}verdicts", list(Verdict))
            ),
            self.word(table["item"], f"{where}item", names) if "item" in table else "",
            self.points(table.get("below", 0), f"{where}below", 0, 1),
            self.flag(table.get("all_figures", False), f"{where}all_figures"),
            float(self.points(table["hours_early"], f"{where}hours_early"))
            if "hours_early" in table
            else None,
        )

    def late(self, table: object) -> Late:
        table = self.table(table, "late")
        self.known(table, "late", ("grace_min", "per_day", "at_most", "days"))
        return Late(
            float(self.points(table.get("grace_min", 0), "late.grace_min")),
            self.points(table.get("per_day", 0), "late.per_day"),
            self.points(table["at_most"], "late.at_most") if "at_most" in table else None,
            int(self.points(table["days"], "late.days", 1)) if "days" in table else None,
        )
