"""Cubes of several cells, put together from what their single cells look like."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from snapcheck.board import Cell, Cube
from snapcheck.kit import Kind, Kit, ValueForm
from snapcheck.photo._cells import Symbols
from snapcheck.photo._nets import calibration
from snapcheck.photo._reading import CubeReading, State
from snapcheck.words import tr

#: probability of its turn and pieces (their geometric mean) from which on a large cube is taken to stand
#: there
_STANDS = 0.4


def piece_name(kind: Kind, row: int, column: int) -> str:
    """What one cell of a kind is called among pieces; row and column as at turn 0."""
    return kind.name if kind.size == (1, 1) else f"{kind.name} {row},{column}"


def pieces_of(kind: Kind, turn: int) -> Iterator[tuple[int, int, str]]:
    """Row and column, from the upper left cell as the cube stands, of each piece."""
    columns, rows = kind.size
    for row in range(rows):
        for column in range(columns):
            r, c, high = row, column, rows
            for quarter in range(turn // 90):
                high = (rows, columns)[quarter % 2]
                r, c = c, high - 1 - r
            yield r, c, piece_name(kind, row, column)


def large_cubes(places: list[tuple[int, int]], s: Symbols, kit: Kit) -> dict[Cell, CubeReading]:
    """The large cubes that were taught and are seen, by the upper left of their cells."""
    number = {place: i for i, place in enumerate(places)}
    prob, turns = np.exp(s.kind), np.exp(s.turn)
    found: list[tuple[float, float, Cell, Cube]] = []
    for kind in kit.kinds.values():
        if kind.size == (1, 1) or piece_name(kind, 0, 0) not in s.kinds:
            continue
        for turn in (0, 90, 180, 270):
            parts = [(r, c, s.kinds.index(name)) for r, c, name in pieces_of(kind, turn)]
            for x, y in places:
                cells = [(number.get((x + c, y + r)), k) for r, c, k in parts]
                if any(i is None for i, _ in cells):
                    continue
                seen = [float(prob[i, k] * turns[i, turn // 90]) for i, k in cells if i is not None]
                mean = float(np.exp(np.log(np.maximum(seen, 1e-12)).mean()))
                if mean > _STANDS:
                    # its cells bear each other out, though not independently: half of what they say together
                    odds = np.clip(seen, 1e-4, 1 - 1e-4)
                    joint = float(np.log(odds / (1 - odds)).sum() / 2)
                    value = kind.values[0] if len(kind.values) == 1 else None
                    found.append(
                        (
                            mean,
                            1 / (1 + float(np.exp(-joint))),
                            Cell(y, x),
                            Cube(kind.name, turn, value, size=kind.size),
                        )
                    )
    taken: set[Cell] = set()
    cubes: dict[Cell, CubeReading] = {}
    for _, p, anchor, cube in sorted(found, key=lambda f: -f[0]):
        if not taken & set(cube.cells(anchor)):
            taken |= set(cube.cells(anchor))
            cubes[anchor] = _reading(cube, p, kit)
    return cubes


def _reading(cube: Cube, p: float, kit: Kit) -> CubeReading:
    """How far it can be trusted by its symbol; `with_prints` reads the print of kinds of several values."""
    kind, limits = kit[cube.kind], calibration()
    told = kind.value_form is ValueForm.NONE or cube.value is not None
    if p >= limits["symbol_threshold"] and told:
        return CubeReading(cube, State.READ, round(p, 6), parts=(p, 1.0))
    reason = tr("the symbol is not clear") if told else tr("the printed value is not clear")
    others = tuple(
        (Cube(cube.kind, cube.turn, value, size=cube.size), round(p / len(kind.values), 6))
        for value in kind.values
        if cube.value is None
    )
    return CubeReading(cube, State.UNSURE, round(p, 6), others, reason, (p, 1.0), ((cube, p), *others))
