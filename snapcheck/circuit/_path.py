"""The way that current takes through metal, cube by cube, for messages that name it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

from snapcheck.board import Cell, Lead, LeadEnd, Side, Spot, TapEnd, legs
from snapcheck.circuit._circuit import Circuit
from snapcheck.circuit._say import lead_words
from snapcheck.kit import PLATE
from snapcheck.words import tr

#: (part or cube, terminal), or None for the plate
_Node = tuple[Spot, str] | None
_Link = tuple[_Node, Lead | None]


@dataclass(frozen=True)
class MetalPath:
    """A way through metal: cells in order, leads on it, and whether it runs through the plate."""

    steps: tuple[Spot | Lead | None, ...]

    @property
    def cells(self) -> tuple[Cell, ...]:
        return tuple(s for s in self.steps if isinstance(s, Cell))

    @property
    def leads(self) -> tuple[Lead, ...]:
        return tuple(s for s in self.steps if isinstance(s, Lead))

    @property
    def through_plate(self) -> bool:
        return None in self.steps

    def __str__(self) -> str:
        words = [
            tr("the plate") if s is None else lead_words(s) if isinstance(s, Lead) else str(s)
            for s in self.steps
        ]
        if len(words) > 9:  # the ends say enough
            words = [*words[:4], "…", *words[-4:]]
        return " – ".join(words)


def metal_path(
    circuit: Circuit,
    start: tuple[Spot, str],
    goal: tuple[Spot, str],
    through: Iterable[tuple[Spot, str, str]] = (),
) -> MetalPath:
    """The shortest way from one terminal to another through touching metal.

    Args:
        circuit: to walk in.
        start, goal: (cell, terminal).
        through: parts that count as metal, as (cell, terminal, terminal), such as closed switches.

    Returns:
        the way, with start and goal cells at its ends; empty steps where there is none.
    """
    links = _links(circuit, through)
    came: dict[_Node, tuple[_Node, Lead | None]] = {start: (start, None)}
    queue: deque[_Node] = deque([start])
    while queue and goal not in came:
        here = queue.popleft()
        for there, way in links.get(here, ()):
            if there not in came:
                came[there] = (here, way)
                queue.append(there)
    return MetalPath(_trace(came, goal) if goal in came else ())


def _links(circuit: Circuit, through: Iterable[tuple[Spot, str, str]]) -> dict[_Node, list[_Link]]:
    board, kit = circuit.board, circuit.kit
    links: dict[_Node, list[_Link]] = {}

    def link(a: _Node, b: _Node, lead: Lead | None = None) -> None:
        links.setdefault(a, []).append((b, lead))
        links.setdefault(b, []).append((a, lead))

    at_side: dict[tuple[Cell, Side], _Node] = {}
    for leg in legs(board, kit):
        at_side[leg.cell, leg.side] = (leg.anchor, leg.terminal)
    for cell, cube in board.cubes.items():
        if PLATE in kit[cube.kind].terminals:
            link((cell, PLATE), None)
    for (cell, side), here in at_side.items():
        beyond = at_side.get((cell.neighbour(side), side.opposite))
        if beyond is not None and side in (Side.E, Side.S):
            link(here, beyond)
    for lead in board.leads:
        one, two = (_nodes_of(circuit, end, at_side) for end in (lead.start, lead.end))
        for a in one:
            for b in two:
                link(a, b, lead)
    for spot, first, second in through:
        link((spot, first), (spot, second))
    return links


def _trace(came: dict[_Node, tuple[_Node, Lead | None]], goal: _Node) -> tuple[Spot | Lead | None, ...]:
    """The steps from the start to the goal; a cell passed by several terminals counts once."""
    steps: list[Spot | Lead | None] = []
    here = goal
    while True:
        _append(steps, None if here is None else here[0])
        before, way = came[here]
        if before == here:
            return tuple(reversed(steps))
        if way is not None:
            steps.append(way)
        here = before


def _append(steps: list[Spot | Lead | None], step: Spot | None) -> None:
    if not steps or steps[-1] != step:
        steps.append(step)


def _nodes_of(circuit: Circuit, end: LeadEnd, at_side: dict[tuple[Cell, Side], _Node]) -> list[_Node]:
    if isinstance(end, TapEnd):
        if end.seam not in circuit.board.taps:
            return []
        sides = zip((end.seam.first, end.seam.second), end.seam.sides, strict=True)
        return [at_side[place] for place in sides if place in at_side]
    cube = circuit.board.cubes.get(end.cell)
    terminal = circuit.kit[cube.kind].sockets.get(end.side) if cube is not None else None
    return [(end.cell, terminal)] if terminal is not None else []
