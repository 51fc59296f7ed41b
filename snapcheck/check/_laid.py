"""The plan laid into the build's cells, once: both boards on one plate, their circuits, which changes matter.

Everything after it asks this one object, so that each circuit is made once and each question answered once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from snapcheck.board import Board, Cell, Conditions, Cube, Design, design_after
from snapcheck.check._align import Alignment, Both, align, is_handed, lay_together, unmoved
from snapcheck.check._changes import CellChange, Change, apply, find_changes
from snapcheck.check._comparison import Electrical, Match
from snapcheck.check._evidence import Chances, settled_cells
from snapcheck.check._follow import follow
from snapcheck.check._merge import clusters
from snapcheck.check._settings import ComparisonSettings, bundled_settings
from snapcheck.check._unsure import Tried, as_planned, settle
from snapcheck.circuit import (
    Circuit,
    Equivalence,
    Part,
    Sameness,
    build_circuit,
    differences,
    equivalence,
    normal_form,
    require_kinds,
    same_circuit_in_place,
)
from snapcheck.kit import Kit

#: changes whose own effect is worked out one by one; with more, the build is beyond single causes
MOST_CHANGES = 24


def lay(
    design: Design | Board,
    built: Board,
    kit: Kit,
    *,
    unsure: Mapping[Cell, Sequence[Cube | None]] | None = None,
    chances: Mapping[Cell, Chances] | None = None,
    settings: ComparisonSettings | None = None,
    plan_circuit: Circuit | None = None,
) -> Laid:
    """The plan laid into the build's cells: a shift, turn or mirroring of the whole is found and undone.

    Args:
        design, built, kit, unsure, chances, settings: see `compare`.
        plan_circuit: the plan's circuit, where it has been made already.

    Raises:
        InputError: a kind is not in the kit.
    """
    if isinstance(design, Board):
        design = Design(design)
    require_kinds(design.board, kit)
    require_kinds(built, kit)
    limits = bundled_settings() if settings is None else settings
    return Laid(design, built, kit, dict(unsure or {}), limits, dict(chances or {}), plan_made=plan_circuit)


@dataclass
class Laid:
    """A plan laid on a build; what is worked out of them is kept, because several questions are put to it.

    Attributes:
        design: the plan, with the places where its input and output are measured.
        seen: the build as it was read.
        kit: the cubes.
        unsure: cell of the build to what else may stand there, see `compare`.
        settings: limits of the comparison.
        chances: of the unsure cells, where the plan may settle them, see `settled`.
        known: how the plan lies on the build, where that is known; else it is looked for.
        plan_made: the plan's circuit, where it has been made.
        builds_made: circuits of boards that may be the build, made so far.
    """

    design: Design
    seen: Board
    kit: Kit
    unsure: dict[Cell, Sequence[Cube | None]]
    settings: ComparisonSettings
    chances: Mapping[Cell, Chances] = field(default_factory=dict)
    known: Alignment | None = None
    plan_made: Circuit | None = None
    builds_made: dict[Board, Circuit] = field(default_factory=dict, repr=False)
    _tried: dict[frozenset[int], Circuit] = field(default_factory=dict, repr=False)

    @property
    def plan(self) -> Board:
        """The plan's board, in its own cells."""
        return self.design.board

    # -------------------------------------------------------- where the plan lies

    @cached_property
    def alignment(self) -> Alignment:
        """How the plan lies on the build, the unsure cells as they were read."""
        return self.known or align(self.plan, self.seen, self.kit)

    @cached_property
    def has_own_layout(self) -> bool:
        """True when too few cubes stand as planned, however the plan is turned: only circuits compare."""
        share = self.alignment.score * max(len(self.plan.cubes), len(self.seen.cubes))
        least = min(len(self.plan.cubes), len(self.seen.cubes))
        return least > 3 and share < self.settings.own_layout_below * least

    @cached_property
    def planned_cubes(self) -> dict[Cell, Cube]:
        """The plan's cubes, in cells of the build."""
        place, stand = self.plan.anchors_after(self.alignment.to_built), self.alignment.cube_on_built
        return {place(c): stand(q, self.kit) for c, q in self.plan.cubes.items()}

    @cached_property
    def both(self) -> Both:
        """Plan and build, cell upon cell."""
        return lay_together(self.plan, self.built, self.alignment, self.kit)

    @cached_property
    def placed(self) -> Design | None:
        """The design in the cells of the build; None where it has no place there: it reaches beyond the
        plate, or is another circuit in the mirror."""
        a = self.alignment
        if not a.moved:
            return self.design
        if not self._on_plate or (a.mirrored and not self._same_as_own):
            return None
        return design_after(self.design, self.both.plan, self.plan.anchors_after(a.to_built))

    @property
    def placed_circuit(self) -> Circuit:
        """The circuit of the design as `placed`."""
        return self.plan_circuit if self.alignment.moved else self.own_plan_circuit

    @property
    def _on_plate(self) -> bool:
        return self.plain and (self.both.plan.columns, self.both.plan.rows) == (
            self.built.columns,
            self.built.rows,
        )

    # -------------------------------------------------------- what is taken to stand there

    @cached_property
    def built(self) -> Board:
        """The build, with unsure cells taken as planned where that is possible.

        Of a layout of its own the plan's cells say nothing.
        """
        if not self.unsure or self.has_own_layout:
            return self.seen
        board = as_planned(self._as_allowed, self.settled, self.planned_cubes)
        as_read = as_planned(self.seen, self.settled, self.planned_cubes)
        if board != as_read and not self._is_plan(board) and self._is_plan(as_read):
            return as_read  # the unsure cube has harmlessly changed places with one that is sure
        return board

    @cached_property
    def _as_allowed(self) -> Board:
        """The build with every unsure cell as planned that may be so."""
        return settle(self.seen, self.unsure, self.planned_cubes, self.kit)

    def _is_plan(self, board: Board) -> bool:
        """True when a board in cells of the build is the plan's circuit."""
        return bool(equivalence(self.own_plan_circuit, self._built_as(board)))

    @cached_property
    def settled(self) -> dict[Cell, float]:
        """Unsure cells that hold what is planned, by picture and plan together, with how certain that is."""
        if not self.chances or self.has_own_layout:
            return {}
        tried = Tried(lambda: self._built_as(self._as_allowed))
        return settled_cells(self.chances, self.planned_cubes, tried, self.kit, self.settings)

    @cached_property
    def still_unsure(self) -> dict[Cell, Sequence[Cube | None]]:
        """Unsure cells that the plan does not settle."""
        return {cell: others for cell, others in self.unsure.items() if cell not in self.settled}

    # -------------------------------------------------------- circuits

    @cached_property
    def own_plan_circuit(self) -> Circuit:
        """The plan's circuit, in its own cells."""
        return self.plan_made or build_circuit(self.plan, self.kit)

    @cached_property
    def plan_circuit(self) -> Circuit:
        """The plan's circuit, in cells of both."""
        board = self.both.plan
        return self.own_plan_circuit if board is self.plan else build_circuit(board, self.kit)

    def _built_as(self, board: Board) -> Circuit:
        """The circuit of a board that may be the build, made once."""
        if board not in self.builds_made:
            self.builds_made[board] = build_circuit(board, self.kit)
        return self.builds_made[board]

    @cached_property
    def built_circuit(self) -> Circuit:
        """The build's circuit, in its own cells."""
        return self._built_as(self.built)

    @cached_property
    def framed_circuit(self) -> Circuit:
        """The build's circuit, in cells of both."""
        return self.built_circuit if self.plain else build_circuit(self.both.built, self.kit)

    @cached_property
    def changes(self) -> list[CellChange]:
        """What differs, in cells of both."""
        return find_changes(self.both.plan, self.both.built, self.kit)

    # -------------------------------------------------------- what corresponds

    @cached_property
    def by_cells(self) -> Match:
        """What corresponds, cell by cell."""
        electrical, parts, nets = self.circuits
        if self.exchanged:
            electrical = Electrical.DIFFERENT
        elif self.alignment.mirrored and electrical is Electrical.IDENTICAL:
            electrical = Electrical.EQUIVALENT
        return Match(self.alignment, electrical, False, parts, self._own_nets(nets), self.own_plan_circuit,
                     self.built_circuit)  # fmt: skip

    def by_circuits(
        self, electrical: Electrical, parts: Mapping[Cell, Cell], nets: Mapping[int, int]
    ) -> Match:
        """What corresponds where the build is laid out in its own way."""
        lies = unmoved(self.plan, self.alignment.score)
        return Match(lies, electrical, True, parts, nets, self.own_plan_circuit, self.built_circuit)

    def place(self, match: Match) -> Design | None:
        """The design in the cells of the build, see `placed`; where only parts correspond, its board is the
        build's own, with conditions and expectations as far as they have a place there."""
        return follow(self.design, match).design if match.own_layout else self.placed

    def conditions(self, match: Match) -> Conditions:
        """The design's conditions for those parts that are there."""
        there = follow(self.design, match).design if match.parts_moved else self.placed
        if there is None:
            return Conditions()
        given, here = there.conditions, match.built_circuit.part_at
        return replace(
            given,
            supply_V={c: v for c, v in given.supply_V.items() if c in here},
            switches={c: v for c, v in given.switches.items() if c in here},
            pots={c: v for c, v in given.pots.items() if c in here},
        )

    @property
    def plain(self) -> bool:
        """True when cells of both are called as on the build."""
        return (self.both.columns, self.both.rows) == (0, 0)

    @cached_property
    def circuits(self) -> tuple[Electrical, Mapping[Cell, Cell], Mapping[int, int]]:
        """The answer, parts (plan's cell to build's cell) and nets that correspond, numbered as in both."""
        in_place = same_circuit_in_place(self.plan_circuit, self.framed_circuit)
        if in_place is not None:
            same = {p.cell: p.cell for p in self.plan_circuit.parts}
            answer = Electrical.EQUIVALENT if self.changes else Electrical.IDENTICAL
            return answer, self._own(same), in_place
        found = self._equivalent(self.framed_circuit)
        if found and not any(self._touches_idle(c) for c in self.changes):
            return Electrical.EQUIVALENT, self._own(found.cells), found.nets
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

    def part_here(self, cell: Cell) -> bool:
        """True where the plan or the build has a part, not just a wire."""
        return cell in self.plan_circuit.part_at or cell in self.framed_circuit.part_at

    def _own(self, pairs: Mapping[Cell, Cell]) -> dict[Cell, Cell]:
        return {self.both.plan_cell(a): self.both.built_cell(b) for a, b in pairs.items()}

    @cached_property
    def exchanged(self) -> tuple[Part, ...]:
        """Parts of a mirrored build that a mirror connects wrongly; none where it is the same circuit."""
        if not self.alignment.mirrored or self._same_as_own:
            return ()
        there = self.framed_circuit.part_at
        return tuple(there.get(p.cell, p) for p in self.plan_circuit.parts if is_handed(p.kind))

    @cached_property
    def _same_as_own(self) -> bool:
        """True when the plan as it lies on the build is the circuit that it is in its own cells."""
        return bool(equivalence(self.own_plan_circuit, self.plan_circuit))

    def with_only(self, changes: list[CellChange]) -> Circuit:
        """The plan's circuit with these changes; kept, because several questions are put to it."""
        key = frozenset(map(id, changes))
        if key not in self._tried:
            self._tried[key] = build_circuit(apply(self.both.plan, changes), self.kit)
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
        for probe in (self.design.input, self.design.output):
            if probe is None:
                continue
            cell = self.both.of_built(self.plan.anchors_after(self.alignment.to_built)(probe.cell))
            net = self.plan_circuit.net_of(cell, probe.terminal)
            if net is not None:
                nets.append(net)
        return tuple(dict.fromkeys(nets))

    def _same_with(self, changes: list[CellChange]) -> bool:
        """True when the plan with these changes is the same circuit in the same cells."""
        return same_circuit_in_place(self.plan_circuit, self.with_only(changes)) is not None

    def is_harmless(self, change: CellChange, total: int) -> bool:
        """True when the plan with this one change is the same circuit."""
        if total == 1:
            return False  # then the circuits as a whole have been compared
        if change.change in (Change.WRONG_VALUE, Change.REVERSED):
            return False
        if self._same_with([change]):
            return True
        if change.change not in (Change.SWAPPED, Change.MOVED) or self._touches_idle(change):
            return False
        return bool(self._equivalent(self.with_only([change])))

    def harmless_together(self, changes: list[CellChange], done: bool) -> list[CellChange]:
        """Changes of wires that undo each other: another way for the same connection."""
        wires = [c for c in changes if not any(self.part_here(x) for x in c.cells) or not c.cubes]
        if done or len(wires) < 2 or len(wires) > MOST_CHANGES:
            return []
        together: list[CellChange] = []
        for cluster in clusters(wires):
            if (
                len(cluster) > 1
                and same_circuit_in_place(self.plan_circuit, self.with_only(cluster)) is not None
            ):
                together += cluster
        return together

    def harmful_together(self, harmless: Mapping[CellChange, bool]) -> list[list[CellChange]]:
        """Changes that are harmless one by one and yet make another circuit together."""
        seeming = [c for c, mild in harmless.items() if mild]
        if len(seeming) < 2 or self._same_with(seeming):
            return []
        return [c for c in clusters(seeming) if len(c) > 1 and not self._same_with(c)]

    def _own_nets(self, nets: Mapping[int, int]) -> dict[int, int]:
        """Nets of the plan as it is, and of the build as it is, to nets as they are in both."""
        if not self.alignment.moved and self.plain:  # nets are numbered as cubes stand, whatever the plate
            return dict(nets)
        found: dict[int, int] = {}
        for net, other in nets.items():
            here = self.plan_circuit.nets[net].terminals
            there = self.framed_circuit.nets[other].terminals if other >= 0 else ()
            if here and there:
                own = self.own_plan_circuit.net_of(self.both.plan_cell(here[0].cell), here[0].name)
                built = self.built_circuit.net_of(self.both.built_cell(there[0].cell), there[0].name)
                if own is not None and built is not None:
                    found[own] = built
        return found
