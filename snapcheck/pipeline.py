"""From a board or a reading to a checked build: rules, comparison and calculation in one go.

The one function that the command line, grading and the web share. It lies between the pure room ``check``
and those that show results, because it may ask the simulator.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from snapcheck.board import Board, Conditions, Design
from snapcheck.check import (
    Comparison,
    ComparisonSettings,
    Electrical,
    Laid,
    Match,
    State,
    Verdict,
    follow,
    lay,
    settled_links,
    tell,
    with_doubts,
)
from snapcheck.circuit import Circuit, RuleBook, capital, is_shorted
from snapcheck.errors import InputError, MissingLibraryError, SimulationError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.simulate import WhatIf, figure_changes, judge
from snapcheck.watch import stop_if_asked
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.photo import Reading
    from snapcheck.simulate import Figure, OperatingPoint, Simulator

#: builds with more changes than this get one effect for all of them together
_MOST_CAUSES = 6
#: sentences of a simulated effect told with one finding
_MOST_EFFECTS = 3
#: a path that loses this much passes nothing worth a figure (dB; common practice, no source)
_SILENT_dB = 40.0
_OF_A_PATH = frozenset({"band-low", "band-high", "distortion", "output-impedance"})
#: remarks on a calculation that bear on whether it is believed
_TOLD = frozenset({"generic", "states"})
#: quantities that need no run in time; only these are measured again for each single cause
_QUICK = frozenset(
    {"voltage", "current", "power", "gain", "band-low", "band-high", "input-impedance", "output-impedance"}
)


@dataclass(frozen=True)
class CheckResult:
    """A build, checked.

    Attributes:
        design: what was intended.
        placed: the same design in the cells of the build (a shift or turn of the whole followed); None where
            its cells have no place on the build (a layout of its own).
        built: what stands on the plate; unsure cells as most likely.
        reading: what the photo said, None where the build was given as a file.
        comparison: plan against build.
        findings: what to tell, worst first, with simulated effects.
        verdict: what they add up to.
        notes: what could not be done, in words (no simulator, glare in the picture, …).
        simulated: True where voltages and currents were calculated.
        plan_point, built_point: operating points, None where there is none to be had.
        what_if: the design's figures beside the build's, None likewise.
        kit: the cubes.
        unexplained: promised figures (their text) that would still not be met if everything that was found
            were mended: these are no consequences of the findings.
    """

    design: Design
    placed: Design | None
    built: Board
    reading: Reading | None
    comparison: Comparison
    findings: tuple[Finding, ...]
    verdict: Verdict
    notes: tuple[str, ...]
    simulated: bool
    plan_point: OperatingPoint | None
    built_point: OperatingPoint | None
    what_if: WhatIf | None
    kit: Kit = field(repr=False)
    unexplained: tuple[str, ...] = ()

    @property
    def plan_circuit(self) -> Circuit:
        return self.comparison.plan_circuit

    @property
    def built_circuit(self) -> Circuit:
        return self.comparison.built_circuit

    @property
    def figures(self) -> tuple[tuple[Figure, Figure | None], ...]:
        """Each promised figure as designed and as built (None where the build has none)."""
        if self.what_if is None:
            return ()
        built = self.what_if.built or (None,) * len(self.what_if.designed)
        return tuple(zip(self.what_if.designed, built, strict=True))


def check_build(
    built: Board | Reading,
    design: Design,
    kit: Kit,
    simulator: Simulator | None = None,
    *,
    book: RuleBook | None = None,
    settings: ComparisonSettings | None = None,
    strict: bool = False,
) -> CheckResult:
    """Check a build against its design.

    Args:
        built: a board, or what a photo showed (then unsure cells, taps and leads become questions).
        design: what was intended.
        kit: the cubes.
        simulator: calculates voltages and currents; None: judged by structure alone, with a note.
        book, settings: limits of rules and comparison, None for the bundled ones.
        strict: ask about everything that the picture leaves open; else the plan settles what picture and plan
            together leave no doubt about.

    Raises:
        InputError: a kind is not in the kit.
    """
    reading = None if isinstance(built, Board) else built
    board = built if isinstance(built, Board) else built.board
    return _Check(board, reading, design, kit, simulator, book, settings, strict).result()


@dataclass(frozen=True)
class CalculatedState(State):
    """A state as ngspice gives it.

    Attributes:
        notes: why there is none, or what bears on whether it is believed, in words.
    """

    point: OperatingPoint | None = None
    notes: tuple[str, ...] = ()


class Calculated:
    """The states of a plan and of a build laid against it, each calculated once.

    Args:
        simulator: None: nothing is calculated.
        book: says what counts as a shorted supply; None for the bundled one.

    Attributes:
        simulator: as given; None once its library turned out to be missing.
    """

    def __init__(self, simulator: Simulator | None, book: RuleBook | None = None) -> None:
        self.simulator = simulator
        self._book = book
        self._plan: CalculatedState | None = None
        self._built: dict[Conditions, CalculatedState] = {}

    def plan(self, laid: Laid) -> CalculatedState:
        """See `snapcheck.check.States`."""
        if self._plan is None:
            self._plan = self._state(laid.own_plan_circuit, laid.design.conditions, tr("the plan"))
        return self._plan

    def built(self, laid: Laid, match: Match) -> CalculatedState:
        """See `snapcheck.check.States`."""
        conditions = laid.conditions(match)
        if conditions not in self._built:
            self._built[conditions] = self._state(laid.built_circuit, conditions, tr("the build"))
        return self._built[conditions]

    def _state(self, circuit: Circuit, conditions: Conditions, which: str) -> CalculatedState:
        if self.simulator is None:
            return CalculatedState()
        if is_shorted(circuit, self._book):
            why = tr("Voltages of {which} were not calculated: a supply is shorted.", which=which)
            return CalculatedState(notes=(why,))
        try:
            point = self.simulator.operating_point(circuit, conditions)
        except MissingLibraryError as error:
            self.simulator = None
            return CalculatedState(notes=(tr("Judged by structure alone: {why}", why=error.message),))
        except SimulationError as error:
            why = tr("Voltages of {which} were not calculated: {why}", which=which, why=error)
            return CalculatedState(notes=(why,))
        told = tuple(capital(remark.text) for remark in point.remarks if remark.kind in _TOLD)
        return CalculatedState(point, self.simulator.other_positions(circuit, point.conditions), told)


@dataclass
class _Check:
    board: Board
    reading: Reading | None
    design: Design
    kit: Kit
    simulator: Simulator | None
    book: RuleBook | None
    settings: ComparisonSettings | None
    strict: bool = False
    notes: list[str] = field(default_factory=list)

    def result(self) -> CheckResult:
        stop_if_asked()
        reading, simulator = self.reading, self.simulator
        laid = lay(
            self.design,
            self.board,
            self.kit,
            unsure=None if reading is None else reading.unsure,
            chances=None if reading is None or self.strict else reading.chances,
            settings=self.settings,
            plan_circuit=None if simulator is None else simulator.plan_circuit(self.design, self.kit),
        )
        states = Calculated(simulator, self.book)
        comparison = tell(laid, states, self.book)
        plan, built = states.plan(laid), states.built(laid, comparison)
        self.notes += [*plan.notes, *built.notes] if simulator is not None else [
            tr("Judged by structure alone: the ngspice library is not installed, so no voltages and "
               "currents were calculated.")
        ]  # fmt: skip
        self.simulator = states.simulator
        placed = comparison.placed
        what_if = None
        unexplained: tuple[str, ...] = ()
        findings = list(comparison.findings)
        if plan.point is not None and comparison.parts_moved:
            what_if = self._own_figures(comparison)
            if what_if is not None:
                unexplained = tuple(f.expectation.text for f in what_if.designed if not f.met)
        elif plan.point is not None and placed is not None:
            what_if = self._what_if(placed, laid, built.point)
            findings = self._with_effects(findings, placed, laid, what_if)
            unexplained = self._unexplained(findings, placed, laid, what_if)
        if reading is not None and placed is not None and not self.strict and not comparison.own_layout:
            reading = settled_links(reading, placed.board, laid.settings)
        findings, verdict = with_doubts(
            findings,
            reading,
            built_differently=comparison.verdict is Verdict.EQUIVALENT,
            undecided=comparison.verdict is Verdict.CANT_TELL,
            as_planned=not comparison.changed_cells and not comparison.own_layout,
        )
        return CheckResult(
            self.design, placed, comparison.built_circuit.board, self.reading, comparison, tuple(findings),
            verdict, tuple(dict.fromkeys(self.notes)), plan.point is not None, plan.point, built.point,
            what_if, self.kit, unexplained,
        )  # fmt: skip

    # -------------------------------------------------------- calculation

    def _what_if(self, placed: Design, laid: Laid, point: OperatingPoint | None) -> WhatIf | None:
        if self.simulator is None:
            return None
        try:
            return self.simulator.what_if(
                placed, laid.built_circuit, designed=laid.placed_circuit, point=point
            )
        except (SimulationError, MissingLibraryError) as error:
            self.notes.append(tr("What the build does was not calculated: {why}", why=error.message))
            return None

    def _own_figures(self, comparison: Comparison) -> WhatIf | None:
        if self.simulator is None:
            return None
        try:
            return own_figures(self.simulator, self.design, comparison)
        except (SimulationError, MissingLibraryError) as error:
            self.notes.append(tr("What the build does was not calculated: {why}", why=error.message))
            return None

    def _with_effects(
        self, findings: list[Finding], placed: Design, laid: Laid, whole: WhatIf | None
    ) -> list[Finding]:
        """Findings with the numbers that the simulator has for them, cause by cause."""
        serious = [i for i, f in enumerate(findings) if f.severity <= Severity.DEVIATION]
        if whole is None or not serious:
            return findings
        if len(serious) == 1:
            findings[serious[0]] = _effect(_breaking(findings[serious[0]], whole), telling(whole))
            return findings
        if len(serious) > _MOST_CAUSES:
            findings[serious[0]] = _effect(findings[serious[0]], telling(whole), tr("All findings together:"))
            return findings
        quick = replace(placed, expectations=tuple(e for e in placed.expectations if e.quantity in _QUICK))
        for i in serious:
            stop_if_asked()
            mine = [c for c in laid.changes if set(c.cells) & set(findings[i].cells)]
            if not mine or self.simulator is None:
                continue
            try:
                alone = laid.with_only(mine)
                effect = (
                    None
                    if is_shorted(alone, self.book)
                    else self.simulator.what_if(quick, alone, designed=laid.placed_circuit)
                )
            except (SimulationError, InputError):
                continue
            if effect is not None:
                findings[i] = _effect(_breaking(findings[i], effect), telling(effect), tr("By itself:"))
        return findings

    def _unexplained(
        self, findings: Sequence[Finding], placed: Design, laid: Laid, whole: WhatIf | None
    ) -> tuple[str, ...]:
        """Figures that are still not met with every finding mended: measured on the plan with the changes
        that no finding tells of."""
        if self.simulator is None or whole is None or (whole.built and all(f.met for f in whole.built)):
            return ()
        of_plan = tuple(f.expectation.text for f in whole.designed if not f.met)
        told = [set(f.cells) for f in findings if f.severity <= Severity.DEVIATION]
        changes = laid.changes
        silent = [c for c in changes if not any(set(c.cells) & cells for cells in told)]
        elsewhere = any(not any(set(c.cells) & cells for c in changes) for cells in told)
        if not silent or elsewhere:  # mended, it is the plan; a finding may lie elsewhere than its change
            return of_plan
        try:
            figures = self.simulator.evaluate(placed, laid.with_only(silent))
        except (SimulationError, InputError, MissingLibraryError):
            return of_plan
        return tuple(f.expectation.text for f in figures if not f.met)


def own_figures(simulator: Simulator, design: Design, comparison: Comparison) -> WhatIf:
    """Figures of a build with parts in places of their own: measured where its parts correspond.

    Raises:
        SimulationError, MissingLibraryError: nothing can be measured.
    """
    there = follow(design, comparison)
    designed = simulator.evaluate(design, comparison.plan_circuit)
    measured = iter(simulator.evaluate(there.design, comparison.built_circuit))
    same = comparison.electrical in (Electrical.IDENTICAL, Electrical.EQUIVALENT)
    built = tuple(
        _nowhere(figure, same) if place is None else next(measured)
        for figure, place in zip(designed, there.places, strict=True)
    )
    return WhatIf(tuple(designed), built, figure_changes(design, designed, built), ())


def _nowhere(figure: Figure, same: bool) -> Figure:
    """A figure whose place the build lacks: as designed where the circuit is the same, else not met."""
    reason = (
        tr("its place lies between parts that are built in another order; the circuit is the same")
        if same
        else tr("its place has no counterpart in this build")
    )
    lost = judge(figure.expectation, Design(Board(1, 1)), None, reason)
    return replace(lost, met=same and figure.met)


def telling(what_if: WhatIf) -> tuple[str, ...]:
    """The sentences worth telling: of a path that passes nothing any more, its band says nothing."""
    if what_if.unsolvable:
        return what_if.sentences
    silent = any(
        c.expectation is not None
        and c.expectation.quantity == "gain"
        and c.designed is not None
        and c.built is not None
        and c.designed - c.built > _SILENT_dB
        for c in what_if.changes
    )
    kept = [
        c.text for c in what_if.changes
        if not (silent and c.expectation is not None and c.expectation.quantity in _OF_A_PATH)
    ]  # fmt: skip
    return tuple(capital(text) for text in (*what_if.stresses, *kept))


def _breaking(finding: Finding, alone: WhatIf) -> Finding:
    """The finding with the promised figures that are not met because of it alone, as far as calculated."""
    if not alone.built:
        return finding
    broken = [f.expectation.text for f in alone.built if not f.met]
    return replace(finding, data={**finding.data, "unmet": broken})


def _effect(finding: Finding, sentences: Sequence[str], before: str = "") -> Finding:
    if not sentences:
        return finding
    told = " ".join((before, *sentences[:_MOST_EFFECTS])).strip()
    data = {**finding.data, "simulated": list(sentences)}
    return replace(finding, effect=f"{finding.effect} {told}".strip(), data=data)
