"""Circuits by hand for tests: parts and nets without laying cubes on a plate."""

from __future__ import annotations

from collections.abc import Mapping

from snapcheck.circuit import Circuit, PartSpec, circuit_of
from snapcheck.kit import Kit, bundled_kit

#: (kind, value, net of each terminal)
Entry = tuple[str, float | str | None, Mapping[str, int]]


def handmade(*entries: Entry, kit: Kit | None = None) -> Circuit:
    """A circuit of parts that are named by the kit's prefixes in order: R101, R102, Q101, ..."""
    return circuit_of((PartSpec(kind, nets, value) for kind, value, nets in entries), kit or bundled_kit())
