"""What a circuit that flips to and fro is like on either side.

Transistors that hear each other in phase through capacitors are all on at their only point of rest, which no
one ever sees: in truth each of them is off half of the time, long enough for the capacitors to be charged
(Tietze, Schenk: Electronic Circuits, astable and monostable multivibrators; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from itertools import islice

from snapcheck.circuit import terminal_words
from snapcheck.devices import Store
from snapcheck.errors import SimulationError
from snapcheck.simulate import _transient
from snapcheck.simulate._netlist import Stimulus
from snapcheck.simulate._operating import OperatingPoint, Region
from snapcheck.simulate._states import nets_around, signal_ways
from snapcheck.simulate._text import figure_text
from snapcheck.simulate._worker import Worker
from snapcheck.words import tr

#: length of a run of which only the beginning is looked at (s)
_MOMENT_s = 1e-9
#: sides that are looked at
_MOST_HELD = 4


def flipped(worker: Worker, now: OperatingPoint) -> dict[str, OperatingPoint]:
    """The voltages on either side of a flip-flop, in words; without currents.

    Looked for where a polarised capacitor is in the circuit: it is what the voltages may harm.
    """
    circuit = now.circuit
    if not any(p.device.store is Store.CHARGE and "plus" in p.nets for p in circuit.parts):
        return {}
    found: dict[str, OperatingPoint] = {}
    for words, held in islice(_sides(now), _MOST_HELD):
        with suppress(SimulationError):
            waves = _transient.run(
                worker, circuit, now.conditions, Stimulus(held=held),
                range(len(circuit.nets)), _MOMENT_s, _MOMENT_s,
            )  # fmt: skip
            volts = (waves.voltages.get(net) for net in range(1, len(circuit.nets)))
            first = (0.0, *(None if wave is None else float(wave[0]) for wave in volts))
            found[words] = OperatingPoint(circuit, now.conditions, first, (), {})
    return found


def _sides(now: OperatingPoint) -> Iterator[tuple[str, tuple[int, float]]]:
    """(what is so, (net, V) that make it so): transistors off, chips that do not rest at either end."""
    passes, gains = signal_ways(now.circuit, fast=True)
    for control, output, turned, part in gains:
        stage = part.device.stage
        off_V = stage and now.voltage(part.nets[stage.along])
        if stage is None or off_V is None or part.nets[stage.control] != control:
            continue
        if now.region(part) is not Region.FULLY_ON:
            continue  # an amplifier rests half way, whatever comes back to it
        if nets_around(passes, control, output, turned, part):
            yield tr("{cell} off", cell=part.at), (control, off_V)
    if now.moving:
        inputs = {(part.name, part.nets[leg]): (part, leg) for part in now.circuit.parts if part.device.chip
                  for leg in part.device.controls}  # fmt: skip
        for (_, net), (part, leg) in inputs.items():
            for end in part.pair:
                volts = now.voltage(part.nets[end])
                if volts is not None and net not in (part.nets[end], 0):
                    place = terminal_words(part, leg)
                    yield tr("{place} at {value}", place=place, value=figure_text(volts, "V")), (net, volts)
