"""Steps of a few cubes each, in the order in which a person follows them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from snapcheck.board import Board, Cell, Design, Lead, Seam
from snapcheck.circuit import Circuit, build_circuit, cube_words, lead_words, listing
from snapcheck.kit import Kit
from snapcheck.sheet._order import Ordered, leads_at_home, ordered_stages, touching
from snapcheck.sheet._words import facing_words, matters
from snapcheck.words import tr

#: cubes and parts (no wires) in a step
_MOST_CUBES, _MOST_PARTS = 5, 2


@dataclass(frozen=True)
class Put:
    """One thing to do in a step.

    Attributes:
        cell: where; None for a lead or tap.
        what: the cube in words.
        facing: which way round, "" where every turn is the same.
        mind: the turn is to be looked at twice, or it is the joint with the plate.
    """

    cell: Cell | None
    what: str
    facing: str = ""
    mind: bool = False

    @property
    def words(self) -> str:
        """``C5: electrolytic capacitor 10u, plus to the left``."""
        told = self.what if self.cell is None else f"{self.cell}: {self.what}"
        return f"{told}, {self.facing}" if self.facing else told


@dataclass(frozen=True)
class Step:
    """A few cubes that are put down together.

    Attributes:
        number: from 1, over the whole sheet.
        stage: number of its stage, from 0.
        cells: anchors of the new cubes, in their order.
        taps, leads: those that come with it.
        power: it brings the power: the last one.
        puts: the same in words.
    """

    number: int
    stage: int
    cells: tuple[Cell, ...]
    taps: tuple[Seam, ...]
    leads: tuple[Lead, ...]
    power: bool
    puts: tuple[Put, ...]


@dataclass(frozen=True)
class Course:
    """The way from the empty plate to the whole build.

    Attributes:
        design, kit, circuit: what is built.
        stages: its stages.
        steps: all steps.
    """

    design: Design
    kit: Kit
    circuit: Circuit
    stages: tuple[Ordered, ...]
    steps: tuple[Step, ...]

    def board_after(self, step: int) -> Board:
        """The board when this many steps are done; the whole design after the last."""
        return board_of(self.circuit, [c for s in self.steps[:step] for c in s.cells])


def board_of(circuit: Circuit, cells: Sequence[Cell]) -> Board:
    """The design with these cubes alone, and the taps and leads that have their places by then."""
    board = circuit.board
    if set(cells) >= set(board.cubes):
        return board
    taps, leads = leads_at_home(circuit, cells)
    return replace(board, cubes={c: board.cubes[c] for c in cells}, taps=frozenset(taps), leads=tuple(leads))


def course_of(design: Design, kit: Kit) -> Course:
    """Stages and steps of a design.

    Raises:
        InputError: a kind is not in the kit.
    """
    circuit = build_circuit(design.board, kit)
    stages = ordered_stages(circuit, design)
    steps: list[Step] = []
    there: list[Cell] = []
    taps: set[Seam] = set()
    leads: set[Lead] = set()
    pieces = [
        (number, cells, power)
        for number, stage in enumerate(stages)
        for part, power in ((stage.cells[: stage.power], False), (stage.cells[stage.power :], True))
        for cells in _pieces(circuit, part)
    ]
    for index, (stage, cells, power) in enumerate(pieces):
        there += cells
        last = index == len(pieces) - 1
        home = (
            (sorted(design.board.taps), list(design.board.leads)) if last else leads_at_home(circuit, there)
        )
        new_taps = tuple(s for s in home[0] if s not in taps)
        new_leads = tuple(lead for lead in home[1] if lead not in leads)
        taps |= set(new_taps)
        leads |= set(new_leads)
        puts = _puts(circuit, cells, new_taps, new_leads)
        steps.append(Step(len(steps) + 1, stage, tuple(cells), new_taps, new_leads, power, puts))
    return Course(design, kit, circuit, tuple(stages), tuple(steps))


def _pieces(circuit: Circuit, cells: Sequence[Cell]) -> list[list[Cell]]:
    """Cubes in groups of a few; a ground stays with what it grounds."""
    graph = touching(circuit)
    kit, cubes = circuit.kit, circuit.board.cubes
    found: list[list[Cell]] = []
    for cell in cells:
        mine = found[-1] if found else []
        parts = sum(c in circuit.part_at for c in mine)
        ground = kit[cubes[cell].kind].device.grounds and any(c in graph[cell] for c in mine)
        full = len(mine) >= _MOST_CUBES or (cell in circuit.part_at and parts >= _MOST_PARTS)
        if not mine or (full and not ground):
            found.append([cell])
        else:
            mine.append(cell)
    if len(found) > 1 and len(found[-1]) == 1 and len(found[-2]) <= _MOST_CUBES:
        found[-2:] = [found[-2] + found[-1]]
    return found


def _puts(
    circuit: Circuit, cells: Sequence[Cell], taps: Sequence[Seam], leads: Sequence[Lead]
) -> tuple[Put, ...]:
    kit, board = circuit.kit, circuit.board
    found = []
    for cell in cells:
        cube = board.cubes[cell]
        kind = kit[cube.kind]
        facing, mind = facing_words(cube, kind), matters(kind)
        if kind.device.grounds:
            touched = sorted(touching(circuit)[cell])
            if touched:  # it joins the plate to what its stem touches
                facing = tr("stem to {cells}", cells=listing(map(str, touched)))
            mind = True
        found.append(Put(cell, cube_words(cube, kit), facing, mind))
    found += [Put(None, tr("a tap between {a} and {b}", a=s.first, b=s.second)) for s in taps]
    found += [Put(None, lead_words(lead)) for lead in leads]
    return tuple(found)
