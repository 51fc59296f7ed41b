"""What may stand in for a cube that is short: the nearest value in the box, two joined, another type."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from snapcheck.board import Value
from snapcheck.box._pieces import Piece, piece_words, print_of
from snapcheck.kit import Kind, Kit, ValueForm, coarsest_series, parse_value
from snapcheck.words import numeral, tr

#: how far off a value may be, as a ratio: of one cube, of two joined, of a Zener diode's volts or a lamp's
#: (common practice, no source: the simulation decides whether it does)
ONE, TWO, VOLTS = 2.2, 1.1, 1.25
#: what counts like a deviation of so much: that two cubes are needed
TWO_COST = 0.06
_SUMS_IN_SERIES = (ValueForm.OHMS, ValueForm.HENRIES)
_JOINED = (ValueForm.OHMS, ValueForm.HENRIES, ValueForm.FARADS)


@dataclass(frozen=True)
class Standin:
    """What may stand in.

    Attributes:
        pieces: one or two.
        join: ``series`` or ``parallel`` of two, else "".
        value: that both together have, or the type.
        off: how far that is from the planned value (0.02 for 2 % more), None for words.
    """

    pieces: tuple[Piece, ...]
    join: str
    value: Value
    off: float | None = None

    def words(self, kit: Kit) -> str:
        """Such as "two 2k2 in series (4.4 kΩ, -6.4 %)"."""
        first, last = self.pieces[0], self.pieces[-1]
        if not self.join:
            told = piece_words(first, kit)
        elif first == last:
            told = tr("two {print} in series", print=print_of(first, kit)) if self.join == "series" else tr(
                "two {print} in parallel", print=print_of(first, kit)
            )  # fmt: skip
        else:
            a, b = print_of(first, kit), print_of(last, kit)
            told = (
                tr("{a} and {b} in series", a=a, b=b)
                if self.join == "series"
                else tr("{a} and {b} in parallel", a=a, b=b)
            )
        if self.off is None:
            return told
        if abs(self.off) < 5e-4:
            return tr("{cubes} (the same value)", cubes=told)
        series = coarsest_series(float(self.value)) if not self.join and self.value else None
        more = numeral(f"{100 * self.off:+.1f} %")
        return f"{told} ({series}, {more})" if series else f"{told} ({more})"


def standins(need: Piece, left: Mapping[Piece, int], each: int, kit: Kit) -> list[Standin]:
    """What may stand in for a piece, likeliest to do first.

    Args:
        need: what is short.
        left: what the box holds beyond what the design itself needs.
        each: how many of the piece must be replaced in all.
        kit: the cubes.
    """
    kind = kit[need.kind]
    stock = {p: n for p, n in left.items() if p.kind == need.kind and n > 0 and _bears(p, need, kind)}
    if isinstance(need.value, float) and kind.value_form in _JOINED:
        found = [*_single(need, stock, each, ONE), *_pairs(need, stock, each, kind.value_form)]
        return sorted(found, key=lambda s: abs(math.log1p(s.off or 0.0)) + TWO_COST * bool(s.join))
    if isinstance(need.value, float) and kind.device.regulates:
        return sorted(_single(need, stock, each, VOLTS), key=lambda s: abs(s.off or 0.0))
    if kind.value_form is ValueForm.LAMP:
        return _lamps(need, stock, each)
    if kind.value_form in (ValueForm.TYPE, ValueForm.COLOUR):
        return _types(need, stock, each, kind)
    return []


def _bears(stock: Piece, need: Piece, kind: Kind) -> bool:
    """Whether a capacitor bears the planned voltage."""
    if kind.value_form is not ValueForm.FARADS:
        return True
    usual = kind.ratings_for(None).get("max_voltage_V", 0.0)
    return (stock.rated_V or usual) >= (need.rated_V or usual)


def _single(need: Piece, stock: Mapping[Piece, int], each: int, ratio: float) -> Iterator[Standin]:
    wanted = float(need.value or 0.0)
    for piece, count in stock.items():
        value = float(piece.value or 0.0)
        if count >= each and piece.bare != need.bare and value > 0 and 1 / ratio <= value / wanted <= ratio:
            yield Standin((piece,), "", value, value / wanted - 1)


def _pairs(need: Piece, stock: Mapping[Piece, int], each: int, form: ValueForm) -> Iterator[Standin]:
    wanted = float(need.value or 0.0)
    pieces = list(stock)
    for i, first in enumerate(pieces):
        for second in pieces[i:]:
            if stock[first] < each * (2 if first == second else 1) or stock[second] < each:
                continue
            a, b = float(first.value or 0.0), float(second.value or 0.0)
            for join in ("series", "parallel"):
                summed = (join == "series") == (form in _SUMS_IN_SERIES)
                value = a + b if summed else a * b / (a + b)
                alone = any(1 / TWO <= one / value <= TWO for one in (a, b))  # the other changes nothing
                if 1 / TWO <= value / wanted <= TWO and not alone:
                    yield Standin((first, second), join, float(f"{value:.6g}"), value / wanted - 1)


def _lamps(need: Piece, stock: Mapping[Piece, int], each: int) -> list[Standin]:
    """Lamps for about the same voltage, those of the nearest current first."""
    wanted = parse_value(str(need.value), ValueForm.LAMP)
    found = []
    for piece, count in stock.items():
        said = parse_value(str(piece.value), ValueForm.LAMP)
        ratio = (said.volts or 0.0) / (wanted.volts or 1.0)
        if count >= each and piece != need and 1 / VOLTS <= ratio <= VOLTS:
            off = abs(math.log((said.amperes or 1.0) / (wanted.amperes or 1.0))) + abs(math.log(ratio))
            found.append((off, Standin((piece,), "", piece.value)))
    return [standin for _, standin in sorted(found, key=lambda item: item[0])]


def _types(need: Piece, stock: Mapping[Piece, int], each: int, kind: Kind) -> list[Standin]:
    """Other types of the kind: those that bear as much first, then by likeness of their gain."""

    def cost(piece: Piece) -> tuple[int, float, str]:
        ours, theirs = kind.ratings_for(piece.value), kind.ratings_for(need.value)
        weaker = sum(ours.get(name, number) < number for name, number in theirs.items())
        a, b = (kind.parameters_for(p.value).get("BF", 0.0) for p in (piece, need))
        return weaker, abs(math.log(a / b)) if a and b else 0.0, str(piece.value)

    fitting = [p for p, n in stock.items() if n >= each and p != need and kind.knows(p.value)]
    return [Standin((p,), "", p.value) for p in sorted(fitting, key=cost)]
