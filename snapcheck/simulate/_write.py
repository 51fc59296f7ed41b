"""The netlist of a circuit under conditions; after the first, only what the conditions change is written."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import replace

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit
from snapcheck.devices import Sense, Setting
from snapcheck.simulate._models import writer_of
from snapcheck.simulate._netlist import NO_SCALES, QUIET, Netlist, Stimulus, Writer, Written
from snapcheck.words import active_language

#: netlists of one circuit that are kept
_KEPT = 4


def write_netlist(
    circuit: Circuit,
    conditions: Conditions,
    stimulus: Stimulus = QUIET,
    *,
    own_models: bool = False,
    scales: Mapping[str, float] = NO_SCALES,
) -> Netlist:
    """The netlist of a circuit under conditions, excited by a stimulus; not to be altered.

    The last few of a circuit are kept: a search for its states asks again and again, from other beginnings,
    and under conditions in which few parts are different.

    Args:
        own_models: give each transistor and diode a model line of its own, so that one can be altered.
        scales: part name to a factor on what varies between specimens: value, gain, breakdown or threshold.

    Raises:
        SimulationError: the circuit cannot be solved, or a part has no value or no model.
    """
    without = replace(stimulus, near=()) if stimulus.near else stimulus
    asked = (without, own_models, dict(scales), active_language())  # remarks are said in it
    kept: deque[tuple[object, Conditions, Netlist]] = circuit.notes.setdefault(
        "netlists", deque(maxlen=_KEPT)
    )
    alike = [(under, netlist) for key, under, netlist in kept if key == asked]
    written = next((netlist for under, netlist in alike if under == conditions), None)
    if written is None:
        writer = Writer(circuit, conditions, without, own_models=own_models or bool(scales))
        # what sets in later brings lines of its own
        again = alike and without.after is None
        written = _rewritten(alike[0][1], writer, scales) if again else _written(writer, scales)
        kept.append((asked, conditions, written))
    return written.begun(stimulus.near)


def _written(writer: Writer, scales: Mapping[str, float]) -> Netlist:
    netlist = writer.netlist
    for index, part in enumerate(netlist.solvable.parts, start=1):
        write = writer_of(part)
        begin = len(netlist.lines)
        writer.start(part, index, scales.get(part.name, 1.0))
        write(writer, part, part.parameters)
        if part.device.sense is not Sense.NONE or part.device.setting is not Setting.NONE:
            netlist.obeying.append(Written(part, index, begin, len(netlist.lines)))
    return writer.finish()


def _rewritten(first: Netlist, writer: Writer, scales: Mapping[str, float]) -> Netlist:
    """A netlist of the same under other conditions: the parts that obey them are written anew."""
    lines, new = list(first.lines), writer.netlist
    for part, number, begin, end in first.obeying:
        new.lines = []
        writer.start(part, number, scales.get(part.name, 1.0))
        writer_of(part)(writer, part, part.parameters)
        assert len(new.lines) == end - begin
        lines[begin:end] = new.lines
    lines[-2] = writer.options()
    return replace(
        first,
        lines=lines,
        currents={**first.currents, **new.currents},
        changeable={**first.changeable, **new.changeable},
    )
