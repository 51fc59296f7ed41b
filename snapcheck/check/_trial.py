"""Plans that differ from a board in one place, one kind of mistake after another: what a check must not pass.

A picture of a board held against such a plan is a faulty build of that plan, whatever the picture looks like;
so every labelled picture gives many trials.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from snapcheck.board import Board, Cell, Cube, LeadEnd, TapEnd
from snapcheck.check._evidence import settled_cells
from snapcheck.check._settings import ComparisonSettings
from snapcheck.check._unsure import same_cube
from snapcheck.kit import Kit, ValueForm, same_decade

if TYPE_CHECKING:
    from snapcheck.photo import Reading

#: kinds that are taken for each other, in pictures or out of the box
LOOK_ALIKES = (
    ("resistor", "photoresistor", "thermistor", "potentiometer", "fuse"),
    ("capacitor", "electrolytic", "battery"),
    ("diode", "zener", "led"),
    ("npn", "pnp", "nmos"),
    ("straight", "corner", "tee", "cross", "crossover"),
    ("switch", "pushbutton"),
    ("lamp", "meter", "microphone"),
)
#: factors to another decade, by the point or the prefix; and to a neighbouring value (IEC 60063, E12)
DECADES = (10.0, 0.1, 1000.0, 0.001)
STEPS = (1.2, 1 / 1.2, 1.5, 1 / 1.5, *DECADES)
#: below this share of cubes of the right kind a picture was read shifted or turned
_IN_PLACE = 0.6
MISTAKES = ("missing", "extra", "turned", "value", "kind", "swapped", "lead")


def changed_plans(board: Board, kit: Kit, rng: random.Random, count: int) -> Iterator[tuple[str, Board]]:
    """Up to `count` plans, each with one mistake against `board`: its kind, cells and the plan."""
    cells = sorted(board.cubes)
    free = [
        cell
        for row in range(board.rows)
        for column in range(board.columns)
        if (cell := Cell(row, column)) not in board.cubes
    ]
    for n in range(count):
        what = MISTAKES[n % len(MISTAKES)]
        cell = rng.choice(cells)
        cube = board.cubes[cell]
        if what == "missing" and free:  # the plan has a cube where none stands
            at = rng.choice(free)
            yield f"{what} {at}", _with(board, at, board.cubes[rng.choice(cells)])
        elif what == "extra":
            yield f"{what} {cell}", _without(board, cell)
        elif what == "turned":
            turns = [
                t for t in (90, 180, 270) if not kit[cube.kind].same_turn(cube.turn, (cube.turn + t) % 360)
            ]
            if turns:
                yield (
                    f"{what} {cell}",
                    _with(board, cell, replace(cube, turn=(cube.turn + rng.choice(turns)) % 360)),
                )
        elif what == "value":
            other = _other_value(cube, kit, rng)
            if other is not None:
                yield f"{what} {cell}", _with(board, cell, other)
        elif what == "kind":
            kinds = next((some for some in LOOK_ALIKES if cube.kind in some), ())
            names = [k for k in kinds if k != cube.kind and k in kit.kinds]
            if names:
                yield f"{what} {cell}", _with(board, cell, _of_kind(cube, rng.choice(names), kit))
        elif what == "swapped":
            other_cell = rng.choice(cells)
            pair = {cell: board.cubes[other_cell], other_cell: cube}
            yield f"{what} {cell} {other_cell}", replace(board, cubes={**board.cubes, **pair})
        elif what == "lead" and board.leads:
            lead = rng.choice(board.leads)
            yield f"{what} {lead}", replace(board, leads=tuple(x for x in board.leads if x != lead))


def _without(board: Board, cell: Cell) -> Board:
    """The board without this cube, and without what was plugged in at it."""

    def at(end: LeadEnd) -> bool:
        return cell in ((end.seam.first, end.seam.second) if isinstance(end, TapEnd) else (end.cell,))

    leads = tuple(x for x in board.leads if not any(at(end) for end in x.ends))
    taps = frozenset(s for s in board.taps if cell not in (s.first, s.second))
    rest = {c: q for c, q in board.cubes.items() if c != cell}
    return replace(board, cubes=rest, taps=taps, leads=leads)


def _with(board: Board, cell: Cell, cube: Cube) -> Board:
    return replace(board, cubes={**board.cubes, cell: cube})


def _other_value(cube: Cube, kit: Kit, rng: random.Random) -> Cube | None:
    kind = kit[cube.kind]
    if isinstance(cube.value, str):
        names = [v for v in kind.values if v != cube.value]
        return replace(cube, value=rng.choice(names), printed=None) if names else None
    if cube.value is None:
        return None
    value = float(f"{cube.value * rng.choice(STEPS):.2g}")
    return replace(cube, value=value, printed=None)


def _of_kind(cube: Cube, name: str, kit: Kit) -> Cube:
    """A cube of another kind in the same turn, its value kept where both kinds carry such a value."""
    kind = kit[name]
    if kind.value_form is kit[cube.kind].value_form:
        return replace(cube, kind=name)
    if kind.value_form is ValueForm.NONE:
        return Cube(name, cube.turn)
    return Cube(name, cube.turn, kind.values[0] if kind.values else 100.0)


def other_cubes(cube: Cube | None, kit: Kit) -> Iterator[tuple[str, Cube | None]]:
    """What a plan may have in a cell instead by one mistake: its kind, and the cube (None: nothing)."""
    if cube is None:
        for name, kind in kit.kinds.items():
            if kind.size == (1, 1):
                value = (
                    None if kind.value_form is ValueForm.NONE else kind.values[0] if kind.values else 100.0
                )
                yield from (("missing", Cube(name, turn, value)) for turn in (0, 90, 180, 270))
        return
    kind = kit[cube.kind]
    yield "extra", None
    for turn in ((cube.turn + more) % 360 for more in (90, 180, 270)):
        if not kind.same_turn(turn, cube.turn):
            yield "turned", replace(cube, turn=turn)
    for value in _other_values(cube, kit):
        yield "value", replace(cube, value=value, printed=None)
    names = next((some for some in LOOK_ALIKES if cube.kind in some), ())
    for name in names:
        if name != cube.kind and name in kit.kinds:
            yield "kind", _of_kind(cube, name, kit)


def _other_values(cube: Cube, kit: Kit) -> list[float | str]:
    """The other names of its kind; or the other E12 values of its decade, and itself decades away."""
    if isinstance(cube.value, str):
        return [v for v in kit[cube.kind].values if v != cube.value]
    if not cube.value:
        return []
    near = same_decade(cube.value, "E12")
    return [
        *(v for v in near if abs(v / cube.value - 1) > 0.05),
        *(float(f"{cube.value * factor:.3g}") for factor in DECADES),
    ]


def cell_trials(
    reading: Reading, truth: Board, kit: Kit, settings: ComparisonSettings
) -> Iterator[tuple[str, Cell, Cube | None, bool]]:
    """Every cell held against everything else that a plan may have there; no circuit is looked at.

    Yields:
        The mistake's kind, the cell, what the plan has there, and whether that passes: it is read so, or
        taken so because picture and plan leave no doubt. Nothing of pictures with another grid.
    """
    if (reading.columns, reading.rows) != (truth.columns, truth.rows):
        return
    kinds = [c in reading.cubes and reading.cubes[c].cube.kind == q.kind for c, q in truth.cubes.items()]
    if sum(kinds) < _IN_PLACE * len(kinds):
        return
    seen, unsure, chances = reading.board.cubes, reading.unsure, reading.chances
    for cell in (*reading.blanks, *reading.cubes):
        mine = {cell: chances[cell]} if cell in chances else {}
        for what, other in other_cubes(truth.cubes.get(cell), kit):
            planned = {} if other is None else {cell: other}
            as_read = cell not in unsure and same_cube(seen.get(cell), other, kit)
            taken = as_read or cell in settled_cells(mine, planned, None, kit, settings)
            yield what, cell, other, taken
