"""Cubes as they lie in a box: alike are those with the same print, whichever way round they stand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from snapcheck.board import Board, Cube, Value
from snapcheck.errors import InputError
from snapcheck.kit import Kit, ValueForm, format_value, parse_value, usual_spelling
from snapcheck.words import tr


@dataclass(frozen=True)
class Piece:
    """Cubes that may stand for each other.

    Attributes:
        kind: name of the kind.
        value: SI number, or the word in its usual spelling, or None.
        unit: of a meter, else "".
        rated_V: rated voltage printed beside a capacitance, or None.
    """

    kind: str
    value: Value = None
    unit: str = ""
    rated_V: float | None = None

    @property
    def bare(self) -> Piece:
        """Without the rated voltage."""
        return Piece(self.kind, self.value, self.unit)


def piece_of(cube: Cube, kit: Kit) -> Piece:
    """What a cube counts as in the box."""
    kind = kit[cube.kind]
    value: Value = cube.value
    if kind.value_form is ValueForm.NONE:
        return Piece(cube.kind)
    if isinstance(value, str):
        value = usual_spelling(value, kind.value_form)
    rated = None
    if kind.value_form is ValueForm.FARADS and cube.printed:
        try:
            rated = parse_value(cube.printed, kind.value_form).rated_V
        except InputError:
            rated = None
    return Piece(cube.kind, value, cube.unit, rated)


def pieces_of(cubes: Iterable[Cube] | Board, kit: Kit) -> Counter[Piece]:
    """How many of each piece there are among cubes, or on a board."""
    found = cubes.cubes.values() if isinstance(cubes, Board) else cubes
    return Counter(piece_of(cube, kit) for cube in found)


def cube_of(piece: Piece, kit: Kit, turn: int = 0) -> Cube:
    """A cube with this print."""
    return Cube(piece.kind, turn, piece.value, print_of(piece, kit) or None, piece.unit, kit[piece.kind].size)


def print_of(piece: Piece, kit: Kit) -> str:
    """What stands on such a cube, "" for nothing."""
    form = kit[piece.kind].value_form
    if form is ValueForm.NONE or piece.value is None:
        return ""
    text = format_value(piece.value, form, unit=piece.unit)
    return text if piece.rated_V is None else f"{text}/{piece.rated_V:g}V"


def piece_words(piece: Piece, kit: Kit) -> str:
    """Such as "resistor 4k7"."""
    return f"{tr(kit[piece.kind].title)} {print_of(piece, kit)}".strip()


def order(piece: Piece, kit: Kit) -> tuple[int, float, str]:
    """Where a piece stands in a list: by the kit's kinds, numbers by size."""
    number = piece.value if isinstance(piece.value, float) else 0.0
    return list(kit.kinds).index(piece.kind), number, str(piece.value)


def serves(stock: Piece, need: Piece, kit: Kit) -> bool:
    """Whether a piece may stand where another is planned: the same print, and at least its rated voltage."""
    if stock.bare != need.bare:
        return False
    if need.rated_V is None:
        return stock.rated_V is None or stock.rated_V >= _usual_V(need, kit)
    return (stock.rated_V or _usual_V(stock, kit)) >= need.rated_V


def _usual_V(piece: Piece, kit: Kit) -> float:
    """What the kit takes a capacitor for whose print names no voltage."""
    return kit[piece.kind].ratings_for(piece.value).get("max_voltage_V", 0.0)
