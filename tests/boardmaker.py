"""Random boards for tests, and single faults put into them."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from hypothesis import strategies as st

from snapcheck.board import Board, Cell, Cube, Lead, Seam, Side, SocketEnd, TapEnd
from snapcheck.kit import Kit, ValueForm, bundled_kit

KIT = bundled_kit()

_NUMBERS = {
    "resistor": (100.0, 470.0, 1000.0, 4700.0, 10e3, 47e3, 220e3, 1e6),
    "capacitor": (1e-9, 10e-9, 100e-9, 470e-9, 1e-6),
    "electrolytic": (1e-6, 10e-6, 47e-6, 100e-6, 470e-6),
    "inductor": (1e-3, 4.7e-3, 33e-3, 100e-3),
    "zener": (3.3, 5.1, 6.8, 12.0),
    "photoresistor": (5000.0, 20e3, 100e3),
    "thermistor": (1000.0, 4700.0, 22e3),
    "potentiometer": (1000.0, 10e3, 47e3, 220e3),
    "fuse": (0.1, 0.5, 2.0),
    "battery": (1.5, 3.0, 4.5, 6.0, 9.0),
    "supply": (5.0, 6.0, 9.0, 12.0, 15.0),
    "speaker": (4.0, 8.0, 16.0, 32.0, 64.0),
    "meter": (1.0, 5.0, 15.0),
}


def random_cube(rng: random.Random, kit: Kit = KIT, kind_name: str | None = None) -> Cube:
    """A cube of any kind (wires more often), any turn, with a value of its kind."""
    wires = [k for k in kit.kinds if kit[k].wire or k == "ground"]
    name = kind_name or rng.choice(wires if rng.random() < 0.4 else list(kit.kinds))
    kind = kit[name]
    value: float | str | None = None
    if kind.value_form is not ValueForm.NONE:
        value = rng.choice(_NUMBERS.get(name) or kind.values)
    return Cube(name, rng.choice((0, 90, 180, 270)), value, unit="V" if name == "meter" else "")


def random_board(rng: random.Random, columns: int, rows: int, share: float, kit: Kit = KIT) -> Board:
    """A board with about `share` of its cells filled, taps between touching cubes, and a few leads."""
    cells = [Cell(r, c) for r in range(rows) for c in range(columns)]
    rng.shuffle(cells)
    filled = cells[: max(4, round(len(cells) * share))]
    cubes = {cell: random_cube(rng, kit) for cell in filled}
    seams = [
        Seam.between(cell, cell.neighbour(side))
        for cell in filled
        for side in (Side.E, Side.S)
        if cell.neighbour(side) in cubes
    ]
    rng.shuffle(seams)
    taps = seams[: rng.randint(0, min(4, len(seams)))]
    ends: list[TapEnd | SocketEnd] = [TapEnd(s) for s in taps]
    ends += [SocketEnd(c, side) for c, q in cubes.items() if q.kind == "socket" for side in (Side.E, Side.W)]
    rng.shuffle(ends)
    leads = [Lead(ends[i], ends[i + 1]) for i in range(0, min(len(ends) - 1, 4), 2)]
    return Board(columns, rows, cubes, frozenset(taps), tuple(leads))


@st.composite
def boards(draw: st.DrawFn, least: int = 4, most: int = 10) -> Board:
    """Random boards of `least` to `most` columns and rows."""
    rng = random.Random(draw(st.integers(0, 2**32)))
    columns, rows = draw(st.integers(least, most)), draw(st.integers(least, most))
    return random_board(rng, columns, rows, draw(st.floats(0.35, 0.8)))


@dataclass(frozen=True)
class Fault:
    """One fault: the board with it, the rule that must name it, and the cells that must be named."""

    board: Board
    rule: str
    cells: frozenset[Cell]


FAULTS = ("cube-missing", "cube-extra", "wrong-kind", "wrong-value", "turned", "reversed", "swapped", "moved",
          "lead-missing", "lead-extra", "tap-missing")  # fmt: skip


def inject(  # noqa: PLR0911, PLR0912 - one branch for each sort of fault
    board: Board, fault: str, rng: random.Random, kit: Kit = KIT
) -> Fault | None:
    """A board with one fault of a sort, or None where this board has no place for it."""
    cubes = dict(board.cubes)
    free = [c for c in board.cells() if c not in cubes]
    full = [c for c in cubes if not _carries_lead(board, c)]
    rng.shuffle(full)

    def made(cells: set[Cell], **changes: object) -> Fault:
        return Fault(replace(board, **changes), fault, frozenset(cells))  # type: ignore[arg-type]

    def put(**cells: Cube | None) -> dict[Cell, Cube]:
        new = dict(cubes)
        for name, cube in cells.items():
            cell = Cell.parse(name)
            new.pop(cell, None)
            if cube is not None:
                new[cell] = cube
        return new

    match fault:
        case "cube-missing" if full:
            return made({full[0]}, cubes=put(**{str(full[0]): None}))
        case "cube-extra" if free:
            cell = rng.choice(free)
            return made({cell}, cubes=put(**{str(cell): random_cube(rng, kit)}))
        case "wrong-kind" if full:
            other = random_cube(rng, kit)
            if other.kind != cubes[full[0]].kind:
                return made({full[0]}, cubes=put(**{str(full[0]): other}))
        case "wrong-value":
            for cell in full:
                numbers = _NUMBERS.get(cubes[cell].kind) or kit[cubes[cell].kind].values
                others = [v for v in numbers if v != cubes[cell].value]
                if others:
                    changed = replace(cubes[cell], value=rng.choice(others))
                    return made({cell}, cubes=put(**{str(cell): changed}))
        case "turned" | "reversed":
            for cell in full:
                kind = kit[cubes[cell].kind]
                polar = len(kind.contacts) == 2 and len({c.terminal for c in kind.contacts}) == 2
                turn = 180 if fault == "reversed" else rng.choice((90, 270))
                if kind.same_turn(0, turn) or (fault == "reversed" and not polar):
                    continue
                changed = replace(cubes[cell], turn=(cubes[cell].turn + turn) % 360)
                return made({cell}, cubes=put(**{str(cell): changed}))
        case "swapped":
            for cell in full:
                beside = cell.neighbour(rng.choice(list(Side)))
                if beside not in full:
                    continue
                a, b = cubes[cell], cubes[beside]
                if (a.kind, a.value) != (b.kind, b.value):
                    return made({cell, beside}, cubes=put(**{str(cell): b, str(beside): a}))
        case "moved":
            for cell in full:
                beside = cell.neighbour(rng.choice(list(Side)))
                if beside in free:
                    return made({cell, beside}, cubes=put(**{str(cell): None, str(beside): cubes[cell]}))
        case "lead-missing" if board.leads:
            return made(set(), leads=board.leads[1:])
        case "lead-extra" if len(board.taps) >= 2:
            one, two = (TapEnd(s) for s in rng.sample(sorted(board.taps), 2))
            if Lead(one, two) not in board.leads:
                return made(set(), leads=(*board.leads, Lead(one, two)))
        case "tap-missing":
            plugged = {e for x in board.leads for e in x.ends}
            loose = [s for s in sorted(board.taps) if TapEnd(s) not in plugged]
            if loose:
                return made({loose[0].first, loose[0].second}, taps=board.taps - {loose[0]})
    return None


def _carries_lead(board: Board, cell: Cell) -> bool:
    return any(isinstance(e, SocketEnd) and e.cell == cell for lead in board.leads for e in lead.ends)
