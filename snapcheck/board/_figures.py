"""Settings and expected figures, as written in layout files.

``set A2 closed``, ``set light 5 lux``, ``expect gain at 1 kHz 40 to 46 dB with C4 30 %``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal

from snapcheck.board._board import Board, Cube
from snapcheck.board._design import (
    CELSIUS,
    LUX,
    MOST_V,
    OF_A_PART,
    QUANTITIES,
    Conditions,
    Expectation,
    Probe,
)
from snapcheck.board._legs import legs_of
from snapcheck.board._place import Cell
from snapcheck.board._words import SIDE_WORDS, Line, Word, did_you_mean, joined, split_lines
from snapcheck.devices import Setting
from snapcheck.errors import InputError
from snapcheck.kit import Kit
from snapcheck.prefixes import factor_of
from snapcheck.words import numeral, tr

_UNITS = {"V": ("V",), "A": ("A",), "W": ("W",), "Hz": ("Hz",), "s": ("s",), "ohm": ("ohm", "ohms", "Ω")}
_CELL = re.compile(r"[A-Za-z]{1,2}[0-9]{1,2}")
#: digits with a decimal point or comma
_DIGITS = r"\d+(?:[.,]\d+)?"
_NUMBER = re.compile(rf"([-−+]?{_DIGITS})(.*)")
#: a decimal comma; three figures behind it may be thousands and are not taken
_COMMA = re.compile(r"(?<![\d,])(\d+),(\d{1,2}|\d{4,})(?!\d)")
#: quantities taken at a frequency; without one it is 1 kHz
AT_FREQUENCY = ("gain", "input-impedance", "output-impedance", "swing", "distortion")
_RANGE_FORMS = "'4.5 V ± 20 %', '40 to 46 dB', 'over 10 kHz' or 'under 5 %'"


class Scene:
    """The cubes that settings and figures refer to."""

    def __init__(self, kit: Kit, cubes: Mapping[Cell, Cube]) -> None:
        self.kit = kit
        self.cubes = cubes

    def cell(self, line: Line, word: Word) -> Cell:
        """A cell with a cube in it."""
        try:
            cell = Cell.parse(word.text)
        except InputError as error:
            line.fail(word, error.message, error.way_out)
        anchor = self.anchor(cell)
        if anchor is None:
            line.fail(word, tr("no cube stands in {cell}.", cell=cell), tr("Name a cell with a cube."))
        return anchor

    def anchor(self, cell: Cell) -> Cell | None:
        """The anchor of the cube that covers a cell, None for an empty one."""
        if cell in self.cubes:
            return cell
        large = (anchor for anchor, cube in self.cubes.items() if cube.large)
        return next((anchor for anchor in large if cell in self.cubes[anchor].cells(anchor)), None)

    def probe(self, line: Line, words: Sequence[Word], part: bool = False) -> tuple[Probe, int]:
        """A place such as ``C4 collector``, ``C4 left`` or ``F1``; also how many words it took.

        `part` says that the whole part is meant, so that the first terminal will do.
        """
        cell = self.cell(line, words[0])
        cube = self.cubes[cell]
        kind = self.kit[cube.kind]
        if len(words) > 1:
            name = words[1].text.lower()
            if name in kind.terminals:
                return Probe(cell, name), 2
            if name in SIDE_WORDS:
                return Probe(cell, self._terminal_on(line, words, cell)), 2
        contacts = tuple(dict.fromkeys(contact.terminal for contact in kind.contacts))
        if part or len(contacts) == 1:
            return Probe(cell, contacts[0]), 1
        shown = words[1] if len(words) > 1 else words[0]
        line.fail(
            shown,
            tr(
                "it is not said which terminal of the {kind} in {cell} is meant.",
                kind=tr(kind.title),
                cell=cell,
            ),
            tr("Accepted: {names}, or a side (left, right, up, down).", names=", ".join(kind.terminals)),
        )

    def _terminal_on(self, line: Line, words: Sequence[Word], anchor: Cell) -> str:
        """The terminal on a side of a cube; of several there, the one on the very cell that is named."""
        cube, named, side = self.cubes[anchor], Cell.parse(words[0].text), SIDE_WORDS[words[1].text.lower()]
        kind = self.kit[cube.kind]
        there = [leg for leg in legs_of(anchor, cube, kind) if leg.side == side]
        names = tuple(dict.fromkeys([leg.terminal for leg in there if leg.cell == named]
                                    or [leg.terminal for leg in there]))  # fmt: skip
        if not names:
            line.fail(
                words[1], tr("the {kind} in {cell} has no contact there.", kind=tr(kind.title), cell=anchor)
            )
        if len(names) > 1:
            line.fail(
                words[1],
                tr("the {kind} in {cell} has several contacts there.", kind=tr(kind.title), cell=anchor),
                tr("Accepted: {names}.", names=", ".join(names)),
            )
        return names[0]


def read_settings(line: Line, words: Sequence[Word], scene: Scene, start: Conditions) -> Conditions:
    """Conditions after settings separated by commas: ``A2 closed, C4 30 %, light 5 lux``."""
    groups: list[list[Word]] = [[]]
    for word in words:
        text, comma, _ = word.text.partition(",") if word.text.endswith(",") else (word.text, "", "")
        if text and text != "=":
            groups[-1].append(Word(text, word.column))
        if comma:
            groups.append([])
    conditions = start
    for group in groups:
        if not group:
            line.fail(words[0] if words else line.end(), tr("a setting is missing."), _setting_forms())
        conditions = _setting(line, group, scene, conditions)
    return conditions


def _setting_forms() -> str:
    return "Write 'A2 closed', 'A2 open', 'B1 9 V', 'C4 30 %', 'light 5 lux' or 'temperature 25 C'."


def _setting(line: Line, group: Sequence[Word], scene: Scene, conditions: Conditions) -> Conditions:
    group = [group[0], *(replace(w, text=_COMMA.sub(r"\1.\2", w.text)) for w in group[1:])]
    name, rest = group[0], joined(group[1:])
    if not rest:
        line.fail(name, tr("'{text}' is set to nothing.", text=name.text), _setting_forms())
    if name.text.lower() == "light":
        match = re.fullmatch(rf"({_DIGITS}) ?(?:lux|lx)", rest)
        if not match or not float(_point(line, group[1], match[1])) <= LUX[1]:
            line.fail(
                group[1], tr("'{rest}' is no light.", rest=rest), tr("Write 'light 5 lux' (0 to 200000).")
            )
        return replace(conditions, light_lux=float(_point(line, group[1], match[1])))
    if name.text.lower() == "temperature":
        match = re.fullmatch(rf"([-−]?{_DIGITS}) ?(?:°C|C|degC)", rest)
        if not match or not CELSIUS[0] <= float(_point(line, group[1], match[1])) <= CELSIUS[1]:
            line.fail(
                group[1],
                tr("'{rest}' is no temperature.", rest=rest),
                tr("Write 'temperature 25 C' (-55 to 125)."),
            )
        return replace(conditions, temperature_C=float(_point(line, group[1], match[1])))
    if not _CELL.fullmatch(name.text):
        hint = did_you_mean(name.text, ("light", "temperature"))
        line.fail(name, tr("'{text}' cannot be set.{hint}", text=name.text, hint=hint), _setting_forms())
    cell = scene.cell(line, name)
    kind = scene.kit[scene.cubes[cell].kind]
    if kind.device.setting is Setting.SWITCH:
        word = rest.lower()
        if word not in ("closed", "open", "pressed", "released", "on", "off"):
            line.fail(
                group[1],
                tr("'{rest}' is no position of a {kind}.", rest=rest, kind=tr(kind.title)),
                tr("Accepted: closed, open."),
            )
        closed = word in ("closed", "pressed", "on")
        return replace(conditions, switches={**conditions.switches, cell: closed})
    if kind.device.setting is Setting.POT:
        match = re.fullmatch(rf"({_DIGITS}) ?%", rest)
        if not match or not float(_point(line, group[1], match[1])) <= 100:
            line.fail(
                group[1],
                tr("'{rest}' is no position.", rest=rest),
                tr("Write 0 % (wiper at a) to 100 % (wiper at b)."),
            )
        position = float(Decimal(_point(line, group[1], match[1])) / 100)
        return replace(conditions, pots={**conditions.pots, cell: position})
    if kind.device.setting is Setting.SUPPLY:
        volts, _ = read_number(line, group[1:], "V")
        if not 0 <= volts <= MOST_V:
            line.fail(
                group[1], tr("{volts:g} V is no extra-low voltage.", volts=volts), tr("Write 0 V to 60 V.")
            )
        return replace(conditions, supply_V={**conditions.supply_V, cell: volts})
    line.fail(
        name, tr("the {kind} in {cell} cannot be set.", kind=tr(kind.title), cell=cell),
        tr("Switches, push-buttons, potentiometers, batteries and supplies can, and light and temperature."),
    )  # fmt: skip


def _point(line: Line, word: Word, number: str) -> str:
    """A number as Python reads it; 1,000 is refused, because it may be one or a thousand."""
    whole, comma, part = number.partition(",")
    if comma and len(part) == 3 and whole.strip("−-+0"):
        why = tr(
            "is ambiguous: {number} may be {whole}.{part} or {whole}{part}.",
            number=number,
            whole=whole,
            part=part,
        )
        line.fail(word, f"'{number}' {why}")
    return number.replace(",", ".").replace("−", "-")


def read_number(line: Line, words: Sequence[Word], unit: str) -> tuple[float, str]:
    """A number with its unit from words that hold nothing else: value in `unit`, unit as written."""
    text = joined(words)
    match = _NUMBER.fullmatch(text)
    if not match:
        line.fail(
            words[0] if words else line.end(),
            tr("'{text}' is no number.", text=text),
            tr("Write a number and its unit."),
        )
    written = match[2].strip()
    scale = _scale(written, unit)
    if scale is None:
        accepted = {"dB": "dB", "": "% or a fraction", "ohm": "Ω, kΩ or ohm"}.get(unit, f"{unit}, m{unit}")
        line.fail(
            words[0],
            tr("'{text}' is not in {value}.", text=text, value=unit or "per cent"),
            tr("Accepted units: {accepted}.", accepted=accepted),
        )
    value = float(f"{_point(line, words[0], match[1])}e{round(math.log10(scale))}")
    if not math.isfinite(value):
        line.fail(words[0], tr("'{text}' is no number.", text=text[:40]), tr("Write a number and its unit."))
    return value, written


def _scale(written: str, unit: str) -> float | None:
    """Multiplier from the written unit to `unit`, or None when it is another one."""
    if unit == "dB":
        return 1.0 if written == "dB" else None
    if unit == "":
        return {"%": 0.01, "": 1.0}.get(written)
    written = written.replace("\u03bc", "µ").replace("\u2126", "Ω")
    for name in _UNITS[unit]:
        if written.endswith(name):
            return factor_of(written[: -len(name)])
    return factor_of(written) if unit == "ohm" and written in ("k", "M") else None


def read_expectation(line: Line, words: Sequence[Word], scene: Scene, design: Conditions,
                     output: Probe | None) -> Expectation:  # fmt: skip
    """One expected figure: ``QUANTITY [at PLACE] [at FREQUENCY] RANGE [with SETTINGS]``."""
    words = [Word(w.text.rstrip(":"), w.column) for w in words if w.text not in (":", "=")]
    if not words:
        line.fail(
            line.end(), tr("the quantity is missing."), tr("Accepted: {names}.", names=", ".join(QUANTITIES))
        )
    quantity = words[0].text.lower()
    if quantity not in QUANTITIES:
        hint = did_you_mean(quantity, QUANTITIES)
        line.fail(
            words[0],
            tr("'{text}' is no quantity.{hint}", text=words[0].text, hint=hint),
            tr("Accepted: {names}.", names=", ".join(QUANTITIES)),
        )
    conditions: Conditions | None = None
    names = [w.text.lower() for w in words]
    body = words[1:]
    if "with" in names:
        split = names.index("with")
        body = words[1:split]
        conditions = read_settings(line, words[split + 1 :], scene, design)
    place: Probe | None = None
    at: float | None = None
    while body and body[0].text.lower() in ("at", "of", "through", "in"):
        if len(body) < 2:
            line.fail(
                body[0],
                tr("a place or a frequency is missing."),
                tr("Write 'at C4 collector' or 'at 1 kHz'."),
            )
        if _CELL.fullmatch(body[1].text):
            if place is not None:
                line.fail(body[1], tr("a second place is named."), tr("Write one line for each place."))
            place, used = scene.probe(line, body[1:], part=quantity in OF_A_PART)
            body = body[1 + used :]
        else:
            if quantity not in AT_FREQUENCY:
                line.fail(
                    body[1],
                    tr("{quantity} is not taken at a frequency.", quantity=quantity),
                    tr("Write 'at C4 collector'."),
                )
            used = 2 if len(body) > 2 and body[2].text in ("Hz", "kHz", "MHz") else 1
            at, _ = read_number(line, body[1 : 1 + used], "Hz")
            body = body[1 + used :]
    if quantity in AT_FREQUENCY and at is None:
        at = 1000.0
    if place is None and output is None:
        line.fail(words[0], tr("it is not said where the {quantity} is taken.", quantity=quantity),
                  tr("Write 'at C4 collector', or a line 'output C4 collector'."))  # fmt: skip
    low, high = _range(line, body, QUANTITIES[quantity])
    return Expectation(quantity, place, at, low, high, joined(line.words[1:]), conditions)


def _range(line: Line, words: Sequence[Word], unit: str) -> tuple[float, float]:
    """Lowest and highest accepted value."""
    if not words:
        line.fail(
            line.end(),
            tr("the expected range is missing."),
            tr("Write {RANGE_FORMS}.", RANGE_FORMS=_RANGE_FORMS),
        )
    spread = [Word(m[0], w.column + m.start()) for w in words
              for m in re.finditer(r"±|\+/-|\+-|–|\.\.|[^±–]+?(?=\.\.|±|–|$)", w.text)]  # fmt: skip
    texts = [w.text.lower() for w in spread]
    if texts[0] in ("over", "under"):
        value, _ = read_number(line, spread[1:], unit)
        return (value, math.inf) if texts[0] == "over" else (-math.inf, value)
    for sign in ("±", "+/-", "+-"):
        if sign in texts:
            split = texts.index(sign)
            middle, _ = read_number(line, spread[:split], unit)
            margin = joined(spread[split + 1 :])
            if unit and (percent := re.fullmatch(rf"({_DIGITS}) ?%", margin)):
                delta = abs(middle) * float(_point(line, spread[split + 1], percent[1])) / 100
            else:
                delta, _ = read_number(line, spread[split + 1 :], unit)
            return middle - abs(delta), middle + abs(delta)
    for sign in ("to", "–", ".."):
        if sign in texts:
            split = texts.index(sign)
            if split == 0 or split == len(texts) - 1:
                line.fail(
                    spread[split],
                    tr("one end of the range is missing."),
                    tr("Write {RANGE_FORMS}.", RANGE_FORMS=_RANGE_FORMS),
                )
            high, written = read_number(line, spread[split + 1 :], unit)
            first = spread[:split]
            if re.fullmatch(rf"[-−+]?{_DIGITS}", joined(first)):
                first = [*first, Word(written, first[-1].column)] if written else first
            low, _ = read_number(line, first, unit)
            if low > high:
                line.fail(
                    spread[0],
                    tr("the range runs downwards ({low:g} to {high:g}).", low=low, high=high),
                    tr("Turn it round."),
                )
            return low, high
    line.fail(
        spread[0],
        tr("'{joined}' is no range.", joined=joined(words)),
        tr("Write {RANGE_FORMS}.", RANGE_FORMS=_RANGE_FORMS),
    )


def _changed(conditions: Conditions, base: Conditions) -> Conditions:
    """Only the settings that lead from `base` to `conditions`; light and temperature always have one."""
    return replace(
        conditions,
        supply_V={c: v for c, v in conditions.supply_V.items() if base.supply_V.get(c) != v},
        switches={c: v for c, v in conditions.switches.items() if base.switches.get(c) is not v},
        pots={c: v for c, v in conditions.pots.items() if base.pots.get(c) != v},
    )


def settings_text(conditions: Conditions, base: Conditions) -> list[str]:
    """Settings that lead from `base` to `conditions`, as `read_settings` takes them."""
    new = _changed(conditions, base)
    parts = [f"{cell} {volts!r} V" for cell, volts in new.supply_V.items()]
    parts += [f"{cell} {'closed' if closed else 'open'}" for cell, closed in new.switches.items()]
    parts += [f"{cell} {_percent(position)} %" for cell, position in new.pots.items()]
    if new.light_lux != base.light_lux:
        parts.append(f"light {_short(new.light_lux)} lux")
    if new.temperature_C != base.temperature_C:
        parts.append(f"temperature {_short(new.temperature_C)} C")
    return [part.replace(".0 V", " V") for part in parts]


def settings_words(conditions: Conditions, base: Conditions) -> list[str]:
    """The same settings as people read them."""
    new = _changed(conditions, base)
    words = [tr("{cell} at {volts} V", cell=c, volts=numeral(_short(v))) for c, v in new.supply_V.items()]
    words += [
        tr("{cell} closed", cell=c) if v else tr("{cell} open", cell=c) for c, v in new.switches.items()
    ]
    words += [tr("{cell} at {percent} %", cell=c, percent=numeral(_percent(v))) for c, v in new.pots.items()]
    if new.light_lux != base.light_lux:
        words.append(tr("light {lux} lux", lux=numeral(_short(new.light_lux))))
    if new.temperature_C != base.temperature_C:
        words.append(tr("temperature {degrees} °C", degrees=numeral(_short(new.temperature_C))))
    return words


def expectation_text(figure: Expectation, base: Conditions) -> str:
    """An expected figure as `read_expectation` takes it (the ranges exact to the last digit)."""
    parts = [figure.quantity]
    if figure.place is not None:
        parts.append(f"at {figure.place}")
    if figure.at is not None:
        parts.append(f"at {_short(figure.at)} Hz")
    unit = f" {figure.unit}" if figure.unit else ""
    if figure.high == math.inf:
        parts.append(f"over {_short(figure.low)}{unit}")
    elif figure.low == -math.inf:
        parts.append(f"under {_short(figure.high)}{unit}")
    else:
        parts.append(f"{_short(figure.low)} to {_short(figure.high)}{unit}")
    if figure.conditions is not None:
        # settings equal to the design's own still make conditions of their own: light is always named
        settings = settings_text(figure.conditions, base) or [f"light {_short(base.light_lux)} lux"]
        parts.append(f"with {', '.join(settings)}")
    return " ".join(parts)


def _short(number: float) -> str:
    """A decimal number without exponent that reads back to the very same float."""
    text = f"{Decimal(repr(float(number))):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _percent(fraction: float) -> str:
    return _short(float(Decimal(repr(float(fraction))) * 100))


def parse_settings(text: str, board: Board, kit: Kit, start: Conditions | None = None) -> Conditions:
    """Conditions from words typed at the command line: ``A2 closed, light 5 lux``.

    Raises:
        InputError: points at the word and says what is accepted.
    """
    line = next(iter(split_lines(f"set {text}", "settings")))
    return read_settings(line, line.words[1:], Scene(kit, board.cubes), start or Conditions())


def parse_probe(text: str, board: Board, kit: Kit) -> Probe:
    """A place typed at the command line: ``C4 collector``, ``C4 left`` or ``F1``.

    Raises:
        InputError: there is no such place, or it is not clear which terminal is meant.
    """
    line = next(iter(split_lines(f"at {text}", "place")))
    if len(line.words) < 2:
        line.fail(1, tr("no place is named."), tr("Write a cell and a terminal, such as 'C4 collector'."))
    probe, used = Scene(kit, board.cubes).probe(line, line.words[1:])
    if len(line.words) - 1 > used:
        line.fail(line.words[used + 1], tr("'{text}' is one word too many.", text=line.words[used + 1].text))
    return probe
