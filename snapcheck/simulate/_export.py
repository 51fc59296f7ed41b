"""A netlist file that the ngspice program runs to the same answers."""

from __future__ import annotations

import re

from snapcheck import __version__
from snapcheck.board import Conditions
from snapcheck.circuit import Circuit
from snapcheck.simulate._write import write_netlist

#: what belongs to a part: a device, a node inside it, a model of its own; n is the letter of nets
_DEVICE = re.compile(r"(?<![a-z0-9_.])([a-mo-z])([0-9]+)([a-z0-9]*)(?![a-z0-9_.])")


def _named(found: re.Match[str], names: dict[str, str]) -> str:
    """``r_r101`` for ``r2``, ``i_b101_e`` for ``i1e``: nobody takes it for a cell, or another part's name."""
    letter, number, suffix = found.groups()
    name = names.get(number)
    return found[0] if name is None else f"{letter}_{name}" + (f"_{suffix}" if suffix else "")


def export_netlist(circuit: Circuit, conditions: Conditions | None = None) -> str:
    """A complete SPICE netlist: ``ngspice -b FILE`` prints the operating point.

    Comments say which cube each device is. Names and comments are made here from addresses and kinds;
    no printed text of a cube reaches the file.

    Raises:
        SimulationError: the circuit cannot be solved, or a part has no value.
    """
    netlist = write_netlist(circuit, conditions or Conditions())
    lines = [f"snapcheck {__version__}", "* net 0 is the plate"]
    for net in circuit.nets:
        node = netlist.node_of(net.number)
        if node is None or not net.cells:
            continue
        lines.append(f"* {node}: " + " ".join(str(contact) for contact in net.contacts[:12]))
    for part in netlist.solvable.parts:
        kind = re.sub(r"[^a-z0-9-]", "?", part.kind.name)
        where = part.name if part.place is None else f"{part.name} in {part.place}"
        lines.append(f"* {where}: {kind}")
    lines += [f"* {remark.kind}: {' '.join(remark.cells)}" for remark in netlist.remarks]
    names = {str(index): part.name.lower() for index, part in enumerate(netlist.solvable.parts, start=1)}
    if len(set(names.values())) == len(names):  # ngspice does not mind capitals
        lines += [_DEVICE.sub(lambda m: _named(m, names), line) for line in netlist.lines[:-1]]
    else:
        lines += netlist.lines[:-1]
    return "\n".join([*lines, ".op", ".end", ""])
