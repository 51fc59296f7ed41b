"""The circuit that a list of parts is, so that a board can be held against it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from snapcheck.board import Board, Cell, Cube, LeadEnd, SocketEnd, Spot
from snapcheck.circuit import (
    Circuit,
    Part,
    Sameness,
    build_circuit,
    circuit_of_parts,
    equivalence,
    is_part,
)
from snapcheck.kit import Kit
from snapcheck.place._list import Item, PartsAndNets
from snapcheck.place._make import cube_of

#: the widest plate that a board can have
_MOST_COLUMNS = 52


def circuit_of(wanted: PartsAndNets, kit: Kit) -> Circuit:
    """The circuit of a list; its parts stand apart on a plate that is not meant to be built."""
    numbers: dict[str | None, int] = {wanted.plate: 0}
    across = down = 1
    for item in wanted.items:
        across, down = max(across, *kit[item.kind].size), max(down, *kit[item.kind].size)
    per_row = max(1, _MOST_COLUMNS // across)
    cubes: dict[Cell, Cube] = {}
    parts: list[Part] = []
    terminals: dict[tuple[Spot, str], int] = {}
    ends: dict[LeadEnd, int] = {}
    for index, item in enumerate(wanted.items):
        kind = kit[item.kind]
        row, column = divmod(index, per_row)
        cell, cube = Cell(row * down, column * across), cube_of(item, kind)
        cubes[cell] = cube
        nets: dict[str, int] = {}
        for terminal in kind.terminals:
            net = item.nets.get(terminal)
            if terminal in kind.on_plate:
                nets[terminal] = 0
            else:
                key = f"\0{item.name} {terminal}" if net is None else net
                nets[terminal] = numbers.setdefault(key, len(numbers))
        terminals.update({(cell, t): n for t, n in nets.items()})
        ends.update({SocketEnd(cell, side): nets[t] for side, t in kind.sockets.items()})
        if is_part(kind):
            parts.append(Part(cell, cube, kind, item.name, nets))
    rows = down * (-(-len(wanted.items) // per_row) or 1)
    board = Board(_MOST_COLUMNS, rows, cubes)
    return circuit_of_parts(parts, board, kit, others=terminals, end_net=ends)


@dataclass(frozen=True)
class Proof:
    """Whether a board is the circuit of a list.

    Attributes:
        joined_as_listed: every terminal of every item is joined with those that the list joins it with, and
            with no other.
        sameness: what the comparison of the two circuits says, which knows nothing of which cube is which.
    """

    joined_as_listed: bool
    sameness: Sameness

    @cached_property
    def holds(self) -> bool:
        """True where nothing speaks against it; one too regular for the comparison rests on the first."""
        return self.joined_as_listed and self.sameness is not Sameness.DIFFERENT


def prove(wanted: PartsAndNets, board: Board, cells: Mapping[str, Cell], kit: Kit) -> Proof:
    """Hold a board against its list.

    Args:
        wanted: the list.
        board: the board.
        cells: where the cube of each item has its anchor.
        kit: of both.
    """
    built = build_circuit(board, kit)
    there: dict[str, set[int]] = {}
    listed: dict[int, set[str]] = {}
    for item in wanted.items:
        for terminal, net in _terminals(item, wanted, kit):
            number = built.net_of(cells[item.name], terminal)
            number = -1 if number is None else number
            there.setdefault(net, set()).add(number)
            listed.setdefault(number, set()).add(net)
    once = all(len(numbers) == 1 for numbers in there.values())
    once = once and all(len(nets) == 1 for nets in listed.values()) and -1 not in listed
    right = once and there.get(wanted.plate, {0}) == {0} and listed.get(0, {wanted.plate}) == {wanted.plate}
    kinds = all(
        (q := board.cubes.get(cells[i.name])) is not None
        and (q.kind, q.value, q.unit) == (i.kind, i.value, i.unit)
        for i in wanted.items
    )
    parts = sum(is_part(kit[item.kind]) for item in wanted.items)
    same = right and kinds and len(built.parts) == parts
    return Proof(same, equivalence(circuit_of(wanted, kit), built).sameness)


def _terminals(item: Item, wanted: PartsAndNets, kit: Kit) -> list[tuple[str, str]]:
    """Each terminal with the name of its net; one that joins nothing has a net of its own."""
    kind = kit[item.kind]
    return [
        (t, wanted.plate if t in kind.on_plate else item.nets.get(t) or f"\0{item.name} {t}")
        for t in kind.terminals
    ]
