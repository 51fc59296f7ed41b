"""One board, one kit: how its maker prints values speaks for every reading of a print.

A print is described by its traits: which decimal mark, a nought before it or not, k or K, µ or u, a gap
before the unit, ohms with or without a sign, colours in capitals, types parted. Makers differ, but one
maker's prints agree. By expectation-maximisation (Dempster, Laird, Rubin 1977) over the readings of all
prints, each trait's shares on this board are found, with what is common as prior (Dirichlet); a reading
of one print is then as much likelier as the *other* prints make its traits likelier than they are on any
board. Nothing is learnt from a print for itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from snapcheck.kit import ValueForm
from snapcheck.photo._cells import Print

#: shares of traits on any board (common practice, no source)
USUAL: dict[str, dict[str, float]] = {
    "mark": {"point": 0.5, "comma": 0.15, "letter": 0.35},
    "nought": {"told": 0.75, "left out": 0.25},
    "kilo": {"k": 0.65, "K": 0.35},
    "micro": {"µ": 0.6, "u": 0.3, "mfd": 0.1},
    "gap": {"none": 0.65, "gap": 0.35},
    "ohm": {"sign": 0.4, "word": 0.15, "none": 0.45},
    "case": {"lower": 0.5, "upper": 0.35, "title": 0.15},
    "parted": {"whole": 0.75, "parted": 0.25},
}
#: so many prints the common shares count for
PRIOR = 3.0
ROUNDS = 4


def traits(text: str, form: ValueForm) -> Iterator[tuple[str, str]]:
    """What a print shows of its maker's habits, each with the choice made; only what it shows at all."""
    text = " ".join(text.split())
    if form is ValueForm.COLOUR:
        if text.isalpha():
            yield "case", "upper" if text.isupper() else "lower" if text.islower() else "title"
        return
    if form is ValueForm.TYPE:
        if re.fullmatch(r"\d?[A-Z]+[ -]?\d.*", text):
            yield "parted", "parted" if re.search(r"[ -]", text) else "whole"
        return
    if form is not ValueForm.NONE and any(c.isdigit() for c in text):
        yield from _of_number(text, form)


def _of_number(text: str, form: ValueForm) -> Iterator[tuple[str, str]]:
    if re.search(r"\d[kKMRµunpmVFHA]\d", text):
        yield "mark", "letter"
    elif mark := re.search(r"[.,](?=\d)", text):
        yield "mark", "point" if mark[0] == "." else "comma"
    if re.match(r"[.,]\d", text):
        yield "nought", "left out"
    elif re.match(r"0[.,]\d", text):
        yield "nought", "told"
    if form is ValueForm.OHMS:
        if kilo := re.search(r"\d ?([kK])", text):
            yield "kilo", kilo[1]
        sign = "sign" if "Ω" in text else "word" if re.search(r"ohm", text, re.I) else "none"
        yield "ohm", sign
    if micro := re.search(r"\d ?(µ|u|mfd)", text, re.I):
        yield "micro", micro[1].lower()
    if unit := re.search(r"\d( ?)[A-Za-zµΩ]", text):
        yield "gap", "gap" if unit[1] else "none"


@dataclass(frozen=True)
class Habits:
    """How much likelier than on any board the other prints make each choice: (trait, choice) to factor."""

    factors: Mapping[tuple[str, str], float]

    def speaks_for(self, text: str, form: ValueForm) -> float:
        """How much likelier they make a print that says this."""
        product = 1.0
        for trait in traits(text, form):
            product *= self.factors.get(trait, 1.0)
        return product


def with_habits(lines: Mapping[int, Print], forms: Mapping[int, ValueForm]) -> dict[int, Print]:
    """The prints of one board, each with what the others say of their maker's habits.

    Args:
        forms: of the values of the likeliest kind where each stands.
    """
    readings = {
        i: [(list(traits(t, forms[i])), p) for t, p in ((line.text, line.confidence), *line.rivals)]
        for i, line in lines.items()
    }
    shown: dict[int, dict[tuple[str, str], float]] = {i: {} for i in lines}
    found: dict[int, Habits] = {i: Habits({}) for i in lines}
    for _ in range(ROUNDS):
        for i, some in readings.items():
            weights = [p * _product(t, found[i].factors) for t, p in some]
            total = max(sum(weights), 1 - sum(p for _, p in some), 1e-9)
            shown[i] = {}
            for (have, _), w in zip(some, weights, strict=True):
                for trait in have:
                    shown[i][trait] = shown[i].get(trait, 0.0) + w / total
        everything: dict[tuple[str, str], float] = {}
        for one in shown.values():
            for trait, w in one.items():
                everything[trait] = everything.get(trait, 0.0) + w
        found = {i: _without(everything, shown[i]) for i in lines}
    return {i: replace(line, habits=found[i]) for i, line in lines.items()}


def _product(some: list[tuple[str, str]], factors: Mapping[tuple[str, str], float]) -> float:
    product = 1.0
    for trait in some:
        product *= factors.get(trait, 1.0)
    return product


def _without(everything: Mapping[tuple[str, str], float], own: Mapping[tuple[str, str], float]) -> Habits:
    """What all prints but one show, as factors."""
    factors = {}
    for trait, choices in USUAL.items():
        rest = {c: max(0.0, everything.get((trait, c), 0.0) - own.get((trait, c), 0.0)) for c in choices}
        total = PRIOR + sum(rest.values())
        for choice, usual in choices.items():
            factors[(trait, choice)] = (PRIOR * usual + rest[choice]) / total / usual
    return Habits(factors)
