"""What is possible on a board and yet looks like a slip: for the one who writes a layout."""

from __future__ import annotations

import difflib
from collections import Counter
from dataclasses import dataclass

from snapcheck.board._board import Board, Cube, TapEnd
from snapcheck.board._legs import leg_at, legs, legs_at_seam
from snapcheck.board._place import Cell, Seam
from snapcheck.kit import Kind, Kit, Side, ValueForm, coarsest_series, format_value, neighbours
from snapcheck.words import tr

#: more than cubes of these kinds hold (F; common practice, no source)
_MOST_FARAD = {"capacitor": 1e-4, "electrolytic": 0.05}


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
        in_box = kit[kind_name].count
        if in_box is not None and count > in_box:
            found.append(
                Oddity(None, tr("{count} of kind {kind} are used, but the box holds {held}.",
                                count=count, kind=kind_name, held=in_box))
            )  # fmt: skip
    for seam in sorted(board.taps):
        if not legs_at_seam(board, kit, seam):
            found.append(Oddity(seam, tr("the tap on {seam} touches no contact.", seam=seam)))
    found += [
        Oddity(leg.cell, tr("its contact {side} touches nothing.", side=_WHERE[leg.side]()))
        for leg in legs(board, kit)
        if not kit[board.cubes[leg.anchor].kind].wire and not _met(board, kit, leg.cell, leg.side)
    ]
    for lead in board.leads:
        for end in sorted(lead.ends, key=str):
            if isinstance(end, TapEnd):
                place: Cell | Seam = end.seam
                held = end.seam in board.taps
            else:
                place, cube = end.cell, board.cubes.get(end.cell)
                held = cube is not None and end.side in kit[cube.kind].sockets
            if not held:
                found.append(Oddity(place, tr("a lead ends here, but there is no tap or socket.")))
    return found


#: side to where it is, in words
_WHERE = {
    Side.N: lambda: tr("at the top"),
    Side.E: lambda: tr("on the right"),
    Side.S: lambda: tr("at the bottom"),
    Side.W: lambda: tr("on the left"),
}


def _met(board: Board, kit: Kit, cell: Cell, side: Side) -> bool:
    """Whether a contact meets another one, or a tap that gives access to it."""
    beyond = cell.neighbour(side)
    return leg_at(board, kit, beyond, side.opposite) is not None or Seam.between(cell, beyond) in board.taps


def _odd_value(cube: Cube, kind: Kind) -> str:
    form, value = kind.value_form, cube.value
    if value is None:
        return "" if form is ValueForm.NONE else tr("the {kind} has no value.", kind=tr(kind.title))
    if isinstance(value, str):
        return _odd_word(value, kind)
    # potentiometers, speakers and light-dependent resistors come in numbers of their own (5k, 8R, 50k)
    most = _MOST_FARAD.get(kind.name)
    if most is not None and value > most:
        return tr("{value} is a great deal for a {kind}; m is milli, µ is micro.",
                  value=cube.printed or format_value(value, form), kind=tr(kind.title))  # fmt: skip
    if not kind.device.preferred or value == 0 or coarsest_series(value):
        return ""
    low, high = (format_value(v, form) for v in neighbours(value, "E24"))
    return tr(
        "{value} is in no E series (IEC 60063); near it are {low} and {high}.",
        value=format_value(value, form), low=low, high=high,
    )  # fmt: skip


def _odd_word(value: str, kind: Kind) -> str:
    if value in kind.values or not kind.values or kind.value_form is ValueForm.LAMP:
        return ""
    close = difflib.get_close_matches(value, [str(v) for v in kind.values], 5, 0.7)
    # figures changed about are the commonest slip: BC574 means BC547, however close BC549 looks
    close.sort(key=lambda other: sorted(other) != sorted(value))
    if not close:
        return tr("the kit has no {kind} {value}.", kind=tr(kind.title), value=value)
    return tr("the kit has no {kind} {value}; is {other} meant?",
              kind=tr(kind.title), value=value, other=close[0])  # fmt: skip
