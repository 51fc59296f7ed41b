"""The board: a plate with everything on it, as an immutable value."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from snapcheck.board._place import Cell, Seam
from snapcheck.errors import InputError
from snapcheck.kit import Side, lying
from snapcheck.words import tr

TURNS = (0, 90, 180, 270)

_ONE_CELL = (1, 1)

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
        size: columns and rows of cells that it covers at turn 0; those of its kind.
    """

    kind: str
    turn: int = 0
    value: Value = None
    printed: str | None = None
    unit: str = ""
    size: tuple[int, int] = _ONE_CELL

    def __post_init__(self) -> None:
        if self.turn not in TURNS:
            raise InputError(tr("turn {turn} is not one of 0, 90, 180, 270.", turn=self.turn))

    @property
    def large(self) -> bool:
        """True for a cube of more than one cell."""
        return self.size != _ONE_CELL

    @property
    def lies(self) -> tuple[int, int]:
        """Columns and rows of cells that it covers as it stands."""
        return lying(self.size, self.turn)

    def cells(self, anchor: Cell) -> tuple[Cell, ...]:
        """The cells it covers, row by row, when `anchor` is the upper left one of them."""
        if self.size == _ONE_CELL:
            return (anchor,)
        columns, rows = self.lies
        return tuple(
            Cell(anchor.row + row, anchor.column + column) for row in range(rows) for column in range(columns)
        )

    def anchor_after(self, anchor: Cell, move: Callable[[Cell], Cell]) -> Cell:
        """The upper left of its cells after each of them has been moved (turned, shifted, mirrored)."""
        return min(map(move, self.cells(anchor)))


@dataclass(frozen=True, order=True)
class TapEnd:
    """The socket on top of a tap."""

    seam: Seam

    def __str__(self) -> str:
        return f"tap {self.seam}"


@dataclass(frozen=True, order=True)
class SocketEnd:
    """One of the two sockets of a socket cube; `side` names it as at turn 0 (E signal, W plate).

    `cell` is the upper left one of the cube's cells.
    """

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

    `cubes` has each cube once, at the upper left of the cells it covers as it stands: its anchor. Which cube
    covers a cell, say `anchor_at` and `cube_at`.

    Raises:
        InputError: something lies outside the plate, or two cubes cover one cell. (Whether a lead's end
        exists, or a tap has two cubes beside it, is a matter for checks: a photo may well show such a build.)
    """

    columns: int
    rows: int
    cubes: Mapping[Cell, Cube] = field(default_factory=dict)
    taps: frozenset[Seam] = frozenset()
    leads: tuple[Lead, ...] = ()
    #: cell to anchor, for every cell of a cube of several cells
    _large: Mapping[Cell, Cell] = field(init=False, repr=False, compare=False)

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
        object.__setattr__(self, "_large", self._covered(ordered))
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

    def _covered(self, cubes: Mapping[Cell, Cube]) -> dict[Cell, Cell]:
        large: dict[Cell, Cell] = {}
        for anchor, cube in [(c, q) for c, q in cubes.items() if q.size != _ONE_CELL]:
            columns, rows = cube.lies
            if not self.fits(anchor, cube):
                raise InputError(
                    tr(
                        "the cube at {cell} covers {across} x {down} cells and reaches beyond the plate of "
                        "{columns} columns and {rows} rows.",
                        cell=anchor,
                        across=columns,
                        down=rows,
                        columns=self.columns,
                        rows=self.rows,
                    ),
                    way_out=tr("Make the plate larger, or put the cube elsewhere."),
                )
            for cell in cube.cells(anchor):
                other = large.get(cell, cell if cell in cubes else anchor)
                if other != anchor:
                    raise InputError(
                        tr("the cubes at {a} and {b} both cover {cell}.", a=other, b=anchor, cell=cell),
                        way_out=tr("Move one of them, or turn it."),
                    )
                large[cell] = anchor
        return large

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

    def anchor_at(self, cell: Cell) -> Cell | None:
        """The anchor of the cube that covers a cell, None for an empty cell."""
        return cell if cell in self.cubes else self._large.get(cell)

    def cube_at(self, cell: Cell) -> Cube | None:
        """The cube that covers a cell, None for an empty cell."""
        return self.cubes.get(self._large.get(cell, cell))

    def named(self, cell: Cell) -> Cell:
        """How a cell is called in messages: by the anchor of the cube that covers it, else as it is."""
        return self._large.get(cell, cell)

    @property
    def occupied(self) -> Iterable[Cell]:
        """Every cell that a cube covers."""
        return {**self.cubes, **self._large} if self._large else self.cubes.keys()

    @property
    def plain(self) -> bool:
        """True where every cube covers one cell."""
        return not self._large

    def fits(self, anchor: Cell, cube: Cube | None) -> bool:
        """True where the plate has every cell that the cube would cover (nothing fits anywhere)."""
        columns, rows = (1, 1) if cube is None else cube.lies
        return anchor.column + columns <= self.columns and anchor.row + rows <= self.rows

    def within(self, columns: range, rows: range) -> Board:
        """The board with the cubes alone that lie within these columns and rows, and their taps and leads."""
        cubes = {
            anchor: cube for anchor, cube in self.cubes.items()
            if all(c.column in columns and c.row in rows for c in cube.cells(anchor))
        }  # fmt: skip
        taps = frozenset(s for s in self.taps if {self.named(s.first), self.named(s.second)} <= cubes.keys())

        def held(end: LeadEnd) -> bool:
            return end.seam in taps if isinstance(end, TapEnd) else end.cell in cubes

        leads = tuple(lead for lead in self.leads if held(lead.start) and held(lead.end))
        return replace(self, cubes=cubes, taps=taps, leads=leads)

    def put(self, changes: Mapping[Cell, Cube | None]) -> Board:
        """The board with cubes put at anchors (None: taken away); what a new cube would cover makes way."""
        return replace(self, cubes=self.standing([changes]))

    def standing(self, changes: Iterable[Mapping[Cell, Cube | None]]) -> dict[Cell, Cube]:
        """The cubes after changes as for `put`, one after the other."""
        cubes, crowded = dict(self.cubes), not self.plain
        for change in changes:
            new = {cell: cube for cell, cube in change.items() if cube is not None}
            for cell in change.keys() - new.keys():
                cubes.pop(cell, None)
            crowded = crowded or any(cube.size != _ONE_CELL for cube in new.values())
            if crowded:
                taken = {c for cell, cube in new.items() for c in cube.cells(cell)}
                cubes = {c: q for c, q in cubes.items() if c in new or taken.isdisjoint(q.cells(c))}
            cubes.update(new)
        return cubes

    def anchors_after(self, move: Callable[[Cell], Cell]) -> Callable[[Cell], Cell]:
        """What `move`, which moves single cells, does to the anchors of this board's cubes.

        After a turn another cell of a cube is its upper left one. Cells where no cube has its anchor move
        as they are.
        """
        if self.plain:
            return move

        def moved(cell: Cell) -> Cell:
            cube = self.cubes.get(cell)
            return move(cell) if cube is None else cube.anchor_after(cell, move)

        return moved

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

        return self.moved((self.columns, self.rows), move, lambda cube: cube)

    def moved(
        self, size: tuple[int, int], move: Callable[[Cell], Cell], stand: Callable[[Cube], Cube]
    ) -> Board:
        """Everything moved cell by cell onto a plate of `size` (columns, rows).

        Args:
            size: of the plate.
            move: a cell to where it comes to lie; neighbours stay neighbours.
            stand: a cube to the same as it then stands.

        Raises:
            InputError: something falls off.
        """

        def seam(s: Seam) -> Seam:
            return Seam.between(move(s.first), move(s.second))

        anchor = self.anchors_after(move)

        def end(e: LeadEnd) -> LeadEnd:
            return TapEnd(seam(e.seam)) if isinstance(e, TapEnd) else SocketEnd(anchor(e.cell), e.side)

        return Board(
            *size,
            {anchor(cell): stand(cube) for cell, cube in self.cubes.items()},
            frozenset(seam(s) for s in self.taps),
            tuple(Lead(end(lead.start), end(lead.end)) for lead in self.leads),
        )


def _lead_key(lead: Lead) -> tuple[str, ...]:
    return tuple(sorted(map(str, lead.ends)))


def _quarter_turn(board: Board) -> Board:
    rows = board.rows
    return board.moved(
        (board.rows, board.columns),
        lambda c: Cell(c.column, rows - 1 - c.row),
        lambda cube: replace(cube, turn=(cube.turn + 90) % 360),
    )
