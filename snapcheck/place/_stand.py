"""Every way in which a part may stand on the plate, with the ground cubes that its plate terminals need."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from snapcheck.devices import Store
from snapcheck.kit import Kind, Kit, Side
from snapcheck.place._flow import Flow
from snapcheck.place._list import Item, PartsAndNets
from snapcheck.place._route import Grid, Pin
from snapcheck.watch import stop_if_asked

#: how much it counts that a part stands upside down or against the signal's way, in cells of wire for a whole
#: height or length of the circuit, and how much more for a part of three legs
_UPSIDE_DOWN, _BACKWARDS, _OF_THREE = 2.6, 1.6, 1.5
#: and that it lies far from where height and distance of its nets would have it: for the whole plate, and for
#: each row or column that the plate has
_TOO_LOW, _TOO_FAR = 0.4, 0.6
#: a ground cube whose stem points up, right, down, left: the plate is below
_GROUND_LIES = (0.0, 0.5, 1.2, 0.5)
#: heights at the ends of a coupling capacitor say little
_COUPLING = 0.15
#: a contact that joins nothing
NOTHING = -1


Span = tuple[int, int, int, int]


class Stand(NamedTuple):
    """One way in which a part may stand.

    Attributes:
        mask: the cells that it and its grounds cover.
        pins: net to its contacts that the net joins.
        spans: net to the rows and columns of where its wires may begin: first and last row, first and last
            column.
        faces: every contact, as 4 · cell + side, to its net (`NOTHING` for one that must stay alone).
        grounds: cell of each ground cube to the side of its stem.
        turn, row, column: of the cube at its anchor.
        cost: what a teacher would object to, in cells of wire.
    """

    mask: int
    pins: Mapping[int, tuple[Pin, ...]]
    spans: Mapping[int, Span]
    faces: Mapping[int, int]
    grounds: tuple[tuple[int, Side], ...]
    turn: int
    row: int
    column: int
    cost: float


@dataclass(frozen=True)
class Piece:
    """A part with all the ways in which it may stand.

    Attributes:
        item: the part.
        stands: all of them.
        at: (turn, row, column) to the one.
        turns: those that differ.
        nets: the numbers of its nets.
    """

    item: Item
    stands: tuple[Stand, ...]
    at: Mapping[tuple[int, int, int], Stand]
    turns: tuple[int, ...]
    nets: frozenset[int]


def pieces_of(
    wanted: PartsAndNets, kit: Kit, grid: Grid, numbers: Mapping[str, int], flow: Flow
) -> list[Piece]:
    """Every part of a list with the ways in which it may stand; none where the plate is too small for it."""
    group = 0
    pieces = []
    for item in wanted.items:
        stop_if_asked()
        kind = kit[item.kind]
        at = {}
        tastes = {turn: _taste(item, kind, turn, wanted, flow) for turn in (0, 90, 180, 270)}
        best = max(tastes.values())
        for turn, taste in tastes.items():
            for row in range(grid.rows):
                for column in range(grid.columns):
                    stand = _stand(item, kind, (turn, row, column), grid, numbers, wanted, group)
                    if stand is not None:
                        far = best - taste + _far(stand, item, kind, grid, flow)
                        at[turn, row, column] = stand._replace(cost=far)
        group += len(kind.terminals)
        turns = tuple(dict.fromkeys(turn for turn, _, _ in at))
        nets = frozenset(numbers[n] for n in item.nets.values() if n is not None and n in numbers)
        pieces.append(Piece(item, tuple(at.values()), at, turns, nets))
    return pieces


def _stand(
    item: Item,
    kind: Kind,
    place: tuple[int, int, int],
    grid: Grid,
    numbers: Mapping[str, int],
    wanted: PartsAndNets,
    group: int,
) -> Stand | None:
    """One way to stand, None where it does not fit on the plate."""
    turn, row, column = place
    across, down = kind.lies(turn)
    if row + down > grid.rows or column + across > grid.columns:
        return None
    mask = sum(1 << grid.index(row + r, column + c) for r in range(down) for c in range(across))
    pins: list[Pin] = []
    faces: dict[int, int] = {}
    grounds: list[tuple[int, Side]] = []
    reached: dict[str, bool] = {}
    for side, terminal, r, c in kind.contacts_at[turn]:
        cell = grid.index(row + r, column + c)
        beyond = grid.beyond(cell, side)
        net = item.nets.get(terminal)
        if terminal in kind.on_plate or net == wanted.plate:
            if terminal in kind.on_plate or reached.get(terminal):
                faces[4 * cell + side] = NOTHING
                continue
            if beyond < 0 or mask >> beyond & 1:
                return None
            reached[terminal] = True
            grounds.append((beyond, side.opposite))
            mask |= 1 << beyond
            continue
        number = numbers.get(net or "", NOTHING)
        faces[4 * cell + side] = number
        if number != NOTHING:
            pins.append(Pin(number, group + kind.terminals.index(terminal), cell, int(side), beyond))
            reached[terminal] = reached.get(terminal, False) or beyond >= 0
    if not all(reached.values()):
        return None
    by_net = {net: tuple(pin for pin in pins if pin.net == net) for net in dict.fromkeys(p.net for p in pins)}
    spans = {net: _span(found, grid) for net, found in by_net.items()}
    return Stand(mask, by_net, spans, faces, tuple(grounds), turn, row, column, 0.0)


def _span(pins: Sequence[Pin], grid: Grid) -> Span:
    places = [divmod(pin.access if pin.access >= 0 else pin.cell, grid.width) for pin in pins]
    rows, columns = [row for row, _ in places], [column for _, column in places]
    return min(rows), max(rows), min(columns), max(columns)


def _taste(item: Item, kind: Kind, turn: int, wanted: PartsAndNets, flow: Flow) -> float:
    """How well a turn goes with supply above, ground below, and signal from left to right."""
    ends = [
        (side, net) for side, terminal, _, _ in kind.contacts_at[turn] if (net := item.nets.get(terminal))
    ]
    if len(ends) < 2 and not (ends and kind.on_plate):
        return 0.0
    stiff = flow.rails | {wanted.plate}
    height = {net: flow.height[net] for _, net in ends}
    along = {net: flow.along[net] for _, net in ends if net not in flow.everywhere}
    up = right = 0.0
    middle = sum(height.values()) / len(height)
    level = sum(along.values()) / len(along) if along else 0.0
    weight = _COUPLING if kind.device.store is Store.CHARGE and not stiff & height.keys() else 1.0
    for side, net in ends:
        if side in (Side.N, Side.S) and len(height) > 1:
            up += weight * (height[net] - middle) * (1 if side is Side.N else -1)
        if side in (Side.E, Side.W) and net in along:
            # an input's or output's only contact looks into the circuit
            sense = along[net] - level if len(along) > 1 else 0.5 - along[net] if len(ends) == 1 else 0.0
            right += sense * (1 if side is Side.E else -1)
    # a transistor is known by how it stands
    return (_UPSIDE_DOWN * up + _BACKWARDS * right) * (_OF_THREE if len(ends) > 2 else 1.0)


def _far(stand: Stand, item: Item, kind: Kind, grid: Grid, flow: Flow) -> float:
    """How far it stands from where its nets would have it."""
    nets = [net for net in item.nets.values() if net]
    if not nets:
        return 0.0
    height = sum(flow.height[net] for net in nets) / len(nets)
    along = [flow.along[net] for net in nets if net not in flow.everywhere]
    columns, rows = max(grid.columns - 1, 1), max(grid.rows - 1, 1)
    across, down = kind.lies(stand.turn)
    x = (stand.column + (across - 1) / 2) / columns
    y = 1 - (stand.row + (down - 1) / 2) / rows
    cost = _TOO_LOW * grid.rows * (y - height) ** 2 + sum(_GROUND_LIES[side] for _, side in stand.grounds)
    if along:
        cost += _TOO_FAR * grid.columns * (x - sum(along) / len(along)) ** 2
    elif kind.device.supplies:
        cost += _TOO_FAR * grid.columns * 0.5 * x**2
    return cost
