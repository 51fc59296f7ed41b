"""What a checked build comes down to for grading: plain values that are stored, so that a changed rubric
needs no picture and no simulator."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from snapcheck.board import Cell
from snapcheck.decisions import cube_line
from snapcheck.findings import Finding, Severity
from snapcheck.simulate import name_of, range_text
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.pipeline import CheckResult


@dataclass(frozen=True)
class Fault:
    """One finding, as far as grading needs it.

    Attributes:
        rule, severity, title, mend, why, effect: see `snapcheck.findings.Finding`.
        cells: cells of the build.
        plan_cells: the same cells on the plan, for counting mistakes per cell over a class.
        kinds: kinds of cube concerned, planned and found.
        unmet: promised figures (by their place in `Facts.figures`) that this alone keeps from being met; None
            where that is not known.
    """

    rule: str
    severity: str
    title: str
    cells: tuple[str, ...]
    plan_cells: tuple[str, ...]
    kinds: tuple[str, ...]
    why: str = ""
    effect: str = ""
    mend: str = ""
    unmet: tuple[int, ...] | None = None

    @property
    def level(self) -> Severity:
        """The severity as a value that can be compared."""
        return Severity[self.severity.upper()]


@dataclass(frozen=True)
class Promise:
    """One promised figure: its words, the accepted range, what the build has (None: nothing), met or not;
    `explained`: it would be met if everything that was found were mended."""

    text: str
    low: float | None
    high: float | None
    value: float | None
    met: bool
    explained: bool = True

    def off_by(self) -> float:
        """How far outside the range, as a fraction of the limit that is missed; infinite without a value."""
        if self.met:
            return 0.0
        if self.value is None or not math.isfinite(self.value):
            return math.inf
        for limit, wrong in (
            (self.low, self.low is not None and self.value < self.low),
            (self.high, self.high is not None and self.value > self.high),
        ):
            if wrong and limit:
                return abs(self.value - limit) / abs(limit)
        return math.inf


@dataclass(frozen=True)
class Asked:
    """What the photo leaves open: the place (``C3``, ``tap C4|D4``, ``lead …``, "" for the whole picture), in
    words, why it matters, and the decision by which the plan's own cube would stand there ("": none)."""

    place: str
    title: str
    why: str = ""
    planned: str = ""


@dataclass(frozen=True)
class Facts:
    """A checked build in plain values.

    Attributes:
        verdict, electrical: words of `Verdict` and `Electrical`.
        own_layout: laid out in its own way.
        faults: all findings but questions, worst first.
        questions: what is open; while there is one, no grade is final.
        figures: promised figures.
        calculated: False where the simulator was not at hand, so that nothing can be said about figures.
        notes: remarks on picture and calculation.
    """

    verdict: str
    electrical: str
    own_layout: bool
    faults: tuple[Fault, ...]
    questions: tuple[Asked, ...]
    figures: tuple[Promise, ...]
    calculated: bool
    notes: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Facts:
        """Facts from `to_json`."""
        faults = tuple(
            Fault(**{**f, **{k: _tuple(f[k]) for k in ("cells", "plan_cells", "kinds", "unmet")}})
            for f in data["faults"]
        )
        figures = tuple(Promise(**f) for f in data["figures"])
        return cls(
            data["verdict"],
            data["electrical"],
            bool(data["own_layout"]),
            faults,
            tuple(Asked(**q) for q in data["questions"]),
            figures,
            bool(data["calculated"]),
            tuple(data["notes"]),
        )


def _tuple(values: Sequence[Any] | None) -> tuple[Any, ...] | None:
    return None if values is None else tuple(values)


def facts_of(result: CheckResult) -> Facts:
    """The facts of a checked build."""
    findings = [f for f in result.findings if f.severity is not Severity.QUESTION]
    questions = [f for f in result.findings if f.severity is Severity.QUESTION]
    return Facts(
        result.verdict.value,
        result.comparison.electrical.value,
        result.comparison.own_layout,
        tuple(_fault(f, result) for f in findings),
        tuple(_asked(f, result) for f in questions) or _undecided(result),
        _figures(result),
        result.simulated,
        result.notes,
    )


def _asked(finding: Finding, result: CheckResult) -> Asked:
    if finding.lead is not None:
        place = f"lead {finding.lead.start} to {finding.lead.end}"
    elif finding.seam is not None:
        place = f"tap {finding.seam}"
    else:
        place = str(finding.cells[0]) if finding.cells else ""
    planned = ""
    if finding.expected_cube is not None and finding.cells and not finding.lead and not finding.seam:
        planned = cube_line(finding.cells[0], finding.expected_cube, result.built, result.kit)
    return Asked(place, finding.title, finding.why, planned)


def _undecided(result: CheckResult) -> tuple[Asked, ...]:
    """A comparison that gave up is no pass and no fault: a person must look."""
    if result.verdict.value != "cant-tell" and result.comparison.electrical.value != "gave-up":
        return ()
    return (Asked("", tr("Whether this is the planned circuit could not be decided.")),)


def _fault(finding: Finding, result: CheckResult) -> Fault:
    places = result.comparison.plan_cells(finding.cells, result.design.board)
    return Fault(
        finding.rule,
        finding.severity.name.lower(),
        finding.title,
        tuple(map(str, finding.cells)),
        tuple(map(str, places)),
        _kinds(finding, places, result),
        finding.why,
        finding.effect,
        finding.mend,
        _unmet(finding, result),
    )


def _unmet(finding: Finding, result: CheckResult) -> tuple[int, ...] | None:
    broken = finding.data.get("unmet")
    if not isinstance(broken, list):
        return None
    return tuple(i for i, e in enumerate(result.design.expectations) if e.text in broken)


def _kinds(finding: Finding, places: Sequence[Cell], result: CheckResult) -> tuple[str, ...]:
    """Kinds planned in the cells concerned; where nothing was planned, what stands there."""
    planned = [result.design.board.cubes[c].kind for c in places if c in result.design.board.cubes]
    if not planned:
        planned = [result.built.cubes[c].kind for c in finding.cells if c in result.built.cubes]
    return tuple(dict.fromkeys(planned))


def _figures(result: CheckResult) -> tuple[Promise, ...]:
    """Promised figures. The same circuit does the same, wherever its parts stand: then as designed."""
    same = _same(result)
    measured = {d.expectation.text: (d if same else b) for d, b in result.figures}
    told = []
    for expectation in result.design.expectations:
        figure = measured.get(expectation.text)
        met = figure.met if figure is not None else same and result.simulated
        value = None if figure is None else _finite(figure.value)
        low, high = _finite(expectation.low), _finite(expectation.high)
        name = name_of(expectation, result.design)
        explained = expectation.text not in result.unexplained
        told.append(Promise(f"{name}: {range_text(expectation)}", low, high, value, met, explained))
    return tuple(told)


def _same(result: CheckResult) -> bool:
    return result.comparison.electrical.value in ("identical", "equivalent")


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
