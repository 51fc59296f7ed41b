"""How a step says what to put down, and which way round."""

from __future__ import annotations

from snapcheck.board import Cube
from snapcheck.circuit import capital, listing, side_word, terminal_word
from snapcheck.kit import Kind, Side
from snapcheck.words import tr

#: terminals of which the wrong way round can harm a part or stops the circuit
_POLAR = frozenset({"plus", "anode", "cathode", "base", "gate"})


def facing_words(cube: Cube, kind: Kind) -> str:
    """``plus to the left``, ``ends right and down``, ``upright``; "" where every turn is the same."""
    if kind.symmetry == 90:
        return ""
    sides = list(dict.fromkeys(contact.side for contact in kind.contacts_at[cube.turn]))
    if kind.symmetry == 180:
        if len(sides) == 2:
            return tr("lying across") if Side.E in sides else tr("standing upright")
        return ""
    if kind.marked:
        name = kind.marked
        side = kind.faces[name].turned(cube.turn)
        if name == "anode" and "cathode" in kind.faces and kind.device.regulates:
            name, side = "cathode", kind.faces["cathode"].turned(cube.turn)
        word = tr("stem") if name == "stem" else terminal_word(name)
        return _towards(word, side)
    return tr("ends {sides}", sides=listing(map(side_word, sides)))


def _towards(word: str, side: Side) -> str:
    match side:
        case Side.N:
            return tr("{what} upwards", what=word)
        case Side.E:
            return tr("{what} to the right", what=word)
        case Side.S:
            return tr("{what} downwards", what=word)
        case _:
            return tr("{what} to the left", what=word)


def matters(kind: Kind) -> bool:
    """True for a kind whose turn must be looked at twice: a chip, or one with plus, anode, base or gate."""
    return kind.symmetry == 360 and (kind.marked in _POLAR or kind.device.chip)


def stage_title(name: str, number: int) -> str:
    """The heading of a stage."""
    return f"{number}. {capital(name)}"
