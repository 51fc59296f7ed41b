"""A design: a board that somebody intends, and what it must do."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from snapcheck.board._board import Board
from snapcheck.board._place import Cell, Spot, cell_of
from snapcheck.errors import InputError
from snapcheck.words import tr

#: quantity to the unit in which it is kept
QUANTITIES: dict[str, str] = {
    "voltage": "V",
    "current": "A",
    "power": "W",
    "gain": "dB",
    "band-low": "Hz",
    "band-high": "Hz",
    "input-impedance": "ohm",
    "output-impedance": "ohm",
    "swing": "V",
    "distortion": "",
    "frequency": "Hz",
    "duty": "",
    "delay": "s",
    "ripple": "V",
    "pulse": "s",
    "average-voltage": "V",
    "rms-voltage": "V",
    "average-current": "A",
    "rms-current": "A",
    "threshold-up": "V",
    "threshold-down": "V",
}

#: quantities of a part rather than of a net
OF_A_PART = frozenset({"current", "power", "average-current", "rms-current"})


#: conditions that may be set: extra-low voltage (volts), illuminance (lux), ambient temperature (Celsius)
MOST_V = 60.0
LUX = (0.0, 200_000.0)
CELSIUS = (-55.0, 125.0)


@dataclass(frozen=True, order=True)
class Probe:
    """A place to measure: a terminal of the cube in a cell, such as the collector of C4.

    In a circuit without a plate, of the part with that name.
    """

    at: Spot
    terminal: str

    def __str__(self) -> str:
        return f"{self.at} {self.terminal}"

    @property
    def cell(self) -> Cell:
        """The cell; for places on a plate only."""
        return cell_of(self.at)


@dataclass(frozen=True)
class Conditions:
    """What the surroundings do while a figure is taken.

    Attributes:
        supply_V: volts of a battery or supply that differ from its printed value, by cell; here and
            below, a part that stands on no plate goes by its name.
        switches: True where a switch or push-button is closed, by cell (others stand at rest).
        pots: wiper position 0 (at terminal a) to 1 (at terminal b), by cell (others at 0.5).
        light_lux: illuminance on light-dependent parts, lux.
        temperature_C: ambient temperature, degrees Celsius.
    """

    supply_V: Mapping[Any, float] = field(default_factory=dict)
    switches: Mapping[Any, bool] = field(default_factory=dict)
    pots: Mapping[Any, float] = field(default_factory=dict)
    light_lux: float = 300.0  # a lit workshop table
    temperature_C: float = 25.0

    def __post_init__(self) -> None:
        for name in ("supply_V", "switches", "pots"):
            ordered = dict(sorted(getattr(self, name).items()))
            object.__setattr__(self, name, MappingProxyType(ordered))

    def __hash__(self) -> int:
        parts = (tuple(getattr(self, n).items()) for n in ("supply_V", "switches", "pots"))
        return hash((*parts, self.light_lux, self.temperature_C))

    def onto(self, base: Conditions, new: Conditions) -> Conditions:
        """`new`, with whatever these conditions set otherwise than `base`: what a figure's own conditions
        become when those of the whole plan change from `base` to `new`."""
        own: dict[str, Any] = {}
        for name in ("supply_V", "switches", "pots"):
            before, mine = getattr(base, name), getattr(self, name)
            own[name] = {**getattr(new, name), **{c: v for c, v in mine.items() if before.get(c) != v}}
        for name in ("light_lux", "temperature_C"):
            mine = getattr(self, name)
            own[name] = getattr(new, name) if mine == getattr(base, name) else mine
        return Conditions(**own)

    def among(self, there: Collection[Any]) -> Conditions:
        """The conditions for parts that are there, by cell or name."""
        return self.moved({c: c for c in there}, there)

    def moved(self, place: Mapping[Any, Any], there: Collection[Any]) -> Conditions:
        """The conditions for what is there, in other cells.

        Args:
            place: where each cell (or name) comes to lie.
            there: cells in which a part stands, and names; what concerns others is left out.
        """
        return replace(
            self,
            supply_V={place[c]: v for c, v in self.supply_V.items() if place.get(c) in there},
            switches={place[c]: v for c, v in self.switches.items() if place.get(c) in there},
            pots={place[c]: v for c, v in self.pots.items() if place.get(c) in there},
        )


@dataclass(frozen=True)
class Expectation:
    """One figure a design promises.

    Attributes:
        quantity: a key of `QUANTITIES`, which also gives its unit: voltage (V, direct, to the plate),
            current (A, direct, into the named terminal), power (W, in the part at `place`), gain (dB,
            from the input to `place` or the output), band-low and band-high (Hz, -3 dB corners),
            input-impedance and output-impedance (ohm), swing (V, greatest undistorted peak to peak),
            distortion (fraction, THD), frequency (Hz) and duty (fraction high) of an oscillator at
            `place`, delay (s), ripple (V peak to peak, left at `place`), pulse (s, how long the voltage at
            `place` stays away from rest), average and rms of voltage and current (over whole periods of an
            oscillation at `place`; at rest, of the operating point), threshold-up and threshold-down (V at
            the input where the voltage at `place` switches as the input slowly rises, and falls).
            A delay starts from rest in the design's own conditions; at t = 0 those of the expectation
            set in, and it ends when the voltage at `place` has made half of its whole change. A pulse
            likewise, from half of its height to half of its height.
        place: where; None means the design's output.
        at: frequency in Hz for gain, impedances, swing and distortion; None where it does not apply (and
            1 kHz where one is needed).
        low, high: the accepted range, both ends included, in the quantity's unit; an open end is infinite.
        text: the words of the layout file (does not count when figures are compared).
        conditions: complete conditions for this figure, or None for the design's own.
    """

    quantity: str
    place: Probe | None
    at: float | None
    low: float
    high: float
    text: str = field(default="", compare=False)
    conditions: Conditions | None = None

    def __post_init__(self) -> None:
        if self.quantity not in QUANTITIES:
            raise InputError(
                tr("'{quantity}' is no quantity.", quantity=self.quantity),
                way_out=tr("Accepted: {names}.", names=", ".join(QUANTITIES)),
            )
        if not self.low <= self.high:
            raise InputError(tr("the range {low:g} to {high:g} is empty.", low=self.low, high=self.high))

    @property
    def unit(self) -> str:
        """Unit of `low` and `high`: V, A, W, dB, Hz, ohm, s, or "" for a fraction."""
        return QUANTITIES[self.quantity]


@dataclass(frozen=True)
class Stage:
    """Cubes that a build sheet puts together, one after the other.

    Attributes:
        name: what it is called.
        cells: anchors of its cubes.
        note: words of the teacher for it, maybe several lines.
    """

    name: str
    cells: tuple[Cell, ...]
    note: str = ""


@dataclass(frozen=True)
class Design:
    """A board that somebody intends.

    Attributes:
        board: cubes, taps and leads.
        title, purpose: in words.
        input, output: where the signal goes in and comes out, or None.
        input_V: amplitude of the usual signal at the input's source, V; None: that of the kit.
        note, stages: for the build sheet: words for the whole, and how the cubes are grouped, first stage
            first, where the teacher has said so.
        conditions: under which it is meant to work.
        expectations: figures it promises.
    """

    board: Board
    title: str = ""
    purpose: str = ""
    input: Probe | None = None
    output: Probe | None = None
    conditions: Conditions = field(default_factory=Conditions)
    expectations: tuple[Expectation, ...] = ()
    input_V: float | None = None
    note: str = ""
    stages: tuple[Stage, ...] = ()
