"""How places and parts are named in sentences, so that every message names them alike."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from snapcheck.board import Cell, Cube, Lead, LeadEnd, Probe, Side, TapEnd, legs_of
from snapcheck.circuit._circuit import Circuit, Part, Terminal
from snapcheck.kit import Kind, Kit, ValueForm, format_value
from snapcheck.prefixes import scale_of
from snapcheck.words import numeral, shown, tr


def side_word(side: Side) -> str:
    """up, right, down or left, in the reader's language."""
    match side:
        case Side.N:
            return tr("up")
        case Side.E:
            return tr("right")
        case Side.S:
            return tr("down")
        case _:
            return tr("left")


def place_words(cell: Cell, side: Side) -> str:
    """``C3 right``."""
    return f"{cell} {side_word(side)}"


def value_words(cube: Cube, kind: Kind) -> str:
    """The value as it is printed on the cube, else in its usual spelling (4k7, 10µ, BC547), or ""."""
    if cube.value is None or kind.value_form is ValueForm.NONE:
        return ""
    if cube.printed:
        return shown(cube.printed, isolate=False)
    return format_value(cube.value, kind.value_form, unit=cube.unit)


def cube_words(cube: Cube | None, kit: Kit) -> str:
    """``resistor 4k7``, ``NPN transistor BC547``; ``nothing`` for None."""
    if cube is None:
        return tr("nothing")
    if cube.kind not in kit:
        return cube.kind
    kind = kit[cube.kind]
    value = value_words(cube, kind)
    return f"{tr(kind.title)} {value}" if value else tr(kind.title)


def part_words(part: Part) -> str:
    """``the resistor 4k7 at C3``."""
    value = value_words(part.cube, part.kind)
    what = f"{tr(part.kind.title)} {value}" if value else tr(part.kind.title)
    if part.place is None:
        return tr("the {what} {name}", what=what, name=part.name)
    return tr("the {what} at {cell}", what=what, cell=part.at)


def terminal_words(part: Part, terminal: str) -> str:
    """``the base of the NPN transistor BC547 at C4``, ``C3 right of the resistor 4k7``."""
    sides = part.kind.sides(terminal, part.cube.turn) if part.place is not None else ()
    if terminal in ("a", "b") and sides:  # such names mean nothing to people; the side does
        value = value_words(part.cube, part.kind)
        what = f"{tr(part.kind.title)} {value}" if value else tr(part.kind.title)
        if part.cube.large and any(
            sides[0] in part.kind.sides(t, part.cube.turn) for t in part.kind.terminals if t != terminal
        ):
            leg = next(x for x in legs_of(part.cell, part.cube, part.kind) if x.terminal == terminal)
            return tr("the end {place} of the {what} at {cell}",
                      place=place_words(leg.cell, leg.side), what=what, cell=part.at)  # fmt: skip
        return tr("the {side} end of the {what} at {cell}",
                  side=side_adjective(sides[0]), what=what, cell=part.at)  # fmt: skip
    return tr("the {terminal} of {part}", terminal=terminal_word(terminal), part=part_words(part))


def terminal_word(name: str) -> str:
    """A terminal's name in the reader's language; names from a teacher's own kit stay as they are."""
    word = _TERMINALS.get(name)
    return name if word is None else word()


def probe_words(probe: Probe) -> str:
    """``C4 collector`` in the reader's language."""
    return f"{probe.at} {terminal_word(probe.terminal)}"


#: looked up when asked for, so that only the word needed is translated
_TERMINALS: dict[str, Callable[[], str]] = {
    "base": lambda: tr("base"),
    "collector": lambda: tr("collector"),
    "emitter": lambda: tr("emitter"),
    "gate": lambda: tr("gate"),
    "drain": lambda: tr("drain"),
    "source": lambda: tr("source"),
    "anode": lambda: tr("anode"),
    "cathode": lambda: tr("cathode"),
    "plus": lambda: tr("plus"),
    "minus": lambda: tr("minus"),
    "wiper": lambda: tr("wiper"),
    "notch": lambda: tr("notch"),
    "signal": lambda: tr("signal"),
    "plate": lambda: tr("plate"),
}


def side_adjective(side: Side) -> str:
    """upper, right, lower or left."""
    match side:
        case Side.N:
            return tr("upper")
        case Side.E:
            return tr("right")
        case Side.S:
            return tr("lower")
        case _:
            return tr("left")


def capital(text: str) -> str:
    """The text with its first letter large, to begin a sentence."""
    return text[:1].upper() + text[1:]


def side_of(part: Part, terminal: str) -> Side | None:
    """The side of the cell where a terminal lies, or None (behind a socket, on the plate)."""
    sides = part.kind.sides(terminal, part.cube.turn)
    return sides[0] if sides else None


def listing(words: Iterable[str]) -> str:
    """``A``, ``A and B``, ``A, B and C``."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return tr("{most} and {last}", most=", ".join(items[:-1]), last=items[-1])


def end_words(end: LeadEnd) -> str:
    """``the tap C4|D4``, ``the signal socket of F1``, ``the plate socket of F1``."""
    if isinstance(end, TapEnd):
        return tr("the tap {seam}", seam=end.seam)
    if end.side is Side.W:
        return tr("the plate socket of {cell}", cell=end.cell)
    return tr("the signal socket of {cell}", cell=end.cell)


def lead_words(lead: Lead) -> str:
    """``the lead from the tap C4|D4 to the signal socket of F1``."""
    first, second = sorted(lead.ends, key=str) if len(lead.ends) == 2 else (lead.start, lead.end)
    return tr("the lead from {first} to {second}", first=end_words(first), second=end_words(second))


def net_words(circuit: Circuit, net: int, most: int = 4, without: Iterable[Terminal] = ()) -> str:
    """A net by what hangs on it: ``the base of … and the right end of …``; the plate is "the plate".

    Args:
        circuit: that the net belongs to.
        net: its number.
        most: how many terminals to name.
        without: terminals that need not be named.
    """
    if net == 0:
        return tr("the plate")
    left_out = set(without)
    words = [
        terminal_words(part, name)
        for part, name in circuit.parts_on(net)
        if Terminal(part.at, name) not in left_out
    ]
    return listing(words[:most]) or tr("a net of its own")


def volts(value: float) -> str:
    """``4.5 V``, ``−0.3 V``."""
    return _number(value, "V")


def amperes(value: float) -> str:
    """``23 mA``, ``1.2 A``."""
    return _number(value, "A")


def watts(value: float) -> str:
    """``0.8 W``, ``120 mW``."""
    return _number(value, "W")


def ohms(value: float) -> str:
    """``4.7 kΩ``."""
    return _number(value, "Ω")


def _number(value: float, unit: str) -> str:
    size = abs(value)
    factor, prefix = scale_of(size, ("n", "µ", "m", "", "k", "M"))
    text = f"{size / factor:.3g}"
    if "e" in text:
        text = f"{size / factor:.0f}"
    if not float(text):
        return f"{text} {unit}"
    return f"{'−' if value < 0 else ''}{numeral(text)} {prefix}{unit}"
