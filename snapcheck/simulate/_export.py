"""A netlist file that the ngspice program runs to the same answers."""

from __future__ import annotations

import re

from snapcheck import __version__
from snapcheck.board import Conditions
from snapcheck.circuit import Circuit
from snapcheck.simulate._models import write_netlist


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
    for index, part in enumerate(netlist.topology.parts, start=1):
        kind = re.sub(r"[^a-z0-9-]", "?", part.kind.name)
        where = part.name if part.place is None else f"{part.name} in {part.place}"
        lines.append(f"* devices ending in {index}: {where}, {kind}")
    lines += [f"* {remark.kind}: {' '.join(remark.cells)}" for remark in netlist.remarks]
    lines += netlist.lines[:-1]
    return "\n".join([*lines, ".op", ".end", ""])
