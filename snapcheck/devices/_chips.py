"""Devices that are subcircuits: chips, bridges, relays, transformers. Each has its template in ``data``."""

from __future__ import annotations

from snapcheck.devices._device import Device, Drop, Junction, Load, Pair, Store, Way

_SUPPLY: Pair = ("plus", "minus")
#: as the pins of such chips are numbered, from the notch anticlockwise (JEDEC MS-001, eight pins)
_PAIR_OF_TWO = ("out1", "inv1", "non1", "minus", "non2", "inv2", "out2", "plus")
_TIMER = ("minus", "trigger", "out", "reset", "control", "threshold", "discharge", "plus")
_SUPPLY_LOADS = (
    Load("voltage_V", "max_voltage_V", _SUPPLY),
    Load("reverse_V", "max_reverse_V", _SUPPLY, backward=True),
)


def _ways(*numbers: str) -> tuple[Way, ...]:
    """Both inputs of each amplifier to its output."""
    ways = ((f"non{n}", f"inv{n}", f"out{n}") for n in numbers)
    return tuple(w for non, inv, out in ways for w in (Way(non, out, False, True), Way(inv, out, True, True)))


def _within(*pairs: Pair) -> tuple[Way, ...]:
    """Slow signals pass between the legs of each pair, either way, and no further."""
    return tuple(Way(a, b, False, False) for one, other in pairs for a, b in ((one, other), (other, one)))


_COIL, _REST, _WORK = ("coil1", "coil2"), ("com", "rest"), ("com", "work")
_PRIMARY, _SECONDARY = ("pri1", "pri2"), ("sec1", "sec2")

CHIPS = (
    Device(
        "dual-opamp", legs=_PAIR_OF_TWO, family="active", pair=_SUPPLY, polarity=_SUPPLY,
        direct=(_SUPPLY, ("plus", "out1"), ("out1", "minus"), ("plus", "out2"), ("out2", "minus")),
        ways=_ways("1", "2"), swing=_SUPPLY, loads=_SUPPLY_LOADS, template="dual-opamp",
    ),
    Device(
        "dual-comparator", legs=_PAIR_OF_TWO, family="active", pair=_SUPPLY, polarity=_SUPPLY,
        direct=(_SUPPLY, ("out1", "minus"), ("out2", "minus")),
        ways=_ways("1", "2"), swing=_SUPPLY, loads=_SUPPLY_LOADS, template="dual-comparator",
    ),
    Device(
        "timer", legs=_TIMER, family="active", pair=_SUPPLY, polarity=_SUPPLY,
        direct=(_SUPPLY, ("plus", "out"), ("out", "minus"), ("plus", "control"), ("control", "minus"),
                ("discharge", "minus")),
        ways=(Way("trigger", "out", True, True), Way("threshold", "out", True, True),
              Way("threshold", "discharge", True, True), Way("trigger", "discharge", True, True)),
        extra=("control",), loads=_SUPPLY_LOADS, template="timer",
    ),
    Device(
        "bridge", legs=("ac1", "ac2", "plus", "minus"), family="active", pair=_SUPPLY,
        direct=(("ac1", "plus"), ("ac2", "plus"), ("minus", "ac1"), ("minus", "ac2")),
        junctions=(Junction("ac1", "plus", Drop.SILICON), Junction("ac2", "plus", Drop.SILICON),
                   Junction("minus", "ac1", Drop.SILICON), Junction("minus", "ac2", Drop.SILICON)),
        loads=(Load("reverse_V", "max_reverse_V", _SUPPLY),), template="bridge",
    ),
    Device(
        "relay", legs=(*_COIL, "com", "rest", "work"), family="outside", pair=_COIL,
        direct=(_COIL, _REST, _WORK), ways=_within(_COIL, _REST, _WORK), store=Store.FLUX,
        contacts=(_REST, _WORK), loads=(), template="relay",
    ),
    Device(
        "transformer", legs=(*_PRIMARY, *_SECONDARY), pair=_PRIMARY, direct=(_PRIMARY, _SECONDARY),
        ways=_within(_PRIMARY, _SECONDARY), store=Store.FLUX, loads=(), template="transformer",
    ),
)  # fmt: skip
