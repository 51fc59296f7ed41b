"""Values as printed on cubes: read and written per IEC 60062 and the everyday spellings.

IEC 60062 puts the multiplier letter where the decimal mark would stand (4k7, R22, 4µ7, 5V1).
Numbers are handled as decimals, so that ``0.47u`` and ``470n`` give the very same float.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import NoReturn

from snapcheck.errors import InputError
from snapcheck.kit._form import ValueForm
from snapcheck.prefixes import POWERS
from snapcheck.words import tr

#: multiplier letters of IEC 60062 (and those of its wider SI table), as powers of ten
_POWER = {**POWERS, "R": 0}

_UNIT = {
    ValueForm.OHMS: "Ω",
    ValueForm.FARADS: "F",
    ValueForm.HENRIES: "H",
    ValueForm.VOLTS: "V",
    ValueForm.AMPERES: "A",
}

#: multipliers a form may carry
_ALLOWED = {
    ValueForm.OHMS: ("m", "R", "k", "M", "G"),
    ValueForm.FARADS: ("p", "n", "µ", "m"),
    ValueForm.HENRIES: ("n", "µ", "m"),
    ValueForm.VOLTS: ("m", "k"),
    ValueForm.AMPERES: ("µ", "m"),
}

#: values beyond these limits are a slip of the pen, not a part (SI units; common practice, no source)
_LIMITS = {
    ValueForm.OHMS: (1e-3, 1e12),
    ValueForm.FARADS: (1e-14, 1e3),
    ValueForm.HENRIES: (1e-9, 1e3),
    ValueForm.VOLTS: (1e-3, 1e4),
    ValueForm.AMPERES: (1e-6, 1e3),
    ValueForm.RANGE: (1e-6, 1e4),
}

#: tolerance letters after the value, IEC 60062 table 3
TOLERANCE_LETTERS = {
    "L": 0.0001, "P": 0.0002, "W": 0.0005, "B": 0.001, "C": 0.0025, "D": 0.005, "F": 0.01,
    "G": 0.02, "H": 0.03, "J": 0.05, "K": 0.10, "M": 0.20, "N": 0.30,
}  # fmt: skip

_EXAMPLE = {
    ValueForm.OHMS: "4k7, 470, 470R, R22, 4.7 kΩ",
    ValueForm.FARADS: "100n, 4µ7, 0.47uF, 470 nF, 100uF/16V",
    ValueForm.HENRIES: "4.7mH, 330µH, 4m7",
    ValueForm.VOLTS: "9V, 4.5 V, 8V2",
    ValueForm.AMPERES: "500mA, 0.5A, 1 A",
    ValueForm.RANGE: "15V, 100 mA, 3A",
    ValueForm.LAMP: "3.5V/0.2A, 12V/100mA",
    ValueForm.TYPE: "BC547, 1N4148",
    ValueForm.COLOUR: "red, green, white",
}

#: two digits of picofarads and the number of noughts (IEC 60062, clause 5)
_DIGITS_CODE = r"[1-9]\d[0-7]"

_NUMBER = r"\d+(?:[.,]\d+)?|[.,]\d+"


@dataclass(frozen=True)
class ParsedValue:
    """What a printed text says.

    Attributes:
        value: SI number; for types, colours and lamps the text in its usual spelling.
        unit: ``V``, ``A`` or ``mA`` for a meter's range (as printed), else "".
        rated_V: rated voltage printed beside a capacitance, or None.
        tolerance: relative tolerance from an IEC 60062 letter (0.05 for J), or None.
        volts, amperes: a lamp's nominal voltage and current, or None.
    """

    value: float | str
    unit: str = ""
    rated_V: float | None = None
    tolerance: float | None = None
    volts: float | None = None
    amperes: float | None = None


@functools.lru_cache(maxsize=4096)  # a class has the same few prints on a great many cubes
def parse_value(text: str, form: ValueForm) -> ParsedValue:
    """Read a value as printed on a cube of the given form.

    Raises:
        InputError: empty, ambiguous, nonsense or absurd text; the message says why.
    """
    clean = _fold(text)
    if form is ValueForm.NONE:
        raise InputError(
            tr("'{text}': nothing is printed on a cube of this kind.", text=text),
            way_out=tr("Leave it away."),
        )
    if not clean:
        raise InputError(
            tr("the value is empty."), way_out=tr("Write it like {EXAMPLE}.", EXAMPLE=_EXAMPLE[form])
        )
    if len(clean) > 40:
        raise InputError(
            tr("'{clean}…' is too long for a value.", clean=clean[:40]),
            way_out=tr("Write {EXAMPLE}.", EXAMPLE=_EXAMPLE[form]),
        )
    if form is ValueForm.TYPE:
        return ParsedValue(_type_name(clean, text))
    if form is ValueForm.COLOUR:
        return ParsedValue(_colour(clean, text))
    if form is ValueForm.LAMP:
        return _lamp(clean, text)
    if form is ValueForm.RANGE:
        return _range(clean, text)
    if form is ValueForm.FARADS:
        return _capacitance(clean, text)
    if form is ValueForm.AMPERES:
        # IEC 60127 prints the fuse's time class before its current: FF, F, M, T, TT
        clean = re.sub(r"^(?:FF|F|M|TT|T) ?(?=\d)", "", clean)
    number, rest = _quantity(clean, form, text)
    return ParsedValue(_checked(number, form, text), tolerance=rest)


def _fold(text: str) -> str:
    """One spelling for look-alikes: micro and ohm signs, Kelvin sign, odd spaces, words for units."""
    for old, new in (("\u03bc", "µ"), ("\u2126", "Ω"), ("\u212a", "K"), ("\u2215", "/"), ("\u00d7", "x")):
        text = text.replace(old, new)
    text = " ".join(text.split())
    text = re.sub(r"(\d ?[pnuµ])f$", r"\1F", text)  # 470nf: no other unit is meant
    text = re.sub(r"(?i)(?<=\d)( ?)mfd\b", r"\1µF", text)  # an older way to write microfarads
    return re.sub(r"(?i)(?<![a-z])([kmgµu]?)ohms?\b", lambda m: f"{m[1]}Ω", text)


def _fail(text: str, form: ValueForm, why: str) -> NoReturn:
    raise InputError(f"'{text}' {why}", way_out=tr("Write it like {EXAMPLE}.", EXAMPLE=_EXAMPLE[form]))


def _decimal(number: str, text: str, form: ValueForm) -> Decimal:
    whole, comma, part = number.partition(",")
    if comma and len(part) == 3 and whole.strip("0"):
        _fail(
            text,
            form,
            tr(
                "is ambiguous: {number} may be {whole}.{part} or {whole}{part}.",
                number=number,
                whole=whole,
                part=part,
            ),
        )
    try:
        return Decimal(number.replace(",", "."))
    except InvalidOperation:
        _fail(text, form, tr("is no number."))


def _multiplier(letter: str, form: ValueForm, text: str, bare: bool) -> int:
    """Power of ten for a prefix as printed; K, U, N and P in capitals are everyday spellings."""
    usual = {"u": "µ", "U": "µ", "K": "k", "r": "R", "g": "G"}.get(letter, letter)
    if form in (ValueForm.FARADS, ValueForm.HENRIES) and letter in ("N", "P"):
        usual = letter.lower()
    if usual == "M" and form is not ValueForm.OHMS:
        _fail(text, form, tr("is ambiguous: M is mega, which makes no sense here; m is milli, µ is micro."))
    if usual in _ALLOWED[form] or usual == "":
        return _POWER[usual]
    what = f"'{letter}'" if bare else tr("the prefix '{letter}'", letter=letter)
    _fail(text, form, tr("is not understood: {what} does not go with {value}.", what=what, value=form.words))


def _quantity(clean: str, form: ValueForm, text: str) -> tuple[Decimal, float | None]:
    """Number in SI units and tolerance from one value text."""
    unit = _UNIT[form]
    if clean.startswith(("-", "−")):
        _fail(text, form, tr("is negative."))
    if re.fullmatch(rf"(?:{_NUMBER})[eE]\d+", clean):
        mantissa, power = re.split("[eE]", clean)
        _fail(
            text,
            form,
            tr(
                "is ambiguous: {mantissa}.{power} or {mantissa} times ten to the {power}.",
                mantissa=mantissa,
                power=power,
            ),
        )
    tolerance: float | None = None
    # a tolerance letter follows an IEC 60062 code without a gap (4k7J); M and K after bare digits do not
    if form in (ValueForm.OHMS, ValueForm.FARADS) and (
        m := re.fullmatch(r"(\d*[RrkKMGpnµum]\d*)([LPWBCDFGHJKMN])", clean)
    ):
        # 100nF: F is the unit; so is H behind a prefix (10µH), where 4µ7H is a capacitor within 3 %
        before_unit = {"F": "[pnµum]", "H": "[pnµum]$"}.get(m[2])
        if not (before_unit and re.search(before_unit, m[1])) and re.search(r"\d", m[1]):
            clean, tolerance = m[1], TOLERANCE_LETTERS[m[2]]
    percent = re.fullmatch(r"(.*?)(?:[ ,/]+|[ ,/]*(?:±|\+/-) ?)(\d+(?:[.,]\d+)?) ?%", clean)
    if percent:
        clean, tolerance = percent[1], float(Decimal(percent[2].replace(",", ".")) / 100)
    if form is ValueForm.FARADS and (m := re.fullmatch(rf"({_DIGITS_CODE})([BCDFGJKM])", clean)):
        return _of_code(m[1]), TOLERANCE_LETTERS[m[2]]
    # the number first: 4.7k, 4.7 kΩ, 470, 470 nF
    plain = re.fullmatch(rf"({_NUMBER}) ?([A-Za-zµ]?)( ?{unit})?", clean)
    if plain:
        letter, has_unit = plain[2], bool(plain[3])
        if letter.upper() == unit and not has_unit:
            letter, has_unit = "", True
        _refuse_bare(plain[1], letter, has_unit, form, text)
        power = _multiplier(letter, form, text, bare=not has_unit)
        return _decimal(plain[1], text, form).scaleb(power), tolerance
    # the letter in place of the decimal mark: 4k7, R22, 4µ7, 8V2, 4m7H
    coded = re.fullmatch(rf"(\d*)([A-Za-zµ])(\d+)( ?{unit})?", clean)
    if coded:
        letter = "" if coded[2].upper() == unit else coded[2]
        power = _multiplier(letter, form, text, bare=True)
        return Decimal(f"{coded[1] or '0'}.{coded[3]}").scaleb(power), tolerance
    other = re.fullmatch(rf"(?:{_NUMBER}) ?[a-zA-Zµ]?(Ω|F|H|V|A|W|Hz)", clean)
    if other:
        _fail(
            text,
            form,
            tr("is in {other}, but this kind of cube carries {value}.", other=other[1], value=form.words),
        )
    _fail(text, form, tr("is no value in {value}.", value=form.words))


def _of_code(digits: str) -> Decimal:
    """Farads of a three-digit code: 473 is 47 nF."""
    return Decimal(digits[:2]).scaleb(int(digits[2]) - 12)


def _refuse_bare(number: str, letter: str, has_unit: bool, form: ValueForm, text: str) -> None:
    """Numbers without prefix and unit mean ohms or volts; elsewhere people mean different things."""
    if letter or has_unit or form in (ValueForm.OHMS, ValueForm.VOLTS):
        return
    if form is ValueForm.FARADS:
        if re.fullmatch(_DIGITS_CODE, number):
            pico = _of_code(number).scaleb(12)
            _fail(
                text,
                form,
                tr(
                    "is ambiguous: {number} pF, or the three-digit code for {pico:f} pF?",
                    number=number,
                    pico=pico,
                ),
            )
        _fail(text, form, tr("is ambiguous: {number} pF, nF or µF?", number=number))
    if form is ValueForm.HENRIES:
        _fail(text, form, tr("is ambiguous: {number} µH, mH or H?", number=number))
    if Decimal(number.replace(",", ".")) > 20:
        _fail(text, form, tr("is ambiguous: {number} A or {number} mA?", number=number))


def check_limits(value: float, form: ValueForm, place: str = "") -> None:
    """Raises InputError when a number (SI units) cannot be the value of a part: zero, negative, absurd."""
    low, high = _LIMITS[form]
    if (value == 0 and form is ValueForm.OHMS) or low <= value <= high:
        return  # zero ohms is a link
    unit = form.si_unit
    what = "zero" if value == 0 else f"{value:g} {unit}"
    raise InputError(
        tr(
            "{what} is absurd: a part has {low:g} to {high:g} {unit}.",
            what=what,
            low=low,
            high=high,
            unit=unit,
        ),
        place=place or None,
        way_out=tr("Write it like {EXAMPLE}.", EXAMPLE=_EXAMPLE[form]),
    )


def _checked(number: Decimal, form: ValueForm, text: str) -> float:
    value = float(number)
    try:
        check_limits(value, form)
    except InputError as error:
        _fail(text, form, tr("says {why}", why=error.message))
    return value


def _capacitance(clean: str, text: str) -> ParsedValue:
    parts = re.fullmatch(r"(.+?)(?: ?[/,;@] ?| )((?:\d+(?:[.,]\d+)?|\d*V\d+) ?V?)", clean)
    rated: float | None = None
    if parts and "V" in parts[2].upper():
        volts, _ = _quantity(parts[2], ValueForm.VOLTS, text)
        rated = _checked(volts, ValueForm.VOLTS, text)
        clean = parts[1]
    number, tolerance = _quantity(clean, ValueForm.FARADS, text)
    return ParsedValue(_checked(number, ValueForm.FARADS, text), rated_V=rated, tolerance=tolerance)


def _lamp(clean: str, text: str) -> ParsedValue:
    # a comma is a decimal mark unless a gap or another separator says otherwise
    parts = re.split(r" ?[/;] ?|,(?: |(?=[\d.,]+ ?m?[AW]$)(?<=V,))| (?=[\d.,]+ ?m?[AW]$)", clean)
    if len(parts) != 2:
        _fail(text, ValueForm.LAMP, tr("is no lamp value: it takes a voltage and a current."))
    first, second = parts
    if first.upper().endswith(("A", "W")):
        first, second = second, first
    volts = _checked(_quantity(first, ValueForm.VOLTS, text)[0], ValueForm.VOLTS, text)
    if second.upper().endswith("W"):
        power = re.fullmatch(rf"({_NUMBER}) ?(m?)W", second)
        if not power:
            _fail(text, ValueForm.LAMP, tr("has no readable power '{second}'.", second=second))
        watts = _decimal(power[1], text, ValueForm.LAMP).scaleb(_POWER[power[2]])
        amperes = _checked(watts / Decimal(repr(volts)), ValueForm.AMPERES, text)
    else:
        amperes = _checked(_quantity(second, ValueForm.AMPERES, text)[0], ValueForm.AMPERES, text)
    return ParsedValue("/".join(parts).replace(" ", ""), volts=volts, amperes=amperes)


def _range(clean: str, text: str) -> ParsedValue:
    match = re.fullmatch(rf"({_NUMBER}) ?(mV|V|µA|uA|mA|A)", clean)
    if not match:
        _fail(text, ValueForm.RANGE, tr("is no meter range: it takes a number and V, A or mA."))
    unit = match[2].replace("u", "µ")
    number = _decimal(match[1], text, ValueForm.RANGE).scaleb(_POWER[unit[:-1]])
    return ParsedValue(_checked(number, ValueForm.RANGE, text), unit=unit)


def _type_name(clean: str, text: str) -> str:
    name = clean.upper().replace(" ", "").replace("-", "")
    if not re.fullmatch(r"[A-Z0-9]{3,12}", name) or not re.search(r"\d", name):
        _fail(text, ValueForm.TYPE, tr("is no part number."))
    return name


#: short forms that colours are printed in (common practice; those of two letters are in IEC 60757)
_COLOUR_SHORT = {
    "rd": "red", "gn": "green", "grn": "green", "ye": "yellow", "yel": "yellow", "ylw": "yellow",
    "bu": "blue", "blu": "blue", "wh": "white", "wht": "white", "og": "orange", "org": "orange",
    "orn": "orange", "amb": "amber", "pk": "pink", "vt": "violet", "vio": "violet",
}  # fmt: skip


def _colour(clean: str, text: str) -> str:
    name = clean.lower()
    name = _COLOUR_SHORT.get(name, name)
    if not re.fullmatch(r"[a-z]+(?:[ -][a-z]+)*", name):
        _fail(text, ValueForm.COLOUR, tr("is no colour."))
    return name


@functools.lru_cache(maxsize=1000)
def usual_spelling(text: str, form: ValueForm) -> str:
    """A printed word as it counts when two are compared: GREEN as green, 6V/100mA as 6V/0.1A.

    A word that makes no sense stays as it is.
    """
    try:
        parsed = parse_value(text, form)
    except InputError:
        return text
    if parsed.volts and parsed.amperes:
        return f"{parsed.volts:g}V/{parsed.amperes:g}A"
    return parsed.value if isinstance(parsed.value, str) else text
