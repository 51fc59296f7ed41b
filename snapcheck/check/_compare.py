"""A build held against its plan: cell by cell, and as circuits; what differs, once, with what it does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from snapcheck.board import Board, Cell, Cube, Design, Probe
from snapcheck.check._align import Alignment, Frame, align, is_handed, lay_together
from snapcheck.check._changes import CellChange, Change, apply, find_changes
from snapcheck.check._comparison import Comparison, Electrical
from snapcheck.check._merge import absorb, alignment_note, clusters, gathered, mirror_fault, with_rules
from snapcheck.check._own_layout import own_layout_findings
from snapcheck.check._sentence import difference_words
from snapcheck.check._settings import ComparisonSettings, bundled_settings
from snapcheck.check._tell import Teller
from snapcheck.check._unsure import open_questions, settle
from snapcheck.check._verdict import verdict_of
from snapcheck.circuit import (
    RULES,
    Circuit,
    Equivalence,
    OperatingPointLike,
    Part,
    RuleBook,
    Sameness,
    build_circuit,
    bundled_rules,
    check_rules,
    differences,
    equivalence,
    normal_form,
    require_kinds,
    same_circuit_in_place,
)
from snapcheck.findings import Finding, Severity, in_order
from snapcheck.kit import Kit

#: changes whose own effect is worked out one by one; with more, the build is beyond single causes
_MOST_CHANGES = 24


def compare(
    design: Design | Board,
    built: Board,
    kit: Kit,
    *,
    unsure: Mapping[Cell, Sequence[Cube | None]] | None = None,
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
    return _Comparing(
        plan, built, kit, dict(unsure or {}), operating_point, plan_operating_point, book, settings,
        dict(supply_V), tuple(p for p in probes if p is not None), positions or {}, plan_positions or {},
    ).result()  # fmt: skip


@dataclass
class _Comparing:
    plan: Board
    seen: Board
    kit: Kit
    unsure: dict[Cell, Sequence[Cube | None]]
    operating_point: OperatingPointLike | None
    plan_operating_point: OperatingPointLike | None
    book: RuleBook | None
    settings: ComparisonSettings
    supply_V: dict[Cell, float]
    probes: tuple[Probe, ...] = ()
    positions: Mapping[str, OperatingPointLike] = field(default_factory=dict)
    plan_positions: Mapping[str, OperatingPointLike] = field(default_factory=dict)
    _tried: dict[frozenset[int], Circuit] = field(default_factory=dict)

    def result(self) -> Comparison:
        """The whole comparison."""
        for board in (self.plan, self.seen):
            require_kinds(board, self.kit)
        if self._own_layout:
            return self._result_of_circuits()
        changes = find_changes(self.frame.plan, self.frame.built, self.kit)
        electrical, parts, nets = self._circuits(changes)
        findings = self._findings(changes, electrical)
        return self._comparison(findings, electrical, changes, parts, nets)

    # -------------------------------------------------------- the two boards

    @cached_property
    def alignment(self) -> Alignment:
        """How the plan lies on the build, the unsure cells as they were read."""
        return align(self.plan, self.seen, self.kit)

    @cached_property
    def built(self) -> Board:
        """The build, with unsure cells taken as planned where that is possible."""
        if not self.unsure or self._own_layout:  # a layout of its own: the plan's cells say nothing about it
            return self.seen
        place, stand = self.alignment.to_built, self.alignment.cube_on_built
        planned = {place(c): stand(q, self.kit) for c, q in self.plan.cubes.items()}
        return settle(self.seen, self.unsure, planned, self.kit)

    @cached_property
    def frame(self) -> Frame:
        """Plan and build, cell upon cell."""
        return lay_together(self.plan, self.built, self.alignment, self.kit)

    @cached_property
    def _own_layout(self) -> bool:
        share = self.alignment.score * max(len(self.plan.cubes), len(self.seen.cubes))
        least = min(len(self.plan.cubes), len(self.seen.cubes))
        return least > 3 and share < self.settings.own_layout_below * least

    # -------------------------------------------------------- the two circuits

    @cached_property
    def plan_circuit(self) -> Circuit:
        """The plan's circuit, in cells of the frame."""
        return build_circuit(self.frame.plan, self.kit)

    @cached_property
    def framed_circuit(self) -> Circuit:
        """The build's circuit, in cells of the frame."""
        return self.built_circuit if self._plain else build_circuit(self.frame.built, self.kit)

    @cached_property
    def built_circuit(self) -> Circuit:
        """The build's circuit, in its own cells."""
        return build_circuit(self.built, self.kit)

    @property
    def _plain(self) -> bool:
        """True when cells of the frame are called as on the build."""
        return (self.frame.columns, self.frame.rows) == (0, 0)

    def _circuits(
        self, changes: list[CellChange]
    ) -> tuple[Electrical, Mapping[Cell, Cell], Mapping[int, int]]:
        """The answer, parts (plan's cell to build's cell) and nets that correspond."""
        in_place = same_circuit_in_place(self.plan_circuit, self.framed_circuit)
        if in_place is not None:
            same = {p.cell: p.cell for p in self.plan_circuit.parts}
            answer = Electrical.EQUIVALENT if changes else Electrical.IDENTICAL
            return answer, self._own(same), in_place
        found = self._equivalent(self.framed_circuit)
        if found and not any(self._touches_idle(c) for c in changes):
            return Electrical.EQUIVALENT, self._own(found.parts), found.nets
        pairs = {
            p.cell: p.cell
            for p in self.plan_circuit.parts
            if p.cell in self.framed_circuit.part_at
            and self.framed_circuit.part_at[p.cell].kind.name == p.kind.name
        }
        fit = differences(self.plan_circuit, self.framed_circuit, pairs)
        gave_up = found.sameness is Sameness.GAVE_UP
        return Electrical.GAVE_UP if gave_up else Electrical.DIFFERENT, self._own(pairs), fit.nets

    def _equivalent(self, other: Circuit) -> Equivalence:
        """The plan's circuit and another one, wherever parts stand."""
        return equivalence(
            self.plan_circuit, other, keep=self._probed, step_limit=int(self.settings.step_limit)
        )

    def _touches_idle(self, change: CellChange) -> bool:
        return any(c in self._idle for c in change.cells)

    def _part_here(self, cell: Cell) -> bool:
        return cell in self.plan_circuit.part_at or cell in self.framed_circuit.part_at

    def _own(self, pairs: Mapping[Cell, Cell]) -> dict[Cell, Cell]:
        return {self.frame.plan_cell(a): self.frame.built_cell(b) for a, b in pairs.items()}

    # -------------------------------------------------------- findings

    def _findings(self, changes: list[CellChange], electrical: Electrical) -> list[Finding]:
        findings = alignment_note(self.alignment)
        teller = Teller(self.frame, self.kit, self.settings, self.built.columns, self.built.rows)
        harmless_all = electrical in (Electrical.IDENTICAL, Electrical.EQUIVALENT)
        fresh, standing = self._rule_findings()
        if harmless_all:  # the same circuit: whatever is wrong with it is wrong with the plan too
            fresh = [f for f in fresh if f.severity is Severity.DANGER]
        one_by_one = len(changes) <= _MOST_CHANGES
        harmless: dict[CellChange, bool] = {}
        for change in changes:
            harmless[change] = harmless_all or (one_by_one and self._is_harmless(change, len(changes)))
        together = self._harmless_together([c for c in changes if not harmless[c]], harmless_all)
        for change in together:
            harmless[change] = True
        joint = [] if harmless_all or not one_by_one else self._harmful_together(harmless)
        for cluster in joint:
            harmless.update(dict.fromkeys(cluster, False))
        serious = [c for c in changes if not harmless[c]]
        for change in sorted(changes, key=lambda c: harmless[c]):  # causes before what they do not cause
            cause = next((cluster for cluster in joint if change in cluster), [change])
            effect = "" if harmless[change] or not one_by_one else self._effect(change, cause)
            finding = teller.finding(change, harmless[change], effect)
            finding = self._with_simulation(change, finding)
            if one_by_one:
                alone = len(changes) == 1 or set(serious) == set(cause)
                finding, fresh = self._with_rules(cause, finding, fresh, alone=alone)
            findings.append(finding)
        if self._exchanged:
            findings[0], fresh = mirror_fault(findings[0], self._exchanged, fresh), []
        findings = gathered(findings, int(self.settings.many_missing))
        return findings + standing + fresh

    @cached_property
    def _exchanged(self) -> tuple[Part, ...]:
        """Parts of a mirrored build that a mirror connects wrongly; none where it is the same circuit."""
        if not self.alignment.mirrored or self._equivalent_to_own():
            return ()
        there = self.framed_circuit.part_at
        return tuple(there.get(p.cell, p) for p in self.plan_circuit.parts if is_handed(p.kind))

    def _equivalent_to_own(self) -> bool:
        return bool(equivalence(self._own_plan_circuit, self.plan_circuit))

    def _with_only(self, changes: list[CellChange]) -> Circuit:
        """The plan's circuit with these changes; kept, because several questions are put to it."""
        key = frozenset(map(id, changes))
        if key not in self._tried:
            self._tried[key] = build_circuit(apply(self.frame.plan, changes), self.kit)
        return self._tried[key]

    @cached_property
    def _idle(self) -> frozenset[Cell]:
        """Parts of the plan that no current reaches; for these, only the same part counts as the same."""
        live = {p.cell for e in normal_form(self.plan_circuit, self._probed).elements for p in e.members}
        return frozenset(p.cell for p in self.plan_circuit.parts if p.cell not in live)

    @cached_property
    def _probed(self) -> tuple[int, ...]:
        """Nets of the plan's circuit where its input and output are measured."""
        nets = []
        for probe in self.probes:
            cell = self.frame.of_built(self.alignment.to_built(probe.cell))
            net = self.plan_circuit.net_of(cell, probe.terminal)
            if net is not None:
                nets.append(net)
        return tuple(dict.fromkeys(nets))

    def _same_with(self, changes: list[CellChange]) -> bool:
        """True when the plan with these changes is the same circuit in the same cells."""
        return same_circuit_in_place(self.plan_circuit, self._with_only(changes)) is not None

    def _is_harmless(self, change: CellChange, total: int) -> bool:
        """True when the plan with this one change is the same circuit."""
        if total == 1:
            return False  # then the circuits as a whole have been compared
        if change.change in (Change.WRONG_VALUE, Change.REVERSED):
            return False
        if self._same_with([change]):
            return True
        if change.change not in (Change.SWAPPED, Change.MOVED) or self._touches_idle(change):
            return False
        return bool(self._equivalent(self._with_only([change])))

    def _harmless_together(self, changes: list[CellChange], done: bool) -> list[CellChange]:
        """Changes of wires that undo each other: another way for the same connection."""
        wires = [c for c in changes if not any(self._part_here(x) for x in c.cells) or not c.cubes]
        if done or len(wires) < 2 or len(wires) > _MOST_CHANGES:
            return []
        together: list[CellChange] = []
        for cluster in clusters(wires):
            if (
                len(cluster) > 1
                and same_circuit_in_place(self.plan_circuit, self._with_only(cluster)) is not None
            ):
                together += cluster
        return together

    def _harmful_together(self, harmless: Mapping[CellChange, bool]) -> list[list[CellChange]]:
        """Changes that are harmless one by one and yet make another circuit together."""
        seeming = [c for c, mild in harmless.items() if mild]
        if len(seeming) < 2 or self._same_with(seeming):
            return []
        return [c for c in clusters(seeming) if len(c) > 1 and not self._same_with(c)]

    def _effect(self, change: CellChange, cause: list[CellChange]) -> str:
        """What this change joins and separates; of several that do it together, the first one tells it."""
        if not self._plain or change is not min(cause, key=lambda c: c.cells[:1]):
            return ""
        circuit = self._with_only(cause)
        if change.change in (Change.WRONG_VALUE, Change.REVERSED):
            return ""
        touched = {c for c in change.cubes if self._part_here(c)}
        pairs = {
            p.cell: p.cell for p in self.plan_circuit.parts
            if p.cell in circuit.part_at and p.cell not in touched
        }  # fmt: skip
        if change.change is Change.TURNED:
            pairs.update({c: c for c in touched})
        sentences = [
            difference_words(d, self.plan_circuit)
            for d in differences(self.plan_circuit, circuit, pairs).differences
        ]
        return " ".join(s for s in sentences[:3] if s)

    def _with_simulation(self, change: CellChange, finding: Finding) -> Finding:
        """A reversed electrolytic that the simulated state finds the right way round is no danger."""
        if change.change is not Change.REVERSED or self.operating_point is None:
            return finding
        cell = self.frame.built_cell(change.cells[0])
        part = self.built_circuit.part_at.get(cell)
        if part is None or part.kind.model != "capacitor":
            return finding
        volts = self.operating_point.net_voltages_V
        plus, minus = volts.get(part.nets["plus"]), volts.get(part.nets["minus"])
        # at rest, a flip-flop has a little over its capacitors that turns round as soon as it runs
        if plus is None or minus is None or plus - minus <= part.ratings.get("max_reverse_V", 1.0):
            return finding
        return replace(finding, severity=Severity.DEVIATION, data={**finding.data, "voltage_V": plus - minus})

    # -------------------------------------------------------- rules

    def _rule_findings(self) -> tuple[list[Finding], list[Finding]]:
        """What the rules object to in the build: what the plan has not, and danger that the plan has too."""
        supply = {self.alignment.to_built(c): v for c, v in self.supply_V.items()}
        here = check_rules(
            self.built_circuit,
            self.operating_point,
            positions=self.positions,
            book=self.book,
            supply_V=supply,
            only=self._telling,
        )
        here = [f for f in here if f.severity is not Severity.NOTE]
        if not here:
            return [], []
        planned = check_rules(
            self._own_plan_circuit,
            self.plan_operating_point,
            positions=self.plan_positions,
            book=self.book,
            supply_V=self.supply_V,
            only={f.rule for f in here},
            wordless=True,
        )
        there = [(f.rule, set(map(self.alignment.to_built, f.cells)), f.severity) for f in planned]
        fresh, standing = [], []
        for f in here:
            cells = set(f.cells)
            exact = f.severity is Severity.DANGER
            if not any(
                rule == f.rule
                and (places == cells and severity <= f.severity if exact else places & cells or not cells)
                for rule, places, severity in there
            ):
                fresh.append(f)
            elif exact:
                standing.append(f)
        return fresh, standing

    @cached_property
    def _telling(self) -> frozenset[str]:
        """Rules whose findings count in a comparison: those that can say more than a note."""
        book = bundled_rules() if self.book is None else self.book
        return frozenset(name for name in RULES if book[name].severity is not Severity.NOTE)

    @cached_property
    def _framed_supply(self) -> dict[Cell, float]:
        return {self.frame.of_built(self.alignment.to_built(c)): v for c, v in self.supply_V.items()}

    def _with_rules(
        self, cause: list[CellChange], finding: Finding, fresh: list[Finding], *, alone: bool
    ) -> tuple[Finding, list[Finding]]:
        """Take in those rule findings that the change behind this finding brings about, or helps to."""
        if not fresh or alone:
            return (absorb(finding, fresh) if fresh else finding), []
        single = check_rules(
            self._with_only(cause),
            book=self.book,
            supply_V=self._framed_supply,
            only={f.rule for f in fresh},
            wordless=True,
        )
        caused = {(f.rule, self.frame.built_cell(f.cells[0]) if f.cells else None) for f in single}
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
        """A build in a layout of its own: only the circuits are compared."""
        plan = build_circuit(self.plan, self.kit)
        self.__dict__["alignment"] = Alignment(
            0, 0, 0, self.alignment.score, self.plan.columns, self.plan.rows
        )
        probed = (plan.net_of(p.cell, p.terminal) for p in self.probes)
        findings, electrical, parts, nets = own_layout_findings(
            plan, self.built_circuit, int(self.settings.step_limit), [n for n in probed if n is not None]
        )
        planned = check_rules(
            plan,
            self.plan_operating_point,
            positions=self.plan_positions,
            book=self.book,
            supply_V=self.supply_V,
        )
        supply = {parts[c]: v for c, v in self.supply_V.items() if c in parts}
        rules = check_rules(
            self.built_circuit,
            self.operating_point,
            positions=self.positions,
            book=self.book,
            supply_V=supply,
        )
        findings = with_rules(findings, rules, {f.rule for f in planned})
        findings += open_questions(self.seen, self.built, self.unsure, self.kit, self.book, planned=None)
        undecided = electrical == Electrical.GAVE_UP.value
        return Comparison(
            verdict_of(findings, built_differently=True, undecided=undecided),
            tuple(in_order(findings)), replace(self.alignment, turn=0, columns=0, rows=0),
            Electrical(electrical), True, tuple(self.seen.cubes), parts, nets, plan, self.built_circuit,
        )  # fmt: skip

    def _comparison(
        self,
        findings: list[Finding],
        electrical: Electrical,
        changes: list[CellChange],
        parts: Mapping[Cell, Cell],
        nets: Mapping[int, int],
    ) -> Comparison:
        planned = {self.frame.built_cell(c): q for c, q in self.frame.plan.cubes.items()}
        findings = findings + open_questions(
            self.seen, self.built, self.unsure, self.kit, self.book, planned=planned
        )
        cells = dict.fromkeys(self.frame.built_cell(c) for change in changes for c in change.cells)
        worst = min((f.severity for f in findings), default=Severity.NOTE)
        undecided = electrical is Electrical.GAVE_UP and worst >= Severity.NOTE
        mirrored = self.alignment.mirrored
        if self._exchanged:
            electrical = Electrical.DIFFERENT
        elif mirrored and electrical is Electrical.IDENTICAL:
            electrical = Electrical.EQUIVALENT
        return Comparison(
            verdict_of(findings, built_differently=bool(changes) or mirrored, undecided=undecided),
            tuple(in_order(findings)), self.alignment, electrical, False, tuple(sorted(cells)),
            parts, self._own_nets(nets), self._own_plan_circuit, self.built_circuit,
        )  # fmt: skip

    def _own_nets(self, nets: Mapping[int, int]) -> dict[int, int]:
        """Nets of the plan as it is, and of the build as it is, to nets as they are in the frame."""
        if self._own_plan_circuit is self.plan_circuit and self._plain:
            return dict(nets)
        found: dict[int, int] = {}
        for net, other in nets.items():
            here = self.plan_circuit.nets[net].terminals
            there = self.framed_circuit.nets[other].terminals if other >= 0 else ()
            if here and there:
                own = self._own_plan_circuit.net_of(self.frame.plan_cell(here[0].cell), here[0].name)
                built = self.built_circuit.net_of(self.frame.built_cell(there[0].cell), there[0].name)
                if own is not None and built is not None:
                    found[own] = built
        return found

    @cached_property
    def _own_plan_circuit(self) -> Circuit:
        if self.alignment.moved or not self._plain:
            return build_circuit(self.plan, self.kit)
        return self.plan_circuit
