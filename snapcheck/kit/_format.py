"""Values written back as text, per IEC 60062 or in the everyday spelling."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from snapcheck.kit._form import ValueForm
from snapcheck.prefixes import POWERS, prefix_of

_UNIT = {
    ValueForm.OHMS: "Ω",
    ValueForm.FARADS: "F",
    ValueForm.HENRIES: "H",
    ValueForm.VOLTS: "V",
    ValueForm.AMPERES: "A",
}
#: prefixes that values are written with, by form
_PREFIXES = {
    ValueForm.OHMS: ("m", "", "k", "M", "G"),
    ValueForm.FARADS: ("p", "n", "µ"),
    ValueForm.HENRIES: ("n", "µ", "m", ""),
    ValueForm.VOLTS: ("m", ""),
    ValueForm.AMPERES: ("µ", "m", ""),
}


def format_value(
    value: float | str | None,
    form: ValueForm,
    *,
    style: Literal["code", "plain", "spaced"] = "code",
    unit: str = "",
) -> str:
    """A value as text that `parse_value` reads back to the very same number.

    Args:
        value: SI number, or the word itself (type, colour, lamp), or None (gives "").
        form: what is printed on cubes of the kind.
        style: ``code`` is IEC 60062 (4k7, 470R, 4µ7, 5V1), ``plain`` is 4.7k, 4.7µF, 5.1V,
            ``spaced`` is 4.7 kΩ, 4.7 µF, 5.1 V.
        unit: a meter's unit (V, A, mA), for form RANGE.
    """
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    number = Decimal(repr(float(value)))
    if form is ValueForm.RANGE:
        unit = unit or "V"
        scale = POWERS[unit[:-1]] if unit[:-1] in ("m", "µ") else 0
        return f"{_plain(number.scaleb(-scale))}{' ' if style == 'spaced' else ''}{unit}"
    powers = [POWERS[prefix] for prefix in _PREFIXES[form]]
    power = 0 if number == 0 else (number.adjusted() // 3) * 3
    if form is ValueForm.FARADS and -3 <= power < 3 and number < 100:
        power = -6  # 1000µ, not 1m: the way it is printed
    power = min(max(power, powers[0]), powers[-1])
    prefix = prefix_of(power)
    digits = _plain(number.scaleb(-power))
    symbol = _UNIT[form]
    if style == "spaced":
        return f"{digits} {prefix}{symbol}"
    if style == "plain":
        return f"{digits}{prefix}" if form is ValueForm.OHMS else f"{digits}{prefix}{symbol}"
    letter = prefix or ("R" if form is ValueForm.OHMS else symbol)
    whole, point, part = digits.partition(".")
    suffix = symbol if prefix and form not in (ValueForm.OHMS, ValueForm.FARADS) else ""
    return f"{whole}{letter}{part}{suffix}" if point else f"{digits}{letter}{suffix}"


def _plain(number: Decimal) -> str:
    text = f"{number:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
