"""A build held against its plan: cell by cell, and as circuits; what differs, once, with what it does."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from snapcheck.board import Board, Cell, Cube, Design
from snapcheck.check._align import unmoved
from snapcheck.check._changes import CellChange, Change, find_changes
from snapcheck.check._comparison import Comparison, Electrical
from snapcheck.check._evidence import Chances
from snapcheck.check._mend import Mended, mended
from snapcheck.check._merge import absorb, alignment_note, gathered, mirror_fault, with_rules
from snapcheck.check._own_layout import own_layout_findings
from snapcheck.check._pair import MOST_CHANGES, Pair
from snapcheck.check._sentence import difference_words
from snapcheck.check._settings import ComparisonSettings, bundled_settings
from snapcheck.check._tell import Teller
from snapcheck.check._unsure import open_questions, settled_note
from snapcheck.check._verdict import Verdict, verdict_of
from snapcheck.circuit import (
    RULES,
    Circuit,
    OperatingPointLike,
    RuleBook,
    Sameness,
    WordsLater,
    bundled_rules,
    check_rules,
    differences,
    equivalence,
    require_kinds,
)
from snapcheck.devices import Store
from snapcheck.findings import Finding, Severity, in_order
from snapcheck.kit import Kit
from snapcheck.words import tr

#: with no more changes than this, and no cube elsewhere, a build is laid out as planned
_FEW_CHANGES = 3
#: changes that take something away, which leaves nothing that burns
_TAKEN_AWAY = (Change.MISSING, Change.LEAD_MISSING, Change.TAP_MISSING)
#: changes of a cube that stands where it belongs
_IN_PLACE = (Change.WRONG_VALUE, Change.TURNED, Change.REVERSED, Change.SWAPPED)
#: a rule, the cells of the build that it names in the plan, and how bad it is there
_Objection = tuple[str, set[Cell], Severity]


def compare(
    design: Design | Board,
    built: Board,
    kit: Kit,
    *,
    unsure: Mapping[Cell, Sequence[Cube | None]] | None = None,
    chances: Mapping[Cell, Chances] | None = None,
    operating_point: OperatingPointLike | None = None,
    plan_operating_point: OperatingPointLike | None = None,
    positions: Mapping[str, OperatingPointLike] | None = None,
    plan_positions: Mapping[str, OperatingPointLike] | None = None,
    book: RuleBook | None = None,
    settings: ComparisonSettings | None = None,
) -> Comparison:
    """Compare a build with its plan.

    A shift or turn of the whole build is found and undone first. Harmless turns of symmetric cubes,
    and values within tolerance, are no difference. Danger is told whether or not the plan has it too.

    Args:
        design: the plan.
        built: what stands on the plate.
        kit: the cubes.
        unsure: cell of the build to what may stand there besides what `built` says; an empty sequence
            means it could not be read at all. Such cells are never taken as a pass.
        chances: of unsure cells, everything that may stand there and its probability; where given, the plan
            may settle them (see `snapcheck.check._evidence`), and a note says so.
        operating_point: simulated state of the build, for rules that need one.
        plan_operating_point: simulated state of the plan, so that what rules object to in it is known.
        positions, plan_positions: the same in other positions of the switches, see `check_rules`.
        book: rule book, None for the bundled one.
        settings: limits of the comparison, None for the bundled ones.

    Raises:
        InputError: a kind is not in the kit.
    """
    plan = design.board if isinstance(design, Design) else design
    supply_V = design.conditions.supply_V if isinstance(design, Design) else {}
    settings = bundled_settings() if settings is None else settings
    probes = (design.input, design.output) if isinstance(design, Design) else ()
    probed = tuple(p for p in probes if p is not None)
    pair = Pair(plan, built, kit, dict(unsure or {}), settings, probed, dict(chances or {}))
    return _Comparing(
        pair, operating_point, plan_operating_point, positions or {}, plan_positions or {}, book, supply_V
    ).result()


@dataclass
class _Comparing:
    """The search for what to tell about a pair of boards."""

    pair: Pair
    operating_point: OperatingPointLike | None
    plan_operating_point: OperatingPointLike | None
    positions: Mapping[str, OperatingPointLike]
    plan_positions: Mapping[str, OperatingPointLike]
    book: RuleBook | None
    supply_V: Mapping[Cell, float]
    #: where the plan is the build itself, mended: what rules object to in the plan that it stands for
    planned_rules: Sequence[_Objection] | None = None

    def result(self) -> Comparison:
        """The whole comparison: cell by cell or circuit against circuit, whichever story is the shorter."""
        for board in (self.pair.plan, self.pair.seen):
            require_kinds(board, self.pair.kit)
        if self.pair.has_own_layout:
            return self._result_of_circuits()
        changes = find_changes(self.pair.frame.plan, self.pair.frame.built, self.pair.kit)
        by_cells = self._result_of_cells(changes)
        if _serious(by_cells) < 2 or by_cells.electrical is not Electrical.DIFFERENT:
            return by_cells
        if len(changes) <= _FEW_CHANGES and not self._stand_elsewhere(changes):
            return by_cells  # laid out as planned: nothing is clearer than cells
        by_circuits = self._result_of_circuits()
        if by_circuits.electrical is not Electrical.DIFFERENT:
            return by_cells  # a part that no current reaches is missed by cells alone
        cells, circuits = _told_alone(by_cells, by_circuits), _told_alone(by_circuits, by_cells)
        # cells are easier to follow than nets, so circuits must tell it in half as many words
        if 2 * len(circuits) > len(cells):
            return _with_dangers(by_cells, circuits)
        # one mend explains everything; else what cells take for a reversal may be one, and is not dropped
        return by_circuits if len(circuits) <= 1 else _with_dangers(by_circuits, cells)

    def _stand_elsewhere(self, changes: list[CellChange]) -> bool:
        """True when a cube other than a wire is missing where it belongs and stands somewhere else."""
        plan, kit = self.pair.frame.plan.cubes, self.pair.kit
        away = [c for c in changes if c.change not in _IN_PLACE]
        gone = {(plan[c].kind, plan[c].value) for x in away for c in x.cubes if c in plan}
        come = {(q.kind, q.value) for x in away for q in x.cubes.values() if q is not None}
        return any(not kit[kind].wire for kind, _ in gone & come)

    def _result_of_cells(self, changes: list[CellChange]) -> Comparison:
        electrical, parts, nets = self.pair.circuits(changes)
        findings = self._findings(changes, electrical)
        return self._comparison(findings, electrical, changes, parts, nets)

    # -------------------------------------------------------- findings

    def _findings(self, changes: list[CellChange], electrical: Electrical) -> list[Finding]:
        findings = alignment_note(self.pair.alignment)
        teller = Teller(
            self.pair.frame,
            self.pair.kit,
            self.pair.settings,
            self.pair.built.columns,
            self.pair.built.rows,
            own_layout=self.planned_rules is not None,
        )
        harmless_all = electrical in (Electrical.IDENTICAL, Electrical.EQUIVALENT)
        fresh, standing = self._rule_findings()
        known = [*fresh, *standing]
        if harmless_all:  # the same circuit: whatever is wrong with it is wrong with the plan too
            fresh = [f for f in fresh if f.severity is Severity.DANGER]
        one_by_one = len(changes) <= MOST_CHANGES
        harmless: dict[CellChange, bool] = {}
        for change in changes:
            harmless[change] = harmless_all or (one_by_one and self.pair.is_harmless(change, len(changes)))
        together = self.pair.harmless_together([c for c in changes if not harmless[c]], harmless_all)
        for change in together:
            harmless[change] = True
        joint = [] if harmless_all or not one_by_one else self.pair.harmful_together(harmless)
        for cluster in joint:
            harmless.update(dict.fromkeys(cluster, False))
        serious = [c for c in changes if not harmless[c]]
        for change in sorted(changes, key=lambda c: harmless[c]):  # causes before what they do not cause
            cause = next((cluster for cluster in joint if change in cluster), [change])
            effect = "" if harmless[change] or not one_by_one else self._effect(change, cause)
            finding = teller.finding(change, harmless[change], effect)
            finding = self._with_simulation(change, finding)
            if one_by_one and not harmless[change] and len(serious) > 1:
                finding = self._with_hidden_danger(cause, finding, known)
            if one_by_one:
                alone = len(changes) == 1 or set(serious) == set(cause)
                finding, fresh = self._with_rules(cause, finding, fresh, alone=alone)
            findings.append(finding)
        if self.pair.exchanged:
            findings[0], fresh = mirror_fault(findings[0], self.pair.exchanged, fresh), []
        findings = gathered(findings, int(self.pair.settings.many_missing))
        return findings + standing + fresh

    def _effect(self, change: CellChange, cause: list[CellChange]) -> str:
        """What this change joins and separates; of several that do it together, the first one tells it."""
        if not self.pair.plain or change is not min(cause, key=lambda c: c.cells[:1]):
            return ""
        if change.change in (Change.WRONG_VALUE, Change.REVERSED):
            return ""
        circuit = self.pair.with_only(cause)
        touched = {c for c in change.cubes if self.pair.part_here(c)}
        pairs = {
            p.cell: p.cell for p in self.pair.plan_circuit.parts
            if p.cell in circuit.part_at and p.cell not in touched
        }  # fmt: skip
        if change.change is Change.TURNED:
            pairs.update({c: c for c in touched})
        sentences = [
            difference_words(d, self.pair.plan_circuit)
            for d in differences(self.pair.plan_circuit, circuit, pairs).differences
        ]
        return " ".join(s for s in sentences[:3] if s)

    def _with_simulation(self, change: CellChange, finding: Finding) -> Finding:
        """A reversed electrolytic that the simulated state finds the right way round is no danger."""
        if change.change is not Change.REVERSED or self.operating_point is None:
            return finding
        cell = self.pair.frame.built_cell(change.cells[0])
        part = self.pair.built_circuit.part_at.get(cell)
        if part is None or part.device.store is not Store.CHARGE:
            return finding
        volts = self.operating_point.net_voltages_V
        plus, minus = volts.get(part.nets["plus"]), volts.get(part.nets["minus"])
        # at rest, a flip-flop has a little over its capacitors that turns round as soon as it runs
        if plus is None or minus is None or plus - minus <= part.ratings.get("max_reverse_V", 1.0):
            return finding
        return replace(finding, severity=Severity.DEVIATION, data={**finding.data, "voltage_V": plus - minus})

    # -------------------------------------------------------- rules

    def _built_rules(self, supply_V: dict[Cell, float], wordless: bool | WordsLater = False) -> list[Finding]:
        """What the rules object to in the build, supplies (cells of the build) set to these voltages."""
        return check_rules(
            self.pair.built_circuit,
            self.operating_point,
            positions=self.positions,
            book=self.book,
            supply_V=supply_V,
            only=self._telling,
            wordless=wordless,
        )

    def _plan_rules(self, plan: Circuit, only: Collection[str]) -> list[Finding]:
        """What these rules object to in the plan."""
        return check_rules(
            plan,
            self.plan_operating_point,
            positions=self.plan_positions,
            book=self.book,
            supply_V=self.supply_V,
            only=only,
            wordless=True,
        )

    def _rule_findings(self) -> tuple[list[Finding], list[Finding]]:
        """What the rules object to in the build: what the plan has not, and danger that the plan has too."""
        to_built = self.pair.plan.anchors_after(self.pair.alignment.to_built)
        supply = {to_built(c): v for c, v in self.supply_V.items()}
        later = WordsLater()
        here = [f for f in self._built_rules(supply, later) if f.severity is not Severity.NOTE]
        if not here:
            return [], []
        there = self.planned_rules
        if there is None:
            planned = self._plan_rules(self.pair.own_plan_circuit, {f.rule for f in here})
            there = [(f.rule, set(map(to_built, f.cells)), f.severity) for f in planned]
        fresh, standing = [], []
        for f in here:
            cells = set(f.cells)
            exact = f.severity is Severity.DANGER
            if not any(
                rule == f.rule
                and (places == cells and severity <= f.severity if exact else places & cells or not cells)
                for rule, places, severity in there
            ):
                fresh.append(later.worded(f))
            elif exact:
                standing.append(later.worded(f))
        return fresh, standing

    @cached_property
    def _telling(self) -> frozenset[str]:
        """Rules whose findings count in a comparison: those that can say more than a note."""
        return frozenset(name for name in RULES if self._rules_book[name].severity is not Severity.NOTE)

    @cached_property
    def _rules_book(self) -> RuleBook:
        return bundled_rules() if self.book is None else self.book

    @cached_property
    def _framed_supply(self) -> dict[Cell, float]:
        to_built = self.pair.plan.anchors_after(self.pair.alignment.to_built)
        return {self.pair.frame.of_built(to_built(c)): v for c, v in self.supply_V.items()}

    @cached_property
    def _dangerous(self) -> frozenset[str]:
        """Rules that may find a danger."""
        always = {n for n in RULES if self._rules_book[n].severity is Severity.DANGER}
        return frozenset(always | {"over-rating"})

    def _with_hidden_danger(
        self, cause: list[CellChange], finding: Finding, known: Sequence[Finding]
    ) -> Finding:
        """The finding with the danger that is left of it when everything else is mended before it.

        A diode without its resistor does no harm while a ground is missing; with the ground it burns.
        """
        if finding.severity is Severity.DANGER or cause[0].change in _TAKEN_AWAY:
            return finding
        pair, place = self.pair, self.pair.frame.built_cell
        told = {(f.rule, f.cells[:1]) for f in known}
        left = check_rules(
            pair.with_only(cause), book=self.book, supply_V=self._framed_supply, only=self._dangerous
        )
        hidden = [
            f for f in left
            if f.severity is Severity.DANGER and (f.rule, tuple(map(place, f.cells[:1]))) not in told
        ]  # fmt: skip
        if hidden:
            planned = check_rules(
                pair.plan_circuit, book=self.book, supply_V=self._framed_supply, only={f.rule for f in hidden}
            )
            standing = {(f.rule, f.cells[:1]) for f in planned}
            hidden = [f for f in hidden if (f.rule, f.cells[:1]) not in standing]
        if not hidden:
            return finding
        told_then = tr("Once everything else is mended, this is a danger.")
        if pair.plain:
            told_then = tr("Once everything else is mended: {title}", title=hidden[0].title)
        mend = finding.mend
        if not mend.startswith(tr("Do not power.")):
            mend = f"{tr('Do not power.')} {mend}"
        return replace(
            finding,
            severity=Severity.DANGER,
            effect=f"{finding.effect} {told_then}".strip(),
            mend=mend,
            data={**finding.data, "follow_up": [f.rule for f in hidden]},
        )

    def _with_rules(
        self, cause: list[CellChange], finding: Finding, fresh: list[Finding], *, alone: bool
    ) -> tuple[Finding, list[Finding]]:
        """Take in those rule findings that the change behind this finding brings about, or helps to."""
        if not fresh or alone:
            return (absorb(finding, fresh) if fresh else finding), []
        single = check_rules(
            self.pair.with_only(cause),
            book=self.book,
            supply_V=self._framed_supply,
            only={f.rule for f in fresh},
            wordless=True,
        )
        caused = {(f.rule, self.pair.frame.built_cell(f.cells[0]) if f.cells else None) for f in single}
        own = set(finding.cells)
        mine = [
            f for f in fresh
            if (f.rule, f.cells[0] if f.cells else None) in caused
            or (f.rule.endswith("reversed") and f.cells[:1] == finding.cells[:1])
            or (f.rule == "terminal-open" and f.cells and f.cells[0] in own)
        ]  # fmt: skip
        if not mine:
            return finding, fresh
        return absorb(finding, mine), [f for f in fresh if f not in mine]

    # -------------------------------------------------------- results

    def _result_of_circuits(self) -> Comparison:
        """Circuit against circuit, wherever parts stand."""
        plan = self.pair.own_plan_circuit
        probed = (plan.net_of(p.cell, p.terminal) for p in self.pair.probes)
        keep = [n for n in probed if n is not None]
        steps = int(self.pair.settings.step_limit)
        answer = equivalence(plan, self.pair.built_circuit, keep=keep, step_limit=steps)
        if answer.sameness is Sameness.DIFFERENT:
            as_it_should = mended(plan, self.pair.built_circuit, keep, steps)
            if as_it_should is not None:
                return self._result_of_mend(plan, as_it_should)
        findings, electrical, parts, nets = own_layout_findings(plan, self.pair.built_circuit, answer)
        planned = self._plan_rules(plan, self._telling)
        supply = {parts[c]: v for c, v in self.supply_V.items() if c in parts}
        findings = with_rules(findings, self._built_rules(supply), {f.rule for f in planned})
        findings += open_questions(
            self.pair.seen, self.pair.built, self.pair.still_unsure, self.pair.kit, self.book, planned=None
        )
        return self._of_own_layout(findings, Electrical(electrical), parts, nets, plan)

    def _result_of_mend(self, plan: Circuit, to_be: Mended) -> Comparison:
        """The build held, cell by cell, against itself with the one thing mended that makes it the plan."""
        pair, parts = self.pair, to_be.same.cells
        planned = [
            (f.rule, {parts[c] for c in f.cells if c in parts}, f.severity)
            for f in self._plan_rules(plan, self._telling)
        ]
        here = Pair(
            to_be.board, pair.built, pair.kit, pair.still_unsure, pair.settings, laid=unmoved(to_be.board)
        )
        supply = {parts[c]: v for c, v in self.supply_V.items() if c in parts}
        comparing = _Comparing(
            here, self.operating_point, None, self.positions, {}, self.book, supply, planned
        )  # fmt: skip
        told = comparing.result()
        there = pair.built_circuit.part_at
        stand = {a: b for a, b in parts.items() if b in there}
        back = {a: told.nets[b] for a, b in to_be.same.nets.items() if b in told.nets}
        return self._of_own_layout(list(told.findings), Electrical.DIFFERENT, stand, back, plan)

    def _of_own_layout(
        self,
        findings: list[Finding],
        electrical: Electrical,
        parts: Mapping[Cell, Cell],
        nets: Mapping[int, int],
        plan: Circuit,
    ) -> Comparison:
        findings = findings + settled_note(self.pair.settled, self.pair.planned_cubes, self.pair.kit)
        undecided = electrical is Electrical.GAVE_UP
        return Comparison(
            verdict_of(findings, built_differently=True, undecided=undecided),
            tuple(in_order(findings)),
            unmoved(self.pair.plan, self.pair.alignment.score),
            electrical, True, tuple(self.pair.seen.cubes), parts, nets, plan, self.pair.built_circuit,
        )  # fmt: skip

    def _comparison(
        self,
        findings: list[Finding],
        electrical: Electrical,
        changes: list[CellChange],
        parts: Mapping[Cell, Cell],
        nets: Mapping[int, int],
    ) -> Comparison:
        plan, place = self.pair.frame.plan, self.pair.frame.built_cell
        planned = None
        if self.planned_rules is None:
            planned = {place(c): q for c in plan.occupied if (q := plan.cube_at(c))}
        findings = findings + open_questions(
            self.pair.seen, self.pair.built, self.pair.still_unsure, self.pair.kit, self.book, planned=planned
        )
        findings += settled_note(self.pair.settled, self.pair.planned_cubes, self.pair.kit)
        cells = dict.fromkeys(self.pair.frame.built_cell(c) for change in changes for c in change.cells)
        worst = min((f.severity for f in findings), default=Severity.NOTE)
        undecided = electrical is Electrical.GAVE_UP and worst >= Severity.NOTE
        mirrored = self.pair.alignment.mirrored
        if self.pair.exchanged:
            electrical = Electrical.DIFFERENT
        elif mirrored and electrical is Electrical.IDENTICAL:
            electrical = Electrical.EQUIVALENT
        return Comparison(
            verdict_of(findings, built_differently=bool(changes) or mirrored, undecided=undecided),
            tuple(in_order(findings)), self.pair.alignment, electrical, False, tuple(sorted(cells)),
            parts, self.pair.own_nets(nets), self.pair.own_plan_circuit, self.pair.built_circuit,
        )  # fmt: skip


def _serious(result: Comparison) -> int:
    """How many findings ask for something to be done."""
    return sum(f.severity < Severity.NOTE for f in result.findings)


def _told_alone(one: Comparison, other: Comparison) -> list[Finding]:
    """Findings that ask for something to be done and that the other comparison does not have."""
    there = {(f.rule, f.cells) for f in other.findings}
    return [f for f in one.findings if f.severity < Severity.NOTE and (f.rule, f.cells) not in there]


def _with_dangers(result: Comparison, others: Sequence[Finding]) -> Comparison:
    """The comparison with those dangers of another story that it does not tell of."""
    told = {f.cells[:1] for f in result.findings if f.severity is Severity.DANGER}
    lost = [f for f in others if f.severity is Severity.DANGER and f.cells[:1] not in told]
    if not lost:
        return result
    return replace(result, verdict=Verdict.DO_NOT_POWER, findings=tuple(in_order([*result.findings, *lost])))
