"""What cubes exist: kinds, their contacts and their electrical data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple

from snapcheck.devices import DEVICES, UNKNOWN, Device
from snapcheck.errors import InputError
from snapcheck.kit._form import ValueForm
from snapcheck.kit._side import Side
from snapcheck.kit._taught import Taught
from snapcheck.kit._values import parse_value, usual_spelling

#: name of the pseudo-terminal for a body that touches the plate
PLATE = "plate"


class Contact(NamedTuple):
    """One contact of a kind: a leg that ends on the edge of one cell of the kind's footprint.

    Attributes:
        side: side of that cell where the contact lies.
        terminal: the terminal it belongs to; contacts that share a terminal are joined inside.
        row, column: the cell, counted from the upper left one of the footprint.
    """

    side: Side
    terminal: str
    row: int = 0
    column: int = 0

    @property
    def edge(self) -> tuple[int, int, Side]:
        """Row, column and side: no two contacts of a kind have the same."""
        return self.row, self.column, self.side

    @property
    def cell(self) -> str:
        """The cell as kits write it: A1 is the upper left one of the footprint."""
        return f"{chr(ord('A') + self.column)}{self.row + 1}"


@dataclass(frozen=True)
class Kind:
    """One kind of cube.

    Attributes:
        name: such as ``npn``.
        title: what people call it, such as "NPN transistor".
        contacts: contacts at turn 0; contacts with the same terminal name are joined.
        size: columns and rows of cells that it covers at turn 0.
        plate_terminals: terminals joined to the plate (node 0) through the body.
        sockets: terminal behind each socket on its top, by the socket's side at turn 0
            (socket cube: E is its signal terminal, W is the plate).
        marked: the terminal that the print marks and people name when they say which way round
            (plus, anode, base, gate, stem, wiper), or "".
        faces: word to side at turn 0, for every word that says which way round the cube stands
            (``base`` W, ``collector`` N, ``emitter`` S; ``stem`` S for a tee, though it is no terminal).
        symmetry: smallest turn in degrees that changes nothing electrically (90, 180 or 360).
        interchangeable: groups of terminals that may be exchanged without changing the circuit.
        value_form: what is printed on it.
        values: for words (types, colours), the ones the kit has; for numbers, the values in the box, or ().
        model: name of the kind of device that it is (resistor, npn, wire, ...): see `device`.
        ratings: name to number in SI units (max_power_W, max_voltage_V, max_current_A, ...); may be empty.
        ratings_by_value: the same for one printed type (BC547, red, 3.5V/0.2A), overriding `ratings`.
        parameters, parameters_by_value: device model parameters likewise. Names in capitals are SPICE
            parameters (IS, BF, RB, VTO, BV, ...) for the device's model line; names in small letters
            with a unit are snapcheck's own (internal_ohm, gain_min, thermal_time_s, ...).
        tolerance: relative tolerance of the value (0.05 for 5 %), 0 where none.
        prefix: letter for reference designators, per IEC 81346-2/IEEE 315 (R, C, D, Q, ...), "" for wires.
        count: how many the box holds, or None for no limit.
        wire: True for cubes that are only conductors (straight, corner, tee, cross, crossover).
        symbol_at, print_at: middle of the symbol and of the print on a cube of several cells at turn 0, in
            cells right and down from its upper left corner; None where the drawing may choose.
    """

    name: str
    title: str
    contacts: tuple[Contact, ...]
    plate_terminals: frozenset[str] = frozenset()
    sockets: Mapping[Side, str] = field(default_factory=dict)
    marked: str = ""
    faces: Mapping[str, Side] = field(default_factory=dict)
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
    size: tuple[int, int] = (1, 1)
    symbol_at: tuple[float, float] | None = None
    print_at: tuple[float, float] | None = None

    @cached_property
    def device(self) -> Device:
        """What is known of such devices."""
        return DEVICES.get(self.model, UNKNOWN)

    @cached_property
    def terminals(self) -> tuple[str, ...]:
        """Terminal names, each once: by contacts, then those behind sockets only, then by the body only.

        So an audio input has ``signal`` and ``plate``.
        """
        names = [contact.terminal for contact in self.contacts] + list(self.sockets.values())
        return tuple(dict.fromkeys([*names, *sorted(self.plate_terminals)]))

    @cached_property
    def on_plate(self) -> frozenset[str]:
        """Terminals that the body joins to the plate."""
        return self.plate_terminals | {PLATE}

    @cached_property
    def leg_labels(self) -> Mapping[str, str]:
        """Terminal to one label for all terminals that may be exchanged with it, itself where none may."""
        groups = {t: "=".join(sorted(g)) for g in reversed(self.interchangeable) for t in g}
        return {t: groups.get(t, t) for t in self.terminals}

    @cached_property
    def contacts_at(self) -> Mapping[int, tuple[Contact, ...]]:
        """Turn to its contacts as the cube then stands, their cells counted from its then upper left one."""
        found = {0: self.contacts}
        for turn in (90, 180, 270):
            rows = self.lies(turn - 90)[1]
            found[turn] = tuple(
                Contact(c.side.turned(90), c.terminal, c.column, rows - 1 - c.row) for c in found[turn - 90]
            )
        return found

    def lies(self, turn: int) -> tuple[int, int]:
        """Columns and rows of cells that it covers when it stands at `turn`."""
        return lying(self.size, turn)

    def sides(self, terminal: str, turn: int = 0) -> tuple[Side, ...]:
        """Sides where `terminal` has a contact when the cube stands at `turn`."""
        return self._sides_at[turn].get(terminal, ())

    @cached_property
    def _sides_at(self) -> Mapping[int, Mapping[str, tuple[Side, ...]]]:
        """Turn, then terminal, to the sides where it has a contact."""
        return {
            turn: {
                name: tuple(dict.fromkeys(c.side for c in contacts if c.terminal == name))
                for name in self.terminals
            }
            for turn, contacts in self.contacts_at.items()
        }

    def terminal_at(self, side: Side, turn: int = 0, row: int = 0, column: int = 0) -> str | None:
        """The terminal with a contact on `side` of a cell when the cube stands at `turn`, or None (blank).

        `row` and `column` of the cell count from the upper left one of those that the cube then covers.
        """
        edge = row, column, side
        return next((c.terminal for c in self.contacts_at[turn] if c.edge == edge), None)

    def edges(self, turn: int) -> frozenset[tuple[int, int, Side]]:
        """Where contacts lie when the cube stands at `turn`, whatever terminal they belong to."""
        return frozenset(c.edge for c in self.contacts_at[turn])

    def knows(self, value: float | str | None) -> bool:
        """Whether there are data for a printed type or colour; True where none is printed, or none needed."""
        named = self.value_form in (ValueForm.TYPE, ValueForm.COLOUR)
        return not named or value is None or value_key(value) in self.parameters_by_value

    def ratings_for(self, value: float | str | None, printed: str | None = None) -> Mapping[str, float]:
        """Ratings of a cube with this value; a rated voltage in its print (``100u/16V``) comes first."""
        merged = {**self.ratings, **_of_value(self.ratings_by_value, value, self.value_form)}
        if printed and self.value_form is ValueForm.FARADS:
            try:
                rated = parse_value(printed, self.value_form).rated_V
            except InputError:
                rated = None
            if rated is not None:
                merged["max_voltage_V"] = rated
        return merged

    def parameters_for(self, value: float | str | None) -> Mapping[str, float]:
        """Device model parameters of a cube with this value."""
        return {**self.parameters, **_of_value(self.parameters_by_value, value, self.value_form)}

    @property
    def either_way(self) -> bool:
        """True for a part with two like ends: it may stand either way round, and no end comes first."""
        return self.symmetry == 180

    def same_turn(self, a: int, b: int) -> bool:
        """True when turns `a` and `b` are electrically the same for this kind."""
        return (a - b) % self.symmetry == 0


def lying(size: tuple[int, int], turn: int) -> tuple[int, int]:
    """Columns and rows of something of this size at turn 0, when it stands at `turn`."""
    return size[::-1] if turn % 180 else size


def inner_ends(parameter: str) -> tuple[str, str]:
    """The legs between which a parameter such as ``in-out_ohm`` of a network of resistors lies."""
    first, _, second = parameter.removesuffix("_ohm").partition("-")
    return first, second


def _of_value(
    table: Mapping[str, Mapping[str, float]], value: float | str | None, form: ValueForm
) -> Mapping[str, float]:
    """What a table by value says of one, however it is spelt."""
    found = table.get(value_key(value))
    if found is None and isinstance(value, str) and table:
        wanted = usual_spelling(value, form)
        found = next((t for key, t in table.items() if usual_spelling(key, form) == wanted), None)
    return found or {}


def value_key(value: float | str | None) -> str:
    """The key of a value in `ratings_by_value` and `parameters_by_value`."""
    if value is None:
        return ""
    return value if isinstance(value, str) else repr(float(value))


@dataclass(frozen=True)
class Kit:
    """A box of cubes: kinds by name.

    Attributes:
        name, title: of the kit.
        kinds: name to kind.
        source: the file it came from, for messages.
        taught: artwork of its cubes that was learnt from photos.
    """

    name: str
    title: str
    kinds: Mapping[str, Kind]
    source: str = ""
    taught: tuple[Taught, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "kinds", MappingProxyType(dict(self.kinds)))

    def __getitem__(self, name: str) -> Kind:
        return self.kinds[name]

    def __contains__(self, name: object) -> bool:
        return name in self.kinds
