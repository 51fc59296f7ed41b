"""The operating point: every net's voltage, every part's currents and power, transistors in words."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from snapcheck.board import Conditions, Spot
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Transistor
from snapcheck.errors import SimulationError
from snapcheck.simulate._models import supply_volts
from snapcheck.simulate._netlist import NO_SCALES, Netlist, Stimulus
from snapcheck.simulate._solvable import Remark
from snapcheck.simulate._worker import Worker
from snapcheck.simulate._write import write_netlist
from snapcheck.words import tr


class Region(enum.StrEnum):
    """What a transistor does at its operating point."""

    OFF = "off"
    AMPLIFYING = "amplifying"
    FULLY_ON = "fully on"
    REVERSED = "reversed"

    @property
    def word(self) -> str:
        """The region in the reader's language."""
        match self:
            case Region.OFF:
                return tr("off")
            case Region.AMPLIFYING:
                return tr("amplifying")
            case Region.FULLY_ON:
                return tr("fully on")
            case Region.REVERSED:
                return tr("reversed")


#: a collector current below this is no current (A); common practice, no source
_OFF_A = 5e-6
#: collector-emitter voltage below which a bipolar transistor counts as fully on (V), common practice
_SATURATION_V = 0.3
#: a supply that loses this share of its voltage inside itself is overloaded (common practice, no source)
_OVERLOAD = 0.3
#: what may be missing of a net's currents (A; share of the greatest): points of rest miss a few nA, as every
#: net leaks into the plate there
_UNBALANCED_A, _UNBALANCED = 1e-6, 0.01


@dataclass(frozen=True)
class OperatingPoint:
    """Direct voltages and currents of a circuit.

    Attributes:
        circuit: what was solved.
        conditions: under which.
        voltages: net number to volts against the plate; None for nets that are not solved.
        remarks: what was left out or stands out.
    """

    circuit: Circuit
    conditions: Conditions
    voltages: tuple[float | None, ...]
    remarks: tuple[Remark, ...]
    _currents: Mapping[str, Mapping[str, float]] = field(repr=False)

    @cached_property
    def net_voltages_V(self) -> Mapping[int, float]:
        """Net number to volts, for nets that are solved (what rule checks ask)."""
        return {net: volts for net, volts in enumerate(self.voltages) if volts is not None}

    @cached_property
    def part_currents_A(self) -> Mapping[Spot, float]:
        """Cell to amperes into the first of its main terminals."""
        currents = {}
        for part in self.circuit.parts:
            if part.name in self._currents:
                currents[part.at] = self._currents[part.name].get(part.pair[0], 0.0)
        return currents

    @cached_property
    def part_powers_W(self) -> Mapping[Spot, float]:
        """Cell to watts taken in (a working battery's is negative)."""
        return {p.at: self.power(p) or 0.0 for p in self.circuit.parts if p.name in self._currents}

    @cached_property
    def moving(self) -> bool:
        """True where no rest was found: these are voltages and currents of one moment of a run in time.

        ngspice runs an oscillator that it finds no operating point of, and stops somewhere. What flows into
        some net then is not what flows out of it (Kirchhoff's current law).
        """
        sums: dict[int, float] = {}
        most: dict[int, float] = {}
        for part in self.circuit.parts:
            for terminal, amperes in self._currents.get(part.name, {}).items():
                net = part.nets[terminal]
                sums[net] = sums.get(net, 0.0) + amperes
                most[net] = max(most.get(net, 0.0), abs(amperes))
        return any(abs(rest) > _UNBALANCED_A + _UNBALANCED * most[n] for n, rest in sums.items() if n)

    def voltage(self, net: int) -> float | None:
        """Volts of a net against the plate, None where it is not solved."""
        return self.voltages[net]

    def current(self, part: Part | Spot, terminal: str) -> float | None:
        """Amperes into a terminal of a part (given itself, by cell or by name); None if there is none."""
        found = self._part(part)
        if found is None or terminal not in found.nets:
            return None
        return self._currents.get(found.name, {}).get(terminal, 0.0)

    def across(self, part: Part | Spot, plus: str, minus: str) -> float | None:
        """Volts from terminal `plus` to terminal `minus` of a part."""
        found = self._part(part)
        if found is None or plus not in found.nets or minus not in found.nets:
            return None
        high, low = self.voltages[found.nets[plus]], self.voltages[found.nets[minus]]
        return None if high is None or low is None else high - low

    def power(self, part: Part | Spot) -> float | None:
        """Watts that a part takes in (negative for a supply that delivers)."""
        found = self._part(part)
        if found is None:
            return None
        total = 0.0
        for terminal, current in self._currents.get(found.name, {}).items():
            volts = self.voltages[found.nets[terminal]]
            total += (volts or 0.0) * current
        return total

    def region(self, part: Part | Spot) -> Region | None:
        """What a transistor does; None for other parts."""
        found = self._part(part)
        if found is None:
            return None
        match found.device.transistor:
            case Transistor.BIPOLAR:
                return self._bipolar_region(found, found.device.sign)
            case Transistor.FIELD:
                return self._mosfet_region(found, found.device.sign)
            case _:
                return None

    def _bipolar_region(self, part: Part, sign: float) -> Region | None:
        vce = self.across(part, "collector", "emitter")
        current = self.current(part, "collector")
        if vce is None or current is None:
            return None
        vce, current = sign * vce, sign * current
        if abs(current) < _OFF_A:
            return Region.OFF
        if current < 0 or vce < 0:
            return Region.REVERSED
        return Region.FULLY_ON if vce < _SATURATION_V else Region.AMPLIFYING

    def _mosfet_region(self, part: Part, sign: float) -> Region | None:
        vds, vgs = self.across(part, "drain", "source"), self.across(part, "gate", "source")
        current = self.current(part, "drain")
        if vds is None or vgs is None or current is None:
            return None
        vds, vgs, current = sign * vds, sign * vgs, sign * current
        if abs(current) < _OFF_A:
            return Region.OFF
        if current < 0 or vds < 0:
            return Region.REVERSED
        threshold = sign * part.parameters.get("VTO", 2.0 * sign)
        return Region.FULLY_ON if vds < vgs - threshold else Region.AMPLIFYING

    def _part(self, part: Part | Spot) -> Part | None:
        if isinstance(part, Part):
            return part
        return self.circuit.part_named.get(part) if isinstance(part, str) else self.circuit.part_at.get(part)


def holds(point: OperatingPoint) -> list[tuple[int, float]]:
    """(net of a control, V that hold its transistor off: those of what follows it) of each transistor.

    Of a chip, an input and the V of its minus.
    """
    found: dict[int, float] = {}
    for part in point.circuit.parts:
        stage = part.device.stage
        if stage is not None:
            control, follower = part.nets[stage.control], part.nets[stage.along]
            if control in (0, follower):
                continue
            volts = point.voltage(follower)
            if volts is not None and point.voltage(control) is not None:
                found.setdefault(control, volts)
        for way in part.device.ways or ():
            volts = point.voltage(part.nets[part.pair[1]])
            if way.gain and volts is not None and part.nets[way.start] not in (0, part.nets[part.pair[1]]):
                found.setdefault(part.nets[way.start], volts)
    return list(found.items())


def vectors_of(netlist: Netlist) -> list[str]:
    """Every vector that an operating point needs, nodes first."""
    return [*sorted(netlist.nodes), *netlist.vectors]


def solve(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    *,
    scales: Mapping[str, float] = NO_SCALES,
    near: tuple[tuple[int, float], ...] = (),
) -> OperatingPoint:
    """The operating point; raises SimulationError where there is none.

    Args:
        near: (net, V) each, where the search begins; the answer is the state that is reached from there.
    """
    netlist = write_netlist(circuit, conditions, Stimulus(near=near), scales=scales)
    wanted = vectors_of(netlist)
    (values,) = worker.solve_once(netlist.lines, frozenset(netlist.nodes), [("op", wanted)])
    return read(netlist, circuit, conditions, dict(zip(wanted, values, strict=True)))


def read(
    netlist: Netlist, circuit: Circuit, conditions: Conditions, values: Mapping[str, float]
) -> OperatingPoint:
    """An operating point from ngspice's numbers, once they have been looked at with suspicion.

    Raises:
        SimulationError: a net lies outside everything that the supplies could give it. A circuit of
        passive parts, diodes and transistors cannot do that, so the answer is false.
    """
    values = {**values, "0": 0.0}
    voltages: list[float | None] = []
    for net in range(len(circuit.nets)):
        node = netlist.node_of(net)
        voltages.append(None if node is None else values[node])
    rails = [0.0, *(values[node] for node in netlist.emf_nodes)]
    low, high = min(rails), max(rails)
    margin = 0.01 + 0.001 * (high - low)
    for net, volts in enumerate(voltages):
        if volts is not None and not low - margin <= volts <= high + margin:
            cells = circuit.nets[net].cells
            raise SimulationError(
                tr("ngspice answers {volts:.3g} V where only {low:.3g} to {high:.3g} V are possible.",
                   volts=volts, low=low, high=high),
                place=str(cells[0]) if cells else None,
                way_out=tr("The answer is rejected; check the contacts around this cell."),
            )  # fmt: skip
    currents = {
        name: {
            terminal: sum(
                term.factor * (values[term.plus] - (values[term.minus] if term.minus is not None else 0.0))
                for term in terms
            )
            for terminal, terms in terminals.items()
        }
        for name, terminals in netlist.currents.items()
    }
    point = OperatingPoint(circuit, conditions, tuple(voltages), netlist.remarks, currents)
    more = [*_overloads(netlist, point)]
    if point.moving:
        text = tr("it does not come to rest: voltages and currents are those of one moment.")
        where = tuple(str(part.at) for part in circuit.parts if part.device.amplifies)
        more.append(Remark("moving", text, where))
    return replace(point, remarks=(*netlist.remarks, *more)) if more else point


def _overloads(netlist: Netlist, point: OperatingPoint) -> list[Remark]:
    found = []
    for part in netlist.solvable.parts:
        if not part.device.supplies:
            continue
        volts = supply_volts(part, point.conditions)
        across = point.across(part, "plus", "minus")
        if across is not None and volts > 0 and across < (1 - _OVERLOAD) * volts:
            found.append(
                Remark(
                    "overload",
                    tr(
                        "{name} is overloaded: it delivers {amperes:.3g} A "
                        "and its {volts:.3g} V fall to {across:.3g} V.",
                        name=part.label,
                        amperes=-(point.current(part, "plus") or 0.0),
                        volts=volts,
                        across=across,
                    ),
                    (str(part.at),),
                )
            )
    return found
