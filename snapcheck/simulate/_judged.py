"""A figure beside what was promised: met or not, and both in words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from snapcheck.board import OF_A_PART, Design, Expectation, settings_words
from snapcheck.circuit import probe_words
from snapcheck.simulate._text import figure_text
from snapcheck.words import tr

#: frequency where one is needed and none is given, Hz
USUAL_Hz = 1000.0


@dataclass(frozen=True)
class Figure:
    """One expected figure beside what the circuit does.

    Attributes:
        expectation: what was promised.
        value: measured, in the expectation's unit; None where it cannot be measured.
        met: True within the range, False outside or not measurable.
        reason: why it could not be measured, "" otherwise.
        text: one line for people.
    """

    expectation: Expectation
    value: float | None
    met: bool
    reason: str
    text: str


def name_of(expectation: Expectation, design: Design) -> str:
    """What a figure is called in a sentence, such as "gain at 1 kHz" or "voltage at C4 collector"."""
    names = {
        "voltage": tr("voltage"),
        "current": tr("current"),
        "power": tr("power"),
        "gain": tr("gain"),
        "band-low": tr("lower band edge"),
        "band-high": tr("upper band edge"),
        "input-impedance": tr("input impedance"),
        "output-impedance": tr("output impedance"),
        "swing": tr("clean swing"),
        "distortion": tr("distortion"),
        "frequency": tr("frequency"),
        "duty": tr("duty"),
        "delay": tr("delay"),
        "ripple": tr("ripple"),
        "pulse": tr("length of the pulse"),
        "average-voltage": tr("average voltage"),
        "rms-voltage": tr("RMS voltage"),
        "average-current": tr("average current"),
        "rms-current": tr("RMS current"),
        "threshold-up": tr("upper threshold"),
        "threshold-down": tr("lower threshold"),
    }
    name = names[expectation.quantity]
    if expectation.conditions is not None and expectation.quantity not in ("delay", "pulse"):
        settings = ", ".join(settings_words(expectation.conditions, design.conditions))
        name = _placed(name, expectation, design)
        return tr("{name} with {settings}", name=name, settings=settings) if settings else name
    return _placed(name, expectation, design)


def _placed(name: str, expectation: Expectation, design: Design) -> str:
    oscillates = any(e.quantity in ("frequency", "duty") for e in design.expectations)
    if expectation.quantity == "swing" and design.input is None and oscillates:
        return tr("swing of the oscillation")
    if expectation.quantity in ("gain", "input-impedance", "output-impedance", "swing", "distortion"):
        return tr("{name} at {frequency}", name=name, frequency=figure_text(expectation.at or USUAL_Hz, "Hz"))
    if expectation.place is not None:
        # power goes into a part, whatever the leg; one current flows through a part with two ends, and their
        # names a and b mean nothing to people
        through = expectation.quantity == "power" or (
            expectation.quantity in OF_A_PART and expectation.place.terminal in ("a", "b")
        )
        place = str(expectation.place.at) if through else probe_words(expectation.place)
        return tr("{name} at {place}", name=name, place=place)
    return name


def range_text(expectation: Expectation) -> str:
    """The accepted range in words."""
    low, high, unit = expectation.low, expectation.high, expectation.unit
    if math.isinf(high):
        return tr("at least {low}", low=figure_text(low, unit))
    if math.isinf(low) or (low == 0 and expectation.quantity in ("distortion", "ripple")):
        return tr("at most {high}", high=figure_text(high, unit))
    return tr("{low} to {high}", low=figure_text(low, unit), high=figure_text(high, unit))


def judge(expectation: Expectation, design: Design, value: float | None, reason: str = "") -> Figure:
    """A figure from a measured value."""
    met = value is not None and expectation.low <= value <= expectation.high
    name = name_of(expectation, design)
    if value is None:
        text = tr("{name}: cannot be measured ({reason})", name=name, reason=reason or tr("no such figure"))
    else:
        text = tr(
            "{name}: {value}, expected {range}",
            name=name,
            value=figure_text(value, expectation.unit),
            range=range_text(expectation),
        )
    return Figure(expectation, value, met, reason, text)
