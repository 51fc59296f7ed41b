"""From a list of parts to a board that is proved to be its circuit, or to a plain word on why not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from snapcheck.board import Board, Cell, Design, Probe, label_of
from snapcheck.circuit import Sameness
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.kit import Kit
from snapcheck.place._anneal import Laid, Search
from snapcheck.place._cubes import Conductors, conductors
from snapcheck.place._flow import flow_of
from snapcheck.place._list import Item, PartsAndNets
from snapcheck.place._make import board_of, cube_of
from snapcheck.place._route import Grid
from snapcheck.place._stand import pieces_of
from snapcheck.place._text import Stock
from snapcheck.place._wanted import prove
from snapcheck.watch import step
from snapcheck.words import tr

#: steps of one search for each square of a part, and the least of them; where it would be many, several
#: shorter ones from other starts do better
_STEPS, _LEAST, _MANY, _MOST = 500, 8_000, 150_000, 75_000
#: searches from other starts, of which the best counts; some more where something is missing
_STARTS, _MORE = 2, 2
#: larger plates that are tried before giving up, each so much larger than the one before, and with what
#: share of the usual steps
_LARGER, _GROWTH, _HURRY = 6, 1.08, 0.4
#: parts times cells from where on a search would need more than about half a gigabyte
_TOO_MANY = 70_000
#: a plate may have so many columns and rows
_WIDEST, _HIGHEST = 52, 99


@dataclass(frozen=True)
class LaidBoard:
    """A list of parts laid on a plate.

    Attributes:
        design: the board, with title, input and output of the list.
        cells: name of each item to the cell of its cube.
        sameness: what the comparison of its circuit with that of the list says: the same, or that it gave up
            because the circuit is too regular. Which terminals are joined was held against the list
            in any case.
        cost: of the search, for comparing layouts of one list on one plate.
    """

    design: Design
    cells: Mapping[str, Cell]
    sameness: Sameness
    cost: float

    @property
    def board(self) -> Board:
        """The board alone."""
        return self.design.board

    @property
    def leads(self) -> int:
        """Leads that were needed because no wire found a way."""
        return len(self.board.leads)

    @property
    def occupied(self) -> int:
        """Cells that hold a cube."""
        return len(list(self.board.occupied))

    @property
    def cubes(self) -> Mapping[str, int]:
        """How many cubes of each kind it takes."""
        return dict(sorted(Counter(cube.kind for cube in self.board.cubes.values()).items()))


class DoesNotFitError(InputError):
    """The parts cannot be laid on this plate, or not from this box.

    Attributes:
        nearest: the nearest layout that was found, on a larger plate or with leads; None where none was.
    """

    def __init__(self, message: str, *, way_out: str = "", nearest: LaidBoard | None = None) -> None:
        super().__init__(message, way_out=way_out)
        self.nearest = nearest


class _WronglyLaidError(SnapcheckError):
    """A layout that is not the circuit of its list: a mistake in the search itself."""


def lay(
    wanted: PartsAndNets,
    kit: Kit,
    columns: int,
    rows: int,
    *,
    box: Stock | None = None,
    leads: bool = True,
    seed: int = 0,
    effort: float = 1.0,
) -> LaidBoard:
    """Lay a list of parts on a plate: signal from left to right, supply above, ground below, short wires.

    What is given back has been held against the list: every terminal is joined with those that the list
    joins it with and with no other, and `snapcheck.circuit.equivalence` finds no difference.

    Args:
        wanted: the parts and their nets.
        kit: its kinds.
        columns, rows: of the plate.
        box: how many cubes there are; None: as many as are needed.
        leads: whether leads may be taken where no wire finds a way.
        seed: the same seed gives the same layout.
        effort: how long to search, 1 is usual.

    Raises:
        InputError: the list does not fit the kit, or the box holds too few parts for it.
        DoesNotFitError: the plate is too small, or the box holds too few cubes for the wires; its
            `nearest` is what does fit.
        StoppedError: see `snapcheck.watch`.
    """
    _check(wanted, kit)
    Board(columns, rows)  # says what is no plate
    task = _Task(wanted, kit, _joins(wanted, kit, box), seed, effort)
    found = task.on_plate(columns, rows)
    if isinstance(found, LaidBoard) and (leads or not found.leads):
        return found
    nearest = found if isinstance(found, LaidBoard) else None
    larger = next((each for each in task.on_larger(columns, rows) if not each.leads), None)
    ways = [_way(each, (columns, rows)) for each in (larger, nearest) if each is not None]
    raise DoesNotFitError(
        tr("{count} parts were not laid on {columns} x {rows}: {why}",
           count=len(wanted.items), columns=columns, rows=rows,
           why=found if isinstance(found, str) else tr("not every wire finds a way, or a cube.")),
        way_out=" ".join(ways) or tr("Nothing near it was found either."),
        nearest=larger or nearest,
    )  # fmt: skip


def _way(layout: LaidBoard, size: tuple[int, int]) -> str:
    """How it does fit."""
    board = layout.board
    if (board.columns, board.rows) != size:
        return tr("It fits on {columns} x {rows}.", columns=board.columns, rows=board.rows)
    if layout.leads == 1:
        return tr("It fits with one lead.")
    return tr("It fits with {count} leads.", count=layout.leads)


@dataclass(frozen=True)
class _Task:
    """What to lay, with what."""

    wanted: PartsAndNets
    kit: Kit
    joins: Conductors
    seed: int
    effort: float

    @property
    def least(self) -> int:
        """Cells that parts and grounds take without any wire."""
        plate = [(item, self.kit[item.kind]) for item in self.wanted.items]
        return sum(kind.size[0] * kind.size[1] + _grounds(item, self.wanted) for item, kind in plate)

    def on_larger(self, columns: int, rows: int) -> Iterator[LaidBoard]:
        """Layouts on larger plates, the smallest first."""
        target = max(self.least, columns * rows)
        more = range(1 + max(3, round((2.5 * target) ** 0.5)))
        sizes = sorted(
            (
                (columns + i, rows + j)
                for i in more
                for j in more
                if i + j and columns + i <= _WIDEST and rows + j <= _HIGHEST
            ),
            key=lambda size: (size[0] * size[1], abs(size[0] * rows - size[1] * columns)),
        )
        area, tried = max(float(self.least), columns * rows + 1), 0
        for size in sizes:
            if size[0] * size[1] < area or tried == _LARGER:
                continue
            area, tried = size[0] * size[1] * _GROWTH, tried + 1
            found = self.on_plate(*size, _HURRY)
            if isinstance(found, LaidBoard):
                yield found

    def on_plate(self, columns: int, rows: int, share: float = 1.0) -> LaidBoard | str:
        """The best layout on one plate, with leads where there is no other way; else why there is none."""
        wanted, grid = self.wanted, Grid(columns, rows)
        if self.least > columns * rows:
            return tr("parts and grounds alone take {least} cells.", least=self.least)
        if len(wanted.items) * columns * rows > _TOO_MANY:
            return tr("that is more than can be laid at once; lay it in parts, or on a smaller plate.")
        names = dict.fromkeys(n for i in wanted.items for n in i.nets.values() if n and n != wanted.plate)
        numbers = {net: n for n, net in enumerate(names)}
        flow = flow_of(wanted, self.kit)
        pieces = pieces_of(wanted, self.kit, grid, numbers, flow)
        rails = frozenset(numbers[net] for net in flow.rails)
        steps = _STEPS * len(pieces) ** 2
        steps = max(steps, _LEAST) if steps < _MANY else _MOST
        steps = int(steps * self.effort * share)
        best: Laid | None = None
        for number in range(_STARTS + _MORE):
            if number >= _STARTS and best is not None and best.complete:
                break
            step(tr("layout {number} on {columns} x {rows}", number=number + 1, columns=columns, rows=rows))
            search = Search(grid, pieces, len(numbers), rails, self.joins, self.seed * 1000 + number)
            if not search.start():
                continue
            laid = search.run(steps)
            if best is None or laid.cost < best.cost:
                best = laid
        if best is None:
            return tr("no room was found for all parts.")
        step(tr("the best layout on {columns} x {rows} made shorter", columns=columns, rows=rows))
        best = search.run(steps, best)
        try:
            board = board_of(best, pieces, grid, self.kit, self.joins)
        except InputError as error:
            return error.message
        cells = {
            piece.item.name: Cell(stand.row, stand.column)
            for piece, stand in zip(pieces, best.stands, strict=True)
        }
        return self._proved(*_in_the_corner(board, cells), best.cost)

    def _proved(self, board: Board, cells: Mapping[str, Cell], cost: float) -> LaidBoard:
        proof = prove(self.wanted, board, cells, self.kit)
        if not proof.holds:
            raise _WronglyLaidError(
                tr("the layout that was found is not the circuit of the list, and is thrown away."),
                way_out=tr("Try another seed, and report this mistake of snapcheck."),
            )
        ends = [
            None if end is None else Probe(cells[end[0]], end[1])
            for end in (self.wanted.input, self.wanted.output)
        ]
        design = Design(board, self.wanted.title, input=ends[0], output=ends[1])
        return LaidBoard(design, cells, proof.sameness, cost)


def _in_the_corner(board: Board, cells: Mapping[str, Cell]) -> tuple[Board, Mapping[str, Cell]]:
    """Everything moved to the upper left, where a person begins to build."""
    used = [*board.occupied, *(cell for seam in board.taps for cell in (seam.first, seam.second))]
    row, column = min(cell.row for cell in used), min(cell.column for cell in used)
    return board.shifted(-column, -row), {n: cell.beside(-row, -column) for n, cell in cells.items()}


def _grounds(item: Item, wanted: PartsAndNets) -> int:
    """How many ground cubes a part needs."""
    return sum(net == wanted.plate for net in item.nets.values())


def _check(wanted: PartsAndNets, kit: Kit) -> None:
    """Raises InputError where the list does not fit the kit."""
    if not wanted.items:
        raise InputError(tr("there is no part in the list."))
    names = Counter(item.name for item in wanted.items)
    for item in wanted.items:
        if names[item.name] > 1:
            raise InputError(tr("'{name}' stands in the list twice.", name=item.name))
        if item.kind not in kit:
            raise InputError(tr("the kit has no kind '{kind}'.", kind=item.kind), place=item.name)
        kind = kit[item.kind]
        needed = {t for t in kind.terminals if t not in kind.on_plate}
        if kind.wire or kind.device.grounds or needed != item.nets.keys():
            raise InputError(
                tr("a {kind} has the terminals {names}.", kind=tr(kind.title),
                   names=", ".join(sorted(needed)) or "-"),
                place=item.name,
                way_out=tr("Say the net of each; wires and grounds do not belong into a list."),
            )  # fmt: skip


def _joins(wanted: PartsAndNets, kit: Kit, box: Stock | None) -> Conductors:
    """What there is for joining; raises InputError where parts or grounds are missing."""
    counts = None if box is None else {name: box.of_kind(name) for name in kit.kinds}
    joins = conductors(kit, counts, Counter(item.kind for item in wanted.items))
    missing = []
    if box is not None:
        needed = Counter((item.kind, item.value) for item in wanted.items)
        labels = {(i.kind, i.value): label_of(cube_of(i, kit[i.kind]), kit[i.kind]) for i in wanted.items}
        for key, count in needed.items():
            have = box.counts.get(key, 0)
            if have < count:
                what = f"{tr(kit[key[0]].title)} {labels[key]}".strip()
                missing.append(tr("{have} of {count} {what}", have=have, count=count, what=what))
    for name, kind in kit.kinds.items() if box is None else ():
        count = sum(item.kind == name for item in wanted.items)
        if kind.count is not None and count > kind.count:
            missing.append(tr("{have} of {count} {what}", have=kind.count, count=count, what=tr(kind.title)))
    grounds = sum(_grounds(item, wanted) for item in wanted.items)
    have = 0
    if joins.ground is not None:
        name = joins.ground[0]
        most = kit[name].count if counts is None else counts[name]
        have = grounds if most is None else most
    if have < grounds:
        missing.append(tr("{have} of {count} {what}", have=have, count=grounds, what=tr("ground")))
    if missing:
        raise InputError(
            tr("the box holds too little: {list}.", list=", ".join(missing)),
            way_out=tr("Take other values, or build fewer."),
        )
    return joins
