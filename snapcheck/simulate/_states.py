"""States of rest: a circuit that feeds itself in phase may have two, and a balance between that no one sees.

ngspice finds one operating point, and of a bistable it is as likely as not the balance between its states.
Where a transistor hears itself in phase through direct connections, the states are looked for by holding one
transistor off at the start of the search, and a point that nothing holds in place is not told as fact.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from itertools import islice

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Store
from snapcheck.errors import SimulationError
from snapcheck.simulate import _operating
from snapcheck.simulate._netlist import NO_SCALES, Stimulus
from snapcheck.simulate._operating import OperatingPoint, Region
from snapcheck.simulate._solvable import Remark
from snapcheck.simulate._text import figure_text
from snapcheck.simulate._worker import Worker
from snapcheck.simulate._write import write_netlist
from snapcheck.words import tr

#: voltages that lie this far apart (V) belong to different states (common practice, no source)
_APART_V = 0.05
#: transistors that are held off in turn; loops that are looked at
_MOST_HELD, _MOST_LOOPS = 4, 4
#: alternating current so slow that it is direct
_SLOWLY = "ac lin 1 1e-06 1e-06"


def rest(
    worker: Worker, circuit: Circuit, conditions: Conditions, *, scales: Mapping[str, float] = NO_SCALES
) -> OperatingPoint:
    """The operating point, a state that lasts where there are several; a remark tells of the others.

    Raises:
        SimulationError: there is none.
    """
    loops = loops_of(circuit)
    if not loops:
        return _operating.solve(worker, circuit, conditions, scales=scales)

    def look(*near: tuple[int, float]) -> tuple[OperatingPoint, bool]:
        return _looked_at(worker, circuit, conditions, scales, loops, near)

    point, lasts = look()
    flips = any(part.device.swing for part in circuit.parts)
    if not flips and lasts and {point.region(part) for part in circuit.parts} <= {None, Region.AMPLIFYING}:
        return point  # an amplifier: no other state is looked for
    found = [(point, lasts)]
    for begin in _begins(circuit, point):
        with suppress(SimulationError):
            state, lasts = look(begin)
            if not any(same(state, other) for other, _ in found):
                found.append((state, lasts))
    states = [state for state, lasts in found if lasts]
    if len(found) == 1 or not states:
        return point
    point = states[0]
    if len(states) == 1:
        return point
    shown = ", ".join(f"{p.label} {word}" for p in circuit.parts if (word := _state_word(point, p)))
    text = tr("it can rest in {n} states; shown is the one with {regions}.", n=len(states), regions=shown)
    cells = tuple(str(p.at) for p in circuit.parts if p.device.amplifies)
    return replace(point, remarks=(*point.remarks, Remark("states", text, cells)))


def _state_word(point: OperatingPoint, part: Part) -> str:
    """What a part does at rest, where it can do several things."""
    region = point.region(part)
    if region is not None:
        return region.word
    outputs = dict.fromkeys(way.end for way in part.device.ways or () if part.device.swing)
    volts = ((leg, point.voltage(part.nets[leg])) for leg in outputs)
    return ", ".join(f"{leg} {figure_text(v, 'V')}" for leg, v in volts if v is not None)


def stay(
    worker: Worker, circuit: Circuit, conditions: Conditions, near: tuple[tuple[int, float], ...]
) -> OperatingPoint:
    """The state that is reached from voltages of a moment ago; that of `rest` where it would not last."""
    if near:
        loops = loops_of(circuit)
        point, lasts = _looked_at(worker, circuit, conditions, NO_SCALES, loops, near)
        if lasts:
            return point
    return rest(worker, circuit, conditions)


def same(one: OperatingPoint, other: OperatingPoint) -> bool:
    """Whether two points are the same state."""
    return all(
        a is None or b is None or abs(a - b) < _APART_V
        for a, b in zip(one.voltages, other.voltages, strict=True)
    )


def _looked_at(
    worker: Worker,
    circuit: Circuit,
    conditions: Conditions,
    scales: Mapping[str, float],
    loops: tuple[int, ...],
    near: tuple[tuple[int, float], ...],
) -> tuple[OperatingPoint, bool]:
    """An operating point, and whether it comes back after a small push: no loop has a negative resistance.

    With a loop gain T in phase, a node's resistance R becomes R/(1 - T): negative where T is greater than 1,
    and what leaves the point then goes on by itself (Chua, Desoer, Kuh: Linear and Nonlinear Circuits,
    stability of operating points; from memory). Asked so slowly that no capacitor matters, because a run in
    time with steps longer than the fall would hold the point in place.
    """
    point, lasts = None, True
    for net in loops:
        netlist = write_netlist(circuit, conditions, Stimulus(into_net=net, near=near), scales=scales)
        node = netlist.node_of(net)
        wanted = _operating.vectors_of(netlist)
        analyses: list[tuple[str, list[str]]] = [("op", wanted)]
        if node not in (None, "0"):
            analyses.append((_SLOWLY, [str(node)]))
        answers = worker.solve_once(netlist.lines, frozenset(netlist.nodes), analyses)
        if point is None:
            values = dict(zip(wanted, answers[0], strict=True))
            point = _operating.read(netlist, circuit, conditions, values)
        lasts = lasts and (len(answers) == 1 or float(answers[1][str(node)][0].real) >= 0)
    assert point is not None
    return point, lasts


def _begins(circuit: Circuit, point: OperatingPoint) -> list[tuple[int, float]]:
    """(net, V) where searches for other states begin: transistors off, then fully on, one at a time."""
    begins = dict(_operating.holds(point)[:_MOST_HELD])
    for part in circuit.parts:
        stage = part.device.stage
        if stage is not None and len(begins) < 2 * _MOST_HELD:
            output, follower = part.nets[stage.against], part.nets[stage.along]
            volts = point.voltage(follower)
            if output != follower and volts is not None and point.voltage(output):
                begins.setdefault(output, volts)
    return [*begins.items(), *islice(_swings(circuit, point), 2 * _MOST_HELD)]


def _swings(circuit: Circuit, point: OperatingPoint) -> Iterator[tuple[int, float]]:
    """(net of an output, V) with the outputs of amplifiers at either end of their swing."""
    for part in circuit.parts:
        for way in part.device.ways or ():
            for leg in part.device.swing or ():
                volts = point.voltage(part.nets[leg])
                if not way.turned and volts is not None:
                    yield part.nets[way.end], volts


def loops_of(circuit: Circuit) -> tuple[int, ...]:
    """Nets of transistors' inputs to which an output comes back in phase, by parts that pass direct current;
    one for each loop.

    Only signs are looked at: a collector goes against its base and with its emitter, an emitter with its
    base; resistances pass on; what a supply or the plate holds passes nothing. The transistor's own second
    way does not count: it is its degeneration. Kept, because every operating point of the circuit asks.
    """
    if "loops" not in circuit.notes:
        circuit.notes["loops"] = _loops_of(circuit)
    found: tuple[int, ...] = circuit.notes["loops"]
    return found


#: net to (net, turned over, by which part) of every way for a signal from there
_Passes = Mapping[int, list[tuple[int, bool, Part]]]
#: (from net, to net, turned over, part) of a way with gain
_Gain = tuple[int, int, bool, Part]


def signal_ways(circuit: Circuit, *, fast: bool = False) -> tuple[_Passes, list[_Gain]]:
    """All ways for slow signals, and those with gain; for fast ones, capacitors pass, too."""
    held = {0} | {n for p in circuit.parts if p.device.drive for n in p.nets.values()}
    passes: dict[int, list[tuple[int, bool, Part]]] = {}
    gains: list[_Gain] = []
    for part in circuit.parts:
        for a, b, turns, gain in _ways(part, fast):
            if a not in held and b not in held and a != b:
                passes.setdefault(a, []).append((b, turns, part))
                if gain:
                    gains.append((a, b, turns, part))
    return passes, gains


def _loops_of(circuit: Circuit) -> tuple[int, ...]:
    passes, gains = signal_ways(circuit)
    loops: dict[int, set[int]] = {}
    for one in gains:
        around = nets_around(passes, *one)
        if around and not any(one[0] in other and net in around for net, other in loops.items()):
            loops[one[0]] = around
    return tuple(loops)[:_MOST_LOOPS]


def _ways(part: Part, fast: bool) -> Iterator[tuple[int, int, bool, bool]]:
    """(from net, to net, turned over, with gain) of every way for slow signals through a part."""
    nets = part.nets
    stage = part.device.stage
    if stage is not None:
        control, against, along = (nets[name] for name in stage)
        yield control, against, True, True
        yield along, against, False, True
        yield control, along, False, False
    elif part.device.ways is not None:
        for start, end, turned, gain in part.device.ways:
            yield nets[start], nets[end], turned, gain
    elif fast or part.device.store is not Store.CHARGE:
        for a in nets.values():
            for b in nets.values():
                yield a, b, False, False


def nets_around(passes: _Passes, start: int, after: int, turned: bool, own: Part) -> set[int]:
    """Nets that a signal reaches after a part; none where it does not come back in phase."""
    waiting, seen = deque([(after, turned)]), {(after, turned)}
    while waiting:
        net, over = waiting.popleft()
        for to, turns, part in passes.get(net, ()):
            state = (to, over != turns)
            if part is not own and state not in seen:
                seen.add(state)
                waiting.append(state)
    return {net for net, _ in seen} if (start, False) in seen else set()
