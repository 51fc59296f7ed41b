"""Measurements: what can be asked for, and what each fault would show."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from snapcheck.board import Seam
from snapcheck.diagnose._dictionary import Dictionary, Spot
from snapcheck.diagnose._faults import Fault

if TYPE_CHECKING:
    from numpy.typing import NDArray


class Way(enum.StrEnum):
    """How one measures."""

    VOLTS = "volts"  #: direct voltage against the plate
    ACROSS = "across"  #: direct voltage between two places
    SIGNAL = "signal"  #: size of a 1 kHz signal against the plate
    CONTACT = "contact"  #: battery out: ohms across a seam
    LIFTED = "lifted"  #: battery out: a cube lifted and measured alone


#: what one may find of a contact, and of a lifted cube
CONTACT_WORDS = ("good", "poor", "open")
LIFTED_WORDS = ("good", "open", "short", "reversed", "value", "weak")
#: how often a person finds something else than there is (common practice, no source)
_SLIP = 0.04


@dataclass(frozen=True)
class Ask:
    """One measurement.

    Attributes:
        way: see `Way`.
        place: where; with `other`, the red probe's place.
        other: the black probe's place (`ACROSS`).
        seam: of a contact.
        part: name of a lifted part.
        setting: index into the dictionary's settings.
    """

    way: Way
    place: Spot | None = None
    other: Spot | None = None
    seam: Seam | None = None
    part: str = ""
    setting: int = 0

    @property
    def powered(self) -> bool:
        """Whether the supply is on while one measures."""
        return self.way not in (Way.CONTACT, Way.LIFTED)


@dataclass(frozen=True)
class Reading:
    """What a measurement showed: V, or one of the words of `CONTACT_WORDS` and `LIFTED_WORDS`."""

    ask: Ask
    value: float | str


class Expected(NamedTuple):
    """What each entry of a dictionary would show, as a normal distribution.

    A signal's size is its power of ten (log10 V), everything else V.
    """

    mean: NDArray[Any]
    slope: NDArray[Any]
    noise: NDArray[Any]

    @property
    def spread(self) -> NDArray[Any]:
        """Standard deviation over specimens and the meter's error."""
        wide: NDArray[Any] = np.sqrt(self.noise**2 + (self.slope**2).sum(axis=-1))
        return wide


def expected(d: Dictionary, asks: list[Ask]) -> Expected:
    """What measurements of voltages and signals would show: (asks, entries), slopes (asks, entries,
    varied)."""
    rows = [_expected(d, ask) for ask in asks]
    if not rows:
        entries = len(d.fault_of)
        return Expected(np.zeros((0, entries)), np.zeros((0, entries, len(d.varied))), np.zeros((0, entries)))
    return Expected(*(np.stack([row[i] for row in rows]) for i in range(3)))


def _expected(d: Dictionary, ask: Ask) -> Expected:
    assert ask.place is not None
    at, s = d.index[ask.place], ask.setting
    if ask.way is Way.SIGNAL:
        assert d.signal is not None
        mean = np.log10(np.maximum(d.signal[:, at], d.priors.meter["least_signal_V"])).astype(float)
        noise = np.full(len(mean), d.priors.spread["signal_decades"])
        return Expected(mean, np.zeros((len(mean), len(d.varied))), noise)
    mean, slope = d.mean[s, :, at].astype(float), d.slope[s, :, at].astype(float)
    if ask.other is not None:
        to = d.index[ask.other]
        against = d.source_ohm[s, :, at].astype(float) + d.source_ohm[s, :, to]
        left = d.priors.meter["ohm"] / (d.priors.meter["ohm"] + against)
        mean = (mean - d.mean[s, :, to]) * left
        slope = (slope - d.slope[s, :, to]) * left[:, None]
    loose = d.loose[s, :, at].astype(float)
    if ask.other is not None:
        loose = np.hypot(loose, d.loose[s, :, d.index[ask.other]])
    unknown = np.isnan(mean)
    mean = np.where(unknown, 0.0, mean)
    noise = np.where(unknown, d.span_V / 2, np.hypot(d.priors.noise_V(mean), loose))
    return Expected(mean, np.where(unknown[:, None], 0.0, slope), noise)


def chances(d: Dictionary, ask: Ask) -> tuple[tuple[str, ...], NDArray[Any]]:
    """What may be found of a contact or a lifted cube, and how likely with each entry: (entries, words)."""
    words = CONTACT_WORDS if ask.way is Way.CONTACT else LIFTED_WORDS
    table = np.zeros((len(d.fault_of), len(words)))
    for entry, index in enumerate(d.fault_of):
        fault = d.faults[index]
        row = (
            _contact(d, fault, int(d.degree_of[entry]), ask.seam)
            if ask.way is Way.CONTACT
            else _lifted(fault, ask.part)
        )
        total = sum(row.values())
        slip = _SLIP / len(words)
        table[entry] = [slip + (1 - _SLIP) * row.get(word, 0.0) / total for word in words]
    return words, table


def _contact(d: Dictionary, fault: Fault, degree: int, seam: Seam | None) -> dict[str, float]:
    """What ohms across a seam say: a way round through the rest of the circuit may hide that it is open."""
    wiring = fault.wiring or d.wiring
    for joint, ohm in fault.degrees[degree].cut:
        if wiring.joints[joint].seam == seam:
            return {"poor": 1.0} if ohm < 1e6 else {"open": 0.7, "poor": 0.3}
    return {"good": 1.0}


def _lifted(fault: Fault, part: str) -> dict[str, float]:
    """What a cube shows that is measured alone."""
    if part not in fault.part.split("+"):
        return {"good": 1.0}
    mode = fault.mode.split("-")[0]
    shows: dict[str, dict[str, float]] = {
        "open": {"open": 1.0},
        "blown": {"open": 1.0},
        "short": {"short": 1.0},
        "reversed": {"reversed": 1.0},
        "decade": {"value": 1.0},
        "low": {"weak": 0.5, "good": 0.5},  # few meters measure gain
        "weak": {"weak": 1.0},
        "dead": {"weak": 1.0},
        "flat": {"weak": 1.0},
    }
    return shows.get(mode, {"good": 1.0})
