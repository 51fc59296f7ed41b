"""The circuit of a board: which metal is joined to which, and the parts between."""

from __future__ import annotations

import enum
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple, Protocol

from snapcheck.board import Board, Cell, Cube, Lead, LeadEnd, Seam, Side, SocketEnd, Spot, cell_of
from snapcheck.devices import Device
from snapcheck.kit import PLATE, Kind, Kit


class Metal(enum.StrEnum):
    """How a piece of a cube's metal reaches the outside."""

    CONTACT = "contact"  #: a contact on one of its sides
    BODY = "body"  #: its body, which touches the plate
    SOCKET = "socket"  #: a socket on its top


class NetContact(NamedTuple):
    """One piece of metal that belongs to a net, so that messages can say "C3 right".

    Attributes:
        cell: where it lies; for a socket or body, the anchor of its cube.
        side: side of the *cell* where it lies as the cube stands; for a socket, its name at turn 0;
            None for a body on the plate.
        terminal: terminal of the cube's kind.
        metal: contact, body or socket.
    """

    cell: Cell
    side: Side | None
    terminal: str
    metal: Metal = Metal.CONTACT

    def __str__(self) -> str:
        return f"{self.cell} {self.side.word}" if self.side is not None else f"{self.cell} {self.metal.value}"


class Terminal(NamedTuple):
    """One terminal of one part, such as the base of the transistor at C4."""

    at: Spot
    name: str

    def __str__(self) -> str:
        return f"{self.at} {self.name}"

    @property
    def cell(self) -> Cell:
        """Where its part stands; for parts on a plate only."""
        return cell_of(self.at)


class Gap(enum.StrEnum):
    """Why a contact, tap or lead touches nothing."""

    EMPTY = "empty"  #: the cell beyond is empty
    BLANK = "blank"  #: the cube beyond has no contact on that side
    EDGE = "edge"  #: the plate ends there
    NO_TAP = "no-tap"  #: a lead ends on a tap that is not there
    NO_SOCKET = "no-socket"  #: a lead ends on a socket that is not there
    DEAD_TAP = "dead-tap"  #: a tap between two sides without contacts


class HalfMade(NamedTuple):
    """A connection of which only one half is there.

    Attributes:
        cell: where the contact that meets nothing lies (for a tap or lead: the nearest cell).
        side, terminal: the contact, where it is one.
        reason: see `Gap`.
        facing: the cell beyond, None off the plate.
        tapped: True when a tap in the seam holds the contact all the same.
        seam, lead: the tap or lead, where it is one.
    """

    cell: Cell
    reason: Gap
    side: Side | None = None
    terminal: str = ""
    facing: Cell | None = None
    tapped: bool = False
    seam: Seam | None = None
    lead: Lead | None = None


#: no plate has rows of three digits, so that C101 is a capacitor, and C3 always a place
_FIRST_NUMBER = 101


class PartNames:
    """Gives reference designators: a letter and the next number, R101, R102, C101.

    Letters are those of IEC 81346-2 and IEEE 315, the numbers those of drawings that count from 101 (common
    practice, no source). A name says nothing of a place, so that it stays true while a circuit is laid anew.
    """

    def __init__(self) -> None:
        self._given: Counter[str] = Counter()

    def next(self, kind: Kind) -> str:
        """The name of the next part of this kind."""
        letter = kind.prefix or "X"
        self._given[letter] += 1
        return f"{letter}{_FIRST_NUMBER - 1 + self._given[letter]}"


@dataclass(frozen=True)
class Part:
    """A cube that is more than a conductor.

    Attributes:
        place: the cell where it stands, None where it stands on no plate.
        cube, kind: what it is.
        name: reference designator such as R101, Q102 (see `PartNames`); unique in the circuit.
        nets: terminal name to net number, for every terminal (plate terminals: 0).
    """

    place: Cell | None
    cube: Cube
    kind: Kind
    name: str
    nets: Mapping[str, int]

    def __hash__(self) -> int:
        return hash((self.place, self.name))

    @property
    def at(self) -> Spot:
        """What it is called by in sentences, settings and tables: its cell, its name where it has none."""
        return self.name if self.place is None else self.place

    @property
    def cell(self) -> Cell:
        """Where it stands; for parts on a plate only."""
        return cell_of(self.at)

    @property
    def label(self) -> str:
        """``R101 (C3)``; the name alone where it stands nowhere."""
        return self.name if self.place is None else f"{self.name} ({self.place})"

    @property
    def device(self) -> Device:
        """What is known of such devices."""
        return self.kind.device

    @property
    def pair(self) -> tuple[str, str]:
        """Its main terminals: voltages are told from the first to the second, currents into the first."""
        first, second = self.kind.device.pair or tuple(self.nets)[:2]
        return first, second

    @property
    def terminals(self) -> tuple[Terminal, ...]:
        return tuple(Terminal(self.at, name) for name in self.nets)

    @cached_property
    def ratings(self) -> Mapping[str, float]:
        """Ratings in SI units (such as ``max_power_W``) of this very cube, its print included."""
        return self.kind.ratings_for(self.cube.value, self.cube.printed)

    @cached_property
    def parameters(self) -> Mapping[str, float]:
        """Device model parameters of this very cube."""
        return self.kind.parameters_for(self.cube.value)


class Net(NamedTuple):
    """Everything that is joined by metal.

    Attributes:
        number: 0 is the plate; the others count row by row.
        contacts: every piece of a cube's metal in it.
        terminals: the terminals of parts in it.
        taps, leads: those that touch it.
    """

    number: int
    contacts: tuple[NetContact, ...]
    terminals: tuple[Terminal, ...]
    taps: tuple[Seam, ...] = ()
    leads: tuple[Lead, ...] = ()

    @property
    def cells(self) -> tuple[Cell, ...]:
        """Cells with metal in this net, each once, row by row."""
        return tuple(dict.fromkeys(contact.cell for contact in self.contacts))


class Joints(Protocol):
    """Which metal is joined: what a circuit tells of its nets, worked out when somebody asks."""

    @property
    def size(self) -> int:
        """How many nets there are, the plate's among them."""

    @property
    def end_net(self) -> Mapping[LeadEnd, int]:
        """Every place for a plug to the net it touches."""

    def nets(self, parts: tuple[Part, ...]) -> tuple[Net, ...]:
        """The nets by number."""

    def half_made(self) -> tuple[HalfMade, ...]:
        """Connections of which one half is missing."""

    def net_of(self, cell: Spot, terminal: str) -> int | None:
        """See `Circuit.net_of`."""

    def net_at(self, cell: Cell, side: Side) -> int | None:
        """See `Circuit.net_at`."""


@dataclass(frozen=True, eq=False)
class Circuit:
    """Parts and the nets that join them; made by `build_circuit`, or by `circuit_of` without a plate.

    A comparison makes many circuits of which only the parts are looked at, so the rest is worked out on
    the first look.

    Attributes:
        board, kit: what it was made from; an empty board where it stands on no plate.
        parts: row by row, or in the order they were given.
    """

    board: Board
    kit: Kit
    parts: tuple[Part, ...]
    _joints: Joints = field(repr=False)

    @cached_property
    def nets(self) -> tuple[Net, ...]:
        """`nets[n].number == n`; `nets[0]` is the plate, also when nothing touches it."""
        return self._joints.nets(self.parts)

    @property
    def net_count(self) -> int:
        """Number of nets, the plate's among them."""
        return self._joints.size

    @cached_property
    def half_made(self) -> tuple[HalfMade, ...]:
        """Connections of which one half is missing."""
        return self._joints.half_made()

    @cached_property
    def notes(self) -> dict[object, Any]:
        """For what takes long to work out of a circuit and is asked for again; a circuit never changes."""
        return {}

    @cached_property
    def open_sockets(self) -> frozenset[int]:
        """Nets with a signal socket in which no lead is plugged."""
        plugged = {end for lead in self.board.leads for end in lead.ends}
        free = ((end.cell, net) for end, net in self.ends.items()
                if end not in plugged and isinstance(end, SocketEnd))  # fmt: skip
        return frozenset(
            net
            for cell, net in free
            if any(
                terminal != PLATE and self.net_of(cell, terminal) == net
                for terminal in self.kit[self.board.cubes[cell].kind].sockets.values()
            )
        )

    @cached_property
    def socket_nets(self) -> frozenset[int]:
        """Nets to which a socket on a cube's top gives access; the plate socket does not count."""
        return frozenset(
            net
            for cell, cube in self.board.cubes.items()
            for terminal in self.kit[cube.kind].sockets.values()
            if terminal != PLATE and (net := self.net_of(cell, terminal)) is not None
        )

    @cached_property
    def part_at(self) -> Mapping[Spot, Part]:
        """Cell to part; name to part for those that stand nowhere."""
        return {part.at: part for part in self.parts}

    @cached_property
    def part_named(self) -> Mapping[str, Part]:
        """Reference designator to part."""
        return {part.name: part for part in self.parts}

    def net_of(self, cell: Spot, terminal: str) -> int | None:
        """Net of a terminal of any cube (also wires, sockets, ground); None if there is no such terminal."""
        return self._joints.net_of(cell, terminal)

    def net_at(self, cell: Cell, side: Side) -> int | None:
        """Net of the contact on `side` of `cell`; None for a blank side or empty cell."""
        return self._joints.net_at(cell, side)

    def net_of_end(self, end: LeadEnd) -> int | None:
        """Net that a plug in this socket would touch; None where there is no such socket or tap."""
        return self._joints.end_net.get(end)

    @property
    def ends(self) -> Mapping[LeadEnd, int]:
        """Every place for a plug to the net it touches."""
        return self._joints.end_net

    def parts_on(self, net: int) -> Iterator[tuple[Part, str]]:
        """Each part terminal on a net, as (part, terminal name)."""
        for terminal in self.nets[net].terminals:
            yield self.part_at[terminal.at], terminal.name
