"""The board: a plate with everything on it, as an immutable value."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from snapcheck.board._place import Cell, Seam
from snapcheck.errors import InputError
from snapcheck.kit import Side
from snapcheck.words import tr

TURNS = (0, 90, 180, 270)

#: a value in SI units (ohm, farad, henry, volt, ampere), or the printed word (type, colour), or none
Value = float | str | None


@dataclass(frozen=True)
class Cube:
    """One component block.

    Attributes:
        kind: name of its kind in the kit, such as ``resistor``.
        turn: 0, 90, 180 or 270, degrees clockwise from the reference drawing.
        value: SI number, or the printed word, or None.
        printed: the text on its top as printed, or None.
        unit: ``V``, ``A``, ``mA`` for a meter, else "".
    """

    kind: str
    turn: int = 0
    value: Value = None
    printed: str | None = None
    unit: str = ""

    def __post_init__(self) -> None:
        if self.turn not in TURNS:
            raise InputError(tr("turn {turn} is not one of 0, 90, 180, 270.", turn=self.turn))


@dataclass(frozen=True, order=True)
class TapEnd:
    """The socket on top of a tap."""

    seam: Seam

    def __str__(self) -> str:
        return f"tap {self.seam}"


@dataclass(frozen=True, order=True)
class SocketEnd:
    """One of the two sockets of a socket cube; `side` names it as at turn 0 (E signal, W plate)."""

    cell: Cell
    side: Side

    def __str__(self) -> str:
        return f"socket {self.cell} {self.side.name}"


LeadEnd = TapEnd | SocketEnd


def parse_end(text: str) -> LeadEnd:
    """Read ``tap C4|D4`` or ``socket F1 E``; raises InputError for anything else."""
    words = text.split()
    if len(words) == 2 and words[0] == "tap":
        return TapEnd(Seam.parse(words[1]))
    if len(words) == 3 and words[0] == "socket" and words[2] in ("E", "W"):
        return SocketEnd(Cell.parse(words[1]), Side[words[2]])
    raise InputError(
        tr("'{text}' is no lead end.", text=text),
        way_out=tr("Write 'tap C4|D4', 'socket F1 E' or 'socket F1 W'."),
    )


@dataclass(frozen=True)
class Lead:
    """An insulated wire from one socket to another; the order of its ends means nothing."""

    start: LeadEnd
    end: LeadEnd

    @property
    def ends(self) -> frozenset[LeadEnd]:
        return frozenset((self.start, self.end))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Lead) and self.ends == other.ends

    def __hash__(self) -> int:
        return hash(self.ends)

    def __str__(self) -> str:
        return f"{self.start} to {self.end}"


@dataclass(frozen=True)
class Board:
    """The plate with cubes in cells, taps on seams, and leads between sockets and taps.

    Raises:
        InputError: something lies outside the plate. (Whether a lead's end exists, or a tap has
        two cubes beside it, is a matter for checks: a photo may well show such a build.)
    """

    columns: int
    rows: int
    cubes: Mapping[Cell, Cube] = field(default_factory=dict)
    taps: frozenset[Seam] = frozenset()
    leads: tuple[Lead, ...] = ()

    def __post_init__(self) -> None:
        if not (1 <= self.columns <= 52 and 1 <= self.rows <= 99):
            raise InputError(
                tr(
                    "a plate of {columns} columns and {rows} rows is not possible.",
                    columns=self.columns,
                    rows=self.rows,
                ),
                way_out=tr("Use 1 to 52 columns and 1 to 99 rows."),
            )
        ordered = dict(sorted(self.cubes.items()))
        object.__setattr__(self, "cubes", MappingProxyType(ordered))
        for cell in ordered:
            self._require(cell)
        for seam in self.taps:
            self._require(seam.first)
            self._require(seam.second)
        for lead in self.leads:
            for end in lead.ends:
                cells = (end.seam.first, end.seam.second) if isinstance(end, TapEnd) else (end.cell,)
                for cell in cells:
                    self._require(cell)

    def _require(self, cell: Cell) -> None:
        if not (0 <= cell.row < self.rows and 0 <= cell.column < self.columns):
            raise InputError(
                tr(
                    "{cell} lies outside the plate of {columns} columns and {rows} rows.",
                    cell=cell,
                    columns=self.columns,
                    rows=self.rows,
                )
            )

    def __hash__(self) -> int:
        return hash((self.columns, self.rows, tuple(self.cubes.items()), self.taps, frozenset(self.leads)))

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, Board)
            and (self.columns, self.rows) == (other.columns, other.rows)
            and dict(self.cubes) == dict(other.cubes)
            and self.taps == other.taps
            and sorted(map(_lead_key, self.leads)) == sorted(map(_lead_key, other.leads))
        )

    def cells(self) -> Iterable[Cell]:
        """Every cell of the plate, row by row."""
        return (Cell(row, column) for row in range(self.rows) for column in range(self.columns))

    def turned(self, degrees: int) -> Board:
        """The same board seen after turning it clockwise by a multiple of 90 degrees."""
        board = self
        for _ in range(degrees // 90 % 4):
            board = _quarter_turn(board)
        return board

    def shifted(self, columns: int, rows: int) -> Board:
        """Everything moved right by `columns` and down by `rows`; raises InputError if it falls off."""

        def move(cell: Cell) -> Cell:
            return Cell(cell.row + rows, cell.column + columns)

        return _moved(self, self.columns, self.rows, move, 0)


def _lead_key(lead: Lead) -> tuple[str, ...]:
    return tuple(sorted(map(str, lead.ends)))


def _quarter_turn(board: Board) -> Board:
    rows = board.rows
    return _moved(board, board.rows, board.columns, lambda c: Cell(c.column, rows - 1 - c.row), 90)


def _moved(board: Board, columns: int, rows: int, move: Callable[[Cell], Cell], degrees: int) -> Board:
    def seam(s: Seam) -> Seam:
        return Seam.between(move(s.first), move(s.second))

    def end(e: LeadEnd) -> LeadEnd:
        return TapEnd(seam(e.seam)) if isinstance(e, TapEnd) else SocketEnd(move(e.cell), e.side)

    return Board(
        columns,
        rows,
        {move(cell): replace(cube, turn=(cube.turn + degrees) % 360) for cell, cube in board.cubes.items()},
        frozenset(seam(s) for s in board.taps),
        tuple(Lead(end(lead.start), end(lead.end)) for lead in board.leads),
    )
