"""What cubes exist: kinds, their contacts and their electrical data."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from snapcheck.kit._side import Side


class ValueForm(enum.StrEnum):
    """What is printed on the cubes of a kind."""

    NONE = "none"
    OHMS = "ohms"
    FARADS = "farads"
    HENRIES = "henries"
    VOLTS = "volts"
    AMPERES = "amperes"
    TYPE = "type"  #: a part number, such as BC547
    COLOUR = "colour"
    LAMP = "volts/current"  #: 3.5V/0.2A
    RANGE = "range"  #: a meter's full scale: 15 V, 100 mA


#: name of the pseudo-terminal for a body that touches the plate
PLATE = "plate"


@dataclass(frozen=True)
class Contact:
    """One contact of a kind at turn 0.

    Attributes:
        side: side of the cube where the contact lies at turn 0.
        terminal: the terminal it belongs to; contacts that share a terminal are joined inside.
    """

    side: Side
    terminal: str


@dataclass(frozen=True)
class Kind:
    """One kind of cube.

    Attributes:
        name: such as ``npn``.
        title: what people call it, such as "NPN transistor".
        contacts: contacts at turn 0; contacts with the same terminal name are joined.
        plate_terminals: terminals joined to the plate (node 0) through the body.
        sockets: terminal behind each socket on its top, by the socket's side at turn 0
            (socket cube: E is its signal terminal, W is the plate).
        marked: the terminal that the print marks and people name when they say which way round
            (plus, anode, base, gate, stem, wiper), or "".
        symmetry: smallest turn in degrees that changes nothing electrically (90, 180 or 360).
        interchangeable: groups of terminals that may be exchanged without changing the circuit.
        value_form: what is printed on it.
        values: for words (types, colours), the ones the kit has; for numbers, the values in the box, or ().
        model: name of the way it is simulated (resistor, capacitor, diode, bjt, mosfet, source, wire, ...).
        ratings: name to number in SI units (max_power_W, max_voltage_V, max_current_A, ...); may be empty.
        ratings_by_value: the same for one printed type (BC547, red, 3.5V/0.2A), overriding `ratings`.
        parameters, parameters_by_value: device model parameters likewise (SPICE names).
        tolerance: relative tolerance of the value (0.05 for 5 %), 0 where none.
        prefix: letter for reference designators, per IEC 81346-2/IEEE 315 (R, C, D, Q, ...), "" for wires.
        count: how many the box holds, or None for no limit.
        wire: True for cubes that are only conductors (straight, corner, tee, cross, crossover).
    """

    name: str
    title: str
    contacts: tuple[Contact, ...]
    plate_terminals: frozenset[str] = frozenset()
    sockets: Mapping[Side, str] = field(default_factory=dict)
    marked: str = ""
    symmetry: int = 360
    interchangeable: tuple[frozenset[str], ...] = ()
    value_form: ValueForm = ValueForm.NONE
    values: tuple[float | str, ...] = ()
    model: str = "wire"
    ratings: Mapping[str, float] = field(default_factory=dict)
    ratings_by_value: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    parameters: Mapping[str, float] = field(default_factory=dict)
    parameters_by_value: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    tolerance: float = 0.0
    prefix: str = ""
    count: int | None = None
    wire: bool = False

    @property
    def terminals(self) -> tuple[str, ...]:
        """Terminal names, each once, in the order of the contacts (then those behind sockets only)."""
        names = [contact.terminal for contact in self.contacts] + list(self.sockets.values())
        return tuple(dict.fromkeys(names))

    def sides(self, terminal: str, turn: int = 0) -> tuple[Side, ...]:
        """Sides where `terminal` has a contact when the cube stands at `turn`."""
        return tuple(c.side.turned(turn) for c in self.contacts if c.terminal == terminal)

    def terminal_at(self, side: Side, turn: int = 0) -> str | None:
        """The terminal with a contact on `side` when the cube stands at `turn`, or None (blank side)."""
        for contact in self.contacts:
            if contact.side.turned(turn) == side:
                return contact.terminal
        return None

    def same_turn(self, a: int, b: int) -> bool:
        """True when turns `a` and `b` are electrically the same for this kind."""
        return (a - b) % self.symmetry == 0


@dataclass(frozen=True)
class Kit:
    """A box of cubes: kinds by name.

    Attributes:
        name, title: of the kit.
        kinds: name to kind.
        source: the file it came from, for messages.
    """

    name: str
    title: str
    kinds: Mapping[str, Kind]
    source: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "kinds", MappingProxyType(dict(self.kinds)))

    def __getitem__(self, name: str) -> Kind:
        return self.kinds[name]

    def __contains__(self, name: object) -> bool:
        return name in self.kinds
