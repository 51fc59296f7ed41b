"""A board finely split: every cube's metal, every tap and the plate are points of their own, held together by
joints that can fail. A circuit fuses what touches; here each seam stays a place where something can be wrong.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from snapcheck.board import Board, Cell, Lead, Leg, Seam, Side, SocketEnd, TapEnd, legs
from snapcheck.circuit import Circuit, Part, build_circuit
from snapcheck.kit import Kit

#: the point that is the plate
PLATE_POINT = 0


class Held(enum.StrEnum):
    """What holds two points together."""

    SEAM = "seam"  #: two contacts that touch
    TAP = "tap"  #: a tap on a contact
    LEAD = "lead"  #: a lead between two sockets
    BODY = "body"  #: a cube's body on the plate
    PIN = "pin"  #: a part inside its cube, on the cube's own contact


class Metal(NamedTuple):
    """The metal of one terminal of the cube at `anchor`: one point of the split board."""

    anchor: Cell
    terminal: str


class Joint(NamedTuple):
    """Two points that are held together.

    Attributes:
        first, second: the points.
        held: by what.
        cell: for a tap, body or pin: the cube's anchor.
        seam: where it is (seam, tap).
        lead: which (lead).
        pin: (part name, terminal) of a pin.
    """

    first: int
    second: int
    held: Held
    cell: Cell | None = None
    seam: Seam | None = None
    lead: Lead | None = None
    pin: tuple[str, str] | None = None


@dataclass(frozen=True, eq=False)
class Wiring:
    """The split board.

    Attributes:
        board, kit, circuit: what it was made from; the circuit is the usual one, of fused nets.
        points: how many points there are; 0 is the plate.
        metal: metal of a cube to its point.
        pins: (part name, terminal) to the point of the part's own end, inside its cube.
        joints: what holds points together.
        taps: seam of a tap to the tap's point.
    """

    board: Board
    kit: Kit
    circuit: Circuit
    points: int
    metal: Mapping[Metal, int]
    pins: Mapping[tuple[str, str], int]
    joints: tuple[Joint, ...]
    taps: Mapping[Seam, int]

    @cached_property
    def legs(self) -> tuple[Leg, ...]:
        """Every contact of every cube."""
        return tuple(legs(self.board, self.kit))

    @cached_property
    def point_of_leg(self) -> Mapping[tuple[Cell, Side], int]:
        """Cell and side of a contact to its point."""
        return {(leg.cell, leg.side): self.metal[Metal(leg.anchor, leg.terminal)] for leg in self.legs}

    @cached_property
    def parts(self) -> Mapping[str, Part]:
        """Parts by name."""
        return {part.name: part for part in self.circuit.parts}

    def net_of_points(self, cut: Iterable[int] = ()) -> list[int]:
        """Number of the net of each point when some joints (by index) hold no more; the plate's is 0."""
        without = frozenset(cut)
        parent = list(range(self.points))

        def find(point: int) -> int:
            while parent[point] != point:
                parent[point] = parent[parent[point]]
                point = parent[point]
            return point

        for index, joint in enumerate(self.joints):
            if index not in without:
                a, b = find(joint.first), find(joint.second)
                if a != b:
                    parent[max(a, b)] = min(a, b)
        number: dict[int, int] = {}
        return [number.setdefault(find(point), len(number)) for point in range(self.points)]

    @cached_property
    def whole(self) -> Sequence[int]:
        """Net of each point, nothing failing."""
        return self.net_of_points()


def split(board: Board, kit: Kit) -> Wiring:  # noqa: PLR0912 (one after the other)
    """The split board.

    Raises:
        InputError: a cube's kind is not in the kit.
    """
    circuit = build_circuit(board, kit)
    metal: dict[Metal, int] = {}
    joints: list[Joint] = []
    count = 1
    for anchor, cube in board.cubes.items():
        kind = kit[cube.kind]
        for terminal in kind.terminals:
            metal[Metal(anchor, terminal)] = count
            if terminal in kind.on_plate:
                joints.append(Joint(PLATE_POINT, count, Held.BODY, cell=anchor))
            count += 1
    pins: dict[tuple[str, str], int] = {}
    for part in circuit.parts:
        for terminal in part.nets:
            pin = part.name, terminal
            pins[pin] = count
            joints.append(Joint(metal[Metal(part.cell, terminal)], count, Held.PIN, cell=part.cell, pin=pin))
            count += 1
    at = {(leg.cell, leg.side): leg for leg in legs(board, kit)}

    def point(leg: Leg) -> int:
        return metal[Metal(leg.anchor, leg.terminal)]

    for (cell, side), leg in at.items():
        if side in (Side.E, Side.S):  # each seam once
            other = at.get((cell.neighbour(side), side.opposite))
            if other is not None:
                seam = Seam.between(cell, cell.neighbour(side))
                joints.append(Joint(point(leg), point(other), Held.SEAM, seam=seam))
    taps: dict[Seam, int] = {}
    for seam in sorted(board.taps):
        taps[seam] = count
        count += 1
        for cell, side in zip((seam.first, seam.second), seam.sides, strict=True):
            if (leg_there := at.get((cell, side))) is not None:
                joints.append(Joint(taps[seam], point(leg_there), Held.TAP, cell=cell, seam=seam))
    for lead in board.leads:
        ends = [_end(end, board, kit, metal, taps) for end in (lead.start, lead.end)]
        if ends[0] is not None and ends[1] is not None:
            joints.append(Joint(ends[0], ends[1], Held.LEAD, lead=lead))
    return Wiring(board, kit, circuit, count, metal, pins, tuple(joints), taps)


def _end(
    end: TapEnd | SocketEnd, board: Board, kit: Kit, metal: Mapping[Metal, int], taps: Mapping[Seam, int]
) -> int | None:
    """The point that a plug touches."""
    if isinstance(end, TapEnd):
        return taps.get(end.seam)
    cube = board.cubes.get(end.cell)
    terminal = None if cube is None else kit[cube.kind].sockets.get(end.side)
    return None if terminal is None else metal[Metal(end.cell, terminal)]
