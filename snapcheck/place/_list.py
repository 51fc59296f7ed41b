"""What is to be laid: parts and the nets that join them, without any places."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from snapcheck.board import Cell, Design, Probe, Value
from snapcheck.circuit import Circuit, PartNames, build_circuit
from snapcheck.errors import InputError
from snapcheck.kit import Kit, format_value
from snapcheck.words import tr

#: the net of the plate in lists that are made of boards
PLATE_NET = "0"


@dataclass(frozen=True)
class Item:
    """One part, or a socket that gives access to a net.

    Attributes:
        name: of its own in the list, such as R101.
        kind: name of its kind in the kit.
        nets: terminal to the name of its net, None where nothing is joined; every terminal that does not lie
            on the plate through its body.
        value: SI number, or the printed word, or None.
        printed: the text on its top, or None.
        unit: of a meter, else "".
    """

    name: str
    kind: str
    nets: Mapping[str, str | None]
    value: Value = None
    printed: str | None = None
    unit: str = ""


@dataclass(frozen=True)
class PartsAndNets:
    """Parts and the nets that join them.

    Attributes:
        items: in the order in which they were given.
        plate: the net that the plate is.
        title: in words.
        input, output: where the signal goes in and comes out, as (name of an item, terminal), or None.
    """

    items: tuple[Item, ...]
    plate: str = PLATE_NET
    title: str = ""
    input: tuple[str, str] | None = None
    output: tuple[str, str] | None = None
    #: of a list made of a board: the cell of each item there
    cells: Mapping[str, Cell] = field(default_factory=dict, compare=False)

    def named(self, name: str) -> Item:
        """The item of a name; raises KeyError."""
        return next(item for item in self.items if item.name == name)


def list_of(design: Design, kit: Kit) -> PartsAndNets:
    """The parts of a board and how they are joined, its places forgotten.

    Sockets in which no lead is plugged are kept: somebody wants to plug in there. The others, as wires and
    grounds, are a way of joining, which another layout need not have.

    Raises:
        InputError: a cube's kind is not in the kit.
    """
    circuit = build_circuit(design.board, kit)
    ends = Counter(n for part in circuit.parts for n in part.nets.values())
    open_sockets = _open_sockets(circuit)
    ends.update(n for nets in open_sockets.values() for n in nets.values())

    def net(number: int) -> str | None:
        if number == 0:
            return PLATE_NET
        return f"n{number}" if ends[number] > 1 else None

    items, cells = [], {}
    for part in circuit.parts:
        nets = {t: net(n) for t, n in part.nets.items() if t not in part.kind.on_plate}
        cube = part.cube
        items.append(Item(part.name, cube.kind, nets, cube.value, cube.printed, cube.unit))
        cells[part.name] = part.cell
    names = PartNames()
    for cell, numbers in open_sockets.items():
        cube = design.board.cubes[cell]
        name = names.next(kit[cube.kind])
        while name in cells:
            name = names.next(kit[cube.kind])
        items.append(Item(name, cube.kind, {t: net(n) for t, n in numbers.items()}, cube.value, cube.printed))
        cells[name] = cell
    found = PartsAndNets(tuple(items), title=design.title, cells=cells)
    places = [_end(found, circuit, probe) for probe in (design.input, design.output)]
    return PartsAndNets(found.items, PLATE_NET, design.title, places[0], places[1], cells)


def _open_sockets(circuit: Circuit) -> dict[Cell, dict[str, int]]:
    """Sockets that nothing is plugged into, each with its signal terminals' nets; one for each net."""
    found: dict[Cell, dict[str, int]] = {}
    left = set(circuit.open_sockets)
    for cell, cube in circuit.board.cubes.items():
        kind = circuit.kit[cube.kind]
        if not kind.device.access:
            continue
        nets = {t: circuit.net_of(cell, t) for t in kind.terminals if t not in kind.on_plate}
        known = {t: n for t, n in nets.items() if n is not None}
        if left & set(known.values()):
            left -= set(known.values())
            found[cell] = known
    return found


def _end(items: PartsAndNets, circuit: Circuit, probe: Probe | None) -> tuple[str, str] | None:
    """Where a probe lies in the list: at its own part, else at any on its net."""
    if probe is None:
        return None
    for name, cell in items.cells.items():
        if cell == probe.cell and probe.terminal in circuit.kit[circuit.board.cubes[cell].kind].terminals:
            return name, probe.terminal
    number = circuit.net_of(probe.cell, probe.terminal)
    for item in items.items:
        for terminal, net in item.nets.items():
            if number is not None and net == f"n{number}":
                return item.name, terminal
    return None


class PartLike(Protocol):
    """A part that somebody else read, such as one of a netlist."""

    @property
    def name(self) -> str:
        """Of its own in the list."""

    @property
    def kind(self) -> str:
        """Name of its kind in the kit."""

    @property
    def value(self) -> Value:
        """SI number, or word, or None."""

    @property
    def nets(self) -> Mapping[str, Any]:
        """Terminal to the name or number of its net."""


def list_from(
    parts: Iterable[PartLike], kit: Kit, *, plate: str = PLATE_NET, title: str = ""
) -> PartsAndNets:
    """A list of parts that were read elsewhere; what is printed on them is their value.

    Raises:
        InputError: a part's kind is not in the kit, or a terminal that lies on the plate is on another net.
    """
    items = []
    for part in parts:
        if part.kind not in kit:
            raise InputError(tr("the kit has no kind '{kind}'.", kind=part.kind), place=part.name)
        kind = kit[part.kind]
        off = [t for t, net in part.nets.items() if t in kind.on_plate and str(net) != plate]
        if off:
            raise InputError(
                tr("its terminal '{terminal}' lies on the plate, on no other net.", terminal=off[0]),
                place=part.name,
            )
        printed = None if part.value is None else format_value(part.value, kind.value_form)
        nets: dict[str, str | None] = {t: str(net) for t, net in part.nets.items() if t not in kind.on_plate}
        items.append(Item(part.name, part.kind, nets, part.value, printed))
    return PartsAndNets(tuple(items), plate, title)
