"""A build held against its plan: cell by cell, and as circuits; what differs, once, with what it does."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

from snapcheck.board import Board, Cell, Cube, Design
from snapcheck.check._align import unmoved
from snapcheck.check._changes import CellChange, Change
from snapcheck.check._comparison import Comparison, Electrical, Match
from snapcheck.check._evidence import Chances
from snapcheck.check._laid import MOST_CHANGES, Laid, lay
from snapcheck.check._mend import Mended, mended
from snapcheck.check._merge import absorb, alignment_note, gathered, mirror_fault, with_rules
from snapcheck.check._own_layout import own_layout_findings
from snapcheck.check._sentence import difference_words
from snapcheck.check._settings import ComparisonSettings
from snapcheck.check._states import Given, State, States
from snapcheck.check._tell import Teller
from snapcheck.check._unsure import Tried, open_questions, settled_note
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
    laid = lay(design, built, kit, unsure=unsure, chances=chances, settings=settings)
    given = Given(State(operating_point, positions or {}), State(plan_operating_point, plan_positions or {}))
    return tell(laid, given, book)


def tell(laid: Laid, states: States, book: RuleBook | None = None) -> Comparison:
    """What there is to tell of a plan laid on a build, once for all.

    Args:
        laid: see `lay`.
        states: gives the calculated states of plan and build, where they are asked for.
        book: rule book, None for the bundled one.
    """
    return _Telling(laid, states, book, laid.design.conditions.supply_V).result()


@dataclass
class _Telling:
    """The search for what to tell of a plan laid on a build."""

    laid: Laid
    states: States
    book: RuleBook | None
    supply_V: Mapping[Cell, float]
    #: where the plan is the build itself, mended: what rules object to in the plan that it stands for
    planned_rules: Sequence[_Objection] | None = None
    #: what rules object to in the build, by state and volts of supplies; and how it is said
    kept: dict[object, tuple[list[Finding], WordsLater]] = field(default_factory=dict)
    #: tries other cubes in the build
    tried: Tried = field(init=False)

    def __post_init__(self) -> None:
        self.tried = Tried(lambda: self.laid.built_circuit, self.book)

    def result(self) -> Comparison:
        """The whole comparison: cell by cell or circuit against circuit, whichever story is the shorter."""
        if self.laid.has_own_layout:
            return self._result_of_circuits()
        changes, by_cells = self.laid.changes, self._result_of_cells()
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
        plan, kit = self.laid.both.plan.cubes, self.laid.kit
        away = [c for c in changes if c.change not in _IN_PLACE]
        gone = {(plan[c].kind, plan[c].value) for x in away for c in x.cubes if c in plan}
        come = {(q.kind, q.value) for x in away for q in x.cubes.values() if q is not None}
        return any(not kit[kind].wire for kind, _ in gone & come)

    def _result_of_cells(self) -> Comparison:
        match = self.laid.by_cells
        state = self.states.built(self.laid, match)
        return self._comparison(self._findings(state), match)

    # -------------------------------------------------------- findings

    def _findings(self, state: State) -> list[Finding]:
        changes, (electrical, *_) = self.laid.changes, self.laid.circuits
        findings = alignment_note(self.laid.alignment)
        teller = Teller(
            self.laid.both,
            self.laid.kit,
            self.laid.settings,
            self.laid.built.columns,
            self.laid.built.rows,
            own_layout=self.planned_rules is not None,
        )
        harmless_all = electrical in (Electrical.IDENTICAL, Electrical.EQUIVALENT)
        fresh, standing = self._rule_findings(state)
        known = [*fresh, *standing]
        if harmless_all:  # the same circuit: whatever is wrong with it is wrong with the plan too
            fresh = [f for f in fresh if f.severity is Severity.DANGER]
        one_by_one = len(changes) <= MOST_CHANGES
        harmless: dict[CellChange, bool] = {}
        for change in changes:
            harmless[change] = harmless_all or (one_by_one and self.laid.is_harmless(change, len(changes)))
        together = self.laid.harmless_together(changes, harmless_all)
        for change in together:
            harmless[change] = True
        joint = [] if harmless_all or not one_by_one else self.laid.harmful_together(harmless)
        for cluster in joint:
            harmless.update(dict.fromkeys(cluster, False))
        serious = [c for c in changes if not harmless[c]]
        for change in sorted(changes, key=lambda c: harmless[c]):  # causes before what they do not cause
            cause = next((cluster for cluster in joint if change in cluster), [change])
            effect = "" if harmless[change] or not one_by_one else self._effect(change, cause)
            finding = teller.finding(change, harmless[change], effect)
            finding = self._with_simulation(change, finding, state)
            if one_by_one and not harmless[change] and len(serious) > 1:
                finding = self._with_hidden_danger(cause, finding, known)
            if one_by_one:
                alone = len(changes) == 1 or set(serious) == set(cause)
                finding, fresh = self._with_rules(cause, finding, fresh, alone=alone)
            findings.append(finding)
        if self.laid.exchanged:
            findings[0], fresh = mirror_fault(findings[0], self.laid.exchanged, fresh), []
        findings = gathered(findings, int(self.laid.settings.many_missing))
        return findings + standing + fresh

    def _effect(self, change: CellChange, cause: list[CellChange]) -> str:
        """What this change joins and separates; of several that do it together, the first one tells it."""
        if not self.laid.plain or change is not min(cause, key=lambda c: c.cells[:1]):
            return ""
        if change.change in (Change.WRONG_VALUE, Change.REVERSED):
            return ""
        circuit = self.laid.with_only(cause)
        touched = {c for c in change.cubes if self.laid.part_here(c)}
        pairs = {
            p.cell: p.cell for p in self.laid.plan_circuit.parts
            if p.cell in circuit.part_at and p.cell not in touched
        }  # fmt: skip
        if change.change is Change.TURNED:
            pairs.update({c: c for c in touched})
        sentences = [
            difference_words(d, self.laid.plan_circuit)
            for d in differences(self.laid.plan_circuit, circuit, pairs).differences
        ]
        return " ".join(s for s in sentences[:3] if s)

    def _with_simulation(self, change: CellChange, finding: Finding, state: State) -> Finding:
        """A reversed electrolytic that the simulated state finds the right way round is no danger."""
        if change.change is not Change.REVERSED or state.point is None:
            return finding
        cell = self.laid.both.built_cell(change.cells[0])
        part = self.laid.built_circuit.part_at.get(cell)
        if part is None or part.device.store is not Store.CHARGE:
            return finding
        volts = state.point.net_voltages_V
        plus, minus = volts.get(part.nets["plus"]), volts.get(part.nets["minus"])
        # at rest, a flip-flop has a little over its capacitors that turns round as soon as it runs
        if plus is None or minus is None or plus - minus <= part.ratings.get("max_reverse_V", 1.0):
            return finding
        return replace(finding, severity=Severity.DEVIATION, data={**finding.data, "voltage_V": plus - minus})

    # -------------------------------------------------------- rules

    def _built_rules(self, supply_V: dict[Cell, float], state: State) -> tuple[list[Finding], WordsLater]:
        """What the rules object to in the build, supplies (cells of the build) set to these voltages."""
        key = id(state), frozenset(supply_V.items())
        if key not in self.kept:
            later = WordsLater()
            found = check_rules(
                self.laid.built_circuit,
                state.point,
                positions=state.positions,
                book=self.book,
                supply_V=supply_V,
                only=self._telling,
                wordless=later,
            )
            self.kept[key] = found, later
        return self.kept[key]

    def _plan_rules(self, plan: Circuit, only: Collection[str]) -> list[Finding]:
        """What these rules object to in the plan."""
        state = self.states.plan(self.laid)
        return check_rules(
            plan,
            state.point,
            positions=state.positions,
            book=self.book,
            supply_V=self.supply_V,
            only=only,
            wordless=True,
        )

    def _rule_findings(self, state: State) -> tuple[list[Finding], list[Finding]]:
        """What the rules object to in the build: what the plan has not, and danger that the plan has too."""
        to_built = self.laid.plan.anchors_after(self.laid.alignment.to_built)
        supply = {to_built(c): v for c, v in self.supply_V.items()}
        found, later = self._built_rules(supply, state)
        here = [f for f in found if f.severity is not Severity.NOTE]
        if not here:
            return [], []
        there = self.planned_rules
        if there is None:
            planned = self._plan_rules(self.laid.own_plan_circuit, {f.rule for f in here})
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
    def _laid_supply(self) -> dict[Cell, float]:
        to_built = self.laid.plan.anchors_after(self.laid.alignment.to_built)
        return {self.laid.both.of_built(to_built(c)): v for c, v in self.supply_V.items()}

    @cached_property
    def _dangerous(self) -> frozenset[str]:
        """Rules that may find a danger."""
        always = {n for n in RULES if self._rules_book[n].severity is Severity.DANGER}
        return frozenset(always | {"over-rating", "output-shorted", "input-beyond-supply"})

    def _with_hidden_danger(
        self, cause: list[CellChange], finding: Finding, known: Sequence[Finding]
    ) -> Finding:
        """The finding with the danger that is left of it when everything else is mended before it.

        A diode without its resistor does no harm while a ground is missing; with the ground it burns.
        """
        if finding.severity is Severity.DANGER or cause[0].change in _TAKEN_AWAY:
            return finding
        laid, place = self.laid, self.laid.both.built_cell
        told = {(f.rule, f.cells[:1]) for f in known}
        left = check_rules(
            laid.with_only(cause), book=self.book, supply_V=self._laid_supply, only=self._dangerous
        )
        hidden = [
            f for f in left
            if f.severity is Severity.DANGER and (f.rule, tuple(map(place, f.cells[:1]))) not in told
        ]  # fmt: skip
        if hidden:
            planned = check_rules(
                laid.plan_circuit, book=self.book, supply_V=self._laid_supply, only={f.rule for f in hidden}
            )
            standing = {(f.rule, f.cells[:1]) for f in planned}
            hidden = [f for f in hidden if (f.rule, f.cells[:1]) not in standing]
        if not hidden:
            return finding
        told_then = tr("Once everything else is mended, this is a danger.")
        if laid.plain:
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
            self.laid.with_only(cause),
            book=self.book,
            supply_V=self._laid_supply,
            only={f.rule for f in fresh},
            wordless=True,
        )
        caused = {(f.rule, self.laid.both.built_cell(f.cells[0]) if f.cells else None) for f in single}
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
        laid, plan = self.laid, self.laid.own_plan_circuit
        probed = (plan.net_of(p.cell, p.terminal) for p in (laid.design.input, laid.design.output) if p)
        keep = [n for n in probed if n is not None]
        steps = int(laid.settings.step_limit)
        answer = equivalence(plan, laid.built_circuit, keep=keep, step_limit=steps)
        if answer.sameness is Sameness.DIFFERENT:
            as_it_should = mended(plan, laid.built_circuit, keep, steps)
            if as_it_should is not None:
                return self._result_of_mend(plan, as_it_should)
        findings, electrical, parts, nets = own_layout_findings(plan, laid.built_circuit, answer)
        match = laid.by_circuits(Electrical(electrical), parts, nets)
        planned = self._plan_rules(plan, self._telling)
        supply = {parts[c]: v for c, v in self.supply_V.items() if c in parts}
        built, later = self._built_rules(supply, self.states.built(laid, match))
        findings = with_rules(findings, [*map(later.worded, built)], {f.rule for f in planned})
        findings += open_questions(laid.seen, self.tried, laid.still_unsure, planned=None)
        return self._of_own_layout(findings, match)

    def _result_of_mend(self, plan: Circuit, to_be: Mended) -> Comparison:
        """The build held, cell by cell, against itself with the one thing mended that makes it the plan."""
        laid, parts = self.laid, to_be.same.cells
        planned = [
            (f.rule, {parts[c] for c in f.cells if c in parts}, f.severity)
            for f in self._plan_rules(plan, self._telling)
        ]
        there = laid.built_circuit.part_at
        stand = {a: b for a, b in parts.items() if b in there}
        state = self.states.built(laid, laid.by_circuits(Electrical.DIFFERENT, stand, {}))
        here = Laid(
            Design(to_be.board), laid.built, laid.kit, laid.still_unsure, laid.settings,
            known=unmoved(to_be.board), plan_made=to_be.circuit,
            builds_made={laid.built: laid.built_circuit},
        )  # fmt: skip
        supply = {parts[c]: v for c, v in self.supply_V.items() if c in parts}
        telling = _Telling(here, Given(state), self.book, supply, planned, self.kept)
        telling.tried = self.tried  # it is the same build
        told = telling.result()
        back = {a: told.nets[b] for a, b in to_be.same.nets.items() if b in told.nets}
        match = laid.by_circuits(Electrical.DIFFERENT, stand, back)
        return self._of_own_layout(list(told.findings), match)

    def _of_own_layout(self, findings: list[Finding], match: Match) -> Comparison:
        laid = self.laid
        findings = findings + settled_note(laid.settled, laid.planned_cubes, laid.kit)
        undecided = match.electrical is Electrical.GAVE_UP
        verdict = verdict_of(findings, built_differently=True, undecided=undecided)
        return self._told(match, findings, verdict, tuple(laid.seen.cubes))

    def _comparison(self, findings: list[Finding], match: Match) -> Comparison:
        laid, place = self.laid, self.laid.both.built_cell
        plan, changes = laid.both.plan, laid.changes
        planned = None
        if self.planned_rules is None:
            planned = {place(c): q for c in plan.occupied if (q := plan.cube_at(c))}
        findings = findings + open_questions(laid.seen, self.tried, laid.still_unsure, planned=planned)
        findings += settled_note(laid.settled, laid.planned_cubes, laid.kit)
        cells = dict.fromkeys(place(c) for change in changes for c in change.cells)
        worst = min((f.severity for f in findings), default=Severity.NOTE)
        undecided = laid.circuits[0] is Electrical.GAVE_UP and worst >= Severity.NOTE
        different = bool(changes) or laid.alignment.mirrored
        verdict = verdict_of(findings, built_differently=different, undecided=undecided)
        return self._told(match, findings, verdict, tuple(sorted(cells)))

    def _told(
        self, match: Match, findings: list[Finding], verdict: Verdict, changed: tuple[Cell, ...]
    ) -> Comparison:
        return Comparison(
            **{f.name: getattr(match, f.name) for f in fields(match)},
            verdict=verdict, findings=tuple(in_order(findings)), changed_cells=changed,
            placed=self.laid.place(match),
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
