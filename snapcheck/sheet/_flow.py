"""Which way the signal goes, and which stage a part belongs to.

Nets are the nodes of a directed graph, parts its edges: a part with two ends passes signals both ways, one
that amplifies passes them from its control terminal on. A stage is an amplifying part and what lies nearer to
it than to any other; what lies as near to two belongs to the later one, as it is built when both are there.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from functools import cached_property

import networkx as nx  # type: ignore[import-untyped]

from snapcheck.board import Cell, Design, Probe
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Store

#: a passing part or a filter's series part may hand the supply on through this many of them (common practice)
_MOST_RAILS = 6


@dataclass(frozen=True, eq=False)
class Flow:
    """The signal's way through the circuit of a design.

    Attributes:
        circuit, design: what it is taken from.
    """

    circuit: Circuit
    design: Design

    @cached_property
    def sources(self) -> tuple[Part, ...]:
        """Batteries and supplies: what gives power."""
        return tuple(p for p in self.circuit.parts if p.device.supplies)

    @cached_property
    def rails(self) -> frozenset[int]:
        """Nets that carry the supply, also behind a switch, a fuse or a filter, never the plate."""
        rails = {net for p in self.sources for net in p.nets.values()} - {0}
        for _ in range(_MOST_RAILS):
            more = {net for net in self._handed_on(rails) if self._only_supply(net)}
            if more <= rails:
                break
            rails |= more
        return frozenset(rails)

    def _handed_on(self, rails: set[int]) -> set[int]:
        found = set()
        for part in self.circuit.parts:
            nets = list(dict.fromkeys(part.nets.values()))
            if len(nets) != 2 or 0 in nets or len(rails & set(nets)) != 1:
                continue
            beyond = next(net for net in nets if net not in rails)
            if part.device.closes or (part.device.smooths and self._smoothed(beyond)):
                found.add(beyond)
        return found

    def _smoothed(self, net: int) -> bool:
        """A capacitor goes from this net to the plate."""
        return any(
            part.device.store is Store.CHARGE and 0 in part.nets.values()
            for part, _ in self.circuit.parts_on(net)
        )

    def _only_supply(self, net: int) -> bool:
        """No control terminal, input or output lies on the net."""
        if net in (self.start, self.goal):
            return False
        return not any(name in part.device.controls for part, name in self.circuit.parts_on(net))

    def _net(self, probe: Probe | None) -> int | None:
        return None if probe is None else self.circuit.net_of(probe.cell, probe.terminal) or None

    @cached_property
    def start(self) -> int | None:
        """The net where the signal goes in, None where there is none."""
        found = self._net(self.design.input)
        if found is None:
            source = next((p for p in self.circuit.parts if p.device.signals), None)
            if source is not None:
                found = source.nets.get(source.device.signal_leg) or None
        return found

    @cached_property
    def goal(self) -> int | None:
        """The net where it comes out, None where the design names none."""
        return self._net(self.design.output)

    def is_signal(self, net: int) -> bool:
        """True for a net that is neither the plate nor a supply's."""
        return net != 0 and net not in self.rails

    @cached_property
    def distance(self) -> dict[int, float]:
        """Net to parts passed on the way from the input; from the supply where there is no input."""
        graph: nx.DiGraph[int] = nx.DiGraph()
        graph.add_nodes_from(net.number for net in self.circuit.nets)
        for part in self.circuit.parts:
            if part.device.supplies:
                continue
            if part.device.chip:
                graph.add_edges_from((part.nets[w.start], part.nets[w.end]) for w in part.device.ways or ())
                continue
            nets = list(dict.fromkeys(part.nets.values()))
            control = {part.nets[leg] for leg in part.device.controls}
            graph.add_edges_from((a, b) for a in nets for b in nets if b != a and b not in control)
        seeds = {self.start} if self.start is not None else set(self.rails)
        kept = [n for n in graph if self.is_signal(n) or n in seeds]
        reached: dict[int, float] = {}
        if seeds & set(kept):
            found = nx.multi_source_dijkstra_path_length(graph.subgraph(kept), seeds & set(kept))
            reached = {net: float(steps) for net, steps in found.items()}
        far = max(reached.values(), default=0.0) + 1.0
        return {net.number: reached.get(net.number, far) for net in self.circuit.nets}

    def position(self, part: Part) -> float:
        """Where a part lies between input and output, in parts passed."""
        if part.device.amplifies:
            return min(self.distance[part.nets[leg]] for leg in part.device.controls) + 0.5
        signal = {n for n in part.nets.values() if self.is_signal(n)}
        if not signal:
            return 0.0
        return sum(self.distance[n] for n in signal) / len(signal)

    @cached_property
    def amplifiers(self) -> tuple[Part, ...]:
        """Amplifying parts along the signal, one for each stage."""
        found = [p for p in self.circuit.parts if p.device.amplifies]
        return tuple(sorted(found, key=lambda p: (self.position(p), p.cell.column, p.cell.row)))

    @cached_property
    def stage_of(self) -> dict[Cell, int]:
        """Part to the number of its stage from 0; parts of the supply alone are left out."""
        if not self.amplifiers:
            return {p.cell: 0 for p in self.circuit.parts if self._in_the_signal(p)}
        found: dict[Cell, tuple[int, int]] = {}
        queue = deque((part, number, 0) for number, part in reversed(list(enumerate(self.amplifiers))))
        while queue:
            part, number, steps = queue.popleft()
            if part.cell in found and (steps, -number) >= (found[part.cell][0], -found[part.cell][1]):
                continue
            found[part.cell] = (steps, number)
            for name, net in part.nets.items():
                if self.is_signal(net):
                    queue.extend(
                        (other, number, steps + 1) for other, _ in self.circuit.parts_on(net)
                        if other is not part
                        and not other.device.amplifies
                        and not self._load(other, net, part, name)
                    )  # fmt: skip
        stages = {cell: number for cell, (_, number) in found.items()}
        for part in self.circuit.parts:  # not joined to any amplifying part: where the signal is by then
            if part.cell not in stages and self._in_the_signal(part):
                before = [n for n, a in enumerate(self.amplifiers) if self.position(a) <= self.position(part)]
                stages[part.cell] = max(before, default=0)
        return stages

    def _load(self, part: Part, net: int, amplifier: Part, terminal: str) -> bool:
        """True for the load of the stage before, which only seems to belong to the control terminal there."""
        if terminal not in amplifier.device.controls:
            return False
        beyond = [n for n in part.nets.values() if n != net]
        outputs = any(name in other.device.outlets for other, name in self.circuit.parts_on(net))
        return outputs and len(beyond) == 1 and not self.is_signal(beyond[0])

    def _in_the_signal(self, part: Part) -> bool:
        return not part.device.supplies and any(self.is_signal(n) for n in part.nets.values())

    @cached_property
    def handing_on(self) -> dict[int, Part]:
        """Rail to the part through which it gets the supply (a switch, a fuse, a filter's resistor)."""
        given = {net for p in self.sources for net in p.nets.values()} - {0}
        found: dict[int, Part] = {}
        for _ in range(_MOST_RAILS):
            for part in self.circuit.parts:
                nets = set(part.nets.values())
                between = not part.device.supplies and len(nets) == 2 and nets <= self.rails
                if between and len(nets & given) == 1:
                    (beyond,) = nets - given
                    found.setdefault(beyond, part)
            given |= found.keys()
        return found
