"""What is possible on a board and yet looks like a slip: for the one who writes a layout."""

from __future__ import annotations

import difflib
from collections import Counter
from dataclasses import dataclass

from snapcheck.board._board import Board, Cube, TapEnd
from snapcheck.board._place import Cell, Seam
from snapcheck.kit import Kind, Kit, ValueForm, coarsest_series, format_value, neighbours
from snapcheck.words import tr


@dataclass(frozen=True)
class Oddity:
    """Something to look at again: the cell or seam, and a sentence."""

    place: Cell | Seam | None
    text: str


def oddities(board: Board, kit: Kit) -> list[Oddity]:
    """Values no shop sells, types the kit lacks, taps and leads in the air, more cubes than the box holds."""
    found = [
        Oddity(cell, text) for cell, cube in board.cubes.items() if (text := _odd_value(cube, kit[cube.kind]))
    ]
    for kind_name, count in Counter(cube.kind for cube in board.cubes.values()).items():
        held = kit[kind_name].count
        if held is not None and count > held:
            found.append(
                Oddity(None, tr("{count} of kind {kind} are used, but the box holds {held}.",
                                count=count, kind=kind_name, held=held))
            )  # fmt: skip
    for seam in sorted(board.taps):
        if not any(_touches(board, kit, seam, n) for n in (0, 1)):
            found.append(Oddity(seam, tr("the tap on {seam} touches no contact.", seam=seam)))
    for lead in board.leads:
        for end in sorted(lead.ends, key=str):
            if isinstance(end, TapEnd):
                if end.seam not in board.taps:
                    found.append(
                        Oddity(end.seam, tr("a lead ends on {seam}, where no tap is.", seam=end.seam))
                    )
            elif end.cell not in board.cubes or end.side not in kit[board.cubes[end.cell].kind].sockets:
                found.append(
                    Oddity(end.cell, tr("a lead ends in {cell}, where no socket is.", cell=end.cell))
                )
    return found


def _touches(board: Board, kit: Kit, seam: Seam, which: int) -> bool:
    cube = board.cubes.get((seam.first, seam.second)[which])
    return cube is not None and kit[cube.kind].terminal_at(seam.sides[which], cube.turn) is not None


def _odd_value(cube: Cube, kind: Kind) -> str:
    form, value = kind.value_form, cube.value
    if form is ValueForm.NONE:
        return ""
    if value is None:
        return tr("the {kind} has no value.", kind=kind.title)
    if isinstance(value, str):
        if value in kind.values or not kind.values or form is ValueForm.LAMP:
            return ""
        close = difflib.get_close_matches(value, [str(v) for v in kind.values], 1, 0.7)
        if close:
            return tr("the kit has no {kind} {value}; is {other} meant?",
                      kind=kind.title, value=value, other=close[0])  # fmt: skip
        return tr("the kit has no {kind} {value}.", kind=kind.title, value=value)
    usual = form in (ValueForm.OHMS, ValueForm.FARADS, ValueForm.HENRIES)
    # potentiometers, speakers and light-dependent resistors come in numbers of their own (5k, 8R, 50k)
    if (
        usual
        and kind.model in ("resistor", "capacitor", "inductor")
        and value > 0
        and not coarsest_series(value)
    ):
        low, high = (format_value(v, form) for v in neighbours(value, "E24"))
        return tr("{value} is in no E series (IEC 60063); near it are {low} and {high}.",
                  value=format_value(value, form), low=low, high=high)  # fmt: skip
    return ""
