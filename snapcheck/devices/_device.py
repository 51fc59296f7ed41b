"""What one kind of device is to the rest of snapcheck: legs, directions, limits, netlist."""

from __future__ import annotations

import enum
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import NamedTuple

#: device parameters by name
Parameters = Mapping[str, float]
#: two legs, the first of which is the one that counts as plus
Pair = tuple[str, str]


class Setting(enum.StrEnum):
    """What a person sets on a device, by the name it has in conditions."""

    NONE = ""
    SUPPLY = "supply_V"
    SWITCH = "switches"
    POT = "pots"


class Drive(enum.StrEnum):
    """What a device brings into a circuit."""

    NONE = ""
    POWER = "power"  #: a battery or supply
    SIGNAL = "signal"  #: a signal from outside
    SENSOR = "sensor"  #: a signal of its own, once it is fed


class Transistor(enum.StrEnum):
    """How a transistor is controlled."""

    NONE = ""
    BIPOLAR = "bipolar"
    FIELD = "field"


class Store(enum.StrEnum):
    """What a device keeps in itself."""

    NONE = ""
    CHARGE = "charge"
    FLUX = "flux"


class Sense(enum.StrEnum):
    """What around it changes a device."""

    NONE = ""
    LIGHT = "light"
    TEMPERATURE = "temperature"


class Spread(enum.StrEnum):
    """What varies from specimen to specimen."""

    VALUE = "value"
    GAIN = "gain"
    THRESHOLD = "threshold"


class Drop(enum.StrEnum):
    """Where the voltage of a junction comes from."""

    FORWARD = "forward"  #: from the parameters of the device's model
    PRINTED = "printed"  #: what is printed on it
    SILICON = "silicon"  #: about 0.7 V


class CertainLoad(enum.StrEnum):
    """What the structure of a circuit alone can make certain of a device's load."""

    NONE = ""
    POWER = "power"
    FORWARD = "forward current"
    CURRENT = "current"
    VOLTAGE = "voltage"


class Junction(NamedTuple):
    """Current flows from one leg to another by itself once a voltage stands between them."""

    start: str
    end: str
    drop: Drop


class Stage(NamedTuple):
    """Legs of an amplifying device.

    Attributes:
        control: goes in.
        against: current comes in there; its voltage moves against the control's.
        along: current goes out there and must find its way back; its voltage follows the control's.
    """

    control: str
    against: str
    along: str


class Load(NamedTuple):
    """Something that is held against a rating.

    Attributes:
        what: quantity with its unit, as findings call it.
        rating: its name in the kit.
        legs: between which the voltage lies.
        backward: only a voltage against that direction counts.
    """

    what: str
    rating: str
    legs: Pair
    backward: bool = False


class Way(NamedTuple):
    """How slow signals go through a device: from leg, to leg, turned over, with gain."""

    start: str
    end: str
    turned: bool
    gain: bool


@dataclass(frozen=True)
class Device:
    """One kind of device. A kind of cube names it as its ``model``.

    Attributes:
        name: as kits write it.
        legs: names of its terminals, () where any will do.
        count: how many terminals, where their names do not matter; 0 for any number.
        is_part: False for what only conducts or gives access.
        grounds: it joins what touches it to the plate.
        access: it only gives access to a net.
        family: wire, passive, active, source or outside (colour of the cube in drawings).
        symbol: drawing of another name that serves, or "".
        letter: for the board in characters, where the designator would mislead.
        setting: what a person sets on it.
        drive: what it brings into the circuit.
        signal_leg: where a signal comes out of it, "" for none.
        pair: main legs: its voltage lies between them, its current flows into the first; None for its first
            two legs.
        polarity: (plus, minus) of a device that works one way round only.
        stage: legs of a transistor.
        transistor, sign: how it is controlled; -1 where all voltages are turned round (PNP).
        junctions: what conducts by itself once a voltage is there.
        direct: pairs between which direct current may pass; None for the two legs of a two-legged device,
            or for any of a network.
        ways: how slow signals pass; None for every leg to every other.
        swing: legs between which its outputs move, where it has ways with gain.
        slides: pairs that a knob may bring down to nothing.
        contacts: pairs that a relay joins, one at a time.
        closes: a plain conductor in some position or as long as it is whole.
        reads: a meter for volts or amperes, by its print.
        plain: it is a resistance and nothing else to direct current, and may be small.
        ohmic: its printed ohms make time constants.
        smooths: it stands in a supply's line before the capacitor of a filter.
        ohms: (value, parameters) to its resistance to direct current, None where it is none.
        store, sense, spread: see there.
        preferred: its values come in the E series.
        certain: see `CertainLoad`.
        loads: what is held against ratings, beside power and current; None for the main pair's voltage.
        trips: its print is the current at which it opens.
        filament: its print is volts and amperes, and it stands more for a while.
        sounds: a voice coil: direct current harms it, and it is the load of an output.
        shows: one sees or hears its current.
        clamps: it catches the kick of a coil.
        ripples: its voltage carries mains ripple.
        extra: legs that are often left free, beside outputs of which another is used.
        between_legs: its parameters are resistances between pairs of its legs.
        forward_V: usual forward voltage where the model tells none.
        spice: type of its model line.
        writes: name of what writes it into the netlist, where code does.
        template: file of the SPICE subcircuit that stands for it in the netlist (see `Template`); its ports
            are the legs.
    """

    name: str
    legs: tuple[str, ...] = ()
    count: int = 0
    is_part: bool = True
    grounds: bool = False
    access: bool = False
    family: str = "passive"
    symbol: str = ""
    letter: str = ""
    setting: Setting = Setting.NONE
    drive: Drive = Drive.NONE
    signal_leg: str = ""
    pair: Pair | None = None
    polarity: Pair | None = None
    stage: Stage | None = None
    transistor: Transistor = Transistor.NONE
    sign: float = 1.0
    junctions: tuple[Junction, ...] = ()
    direct: tuple[Pair, ...] | None = None
    ways: tuple[Way, ...] | None = None
    swing: Pair | None = None
    slides: tuple[Pair, ...] = ()
    contacts: tuple[Pair, ...] = ()
    closes: bool = False
    reads: bool = False
    plain: bool = False
    ohmic: bool = False
    smooths: bool = False
    ohms: Callable[[float | str | None, Parameters], float | None] | None = None
    store: Store = Store.NONE
    sense: Sense = Sense.NONE
    spread: Spread = Spread.VALUE
    preferred: bool = False
    certain: CertainLoad = CertainLoad.NONE
    loads: tuple[Load, ...] | None = None
    trips: bool = False
    filament: bool = False
    sounds: bool = False
    shows: bool = False
    clamps: bool = False
    ripples: bool = False
    extra: tuple[str, ...] = ()
    between_legs: bool = False
    forward_V: float = 0.7
    spice: str = ""
    writes: str = ""
    template: str = ""

    @property
    def supplies(self) -> bool:
        """True for a battery or supply."""
        return self.drive is Drive.POWER

    @property
    def signals(self) -> bool:
        """True for what brings a signal, from outside or of its own."""
        return self.drive in (Drive.SIGNAL, Drive.SENSOR)

    @property
    def feeds(self) -> bool:
        """True for what feeds a circuit from outside: its second main leg is the low one."""
        return self.drive in (Drive.POWER, Drive.SIGNAL)

    @property
    def bipolar(self) -> bool:
        """True for a transistor that is controlled by a current into its base."""
        return self.transistor is Transistor.BIPOLAR

    @property
    def amplifies(self) -> bool:
        """True for what may keep an oscillation going."""
        return self.stage is not None or any(way.gain for way in self.ways or ())

    @property
    def controls(self) -> tuple[str, ...]:
        """Legs at which a signal goes in to be amplified, and out of which none comes."""
        if self.stage is not None:
            return (self.stage.control,)
        return tuple(dict.fromkeys(way.start for way in self.ways or () if way.gain))

    @property
    def outlets(self) -> tuple[str, ...]:
        """Legs at which the amplified signal comes out."""
        if self.stage is not None:
            return self.stage.against, self.stage.along
        return tuple(dict.fromkeys(way.end for way in self.ways or () if way.gain))

    def may_stay_free(self, leg: str, free: Collection[str]) -> bool:
        """Whether a leg that leads nowhere is simply not used.

        Of several outputs, or throws of a changeover contact, one is enough; with an output of no use its
        inputs are of none. (Inputs had better be tied; common practice, no source.)

        Args:
            leg: one that leads nowhere.
            free: all such legs of the device.
        """
        throws = tuple(dict.fromkeys(throw for _, throw in self.contacts))
        outputs = (self.outlets if self.chip else ()) or throws
        if not outputs or all(output in free for output in outputs):
            return False
        served = [way.end for way in self.ways or () if way.gain and way.start == leg]
        return leg in outputs or leg in self.extra or (bool(served) and all(end in free for end in served))

    @property
    def resists(self) -> bool:
        """True for a fixed resistor: nothing but its printed ohms."""
        return self.plain and self.ohmic

    @property
    def regulates(self) -> bool:
        """True for a Zener diode: its print is the voltage that it holds against its arrow."""
        return any(junction.drop is Drop.PRINTED for junction in self.junctions)

    @property
    def firm(self) -> bool:
        """True for what holds its legs to each other by a few ohms or less, whatever its value."""
        coil = self.store is Store.FLUX and not self.template  # others hold no two of their legs firmly
        lamp_or_coil = self.filament or self.trips or self.sounds or coil
        return self.feeds or lamp_or_coil

    @property
    def chip(self) -> bool:
        """True for an amplifying circuit in one piece, fed at its main legs."""
        return self.stage is None and self.amplifies

    @property
    def rectifies(self) -> bool:
        """True for a bridge: a supply may meet the plate through its junctions alone."""
        return bool(self.junctions) and bool(self.template)

    @property
    def one_way(self) -> bool:
        """True for a diode: nothing but junctions."""
        return bool(self.junctions) and self.stage is None and not self.template
