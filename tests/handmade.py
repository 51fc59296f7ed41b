"""Circuits by hand for tests: parts and nets without laying cubes on a plate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from snapcheck.board import Board, Cell, Cube, LeadEnd, Side
from snapcheck.circuit import Circuit, HalfMade, Net, Part, Terminal
from snapcheck.kit import Kit, bundled_kit

#: (kind, value, net of each terminal) or, for a meter, with its unit
Entry = tuple[str, float | str | None, Mapping[str, int]]
_COLUMNS = 50


def handmade(*entries: Entry, kit: Kit | None = None) -> Circuit:
    """A circuit of parts in A1, B1, C1, ... (50 to a row); parts are named by the kit's prefixes in order."""
    kit = kit or bundled_kit()
    count: dict[str, int] = {}
    parts, cubes, terminal_net = [], {}, {}
    for index, (kind_name, value, nets) in enumerate(entries):
        kind = kit[kind_name]
        cell, cube = Cell(*divmod(index, _COLUMNS)), Cube(kind_name, 0, value)
        count[kind.prefix] = count.get(kind.prefix, 0) + 1
        parts.append(Part(cell, cube, kind, f"{kind.prefix}{count[kind.prefix]}", dict(nets)))
        cubes[cell] = cube
        terminal_net.update({(cell, name): net for name, net in nets.items()})
    highest = max(max(part.nets.values()) for part in parts)
    nets = tuple(
        Net(n, (), tuple(Terminal(p.cell, t) for p in parts for t, m in p.nets.items() if m == n))
        for n in range(highest + 1)
    )
    board = Board(_COLUMNS, len(entries) // _COLUMNS + 1, cubes)
    return Circuit(board, kit, tuple(parts), _Joints(nets, terminal_net))


@dataclass
class _Joints:
    """Nets that were given, not made by cubes that touch."""

    given: tuple[Net, ...]
    terminal_net: Mapping[tuple[Cell, str], int]
    end_net: Mapping[LeadEnd, int] = field(default_factory=dict)

    @property
    def size(self) -> int:
        return len(self.given)

    def nets(self, parts: tuple[Part, ...]) -> tuple[Net, ...]:
        return self.given

    def half_made(self) -> tuple[HalfMade, ...]:
        return ()

    def net_of(self, cell: Cell, terminal: str) -> int | None:
        return self.terminal_net.get((cell, terminal))

    def net_at(self, cell: Cell, side: Side) -> int | None:
        return None
