"""Which stand-ins keep what a design promises: tried one after the other, proved by calculation."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from snapcheck.board import Board, Cell, Cube, Design, legs_of
from snapcheck.box._inventory import Box
from snapcheck.box._needs import Need, Needs
from snapcheck.box._pieces import Piece, piece_of, serves
from snapcheck.box._standins import Standin, standins
from snapcheck.kit import Kit
from snapcheck.watch import stop_if_asked

#: so many stand-ins are tried for one sort of cube
MOST_TRIES = 8


@dataclass(frozen=True)
class Proof:
    """What the calculation says of a changed design.

    Attributes:
        met: whether it keeps every promised figure; None where nothing is promised, or nothing could be
            calculated.
        unmet: figures that are not met, each in one line.
        against: what the rules have against it that they do not have against the plan, in words.
    """

    met: bool | None
    unmet: tuple[str, ...] = ()
    against: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """True where it does what the plan does."""
        return self.met is True and not self.against


Prove = Callable[[Design], Proof]


@dataclass(frozen=True)
class Swap:
    """A stand-in for one sort of cube.

    Attributes:
        need: what is short.
        standin: the one that does; of several tried in vain the first; None: the box has none.
        cells: where it stands on each bench that uses it.
        benches: how many benches use it.
        room: cells of straight wires in whose place the second cube of each pair can stand; empty where it
            is one cube, or where the layout has no such room.
        proof: of it, together with the swaps before it.
        tried: how many were tried.
    """

    need: Need
    standin: Standin | None
    cells: tuple[Cell, ...]
    benches: int
    room: tuple[Cell, ...] = ()
    proof: Proof = Proof(None)
    tried: int = 0


@dataclass(frozen=True)
class Swaps:
    """Stand-ins for all that is short, and the design with all of them in their places."""

    swaps: tuple[Swap, ...]
    design: Design
    proof: Proof

    @property
    def mend(self) -> bool:
        """True where every short cube has a stand-in and all of them together keep the figures."""
        return all(s.standin is not None for s in self.swaps) and self.proof.holds


def find_swaps(design: Design, told: Needs, box: Box, kit: Kit, prove: Prove) -> Swaps:
    """A stand-in for each sort of cube that is short, proved one upon the other.

    Args:
        design: what is to be built.
        told: what it needs (`needs`).
        box, kit: what there is.
        prove: calculates a changed design.
    """
    left = _left(told, box, kit)
    found: list[Swap] = []
    changed, proof = design, Proof(None)
    for need in told.short:
        cells = tuple(c for c, cube in design.board.cubes.items() if piece_of(cube, kit) == need.piece)
        benches = told.benches - need.there // len(cells)
        if told.benches == 1:  # what is there is used
            cells = cells[-need.missing :]
        swap = _try(need, cells, benches, changed, left, kit, prove)
        found.append(swap)
        if swap.standin is not None:
            changed, _ = _with(changed, cells, swap.standin, kit)
            proof = swap.proof
            left -= Counter({p: benches * len(cells) for p in set(swap.standin.pieces)})
            if swap.standin.pieces[0] == swap.standin.pieces[-1] and swap.standin.join:
                left[swap.standin.pieces[0]] -= benches * len(cells)
    return Swaps(tuple(found), changed, proof)


def _left(told: Needs, box: Box, kit: Kit) -> Counter[Piece]:
    """What the box holds beyond what the design itself uses."""
    left = Counter(box.cubes)
    for need in told.cubes:
        wanted = min(need.needed, need.there)
        for stock in sorted((s for s in left if serves(s, need.piece, kit)), key=lambda s: s.rated_V or 0.0):
            taken = min(wanted, left[stock])
            left[stock] -= taken
            wanted -= taken
    return left


def _try(
    need: Need,
    cells: tuple[Cell, ...],
    benches: int,
    design: Design,
    left: Counter[Piece],
    kit: Kit,
    prove: Prove,
) -> Swap:
    first: Swap | None = None
    tries = standins(need.piece, left, benches * len(cells), kit)[:MOST_TRIES]
    for number, standin in enumerate(tries, start=1):
        stop_if_asked()
        changed, room = _with(design, cells, standin, kit)
        swap = Swap(need, standin, cells, benches, room, prove(changed), number)
        if swap.proof.holds or swap.proof.met is None:
            return swap
        first = first or swap
    return replace(first, tried=len(tries)) if first else Swap(need, None, cells, benches)


def _with(
    design: Design, cells: Sequence[Cell], standin: Standin, kit: Kit
) -> tuple[Design, tuple[Cell, ...]]:
    """The design with a stand-in in these cells; the second cube of a pair in series stands in the place of
    a straight wire beside the first where there is one for each, else one cube has the value of both."""
    board = design.board
    rooms = [_straight_beside(board, cell, kit) for cell in cells] if standin.join == "series" else [None]
    rooms_found = tuple(r for r in rooms if r is not None)
    placed = len(rooms_found) == len(cells) and len(set(rooms_found)) == len(rooms_found)
    cubes: dict[Cell, Cube] = {}
    for number, cell in enumerate(cells):
        old = board.cubes[cell]
        one = standin.pieces[0].value if placed else standin.value
        cubes[cell] = replace(old, value=one, printed=None)
        if placed:
            cubes[rooms_found[number]] = replace(old, value=standin.pieces[-1].value, printed=None)
    return replace(design, board=board.put(cubes)), rooms_found if placed else ()


def _straight_beside(board: Board, cell: Cell, kit: Kit) -> Cell | None:
    """The cell of a straight wire in line with a cube of two legs, without a tap on its seams."""
    cube = board.cubes[cell]
    if cube.large:
        return None
    for side in dict.fromkeys(leg.side for leg in legs_of(cell, cube, kit[cube.kind])):
        beside = cell.neighbour(side)
        other = board.cubes.get(beside)
        if (
            other is None
            or other.kind != "straight"
            or any(beside in (s.first, s.second) for s in board.taps)
        ):
            continue
        if side in kit["straight"].sides("wire", other.turn):
            return beside
    return None
