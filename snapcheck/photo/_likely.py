"""What may be printed where letters are covered or blurred: the values that cubes of a kind come with.

Each of them is held against what the text network saw of the line, place by place, by the forward recursion
of connectionist temporal classification (Graves et al. 2006), with a little left for every other letter, so
that one letter under a lead does not rule a value out.
"""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

from snapcheck.kit import SERIES, ValueForm, format_value
from snapcheck.photo._nets import names

#: how likely a letter is taken for any other
SLIP = 0.003
#: exponent by which views of a line are pooled: of 411 lines that are not clear on labelled pictures, tried
#: from 0 to 1, 0.2 was best by a hair, 0.5 nearly as good, 1 worse
POOL = 0.5
#: decades that kinds of open value come in, common practice, no source
_DECADES = {
    ValueForm.OHMS: range(7),
    ValueForm.FARADS: range(-12, -2),
    ValueForm.HENRIES: range(-6, 0),
}


def spellings(value: float, form: ValueForm) -> set[str]:
    """How a value is printed: as IEC 60062 has it (4k7), with a point (4.7k), with its unit (4.7 kΩ)."""
    digits, unit = format_value(value, form, style="spaced").split()
    if form is ValueForm.AMPERES:  # fuses say 0.1A
        digits, unit = f"{value:.4g}", unit[-1]
    out = {digits + unit, f"{digits} {unit}"}
    ohms = form is ValueForm.OHMS
    letter = unit[:-1] or ("R" if ohms else unit)
    if ohms or len(unit) > 1:
        out.add(digits + letter)
    if ohms and len(unit) == 1:
        out.add(digits)
    if "." in digits:
        out.add(digits.replace(".", letter))
    if ohms and value >= 1000:
        out.add(f"{value:.0f}")
    if "k" in unit:
        out |= {w.replace("k", "K") for w in out}
    if "." in digits:
        out |= {w.replace(".", ",") for w in out if "." in w}
    return out


def word_spellings(word: str, form: ValueForm) -> set[str]:
    """How a colour, type or lamp is printed: in capitals, with a gap, its current in the other unit."""
    if form is ValueForm.COLOUR:
        return {word, word.upper(), word.title()}
    if form is ValueForm.TYPE and (parts := type_parts(word)):
        return {word, " ".join(parts)}
    if form is ValueForm.LAMP:
        return {word, word.replace("/", " ")}
    return {word}


def type_parts(name: str) -> tuple[str, str] | None:
    """Where a type number is parted on two lines or by a gap: 2N 3904, BC 547."""
    m = re.fullmatch(r"(\d?[A-Z]+)(\d.*)", name)
    return (m[1], m[2]) if m else None


@lru_cache(maxsize=64)
def words(form: ValueForm, values: tuple[float | str, ...]) -> tuple[str, ...]:
    """Everything that cubes of a kind, with these values or any, are likely to say."""
    if form in _DECADES and not values:
        values = tuple(float(f"{m}e{e}") for e in _DECADES[form] for m in SERIES["E12"])
    out: set[str] = set()
    for value in values:
        out |= (
            word_spellings(value, form)
            if isinstance(value, str)
            else spellings(value, form)
            if form.si_unit
            else set()
        )
    letters = names()[1]
    return tuple(sorted(w for w in out if all(c in letters for c in w)))


def _spelt(some: tuple[str, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The beginnings of words, each once, the empty one first; where they share one, it is reckoned once.

    Returns:
        (m,) number of each one's last letter (0 of the empty one), and which beginning it goes on from;
        whether the blank between may be left out; (n,) which beginning each whole word is.
    """
    letters = names()[1]
    number = {"": 0}
    for word in some:
        for k in range(1, len(word) + 1):
            number.setdefault(word[:k], len(number))
    begun = list(number)
    ids = np.array([letters.index(w[-1]) + 1 if w else 0 for w in begun])
    before = np.array([number[w[:-1]] for w in begun])
    skip = np.array([len(w) > 1 and w[-1] != w[-2] for w in begun], float)
    return ids, before, skip, np.array([number[w] for w in some])


_kept = lru_cache(maxsize=64)(_spelt)  # of the words of a kit, which come again with every print


def by_view(some: tuple[str, ...], views: tuple[np.ndarray, ...]) -> np.ndarray:
    """(views, n) probabilities of words by each view of a line, (frames, letters) probabilities."""
    spelt = _spelt(some)
    return np.array([_forward(spelt, view, 0.0) for view in views])


def _forward(spelt: tuple[np.ndarray, ...], view: np.ndarray, slip: float) -> np.ndarray:
    """(n,) probabilities by one view; `slip`: how likely a letter is taken for any other."""
    ids, before, skip, whole = spelt
    first = before == 0
    p = (1 - slip) * view.astype(np.float64) + slip / view.shape[1]
    # of each beginning: with its last letter, and with a blank behind it
    letter, blank = np.zeros(len(ids)), np.zeros(len(ids))
    blank[0] = p[0, 0]
    letter[first] = p[0, ids[first]]
    letter[0] = 0
    for frame in p[1:]:
        on = (letter + blank[before] + skip * letter[before]) * frame[ids]
        blank = (blank + letter) * frame[0]
        letter = on
        letter[0] = 0
    return np.asarray(blank[whole] + letter[whole])


def pooled(each: np.ndarray) -> np.ndarray:
    """(n,) probabilities of (views, n): their power mean with the exponent POOL.

    It lies between the arithmetic mean (1), by which what one view alone takes for likely stays so, and the
    geometric mean (0), by which one view rules out what all others see ("r-norm" pooling; Cooke 1991,
    from memory).
    """
    return np.asarray((each**POOL).mean(0) ** (1 / POOL))


def likelihoods(some: tuple[str, ...], views: tuple[np.ndarray, ...]) -> np.ndarray:
    """(n,) probabilities of words by the views of a line together, each (frames, letters) probabilities."""
    spelt = _kept(some)
    return pooled(np.array([_forward(spelt, view, SLIP) for view in views]))
