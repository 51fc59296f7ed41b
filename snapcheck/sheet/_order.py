"""In which order a person puts the cubes down: stage by stage, each beside one that is there, power last."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property

import networkx as nx  # type: ignore[import-untyped]

from snapcheck.board import Cell, Design, Lead, Seam, SocketEnd, TapEnd, leg_at, legs, legs_at_seam
from snapcheck.circuit import Circuit
from snapcheck.kit import Kind
from snapcheck.sheet._flow import Flow
from snapcheck.words import tr

#: how much it counts to stay near the last cube, in parts of the signal's way for each cell between
_NEAR = 0.55


@dataclass(frozen=True)
class Ordered:
    """A stage with its cubes in the order in which they are put down.

    Attributes:
        name, note: of the stage.
        cells: anchors of its cubes.
        power: where in `cells` what gives power begins; it ends the stage.
        own: the teacher grouped it.
    """

    name: str
    cells: tuple[Cell, ...]
    power: int
    note: str = ""
    own: bool = False


def touching(circuit: Circuit) -> nx.Graph[Cell]:
    """Cubes as nodes, an edge where contacts of two cubes meet or a lead joins them."""
    board, kit = circuit.board, circuit.kit
    graph: nx.Graph[Cell] = nx.Graph()
    graph.add_nodes_from(board.cubes)
    for leg in legs(board, kit):
        other = leg_at(board, kit, leg.cell.neighbour(leg.side), leg.side.opposite)
        if other is not None and other.anchor != leg.anchor:
            graph.add_edge(leg.anchor, other.anchor, contact=True)
    for lead in board.leads:
        ends = [cells_of_end(circuit, end) for end in (lead.start, lead.end)]
        for a in ends[0]:
            for b in ends[1]:
                if a != b and not graph.has_edge(a, b):
                    graph.add_edge(a, b, contact=False)
    return graph


def cells_of_end(circuit: Circuit, end: TapEnd | SocketEnd) -> tuple[Cell, ...]:
    """Anchors of the cubes that must stand before a lead's end has its place."""
    if isinstance(end, SocketEnd):
        return (end.cell,) if end.cell in circuit.board.cubes else ()
    return cells_of_seam(circuit, end.seam)


def cells_of_seam(circuit: Circuit, seam: Seam) -> tuple[Cell, ...]:
    """Anchors of the cubes on both sides of a seam."""
    return tuple(leg.anchor for leg in legs_at_seam(circuit.board, circuit.kit, seam))


def leads_at_home(circuit: Circuit, cells: Iterable[Cell]) -> tuple[list[Seam], list[Lead]]:
    """Taps and leads of the board of which every cube concerned is among `cells`."""
    there, board = set(cells), circuit.board
    taps = [s for s in sorted(board.taps) if set(cells_of_seam(circuit, s)) <= there]
    leads = [
        lead for lead in board.leads
        if all(set(cells_of_end(circuit, e)) <= there for e in (lead.start, lead.end))
        and all(e.seam in taps for e in lead.ends if isinstance(e, TapEnd))
    ]  # fmt: skip
    return taps, leads


def ordered_stages(circuit: Circuit, design: Design) -> list[Ordered]:
    """Every cube of the design once, in stages."""
    return _Order(circuit, design, Flow(circuit, design)).stages()


@dataclass
class _Order:
    circuit: Circuit
    design: Design
    flow: Flow
    placed: list[Cell] = field(default_factory=list)

    @cached_property
    def graph(self) -> nx.Graph[Cell]:
        return touching(self.circuit)

    @cached_property
    def sources(self) -> frozenset[Cell]:
        return frozenset(p.cell for p in self.flow.sources)

    def stages(self) -> list[Ordered]:
        found = self._own() if self.design.stages else self._by_flow()
        tail: list[Cell] = []  # joins what is there, so it may come with the power
        while True:
            rest = self._rest()
            before = [c for c in rest if not self._behind_source(c, rest)]
            joined = any(self._touches(c) for c in before)
            cells = self._grown(set(before), True)
            if not cells:
                break
            if joined:
                tail += cells
            else:
                found.append(Ordered(tr("The rest"), tuple(cells), len(cells)))
        while rest := self._rest():
            if tail and not any(self._touches(c) for c in rest):
                found.append(Ordered(tr("Supply"), tuple(tail), len(tail)))
                tail = []
            cells = self._grown(set(rest), True)
            power = len(tail) if self.sources & set(cells) else len(tail) + len(cells)
            found.append(Ordered(tr("Supply"), (*tail, *cells), power))
            tail = []
        if tail:
            found.append(Ordered(tr("The rest"), tuple(tail), len(tail)))
        return found

    def _rest(self) -> list[Cell]:
        placed = set(self.placed)
        return [cell for cell in self.circuit.board.cubes if cell not in placed]

    def _free_start(self, cells: list[Cell]) -> bool:
        return not self.placed or not any(self._touches(c) for c in cells)

    def _behind_source(self, cell: Cell, rest: list[Cell]) -> bool:
        """True for a source, and for what only a source joins to the rest of the board."""
        if cell in self.sources:
            return True
        around = self.graph.subgraph(set(rest) - self.sources)
        group = nx.node_connected_component(around, cell)
        beside = {n for c in group for n in self.graph[c]} - group
        return bool(beside) and beside <= self.sources

    # ------------------------------------------------------------ stages of the teacher

    def _own(self) -> list[Ordered]:
        found = []
        for stage in self.design.stages:
            wanted = [c for c in stage.cells if c not in self.sources]
            last = [c for c in stage.cells if c in self.sources]
            cells = self._grown(set(wanted), True) + self._grown(set(last), True)
            found.append(Ordered(stage.name, tuple(cells), len(wanted), stage.note, own=True))
        return found

    # ------------------------------------------------------------ stages along the signal

    def _by_flow(self) -> list[Ordered]:
        stage_of, found = self.flow.stage_of, []
        many = max(stage_of.values(), default=0) + 1
        parts: set[Cell] = set()
        for number in range(many):
            parts |= {cell for cell, n in stage_of.items() if n == number}
            parts |= self._handing_on(parts)
            wanted = self._with_wires(parts) - set(self.placed)
            cells = self._grown(wanted, self._free_start(list(wanted)))
            if cells:
                found.append(Ordered(self._name(number, many), tuple(cells), len(cells)))
        while True:  # what joins nothing that was there by then
            left = self._with_wires(parts) - set(self.placed)
            cells = self._grown(left, self._free_start(list(left)))
            if not cells:
                return found
            found.append(Ordered(tr("More"), tuple(cells), len(cells)))

    def _name(self, number: int, many: int) -> str:
        """``NPN transistor at D4 and its parts``."""
        if not self.flow.amplifiers:
            return tr("From input to output") if self.flow.start is not None else tr("From plus to the plate")
        part = self.flow.amplifiers[number]
        if many == 1:
            return tr("The circuit around {cell}", cell=part.cell)
        return tr("{what} at {cell} and its parts", what=tr(part.kind.title), cell=part.cell)

    def _handing_on(self, parts: set[Cell]) -> set[Cell]:
        """Switches, fuses and filter resistors through which these parts get the supply."""
        found: set[Cell] = set()
        rails = {n for c in parts for n in self.circuit.part_at[c].nets.values() if n in self.flow.rails}
        while rails:
            part = self.flow.handing_on.get(rails.pop())
            if part is not None and part.cell not in found:
                found.add(part.cell)
                rails |= {n for n in part.nets.values() if n in self.flow.rails}
        return found

    def _with_wires(self, parts: set[Cell]) -> set[Cell]:
        """The parts, and the wires, grounds and sockets that join them so far, up to the supply."""
        wanted = set(parts)
        used = {n for c in parts for n in self.circuit.part_at[c].nets.values()}
        for net in used:
            wanted |= self._joined(net, parts)
        return wanted - self.sources

    def _joined(self, net: int, parts: set[Cell]) -> set[Cell]:
        """Cubes without a part that a net needs between these parts (and the sources on it)."""
        around = self._of_net(net)
        found: set[Cell] = set()
        for group in nx.connected_components(around):
            ends = {c for c in group if c in parts}
            if not ends:
                continue
            if net in self.flow.rails:
                ends |= group & self.sources
            else:
                ends |= {c for c in group if self._kind(c).device.access}
            others = {c for c in group if c in self.circuit.part_at and c not in ends}
            inside = around.subgraph(group - others)
            for piece in nx.connected_components(inside):
                found |= self._tree(inside.subgraph(piece), ends & piece, grounded=net == 0)
                for cell in parts & piece:
                    if list(self.circuit.part_at[cell].nets.values()).count(net) > 1:
                        found |= self._loops(inside.subgraph(piece), cell, ends)
        return found

    def _loops(self, piece: nx.Graph[Cell], cell: Cell, ends: set[Cell]) -> set[Cell]:
        """Wires that join two legs of the same part."""
        found: set[Cell] = set()
        around = piece.subgraph(set(piece) - {cell})
        for group in nx.connected_components(around):
            near = group & set(piece[cell])
            if len(near) > 1:
                found |= self._tree(around.subgraph(group), near | (ends & group), grounded=False)
        return found

    def _tree(self, piece: nx.Graph[Cell], ends: set[Cell], *, grounded: bool) -> set[Cell]:
        """Wires between the ends in one piece of metal, with a way to the plate where it has one."""
        if not ends:
            return set()
        if grounded:
            grounds = {c for c in piece if self._kind(c).device.grounds}
            reach = nx.multi_source_dijkstra_path_length(piece, ends)
            near = [c for c in grounds if reach.get(c, 99) == 1]
            ends = ends | set(near or sorted(grounds, key=lambda c: (reach.get(c, 99), c))[:1])
        if len(ends) < 2:
            return set(ends)
        return set(nx.algorithms.approximation.steiner_tree(piece, sorted(ends), method="mehlhorn")) | ends

    def _kind(self, cell: Cell) -> Kind:
        return self.circuit.kit[self.circuit.board.cubes[cell].kind]

    @cached_property
    def _edges_of_net(self) -> dict[int, list[tuple[Cell, Cell]]]:
        board, kit = self.circuit.board, self.circuit.kit
        found: dict[int, list[tuple[Cell, Cell]]] = {}
        for leg in legs(board, kit):
            net = self.circuit.net_of(leg.anchor, leg.terminal)
            if net is None:
                continue
            mine = found.setdefault(net, [])
            mine.append((leg.anchor, leg.anchor))
            other = leg_at(board, kit, leg.cell.neighbour(leg.side), leg.side.opposite)
            if other is not None:
                mine.append((leg.anchor, other.anchor))
        for a, b, data in self.graph.edges(data=True):
            if not data["contact"]:
                for lead in board.leads:
                    net = self.circuit.net_of_end(lead.start)
                    ends = [cells_of_end(self.circuit, e) for e in (lead.start, lead.end)]
                    joins = any(a in ends[n] and b in ends[1 - n] for n in (0, 1))
                    if net is not None and joins:
                        found.setdefault(net, []).append((a, b))
        return found

    def _of_net(self, net: int) -> nx.Graph[Cell]:
        graph: nx.Graph[Cell] = nx.Graph()
        graph.add_edges_from(self._edges_of_net.get(net, []))
        graph.remove_edges_from(list(nx.selfloop_edges(graph)))
        return graph

    # ------------------------------------------------------------ growing

    def _touches(self, cell: Cell) -> bool:
        return any(n in self.placed for n in self.graph[cell])

    def _grown(self, wanted: set[Cell], may_start: bool) -> list[Cell]:
        """The wanted cubes that can be put down one beside the other, added to what is placed.

        Args:
            may_start: the first may stand alone; of a teacher's own stage each, where nothing else is left.
        """
        left, found = set(wanted), list[Cell]()
        standing = set(self.placed)
        last: Cell | None = None
        while left:
            near = [c for c in left if any(n in standing for n in self.graph[c])]
            if not near:
                if not (may_start and (not found or self.design.stages)):
                    break
                near = [c for c in left if not self._kind(c).device.grounds] or list(left)
                last = None
            cell = min(near, key=lambda c: self._key(c, last, found))
            left.remove(cell)
            standing.add(cell)
            found.append(cell)
            last = cell
        self.placed += found
        return found

    def _key(self, cell: Cell, last: Cell | None, found: list[Cell]) -> tuple[float, ...]:
        if last is None and not self.placed and not found:
            return (self._entry(cell), self._way[cell], cell.column, cell.row)
        apart = 0.0 if last is None else abs(cell.row - last.row) + abs(cell.column - last.column)
        beside = last is not None and last in self.graph[cell]
        if self._kind(cell).device.grounds and any(n in self.graph[cell] for n in found[-2:]):
            return (-9.0, apart, *cell)
        return (self._way[cell] + _NEAR * apart - 0.3 * beside, apart, cell.column, cell.row)

    def _entry(self, cell: Cell) -> float:
        """Where to begin: at the input, else at a part."""
        if self.design.input is not None and cell == self.circuit.board.named(self.design.input.cell):
            return 0.0
        return 1.0 if cell in self.circuit.part_at else 2.0

    @cached_property
    def _way(self) -> dict[Cell, float]:
        """How far along the signal each cube lies."""
        flow, found = self.flow, {}
        for part in self.circuit.parts:
            found[part.cell] = flow.position(part) + (6.0 if part.cell in self.sources else 0.0)
        for net, edges in self._edges_of_net.items():
            if flow.is_signal(net):
                for cell in {c for pair in edges for c in pair if c not in found}:
                    found[cell] = flow.distance[net]
        known = dict(found)
        for cell in self.circuit.board.cubes:
            if cell not in found:
                reach = nx.single_source_shortest_path_length(self.graph, cell, cutoff=4)
                near = [(steps, known[c]) for c, steps in reach.items() if c in known]
                least = min((steps for steps, _ in near), default=0)
                values = [way for steps, way in near if steps == least]
                found[cell] = sum(values) / len(values) if values else 0.0
        return found


def in_order(circuit: Circuit, stages: list[Ordered]) -> list[str]:
    """What is wrong with an order, in words for developers; nothing where every cube but a stage's first
    touches one that is there."""
    graph, there, wrong = touching(circuit), set[Cell](), []
    for stage in stages:
        for number, cell in enumerate(stage.cells):
            if number and not any(n in there for n in graph[cell]):
                wrong.append(f"{cell} in '{stage.name}'")
            there.add(cell)
    return wrong
