"""Board to circuit: touching contacts join; bodies join the plate; taps and leads join the rest."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property

from snapcheck.board import Board, Cell, Lead, LeadEnd, Seam, Side, SocketEnd, Spot, TapEnd
from snapcheck.circuit._circuit import (
    Circuit,
    Gap,
    HalfMade,
    Metal,
    Net,
    NetContact,
    Part,
    PartNames,
    Terminal,
)
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit
from snapcheck.words import tr

#: union-find node of the plate
_PLATE_NODE = 0


def is_part(kind: Kind) -> bool:
    """True for kinds that count as a part of the circuit; wires, grounds and sockets do not."""
    return kind.device.is_part


def build_circuit(board: Board, kit: Kit) -> Circuit:
    """The circuit of a board.

    Touching contacts join. Terminals on the plate (ground, body of a socket cube or input connector)
    are net 0. A tap joins whatever contacts meet at its seam; a lead joins what its two ends touch.

    Raises:
        InputError: a cube's kind is not in the kit.
    """
    require_kinds(board, kit)
    joints = _Joints(board, kit)
    return Circuit(board, kit, tuple(joints.parts()), joints)


def require_kinds(board: Board, kit: Kit) -> None:
    """Raises InputError where a cube's kind is not in the kit, or covers other cells there."""
    kinds = kit.kinds
    for cell, cube in board.cubes.items():
        kind = kinds.get(cube.kind)
        if kind is None:
            known = ", ".join(sorted(kinds))
            raise InputError(
                tr(
                    "the cube is of kind '{kind}', which the kit '{name}' does not have.",
                    kind=cube.kind,
                    name=kit.name,
                ),
                place=str(cell),
                way_out=tr("Kinds in the kit: {known}.", known=known),
            )
        if cube.size != kind.size:
            columns, rows = kind.size
            raise InputError(
                tr("a {kind} covers {columns} x {rows} cells.",
                   kind=tr(kind.title), columns=columns, rows=rows),
                place=str(cell),
                way_out=tr("Read the board again with this kit."),
            )  # fmt: skip


class _Joints:
    """Which metal of a board is joined, by union-find over the terminals of its cubes.

    Sides of cells are counted through the plate, four to a cell: looking up a number costs far less than
    looking up a cell and a side, and a comparison makes many circuits.
    """

    def __init__(self, board: Board, kit: Kit) -> None:
        self.board = board
        self.kinds: Mapping[str, Kind] = kit.kinds
        self.parent = [_PLATE_NODE]
        #: cell to the node of each terminal of its cube
        self.nodes: dict[Spot, dict[str, int]] = {}
        #: node of the contact on each side of each cell, -1 for none
        self.at = [-1] * (4 * board.columns * board.rows)
        self.end_node: dict[LeadEnd, int] = {}
        self.lead_node: list[tuple[int, Lead]] = []
        self._place()
        self._touch()
        self._tap()
        self._lead()
        number: dict[int, int] = {}
        #: node to net; nodes were made row by row, so nets count row by row
        self.net = [number.setdefault(self._find(node), len(number)) for node in range(len(self.parent))]
        self.size = len(number)

    # -------------------------------------------------------- joining

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

    def _spot(self, cell: Cell) -> int:
        return 4 * (cell.row * self.board.columns + cell.column)

    def _place(self) -> None:
        parent, at, columns = self.parent, self.at, self.board.columns
        for cell, cube in self.board.cubes.items():
            kind = self.kinds[cube.kind]
            nodes = self.nodes[cell] = {}
            for terminal in kind.terminals:
                if terminal in kind.on_plate:
                    nodes[terminal] = _PLATE_NODE
                else:
                    nodes[terminal] = len(parent)
                    parent.append(len(parent))
            spot = 4 * (cell.row * columns + cell.column)
            for side, terminal, row, column in kind.contacts_at[cube.turn]:
                at[spot + side + (4 * (row * columns + column) if row or column else 0)] = nodes[terminal]
            for side, terminal in kind.sockets.items():
                self.end_node[SocketEnd(cell, side)] = nodes[terminal]

    def _touch(self) -> None:
        at, columns, rows = self.at, self.board.columns, self.board.rows
        for row, column in self.board.occupied:  # each touching pair once: to the right and down
            spot = 4 * (row * columns + column)
            if column + 1 < columns and at[spot + Side.E] >= 0 and at[spot + 4 + Side.W] >= 0:
                self._join(at[spot + Side.E], at[spot + 4 + Side.W])
            below = spot + 4 * columns
            if row + 1 < rows and at[spot + Side.S] >= 0 and at[below + Side.N] >= 0:
                self._join(at[spot + Side.S], at[below + Side.N])

    def _nodes_at(self, seam: Seam) -> list[int]:
        """Nodes of the contacts that meet at a seam."""
        places = zip((seam.first, seam.second), seam.sides, strict=True)
        nodes = (self.at[self._spot(cell) + side] for cell, side in places)
        return [node for node in nodes if node >= 0]

    def _tap(self) -> None:
        for seam in sorted(self.board.taps):
            nodes = self._nodes_at(seam)
            if not nodes:
                nodes = [len(self.parent)]
                self.parent.append(nodes[0])
            for node in nodes[1:]:
                self._join(nodes[0], node)
            self.end_node[TapEnd(seam)] = nodes[0]

    def _lead(self) -> None:
        for lead in self.board.leads:
            nodes = [self.end_node[end] for end in (lead.start, lead.end) if end in self.end_node]
            if len(nodes) == 2:
                self._join(*nodes)
            if nodes:
                self.lead_node.append((nodes[0], lead))

    # -------------------------------------------------------- what came of it

    def parts(self) -> Iterator[Part]:
        """The parts, named row by row."""
        net = self.net
        names = PartNames()
        for cell, cube in self.board.cubes.items():
            kind = self.kinds[cube.kind]
            if not is_part(kind):
                continue
            nets = {name: net[node] for name, node in self.nodes[cell].items()}
            yield Part(cell, cube, kind, names.next(kind), nets)

    @cached_property
    def end_net(self) -> Mapping[LeadEnd, int]:
        """See `Joints`."""
        return {end: self.net[node] for end, node in self.end_node.items()}

    def net_of(self, cell: Spot, terminal: str) -> int | None:
        """See `Joints`."""
        node = self.nodes.get(cell, {}).get(terminal)
        return None if node is None else self.net[node]

    def net_at(self, cell: Cell, side: Side) -> int | None:
        """See `Joints`."""
        board = self.board
        if not (0 <= cell.row < board.rows and 0 <= cell.column < board.columns):
            return None
        node = self.at[self._spot(cell) + side]
        return None if node < 0 else self.net[node]

    def nets(self, parts: tuple[Part, ...]) -> tuple[Net, ...]:
        """See `Joints`."""
        net = self.net
        contacts: list[list[NetContact]] = [[] for _ in range(self.size)]
        terminals: list[list[Terminal]] = [[] for _ in range(self.size)]
        taps: list[list[Seam]] = [[] for _ in range(self.size)]
        leads: list[list[Lead]] = [[] for _ in range(self.size)]
        for cell, cube in self.board.cubes.items():
            kind, nodes = self.kinds[cube.kind], self.nodes[cell]
            for terminal in kind.terminals:
                if terminal in kind.on_plate:
                    contacts[0].append(NetContact(cell, None, terminal, Metal.BODY))
            for side, terminal, row, column in kind.contacts_at[cube.turn]:  # `legs`, without making any
                place = cell.beside(row, column) if row or column else cell
                contacts[net[nodes[terminal]]].append(NetContact(place, side, terminal))
            for side, terminal in kind.sockets.items():
                contacts[net[nodes[terminal]]].append(NetContact(cell, side, terminal, Metal.SOCKET))
        for end, node in self.end_node.items():
            if isinstance(end, TapEnd):
                taps[net[node]].append(end.seam)
        for node, lead in self.lead_node:
            leads[net[node]].append(lead)
        for part in parts:
            for name, n in part.nets.items():
                terminals[n].append(Terminal(part.at, name))
        return tuple(
            Net(n, tuple(contacts[n]), tuple(terminals[n]), tuple(taps[n]), tuple(leads[n]))
            for n in range(self.size)
        )

    def half_made(self) -> tuple[HalfMade, ...]:
        """See `Joints`."""
        return (*self._half_contacts(), *self._half_taps(), *self._half_leads())

    def _half_contacts(self) -> Iterator[HalfMade]:
        """Contacts that touch none."""
        board, at = self.board, self.at
        columns, rows = board.columns, board.rows
        for anchor, cube in board.cubes.items():
            for side, terminal, row, column in self.kinds[cube.kind].contacts_at[cube.turn]:
                cell = anchor.beside(row, column) if row or column else anchor
                beyond = cell.neighbour(side)
                if not (0 <= beyond.row < rows and 0 <= beyond.column < columns):
                    yield HalfMade(cell, Gap.EDGE, side, terminal)
                elif at[4 * (beyond.row * columns + beyond.column) + side.opposite] < 0:
                    reason = Gap.EMPTY if board.anchor_at(beyond) is None else Gap.BLANK
                    tapped = bool(board.taps) and Seam.between(cell, beyond) in board.taps
                    yield HalfMade(cell, reason, side, terminal, beyond, tapped)

    def _half_taps(self) -> Iterator[HalfMade]:
        for seam in sorted(self.board.taps):
            if not self._nodes_at(seam):
                yield HalfMade(seam.first, Gap.DEAD_TAP, facing=seam.second, seam=seam)

    def _half_leads(self) -> Iterator[HalfMade]:
        for lead in self.board.leads:
            for end in (lead.start, lead.end):
                if end in self.end_node:
                    continue
                if isinstance(end, TapEnd):
                    first, second = end.seam.first, end.seam.second
                    yield HalfMade(first, Gap.NO_TAP, facing=second, seam=end.seam, lead=lead)
                else:
                    yield HalfMade(end.cell, Gap.NO_SOCKET, end.side, lead=lead)
