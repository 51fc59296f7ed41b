"""What stands in a cell, from the symbol and the print together: every cube that it may be, how likely each.

Bayes' rule over kind, turn and value: the symbol network says how likely kinds and turns are, the text
network how likely each print is, the kit which prints a kind may carry; what no shop sells is likelier
misread than printed. A print that makes no sense on a kind counts against it; a clear symbol still stands
against that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np

from snapcheck.board import Cube
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit, ParsedValue, ValueForm, coarsest_series, decades_apart, parse_value
from snapcheck.photo._cells import Print
from snapcheck.photo._likely import likelihoods, type_parts, words
from snapcheck.words import tr

SELDOM, ODD = 0.5, 0.1  # weights of values that are rare, and of those that are in no series or list
#: made to 20 %, for which IEC 60063 has E6
WIDE = ("electrolytic", "potentiometer")
#: farads that a capacitor of a kind is made for; common practice, no source
MADE = {"electrolytic": (0.9e-7, float("inf")), "capacitor": (0.0, 0.9e-5)}
#: how likely a cube's print, however clear it looks, is nothing that its kind carries (worn, misread, a
#: sticker)
STRAY = 0.03
#: so many words of the kit are held against a line that is not clear
FILLED = 8
GUESS = 0.5  # lines less sure than this are guesses
#: probabilities below this are not kept
LEAST = 1e-4


#: values with the print that says so and its probability, likeliest first
Values = list[tuple[ParsedValue, str, float]]


@lru_cache(maxsize=4096)
def meaning(text: str, form: ValueForm) -> ParsedValue | None:
    """What a print says on a cube of this form, None where it makes no sense."""
    if len(text) > 1 and text[0] == "0" and text[1].isdigit():
        return None  # typed, it is a slip; printed, it is another print upside down
    try:
        return parse_value(text, form)
    except InputError:
        return None


_series = lru_cache(maxsize=4096)(coarsest_series)


def usual(kind: Kind, value: float | str | None) -> float:
    """How usual a value is, as a weight: preferred numbers (IEC 60063) and the kit's own before odd ones."""
    if isinstance(value, str):
        return 1.0 if not kind.values or value in kind.values else ODD
    if value is None:
        return 1.0
    low, high = MADE.get(kind.name, (0.0, float("inf")))
    if not low <= value <= high:
        return ODD
    if value in kind.values or not (kind.device.preferred or kind.device.regulates):
        return 1.0 if value in kind.values or not kind.values else ODD
    series = _series(value) if value > 0 else None
    if series in ("E3", "E6") or (series == "E12" and kind.name not in WIDE):
        return 1.0
    return SELDOM if series in ("E12", "E24") else ODD


def values_of(kind: Kind, line: Print) -> tuple[Values, float]:
    """What a print may say on a cube of this kind.

    Returns:
        Values with the print that says so and its probability, likeliest first, given that it is print of
        this kind; and how likely this print is on such a cube (0..1, for weighing kinds against each other).
    """
    seen = dict(((line.text, line.confidence), *line.rivals))
    some, chance = filled(kind, line)
    for k in np.argsort(-chance)[:FILLED]:
        seen[some[k]] = max(float(chance[k]), seen.get(some[k], 0.0))
    found: dict[tuple[object, str], tuple[ParsedValue, str, float]] = {}
    for lines, p in seen.items():
        text = " ".join(lines.split())
        said = meaning(text, kind.value_form)
        if said is None:
            continue
        key = (said.value, said.unit)
        first = found.get(key)
        found[key] = (said, text, p) if first is None else (first[0], first[1], first[2] + p)
    weighed = [(said, text, p * usual(kind, said.value)) for said, text, p in found.values()]
    fits = sum(p for *_, p in weighed)
    if line.habits:
        weighed = [(s, t, p * line.habits.speaks_for(t, kind.value_form)) for s, t, p in weighed]
    total = sum(p for *_, p in weighed) + _otherwise(kind, line)
    ranked = sorted(((s, t, p / max(total, 1e-9)) for s, t, p in weighed), key=lambda v: -v[2])
    return ranked, fits


def _otherwise(kind: Kind, line: Print) -> float:
    """Weight of everything else that may be printed.

    What makes no sense is no likelier printed than an odd value: it is a print misread. Readings that are not
    listed are taken to be as usual as the rivals that are.
    """
    listed = [(p, meaning(" ".join(t.split()), kind.value_form)) for t, p in line.rivals]
    told = sum(p for p, _ in listed)
    worth = sum(p * (usual(kind, said.value) if said else ODD) for p, said in listed)
    unlisted = max(0.0, 1 - line.confidence - told) * (worth / told if told > 0 else 1.0)
    odd = [*listed, (line.confidence, meaning(" ".join(line.text.split()), kind.value_form))]
    return unlisted + ODD * sum(p for p, said in odd if said is None)


def filled(kind: Kind, line: Print) -> tuple[tuple[str, ...], np.ndarray]:
    """Prints that cubes of a kind come with, and how likely the line is each of them."""
    some = words(kind.value_form, kind.values) if line.views else ()
    if not some or not line.below:
        return some, likelihoods(some, line.views) if some else np.zeros(0)
    if kind.value_form is ValueForm.TYPE:
        parted = [p for v in kind.values if isinstance(v, str) and (p := type_parts(v))]
        if not parted:
            return (), np.zeros(0)
        upper, lower = (tuple(p[k] for p in parted) for k in (0, 1))
        both = likelihoods(upper, line.views) * likelihoods(lower, line.below)
        return tuple("\n".join(p) for p in parted), both
    # a value, and below it a rated voltage or a tolerance
    return some, likelihoods(some, line.views)


def likely(
    kinds: Mapping[str, float], line: Print | None, printed: float, kit: Kit
) -> tuple[dict[str, float], dict[str, Values]]:
    """Kinds weighed again by what is printed, and the values that each may have.

    Args:
        kinds: probabilities of kinds by the symbol.
        line: the print as read, None where none was looked for.
        printed: how likely anything is printed at all.
    """
    if line is None:
        return dict(kinds), {}
    values: dict[str, Values] = {}
    weighed: dict[str, float] = {}
    for name, p in kinds.items():
        kind = kit[name]
        if kind.value_form is ValueForm.NONE:
            fits = 1 - printed
        else:
            values[name], fits = values_of(kind, line)
            fits *= printed
        weighed[name] = p * (STRAY + (1 - STRAY) * min(1.0, fits))
    total, before = sum(weighed.values()), sum(kinds.values())
    return {name: p * before / total for name, p in weighed.items()}, values


def cubes_of(
    kinds: Mapping[str, float],
    turns: np.ndarray,
    values: Mapping[str, Values],
    kit: Kit,
) -> list[tuple[Cube, float]]:
    """Every cube that may stand there, likeliest first; turns that look alike on a kind are one."""
    found: list[tuple[Cube, float]] = []
    for name, p in kinds.items():
        kind = kit[name]
        merged: dict[int, float] = {}
        for q in np.argsort(-turns):
            same = next((t for t in merged if kind.same_turn(90 * t, 90 * int(q))), int(q))
            merged[same] = merged.get(same, 0.0) + float(turns[q])
        for q, pq in merged.items():
            if p * pq < LEAST:
                continue
            if kind.value_form is ValueForm.NONE:
                found.append((Cube(name, 90 * q), p * pq))
                continue
            rest = p * pq
            for said, text, pv in values.get(name, []):
                if p * pq * pv >= LEAST:
                    found.append((Cube(name, 90 * q, said.value, text, said.unit), p * pq * pv))
                    rest -= p * pq * pv
            if rest >= LEAST:
                found.append((Cube(name, 90 * q), rest))
    return sorted(found, key=lambda c: -c[1])


def print_is_sure(p: float, values: Values, limits: Mapping[str, float]) -> bool:
    """Whether the likeliest value, of trusted probability `p`, is sure enough to be called read.

    One point, or one letter before the unit, must not make a value ten or a thousand times too large unasked:
    values that differ by that alone have a limit of their own.
    """
    if p < limits["text_threshold"]:
        return False
    first = values[0][0].value if values else None
    away = sum(q for said, _, q in values[1:] if decades_apart(first, said.value))
    return away <= 1 - limits["decade_threshold"]


def one_way_up(line: Print, over: Print, kind: Kind) -> tuple[Print, bool]:
    """Of print read both ways up the likelier, and whether that is the second.

    Where both make sense (16 and 91, 68 and 89), they are rivals, as likely as they are clear.
    """

    def weight(some: Print) -> float:
        said = meaning(some.text, kind.value_form)
        return some.confidence * usual(kind, said.value) if said else 0.0

    a, b = weight(line), weight(over)
    if a == b == 0:
        a, b = (some.confidence if some.text else 0.0 for some in (line, over))
    turned = b > a
    best, rest = (over, line) if turned else (line, over)
    said = [meaning(some.text, kind.value_form) for some in (best, rest)]
    listed = [s is not None and s.value in kind.values for s in said]
    # of two values of which cubes of this kind come with one alone, the other is that one upside down
    either = min(a, b) > 0 and listed != [True, False]
    if either and rest.confidence > GUESS and rest.text != best.text:
        share = 1 / (best.confidence + rest.confidence)
        rivals = ((rest.text, rest.confidence * share), *((t, p * share) for t, p in best.rivals))
        best = replace(best, confidence=best.confidence * share, rivals=rivals)
    return best, turned


def valued(kind: Kind, turn: int, line: Print | None, values: Values) -> tuple[Cube, float, str]:
    """The cube with its likeliest value, that value's probability, and what speaks against it, in words; odd
    text stays as read."""
    if kind.value_form is ValueForm.NONE or line is None:
        return Cube(kind.name, turn), 1.0, ""
    seen = " ".join(line.text.split())
    if not values:
        why = tr("the printed value '{text}' makes no sense here", text=seen)
        return Cube(kind.name, turn, None, seen or None), 0.0, why
    if line.confidence < GUESS:
        # hardly legible: what is usual comes first for a person to confirm, though it is no surer for that
        values = sorted(values, key=lambda v: -v[2] * usual(kind, v[0].value))
    said, text, p = values[0]
    why = ""
    if text != seen and p < line.confidence:
        why = tr("the print may say '{text}'", text=seen)
    return Cube(kind.name, turn, said.value, text, said.unit), min(1.0, p), why


def trusted(p: float, temperature: float) -> float:
    """A probability as often right as it says: temperature scaling of its logit (see models/README.md)."""
    p = min(max(p, 1e-6), 1 - 1e-6)
    return float(1 / (1 + ((1 - p) / p) ** (1 / temperature)))
