"""Everything that is known of each kind of device, in one table: what a kit may name as a ``model``."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from snapcheck.devices._chips import CHIPS
from snapcheck.devices._classic import CLASSIC
from snapcheck.devices._device import (
    CertainLoad,
    Device,
    Drive,
    Drop,
    Junction,
    Load,
    Sense,
    Setting,
    Spread,
    Stage,
    Store,
    Transistor,
    Way,
)
from snapcheck.devices._template import Template, template

#: name to entry
DEVICES: Mapping[str, Device] = MappingProxyType({device.name: device for device in (*CLASSIC, *CHIPS)})
#: stands for what has no entry: a part of which nothing is known, and that cannot be calculated
UNKNOWN = Device("unknown")

__all__ = [
    "DEVICES",
    "UNKNOWN",
    "CertainLoad",
    "Device",
    "Drive",
    "Drop",
    "Junction",
    "Load",
    "Sense",
    "Setting",
    "Spread",
    "Stage",
    "Store",
    "Template",
    "Transistor",
    "Way",
    "template",
]
