"""A circuit in every position of its switches."""

from __future__ import annotations

import itertools
from dataclasses import replace

from snapcheck.board import Conditions
from snapcheck.circuit._circuit import Circuit, Part
from snapcheck.circuit._say import listing
from snapcheck.devices import Setting
from snapcheck.words import tr

#: with more switches than this, each is thrown alone, and all are closed and opened together
_MOST_SWITCHES = 4


def is_closed(part: Part, conditions: Conditions) -> bool:
    """Whether a switch or push-button stands closed."""
    at_rest = part.parameters.get("closed_at_rest", 0.0) > 0
    return conditions.switches.get(part.at, at_rest)


def switch_positions(circuit: Circuit, conditions: Conditions) -> dict[str, Conditions]:
    """Every other position of the switches than that of `conditions`, by what is different, in words.

    All positions of up to four switches; of more, those where one is thrown, and all closed and all open.
    """
    switches = [part for part in circuit.parts if part.device.setting is Setting.SWITCH]
    now = tuple(is_closed(part, conditions) for part in switches)
    if len(switches) <= _MOST_SWITCHES:
        wanted = list(itertools.product((False, True), repeat=len(switches)))
    else:
        wanted = [(*now[:i], not now[i], *now[i + 1 :]) for i in range(len(now))]
        wanted += [(True,) * len(now), (False,) * len(now)]
    positions = {}
    for position in wanted:
        thrown = [
            (p, closed) for p, closed, was in zip(switches, position, now, strict=True) if closed != was
        ]
        if thrown:
            words = listing(
                tr("{cell} closed", cell=p.at) if closed else tr("{cell} open", cell=p.at)
                for p, closed in thrown
            )
            set_so = {**conditions.switches, **{p.at: closed for p, closed in thrown}}
            positions[words] = replace(conditions, switches=set_so)
    return positions
