"""Board to circuit: touching contacts join; bodies join the plate; taps and leads join the rest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from snapcheck.board import Board, Cell, Cube, Lead, LeadEnd, Seam, SocketEnd, TapEnd
from snapcheck.circuit._circuit import Circuit, Gap, HalfMade, Metal, Net, NetContact, Part, Terminal
from snapcheck.errors import InputError
from snapcheck.kit import PLATE, Kind, Kit, Side
from snapcheck.words import tr

#: models of kinds that conduct or give access but are no part of the circuit
_NO_PART_MODELS = frozenset({"wire", "ground", "socket"})

#: union-find node of the plate
_PLATE_NODE = 0


def is_part(kind: Kind) -> bool:
    """True for kinds that count as a part of the circuit; wires, grounds and sockets do not."""
    return not kind.wire and kind.model not in _NO_PART_MODELS


def build_circuit(board: Board, kit: Kit) -> Circuit:
    """The circuit of a board.

    Touching contacts join. Terminals on the plate (ground, body of a socket cube or input connector)
    are net 0. A tap joins whatever contacts meet at its seam; a lead joins what its two ends touch.

    Raises:
        InputError: a cube's kind is not in the kit.
    """
    require_kinds(board, kit)
    return _Builder(board, kit).circuit()


def require_kinds(board: Board, kit: Kit) -> None:
    """Raises InputError where a cube's kind is not in the kit."""
    for cell, cube in board.cubes.items():
        if cube.kind not in kit:
            known = ", ".join(sorted(kit.kinds))
            raise InputError(
                tr(
                    "the cube is of kind '{kind}', which the kit '{name}' does not have.",
                    kind=cube.kind,
                    name=kit.name,
                ),
                place=str(cell),
                way_out=tr("Kinds in the kit: {known}.", known=known),
            )


@dataclass
class _Builder:
    board: Board
    kit: Kit
    parent: list[int] = field(default_factory=lambda: [_PLATE_NODE])
    node_of: dict[tuple[Cell, str], int] = field(default_factory=dict)
    side_node: dict[tuple[Cell, Side], int] = field(default_factory=dict)
    end_node: dict[LeadEnd, int] = field(default_factory=dict)
    contacts: list[tuple[int, NetContact]] = field(default_factory=list)
    half_made: list[HalfMade] = field(default_factory=list)

    def circuit(self) -> Circuit:
        for cell, cube in self.board.cubes.items():
            self._place(cell, cube)
        self._touch()
        self._tap()
        joined_leads = self._lead()
        return self._collect(joined_leads)

    def _find(self, node: int) -> int:
        parent = self.parent
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    def _join(self, a: int, b: int) -> None:
        a, b = self._find(a), self._find(b)
        if a != b:
            # the smaller number stays the root, so that node 0 is always the plate
            self.parent[max(a, b)] = min(a, b)

    def _place(self, cell: Cell, cube: Cube) -> None:
        kind = self.kit[cube.kind]
        for terminal in kind.terminals:
            if terminal == PLATE or terminal in kind.plate_terminals:
                node = _PLATE_NODE
                self.contacts.append((node, NetContact(cell, None, terminal, Metal.BODY)))
            else:
                node = len(self.parent)
                self.parent.append(node)
            self.node_of[cell, terminal] = node
        for side, terminal in kind.contacts_at[cube.turn]:
            node = self.node_of[cell, terminal]
            self.side_node[cell, side] = node
            self.contacts.append((node, NetContact(cell, side, terminal)))
        for side, terminal in kind.sockets.items():
            node = self.node_of[cell, terminal]
            self.end_node[SocketEnd(cell, side)] = node
            self.contacts.append((node, NetContact(cell, side, terminal, Metal.SOCKET)))

    def _touch(self) -> None:
        side_node = self.side_node
        for (cell, side), node in side_node.items():
            beyond = cell.neighbour(side)
            other = side_node.get((beyond, side.opposite))
            if other is None:
                self._half(cell, side, beyond)
            elif side is Side.E or side is Side.S:  # each touching pair once
                self._join(node, other)

    def _half(self, cell: Cell, side: Side, beyond: Cell) -> None:
        """A contact that touches none."""
        board, cube = self.board, self.board.cubes[cell]
        inside = 0 <= beyond.row < board.rows and 0 <= beyond.column < board.columns
        reason = Gap.EDGE if not inside else Gap.BLANK if beyond in board.cubes else Gap.EMPTY
        terminal = self.kit[cube.kind].terminal_at(side, cube.turn) or ""
        tapped = inside and bool(board.taps) and Seam.between(cell, beyond) in board.taps
        self.half_made.append(HalfMade(cell, reason, side, terminal, beyond if inside else None, tapped))

    def _tap(self) -> None:
        for seam in sorted(self.board.taps):
            first_side, second_side = seam.sides
            nodes = [
                self.side_node[place]
                for place in ((seam.first, first_side), (seam.second, second_side))
                if place in self.side_node
            ]
            if not nodes:
                nodes = [len(self.parent)]
                self.parent.append(nodes[0])
                self.half_made.append(HalfMade(seam.first, Gap.DEAD_TAP, facing=seam.second, seam=seam))
            for node in nodes[1:]:
                self._join(nodes[0], node)
            self.end_node[TapEnd(seam)] = nodes[0]

    def _lead(self) -> list[tuple[int, Lead]]:
        touched = []
        for lead in self.board.leads:
            nodes = []
            for end in (lead.start, lead.end):
                node = self.end_node.get(end)
                if node is not None:
                    nodes.append(node)
                elif isinstance(end, TapEnd):
                    self.half_made.append(
                        HalfMade(end.seam.first, Gap.NO_TAP, facing=end.seam.second, seam=end.seam, lead=lead)
                    )
                else:
                    self.half_made.append(HalfMade(end.cell, Gap.NO_SOCKET, end.side, lead=lead))
            if len(nodes) == 2:
                self._join(*nodes)
            if nodes:
                touched.append((nodes[0], lead))
        return touched

    def _collect(self, leads: list[tuple[int, Lead]]) -> Circuit:
        number: dict[int, int] = {_PLATE_NODE: 0}
        for node in range(len(self.parent)):  # nodes were made row by row, so nets count row by row
            number.setdefault(self._find(node), len(number))
        net = [number[self._find(node)] for node in range(len(self.parent))]

        contacts: list[list[NetContact]] = [[] for _ in number]
        terminals: list[list[Terminal]] = [[] for _ in number]
        taps: list[list[Seam]] = [[] for _ in number]
        net_leads: list[list[Lead]] = [[] for _ in number]
        for node, contact in self.contacts:
            contacts[net[node]].append(contact)
        for end, node in self.end_node.items():
            if isinstance(end, TapEnd):
                taps[net[node]].append(end.seam)
        for node, lead in leads:
            net_leads[net[node]].append(lead)

        parts = tuple(self._parts(net))
        for part in parts:
            for name, n in part.nets.items():
                terminals[n].append(Terminal(part.cell, name))
        return Circuit(
            self.board,
            self.kit,
            parts,
            tuple(
                Net(n, tuple(contacts[n]), tuple(terminals[n]), tuple(taps[n]), tuple(net_leads[n]))
                for n in range(len(number))
            ),
            tuple(self.half_made),
            {place: net[node] for place, node in self.node_of.items()},
            {place: net[node] for place, node in self.side_node.items()},
            {end: net[node] for end, node in self.end_node.items()},
        )

    def _parts(self, net: list[int]) -> Iterator[Part]:
        count: Counter[str] = Counter()
        for cell, cube in self.board.cubes.items():
            kind = self.kit[cube.kind]
            if not is_part(kind):
                continue
            prefix = kind.prefix or "X"
            count[prefix] += 1
            nets = {name: net[self.node_of[cell, name]] for name in kind.terminals}
            yield Part(cell, cube, kind, f"{prefix}{count[prefix]}", nets)
