"""A plan made of a reference build: figures that are worth promising, with bands that specimens of its parts
keep to."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from snapcheck.board import Conditions, Design, Expectation, Probe, settings_text
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Sense, Setting
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.simulate import FigureSpread, Simulator, Survey

#: the most figures that a plan gets
MOST_FIGURES = 12
#: specimens of the board that the bands are taken from: for figures of rest and response, and for those
#: that need runs in time
SAMPLES, SLOW_SAMPLES = 300, 20
#: room beside what the specimens show, as a share of their span, and the least half width of a band
ROOM, LEAST = 0.15, 0.03
#: a figure that fewer of the specimens have is not promised
HAVE_IT = 0.9
#: below these a voltage or current counts as none
_NOTHING = {"V": 0.02, "A": 20e-6}
_SCALES = {
    "A": ((1e-6, "µA"), (1e-3, "mA"), (1.0, "A")),
    "Hz": ((1.0, "Hz"), (1e3, "kHz"), (1e6, "MHz")),
}
_DARK_lux, _LIT_lux = 1.0, 300.0


@dataclass(frozen=True)
class Promised:
    """What a plan may promise.

    Attributes:
        design: with its figures.
        notes: figures that were looked at and left out, with the reason, in words.
        samples: specimens that the bands come from.
    """

    design: Design
    notes: tuple[str, ...]
    samples: int


def promise(
    design: Design, circuit: Circuit, simulator: Simulator, *, samples: int = SAMPLES, seed: int = 1
) -> Promised:
    """A design with calculated figures and bands from specimens of its parts (see `simulate/_tolerance.py`).

    Raises:
        SimulationError: it cannot be calculated; the message says why.
    """
    survey = simulator.survey(replace(design, expectations=()), circuit)
    asked = tuple(_worth(design, circuit, survey))[:MOST_FIGURES]
    spread = simulator.tolerance(
        replace(design, expectations=asked), circuit, samples=samples,
        slow_samples=min(SLOW_SAMPLES, samples), seed=seed,
    )  # fmt: skip
    kept, notes = [], []
    for figure in spread.figures:
        banded, why = _banded(figure)
        if banded is None:
            notes.append(why)
        else:
            kept.append(replace(banded, text=_text(banded, design.conditions)))
    return Promised(replace(design, expectations=tuple(kept)), tuple(notes), samples)


def _worth(design: Design, circuit: Circuit, survey: Survey) -> Iterator[Expectation]:
    """Figures that tell whether such a circuit works, the most telling first, with open bands."""
    if survey.rhythm is not None and design.output is not None:
        yield _open("frequency", design.output)
        yield _open("duty", design.output)
    if survey.response is not None and survey.response.peak[1] > -60:
        yield _open("gain", None, at=1000.0)
        low, high = survey.response.band()
        if low is not None:
            yield _open("band-low", None)
        if high is not None:
            yield _open("band-high", None)
    shows = [p for p in circuit.parts if p.device.shows]
    if survey.rhythm is None:
        for conditions in _conditions(design, circuit):
            for part in shows:
                yield _open("current", Probe(part.cell, part.kind.terminals[0]), conditions=conditions)
        yield from _voltages(design, circuit)


def _voltages(design: Design, circuit: Circuit) -> Iterator[Expectation]:
    """Voltages at what amplifies and at the output, one for each net."""
    seen = {0, *(n for p in circuit.parts if p.device.supplies for n in p.nets.values())}
    places: list[tuple[Part, str]] = [
        (part, name) for part in circuit.parts for name in part.device.outlets
        if any(other is not part for other, _ in circuit.parts_on(part.nets[name]))
    ]  # fmt: skip
    for part, name in places:
        if part.nets[name] not in seen:
            seen.add(part.nets[name])
            yield _open("voltage", Probe(part.cell, name))
    if design.output is not None:
        net = circuit.net_of(design.output.cell, design.output.terminal)
        if net is not None and net not in seen:
            yield _open("voltage", design.output)


def _conditions(design: Design, circuit: Circuit) -> Sequence[Conditions | None]:
    """Rest, each push-button pressed, dark and light."""
    found: list[Conditions | None] = [None]
    for part in circuit.parts:
        if part.device.setting is Setting.SWITCH and not part.parameters.get("closed_at_rest", 0):
            switches = {**design.conditions.switches, part.cell: True}
            found.append(replace(design.conditions, switches=switches))
    if any(part.device.sense is Sense.LIGHT for part in circuit.parts):
        found = [replace(design.conditions, light_lux=lux) for lux in (_DARK_lux, _LIT_lux)]
    return found


def _open(
    quantity: str, place: Probe | None, *, at: float | None = None, conditions: Conditions | None = None
) -> Expectation:
    return Expectation(quantity, place, at, -math.inf, math.inf, conditions=conditions)


def _banded(figure: FigureSpread) -> tuple[Expectation | None, str]:
    """The figure with its band, or None and why it is left out."""
    import numpy as np

    asked = figure.expectation
    name = f"{asked.quantity} {asked.place or ''}".strip()
    good = figure.values[np.isfinite(figure.values)]
    if figure.nominal is None or len(good) < HAVE_IT * len(figure.values):
        return None, tr("{figure}: not every specimen has it, so it is not promised.", figure=name)
    low, high = float(min(good.min(), figure.nominal)), float(max(good.max(), figure.nominal))
    nothing = _NOTHING.get(asked.unit, 0.0)
    if max(abs(low), abs(high)) < nothing:
        return replace(asked, low=-math.inf, high=nothing), ""
    if asked.unit == "dB":
        low, high = math.floor(2 * (low - 0.5)) / 2, math.ceil(2 * (high + 0.5)) / 2
        return replace(asked, low=low, high=high), ""
    room = max(ROOM * (high - low), LEAST * abs(figure.nominal))
    wide = (high - low) + 2 * room
    band = _outward(low - room, wide, math.floor), _outward(high + room, wide, math.ceil)
    if band[0] <= 0 <= low:
        band = -math.inf, band[1]
    return replace(asked, low=band[0], high=band[1]), ""


def _text(figure: Expectation, base: Conditions) -> str:
    """The words of a layout file, in the scale that people use."""
    ends = [abs(end) for end in (figure.low, figure.high) if math.isfinite(end)]
    scales = _SCALES.get(figure.unit, ((1.0, figure.unit),))
    scale, unit = next(((s, u) for s, u in reversed(scales) if max(ends) >= s), scales[0])
    low, high = (f"{end / scale:.12g}" for end in (figure.low, figure.high))
    words = [figure.quantity]
    if figure.place is not None:
        words.append(f"at {figure.place}")
    if figure.at is not None:
        words.append(f"at {figure.at / 1e3:g} kHz")
    words.append(f"under {high} {unit}" if figure.low == -math.inf else f"{low} to {high} {unit}")
    if figure.conditions is not None and (settings := settings_text(figure.conditions, base)):
        words.append(f"with {', '.join(settings)}")
    return " ".join(" ".join(words).split())


def _outward(value: float, wide: float, rounded: Callable[[float], int]) -> float:
    """A limit rounded outwards, to a tenth of the decade of the band's width."""
    exponent = math.floor(math.log10(wide)) - 1
    return float(f"{rounded(value / 10.0**exponent)}e{exponent}")
