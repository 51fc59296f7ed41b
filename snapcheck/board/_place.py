"""Where things stand on the plate: cells, sides, turns and seams."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

from snapcheck.errors import InputError
from snapcheck.kit import Side
from snapcheck.words import tr

_CELL = re.compile(r"([A-Za-z]{1,2})([0-9]{1,2})")


#: (column, row) step towards each side; rows count downwards
STEP: dict[Side, tuple[int, int]] = {
    Side.N: (0, -1),
    Side.E: (1, 0),
    Side.S: (0, 1),
    Side.W: (-1, 0),
}


class Cell(NamedTuple):
    """One cell of the plate; `row` and `column` count from 0, so `A1` is (row 0, column 0)."""

    row: int
    column: int

    @classmethod
    def parse(cls, text: str) -> Cell:
        """Read an address such as ``C3`` (letter: column from the left, number: row from the top).

        Raises:
            InputError: the text is no cell address.
        """
        match = _CELL.fullmatch(text.strip())
        if not match or int(match[2]) < 1:
            raise InputError(
                tr("'{text}' is no cell address.", text=text),
                way_out=tr("Write a column letter and a row number counted from the top, such as C3."),
            )
        column = 0
        for letter in match[1].upper():
            column = column * 26 + ord(letter) - ord("A") + 1
        return cls(int(match[2]) - 1, column - 1)

    def __str__(self) -> str:
        return f"{column_letters(self.column)}{self.row + 1}"

    def beside(self, row: int, column: int) -> Cell:
        """The cell so many rows further down and columns further right."""
        return Cell(self.row + row, self.column + column)

    def neighbour(self, side: Side) -> Cell:
        """The cell beyond `side`; it may lie off the plate (negative numbers)."""
        dx, dy = STEP[side]
        return Cell(self.row + dy, self.column + dx)


#: what something in a circuit is called by: the cell where it stands, its name where it stands nowhere
Spot = Cell | str


def cell_of(spot: Spot) -> Cell:
    """The cell that a spot is; raises ValueError for a name, which stands on no plate."""
    if isinstance(spot, str):
        raise ValueError(f"{spot} stands on no plate")
    return spot


def column_letters(column: int) -> str:
    """``A`` for column 0, ``Z`` for 25, ``AA`` for 26."""
    letters = ""
    column += 1
    while column > 0:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


@dataclass(frozen=True, order=True)
class Seam:
    """The seam between two neighbouring cells, in a fixed order (upper or left cell first)."""

    first: Cell
    second: Cell

    @classmethod
    def between(cls, a: Cell, b: Cell) -> Seam:
        """Raises InputError when the cells do not share a side."""
        if abs(a.row - b.row) + abs(a.column - b.column) != 1:
            raise InputError(
                tr("{a} and {b} do not share a side.", a=a, b=b),
                way_out=tr("A tap sits in the seam between two cells that touch, such as C4|D4."),
            )
        return cls(*sorted((a, b)))

    @classmethod
    def parse(cls, text: str) -> Seam:
        """Read ``C4|D4``."""
        parts = text.split("|")
        if len(parts) != 2:
            raise InputError(
                tr("'{text}' is no seam.", text=text),
                way_out=tr("Write two neighbouring cells, such as C4|D4."),
            )
        return cls.between(Cell.parse(parts[0]), Cell.parse(parts[1]))

    @property
    def vertical(self) -> bool:
        """True when the seam line itself runs up and down (cells lie side by side)."""
        return self.first.row == self.second.row

    @property
    def sides(self) -> tuple[Side, Side]:
        """The side of `first` and the side of `second` that meet here."""
        return (Side.E, Side.W) if self.vertical else (Side.S, Side.N)

    def __str__(self) -> str:
        return f"{self.first}|{self.second}"
