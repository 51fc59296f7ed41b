"""Measurements as they are said at the bench, and readings as they are written down."""

from __future__ import annotations

import re
from typing import NamedTuple

import numpy as np

from snapcheck.board import Cell, Seam, Side, parse_probe, parse_settings, settings_text
from snapcheck.circuit import Part, cube_words, ohms, part_words, place_words, terminal_words, volts
from snapcheck.devices import Store, Transistor
from snapcheck.diagnose._asks import CONTACT_WORDS, LIFTED_WORDS, Ask, Reading, Way, expected
from snapcheck.diagnose._dictionary import Dictionary, Spot
from snapcheck.diagnose._wiring import Metal
from snapcheck.errors import InputError
from snapcheck.kit import ValueForm, parse_value
from snapcheck.words import tr

_VOLTS = re.compile(r"(?P<size>[-+−]?[0-9]+(?:[.,][0-9]+)?)\s*(?P<prefix>[mµuμ]?)\s*[vV]?")
_FACTOR = {"": 1.0, "m": 1e-3, "µ": 1e-6, "μ": 1e-6, "u": 1e-6}
#: sides as they are typed
_SIDES = {Side.N: "up", Side.E: "right", Side.S: "down", Side.W: "left"}
#: a value within this share of its print is good, where the kind names no tolerance
_NEAR = 0.25


def _leg(d: Dictionary, spot: Metal) -> tuple[Cell, Side, Cell | None]:
    """Cell and side of a contact of this metal, and the cube it meets there, where it meets one."""
    legs = [leg for leg in d.wiring.legs if Metal(leg.anchor, leg.terminal) == spot]
    met = [leg for leg in legs if (leg.cell.neighbour(leg.side), leg.side.opposite) in d.wiring.point_of_leg]
    leg = (met or legs)[0]
    return leg.cell, leg.side, leg.cell.neighbour(leg.side) if met else None


def spot_words(d: Dictionary, spot: Spot) -> str:
    """``the base of the NPN transistor BC547 at C4``, ``the straight wire at C3, on its edge to D3``.

    The leg of a large cube comes with its place: ``the out1 of the dual comparator at D4 (D4 left)``.
    """
    if isinstance(spot, Seam):
        return tr("the tap {seam}", seam=spot)
    part = d.wiring.circuit.part_at.get(spot.anchor)
    cell, side, beyond = _leg(d, spot)
    if part is not None:
        words = terminal_words(part, spot.terminal)
        named = part.cube.large and spot.terminal not in ("a", "b")
        return f"{words} ({place_words(cell, side)})" if named else words
    what = cube_words(d.wiring.board.cubes[spot.anchor], d.wiring.kit)
    if beyond is None:
        return tr(
            "the {what} at {cell} ({place})", what=what, cell=spot.anchor, place=place_words(cell, side)
        )
    return tr("the {what} at {cell}, on its edge to {beyond}", what=what, cell=spot.anchor, beyond=beyond)


def spot_text(d: Dictionary, spot: Spot) -> str:
    """A test point as it is typed: ``C4 base``, ``C3|D3``, ``tap C4|D4``."""
    if isinstance(spot, Seam):
        return f"tap {spot}"
    part = d.wiring.circuit.part_at.get(spot.anchor)
    cell, side, beyond = _leg(d, spot)
    if part is not None and spot.terminal not in ("a", "b"):
        return f"{spot.anchor} {spot.terminal}"
    if beyond is not None:
        return f"{cell}|{beyond}"
    return f"{cell} {_SIDES[side]}"


def ask_text(d: Dictionary, ask: Ask) -> str:
    """A measurement as it is typed; `parse_ask` takes it back."""
    match ask.way:
        case Way.CONTACT:
            text = f"contact {ask.seam}"
        case Way.LIFTED:
            text = f"lifted {d.wiring.parts[ask.part].cell}"
        case _:
            assert ask.place is not None
            text = spot_text(d, ask.place)
            if ask.other is not None:
                text = f"{text} to {spot_text(d, ask.other)}"
            elif ask.way is Way.SIGNAL:
                text = f"signal {text}"
    if ask.setting:
        settings = settings_text(d.settings[ask.setting].conditions, d.settings[0].conditions)
        text = f"{text} with {', '.join(settings)}"
    return text


def ask_words(d: Dictionary, ask: Ask) -> str:
    """What to do, in one or two sentences."""
    match ask.way:
        case Way.CONTACT:
            assert ask.seam is not None
            text = tr(
                "Battery out. Measure ohms across the seam {seam}: one probe on {first}, one on {second}.",
                seam=ask.seam, first=ask.seam.first, second=ask.seam.second,
            )  # fmt: skip
        case Way.LIFTED:
            text = _lifted_words(d.wiring.parts[ask.part])
        case Way.SIGNAL:
            assert ask.place is not None
            where = spot_words(d, ask.place)
            text = (
                tr("Signal at the input on: follow it by ear or scope to {place}.", place=where)
                if d.design.input is not None or d.mean.shape[0] == 0 or _has_input(d)
                else tr("Look for the swing by ear or scope at {place}.", place=where)
            )
        case Way.ACROSS:
            assert ask.place is not None and ask.other is not None
            text = tr("Red probe on {red}, black probe on {black}.",
                      red=spot_words(d, ask.place), black=spot_words(d, ask.other))  # fmt: skip
        case _:
            assert ask.place is not None
            text = tr("Black probe on the plate, red probe on {place}.", place=spot_words(d, ask.place))
            if d.loose[ask.setting, 0, d.index[ask.place]] > 0:
                text = f"{text} {tr('It swings: take the middle of what the meter shows.')}"
    if ask.setting:
        text = tr("With {settings}: {text}", settings=d.settings[ask.setting].words, text=text)
    return text


def _has_input(d: Dictionary) -> bool:
    return any(part.device.signals for part in d.wiring.circuit.parts)


def _lifted_words(part: Part) -> str:
    name = part_words(part)
    device = part.device
    if device.chip:
        return tr("Battery out. Swap {part} for another one of its type, and look whether all is well then.",
                  part=name)  # fmt: skip
    if device.transistor is Transistor.FIELD:
        return tr("Battery out. Lift {part} and test it alone (diode range, all ways round).", part=name)
    if device.junctions:
        return tr("Battery out. Lift {part} and test its junctions alone (diode range).", part=name)
    if device.store is Store.CHARGE:
        return tr("Battery out, wait until it is empty. Lift {part} and measure it alone (farads).",
                  part=name)  # fmt: skip
    if device.supplies:
        return tr("Take out {part} and measure its voltage alone.", part=name)
    return tr("Battery out. Lift {part} and measure its ohms alone.", part=name)


def expected_words(d: Dictionary, ask: Ask) -> str:
    """What a build as designed shows: ``4.6 V ± 0.5 V``."""
    if ask.way is Way.CONTACT:
        return tr("under 1 Ω")
    if ask.way is Way.LIFTED:
        part = d.wiring.parts[ask.part]
        value = part.cube.value
        if part.kind.value_form is ValueForm.OHMS and isinstance(value, int | float):
            return f"{ohms(float(value))} ± {max(part.kind.tolerance, 0.05) * 100:.0f} %"
        return tr("as its print says")
    low, middle, high = band(d, ask)
    if ask.way is Way.SIGNAL:
        return tr("about {volts}", volts=volts(middle)) if middle > 0 else tr("nothing")
    return f"{volts(middle)} ± {volts((high - low) / 2)}"


def band(d: Dictionary, ask: Ask) -> tuple[float, float, float]:
    """Least, middle and greatest V that a build as designed shows, 95 times of 100."""
    e = expected(d, [ask])
    own = np.flatnonzero(d.fault_of == 0)
    means, spreads = e.mean[0, own], e.spread[0, own]
    low, high = float((means - 2 * spreads).min()), float((means + 2 * spreads).max())
    middle = float(means[0])
    if ask.way is Way.SIGNAL:
        least = d.priors.meter["least_signal_V"]
        return tuple(0.0 if 10**v <= 1.01 * least else 10**v for v in (low, middle, high))  # type: ignore[return-value]
    return low, middle, high


def value_words(reading: Reading) -> str:
    """What was found."""
    if isinstance(reading.value, str):
        return found_word(reading.value)
    return volts(reading.value)


def found_word(word: str) -> str:
    """A word of `CONTACT_WORDS` and `LIFTED_WORDS` in the reader's language."""
    return {
        "good": tr("good"),
        "poor": tr("poor"),
        "open": tr("open"),
        "short": tr("shorted"),
        "reversed": tr("the wrong way round"),
        "value": tr("another value"),
        "weak": tr("weak"),
    }[word]


# -------------------------------------------------------------------- what people type


def parse_reading(d: Dictionary, text: str) -> Reading:
    """``C4 collector 4.6 V``, ``C3|D3 0.2V``, ``C4 base to C4 emitter 650 mV``, ``signal C4 base 20 mV``,
    ``contact C3|D3 open``, ``lifted C3 4k7``; each with ``with C2 closed`` behind the place where it applies.

    Raises:
        InputError: says what is not understood, and what is accepted.
    """
    words = text.replace("=", " ").split()
    for size in (2, 1):
        if len(words) > size:
            value = " ".join(words[-size:])
            try:
                ask = parse_ask(d, " ".join(words[:-size]))
            except InputError:
                if size == 1:
                    raise
                continue
            found = _value(d, ask, value)
            if found is not None:
                return Reading(ask, found)
    raise InputError(
        tr("'{text}' is no reading.", text=text),
        way_out=tr("Write place and value, such as 'C4 collector 4.6V', 'C3|D3 0V', 'lifted C3 good'."),
    )


def parse_ask(d: Dictionary, text: str) -> Ask:
    """A measurement as `ask_text` writes it. Raises InputError."""
    head, _, told = text.partition(" with ")
    setting = _setting(d, told)
    words = head.split()
    if words and words[0] in ("contact", "lifted"):
        place = " ".join(words[1:])
        if words[0] == "contact":
            seam = Seam.parse(place)
            if not any(joint.seam == seam for joint in d.wiring.joints):
                raise InputError(tr("no contacts meet in the seam {seam}.", seam=seam))
            return Ask(Way.CONTACT, seam=seam)
        cell = Cell.parse(place)
        part = d.wiring.circuit.part_at.get(d.wiring.board.named(cell))
        if part is None:
            raise InputError(tr("no part stands in {cell}.", cell=cell))
        return Ask(Way.LIFTED, part=part.name)
    if words and words[0] == "signal":
        if d.signal is None:
            raise InputError(tr("this board has no signal to follow."))
        return Ask(Way.SIGNAL, _spot(d, " ".join(words[1:])))
    first, _, second = head.partition(" to ")
    if second:
        return Ask(Way.ACROSS, _spot(d, first), _spot(d, second), setting=setting)
    return Ask(Way.VOLTS, _spot(d, first), setting=setting)


def _setting(d: Dictionary, told: str) -> int:
    if not told.strip():
        return 0
    board, kit, usual = d.wiring.board, d.wiring.kit, d.settings[0].conditions
    wanted = parse_settings(told, board, kit, usual)
    for number, setting in enumerate(d.settings):
        if setting.conditions == wanted:
            return number
    known = [", ".join(settings_text(s.conditions, usual)) for s in d.settings[1:]]
    raise InputError(
        tr("nothing is known of readings with {settings}.", settings=told),
        way_out=tr("Accepted: {names}.", names="; ".join(known) or "–"),
    )


def _spot(d: Dictionary, text: str) -> Spot:
    """A test point: a terminal, a side, a seam (the probe on the cube named first), a tap."""
    text = text.strip()
    spot: Spot
    if text.startswith("tap "):
        spot = Seam.parse(text[4:])
    elif "|" in text:
        spot = _at_seam(d, text)
    else:
        probe = parse_probe(text, d.wiring.board, d.wiring.kit)
        spot = Metal(probe.cell, probe.terminal)
    if spot not in d.index:
        raise InputError(
            tr("a probe cannot touch '{text}'.", text=text),
            way_out=tr("Name a contact, such as 'C4 collector', 'C3 left' or 'C3|D3'."),
        )
    return spot


def _at_seam(d: Dictionary, text: str) -> Spot:
    seam = Seam.parse(text)
    first = Cell.parse(text.split("|", maxsplit=1)[0])
    for cell, side in zip((seam.first, seam.second), seam.sides, strict=True):
        leg = next((x for x in d.wiring.legs if (x.cell, x.side) == (cell, side)), None)
        if cell == first and leg is not None:
            return Metal(leg.anchor, leg.terminal)
    raise InputError(
        tr("{cell} has no contact in the seam {seam}.", cell=first, seam=seam),
        way_out=tr("Name the cube that the probe touches first."),
    )


def _value(d: Dictionary, ask: Ask, text: str) -> float | str | None:
    """The value of a reading; None where it is none for this measurement."""
    word = text.strip().lower()
    if ask.way is Way.CONTACT:
        return word if word in CONTACT_WORDS else _contact_ohms(word)
    if ask.way is Way.LIFTED:
        return word if word in LIFTED_WORDS else _lifted_value(d.wiring.parts[ask.part], text)
    if ask.way is Way.SIGNAL and word in ("nothing", "none", "silent"):
        return 0.0
    match = _VOLTS.fullmatch(text.strip())
    if match is None:
        return None
    return float(match["size"].replace(",", ".").replace("−", "-")) * _FACTOR[match["prefix"]]


def _contact_ohms(text: str) -> str | None:
    if text in ("ol", "inf", "∞"):
        return "open"
    try:
        value = parse_value(text, ValueForm.OHMS).value
    except InputError:
        return None
    size = float(value) if isinstance(value, int | float) else 0.0
    return "good" if size < 5 else "poor" if size < 1e6 else "open"


def _lifted_value(part: Part, text: str) -> str | None:
    """What a measured value says of a cube."""
    if text.strip().lower() in ("ol", "inf", "∞"):
        return "open"
    printed = part.cube.value
    try:
        value = parse_value(text, part.kind.value_form).value
    except InputError:
        return None
    if not isinstance(value, int | float) or not isinstance(printed, int | float) or printed <= 0:
        return None
    ratio = float(value) / float(printed)
    if part.device.supplies:
        return "good" if ratio > 0.9 else "weak"
    if part.kind.value_form is ValueForm.OHMS and float(value) < 1 < float(printed):
        return "short"
    near = max(_NEAR, 2 * part.kind.tolerance)
    return "good" if 1 - near <= ratio <= 1 + near else "value"


class Touch(NamedTuple):
    """Where a probe goes, for pictures.

    Attributes:
        sign: ``+`` red probe, ``-`` black probe, ``~`` ear piece or scope, ``Ω`` battery out.
        cell, side: the contact; without a side, the whole cube.
        seam: of a tap.
    """

    sign: str
    cell: Cell
    side: Side | None = None
    seam: Seam | None = None


def touches(d: Dictionary, ask: Ask) -> tuple[Touch, ...]:
    """Where the probes of a measurement go; the plate is not told."""
    match ask.way:
        case Way.CONTACT:
            assert ask.seam is not None
            sides = zip((ask.seam.first, ask.seam.second), ask.seam.sides, strict=True)
            return tuple(Touch("Ω", cell, side) for cell, side in sides)
        case Way.LIFTED:
            return (Touch("Ω", d.wiring.parts[ask.part].cell),)
    signs = ("~",) if ask.way is Way.SIGNAL else ("+", "-")
    spots = [spot for spot in (ask.place, ask.other) if spot is not None]
    return tuple(_touch(d, sign, spot) for sign, spot in zip(signs, spots, strict=False))


def _touch(d: Dictionary, sign: str, spot: Spot) -> Touch:
    if isinstance(spot, Seam):
        return Touch(sign, spot.first, None, spot)
    cell, side, _ = _leg(d, spot)
    return Touch(sign, cell, side)
