"""From a board or a reading to a checked build: rules, comparison and calculation in one go.

The one function that the command line, grading and the web share. It lies between the pure room ``check``
and those that show results, because it may ask the simulator.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from snapcheck.board import Board, Cell, Conditions, Design, Expectation, Probe
from snapcheck.check import (
    Comparison,
    ComparisonSettings,
    Electrical,
    Verdict,
    apply,
    bundled_settings,
    compare,
    find_changes,
    follow,
    moved_board,
    settled_links,
    with_doubts,
)
from snapcheck.circuit import Circuit, RuleBook, build_circuit, capital, check_rules, equivalence
from snapcheck.errors import InputError, MissingLibraryError, SimulationError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.watch import stop_if_asked
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.photo import Reading
    from snapcheck.simulate import Figure, OperatingPoint, Simulator, WhatIf

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
        first = self._compare(None, None)
        placed = place_design(self.design, first, self.kit)
        plan_point, built_point = self._points(first, placed)
        comparison = first
        if plan_point is not None or built_point is not None:
            comparison = self._compare(
                built_point,
                plan_point,
                self._positions(first.built_circuit, built_point),
                self._positions(first.plan_circuit, plan_point),
            )
        what_if = None
        unexplained: tuple[str, ...] = ()
        findings = list(comparison.findings)
        if plan_point is not None and parts_moved(comparison):
            what_if = self._own_figures(comparison)
            if what_if is not None:
                unexplained = tuple(f.expectation.text for f in what_if.designed if not f.met)
        elif plan_point is not None and placed is not None:
            what_if = self._what_if(placed, comparison)
            findings = self._with_effects(findings, placed, comparison, what_if)
            unexplained = self._unexplained(findings, placed, comparison, what_if)
        reading = self.reading
        if reading is not None and placed is not None and not self.strict and not comparison.own_layout:
            reading = settled_links(reading, placed.board, self.settings or bundled_settings())
        findings, verdict = with_doubts(
            findings,
            reading,
            built_differently=comparison.verdict is Verdict.EQUIVALENT,
            undecided=comparison.verdict is Verdict.CANT_TELL,
            as_planned=not comparison.changed_cells and not comparison.own_layout,
        )
        return CheckResult(
            self.design, placed, comparison.built_circuit.board, self.reading, comparison, tuple(findings),
            verdict, tuple(dict.fromkeys(self.notes)), plan_point is not None, plan_point, built_point,
            what_if, self.kit, unexplained,
        )  # fmt: skip

    def _positions(self, circuit: Circuit, point: OperatingPoint | None) -> dict[str, OperatingPoint]:
        """The circuit in the other positions of its switches."""
        if point is None or self.simulator is None:
            return {}
        return self.simulator.other_positions(circuit, point.conditions)

    def _compare(
        self,
        point: OperatingPoint | None,
        plan_point: OperatingPoint | None,
        positions: dict[str, OperatingPoint] | None = None,
        plan_positions: dict[str, OperatingPoint] | None = None,
    ) -> Comparison:
        stop_if_asked()
        return compare(
            self.design,
            self.board,
            self.kit,
            unsure=None if self.reading is None else self.reading.unsure,
            chances=None if self.reading is None or self.strict else self.reading.chances,
            operating_point=point,
            plan_operating_point=plan_point,
            positions=positions,
            plan_positions=plan_positions,
            book=self.book,
            settings=self.settings,
        )

    # -------------------------------------------------------- calculation

    def _points(
        self, comparison: Comparison, placed: Design | None
    ) -> tuple[OperatingPoint | None, OperatingPoint | None]:
        if self.simulator is None:
            self.notes.append(
                tr("Judged by structure alone: the ngspice library is not installed, so no voltages and "
                   "currents were calculated.")
            )  # fmt: skip
            return None, None
        plan = self._point(comparison.plan_circuit, self.design.conditions, tr("the plan"))
        there = follow(self.design, comparison).design if parts_moved(comparison) else placed
        conditions = None if there is None else _present(there.conditions, comparison.built_circuit)
        built = self._point(comparison.built_circuit, conditions or Conditions(), tr("the build"))
        for point in (plan, built):
            remarks = () if point is None else point.remarks
            self.notes.extend(capital(remark.text) for remark in remarks if remark.kind in _TOLD)
        return plan, built

    def _point(self, circuit: Circuit, conditions: Conditions, which: str) -> OperatingPoint | None:
        """The operating point; a circuit with a shorted supply is not calculated: its current says enough."""
        assert self.simulator is not None
        if check_rules(circuit, book=self.book, only=("supply-shorted", "supplies-fighting")):
            self.notes.append(
                tr("Voltages of {which} were not calculated: a supply is shorted.", which=which)
            )
            return None
        try:
            return self.simulator.operating_point(circuit, conditions)
        except MissingLibraryError as error:
            self.simulator = None
            self.notes.append(tr("Judged by structure alone: {why}", why=error.message))
        except SimulationError as error:
            self.notes.append(tr("Voltages of {which} were not calculated: {why}", which=which, why=error))
        return None

    def _what_if(self, placed: Design, comparison: Comparison) -> WhatIf | None:
        if self.simulator is None:
            return None
        try:
            return self.simulator.what_if(placed, comparison.built_circuit)
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
        self, findings: list[Finding], placed: Design, comparison: Comparison, whole: WhatIf | None
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
        changes = find_changes(placed.board, comparison.built_circuit.board, self.kit)
        quick = replace(placed, expectations=tuple(e for e in placed.expectations if e.quantity in _QUICK))
        for i in serious:
            stop_if_asked()
            mine = [c for c in changes if set(c.cells) & set(findings[i].cells)]
            if not mine or self.simulator is None:
                continue
            try:
                alone = build_circuit(apply(placed.board, mine), self.kit)
                shorted = check_rules(alone, book=self.book, only=("supply-shorted", "supplies-fighting"))
                effect = None if shorted else self.simulator.what_if(quick, alone)
            except (SimulationError, InputError):
                continue
            if effect is not None:
                findings[i] = _effect(_breaking(findings[i], effect), telling(effect), tr("By itself:"))
        return findings

    def _unexplained(
        self, findings: Sequence[Finding], placed: Design, comparison: Comparison, whole: WhatIf | None
    ) -> tuple[str, ...]:
        """Figures that are still not met with every finding mended: measured on the plan with the changes
        that no finding tells of."""
        if self.simulator is None or whole is None or (whole.built and all(f.met for f in whole.built)):
            return ()
        of_plan = tuple(f.expectation.text for f in whole.designed if not f.met)
        told = [set(f.cells) for f in findings if f.severity <= Severity.DEVIATION]
        changes = find_changes(placed.board, comparison.built_circuit.board, self.kit)
        silent = [c for c in changes if not any(set(c.cells) & cells for cells in told)]
        elsewhere = any(not any(set(c.cells) & cells for c in changes) for cells in told)
        if not silent or elsewhere:  # mended, it is the plan; a finding may lie elsewhere than its change
            return of_plan
        try:
            rest = build_circuit(apply(placed.board, silent), self.kit)
            figures = self.simulator.evaluate(placed, rest)
        except (SimulationError, InputError, MissingLibraryError):
            return of_plan
        return tuple(f.expectation.text for f in figures if not f.met)


def parts_moved(comparison: Comparison) -> bool:
    """Whether cells of the plan say nothing about places in the build: only its parts do."""
    return comparison.own_layout or comparison.electrical is Electrical.EQUIVALENT


def own_figures(simulator: Simulator, design: Design, comparison: Comparison) -> WhatIf:
    """Figures of a build with parts in places of their own: measured where its parts correspond.

    Raises:
        SimulationError, MissingLibraryError: nothing can be measured.
    """
    from snapcheck.simulate import WhatIf, figure_changes

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
    from snapcheck.simulate import judge

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


def _present(conditions: Conditions, circuit: Circuit) -> Conditions:
    """The conditions for parts that are there."""
    here = circuit.part_at
    return replace(
        conditions,
        supply_V={c: v for c, v in conditions.supply_V.items() if c in here},
        switches={c: v for c, v in conditions.switches.items() if c in here},
        pots={c: v for c, v in conditions.pots.items() if c in here},
    )


def place_design(design: Design, comparison: Comparison, kit: Kit) -> Design | None:
    """The design in the cells of the build.

    Where the build is laid out in its own way, only places of corresponding parts are known: then the board
    is the build's own, with the design's conditions and expectations as far as they have a place there. None
    where that is not possible.
    """
    if comparison.own_layout:
        return follow(design, comparison).design
    a = comparison.alignment
    if not a.moved:
        return design
    try:
        here = comparison.built_circuit.board
        board = moved_board(design.board, a, kit, here.columns, here.rows)
    except InputError:
        return None
    if a.mirrored and not equivalence(comparison.plan_circuit, build_circuit(board, kit)):
        return None  # mirrored, it is another circuit
    return _with_places(design, board, design.board.anchors_after(a.to_built))


def _with_places(design: Design, board: Board, place: Callable[[Cell], Cell]) -> Design:
    def probe(p: Probe | None) -> Probe | None:
        return None if p is None else Probe(place(p.cell), p.terminal)

    def conditions(c: Conditions) -> Conditions:
        return replace(
            c,
            supply_V={place(k): v for k, v in c.supply_V.items()},
            switches={place(k): v for k, v in c.switches.items()},
            pots={place(k): v for k, v in c.pots.items()},
        )

    def expectation(e: Expectation) -> Expectation:
        return replace(
            e, place=probe(e.place), conditions=None if e.conditions is None else conditions(e.conditions)
        )

    return replace(
        design,
        board=board,
        input=probe(design.input),
        output=probe(design.output),
        conditions=conditions(design.conditions),
        expectations=tuple(expectation(e) for e in design.expectations),
    )
