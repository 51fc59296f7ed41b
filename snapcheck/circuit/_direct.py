"""Circuits that stand on no plate: parts by name, and the nets between their terminals."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from snapcheck.board import Board, Cell, Cube, LeadEnd, Side, Spot
from snapcheck.circuit._build import is_part
from snapcheck.circuit._circuit import Circuit, HalfMade, Net, Part, PartNames, Terminal
from snapcheck.errors import InputError
from snapcheck.kit import Kit
from snapcheck.words import tr

#: a name goes into netlists and sentences as it is
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9]{0,11}")


@dataclass(frozen=True)
class PartSpec:
    """One part of a circuit without a plate.

    Attributes:
        kind: its kind in the kit.
        nets: terminal to net number (0 is the plate), for every terminal of the kind.
        value: as on a cube: a number in SI units or a word, None where nothing is printed.
        unit: of a meter's range, "" for other parts.
        name: reference designator; "" for the kind's prefix and the next number.
    """

    kind: str
    nets: Mapping[str, int]
    value: float | str | None = None
    unit: str = ""
    name: str = ""


def circuit_of(specs: Iterable[PartSpec], kit: Kit) -> Circuit:
    """A circuit from its parts and nets, for what knows no plate: netlists, placement, handbooks.

    Parts are known by their names: in sentences, settings (`Conditions`) and measuring places (`Probe`)
    the name stands where a cell stands otherwise.

    Raises:
        InputError: a kind is not in the kit or is no part, a terminal is missing or unknown, a net number is
            below zero, a name is none or is there twice.
    """
    names = PartNames()
    taken: set[str] = set()
    parts: list[Part] = []
    for spec in specs:
        kind = kit.kinds.get(spec.kind)
        if kind is None or not is_part(kind):
            known = ", ".join(sorted(name for name, k in kit.kinds.items() if is_part(k)))
            raise InputError(
                tr("'{kind}' is no part of the kit '{name}'.", kind=spec.kind, name=kit.name),
                place=spec.name or None,
                way_out=tr("Kinds in the kit: {known}.", known=known),
            )
        numbered = names.next(kind)
        name = spec.name or numbered
        if not _NAME.fullmatch(name):
            raise InputError(
                tr("'{name}' is no name of a part.", name=name),
                way_out=tr("Write a letter, then letters and digits, 12 at most, such as R112."),
            )
        if name in taken:
            raise InputError(tr("two parts are called {name}.", name=name), place=name)
        taken.add(name)
        if set(spec.nets) != set(kind.terminals) or any(net < 0 for net in spec.nets.values()):
            raise InputError(
                tr("a {kind} has the terminals {names}.",
                   kind=tr(kind.title), names=", ".join(kind.terminals)),
                place=name,
                way_out=tr("Give each of them the number of its net, 0 for the plate."),
            )  # fmt: skip
        nets = {terminal: spec.nets[terminal] for terminal in kind.terminals}
        cube = Cube(spec.kind, 0, spec.value, unit=spec.unit, size=kind.size)
        parts.append(Part(None, cube, kind, name, nets))
    return circuit_of_parts(parts, Board(1, 1), kit)


def circuit_of_parts(
    parts: Iterable[Part],
    board: Board,
    kit: Kit,
    *,
    others: Mapping[tuple[Spot, str], int] | None = None,
    end_net: Mapping[LeadEnd, int] | None = None,
) -> Circuit:
    """A circuit whose nets are given, not made by cubes that touch.

    Args:
        parts: with their nets.
        board: what they are said to stand on.
        kit: of the parts.
        others: nets of terminals of cubes that are no parts, such as sockets.
        end_net: nets of places for plugs.
    """
    made = tuple(parts)
    at = {(part.at, name): net for part in made for name, net in part.nets.items()} | dict(others or {})
    return Circuit(board, kit, made, _Given(max(at.values(), default=0) + 1, at, end_net or {}))


@dataclass(frozen=True)
class _Given:
    """Nets that were given."""

    size: int
    terminal_net: Mapping[tuple[Spot, str], int]
    end_net: Mapping[LeadEnd, int]

    def nets(self, parts: tuple[Part, ...]) -> tuple[Net, ...]:
        terminals: list[list[Terminal]] = [[] for _ in range(self.size)]
        for part in parts:
            for name, net in part.nets.items():
                terminals[net].append(Terminal(part.at, name))
        return tuple(Net(number, (), tuple(there)) for number, there in enumerate(terminals))

    def half_made(self) -> tuple[HalfMade, ...]:
        return ()

    def net_of(self, cell: Spot, terminal: str) -> int | None:
        return self.terminal_net.get((cell, terminal))

    def net_at(self, cell: Cell, side: Side) -> int | None:
        return None
