"""What can be solved at all: looked at before ngspice sees it, because ngspice answers everything.

ngspice gives plausible numbers for islands that float, for circuits without ground, and for
-5000 A through a zero-ohm loop. Here each part of the circuit that has no way to node 0 is found
first: an island with a supply is measured from that supply's minus, one without is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

from snapcheck.circuit import Circuit, Part
from snapcheck.errors import SimulationError
from snapcheck.words import active_language, tr

#: beyond this many parts a board is no board
_MOST_PARTS = 5000


@dataclass(frozen=True)
class Remark:
    """Something about the circuit that a reader of its figures must know.

    Attributes:
        kind: ``no-ground``, ``floating``, ``bypassed``, ``generic``, ``overload`` or ``states``.
        text: one sentence.
        cells: names of the cells concerned, such as "C4".
    """

    kind: str
    text: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Solvable:
    """Which parts are simulated, and from where each island's voltages count.

    Attributes:
        parts: parts that take part; all terminals of each lie in solved nets.
        ties: nets that stand in for node 0 in islands that have a supply but no ground.
        solved: nets that have a voltage.
        remarks: what was left out, tied or bypassed.
    """

    parts: tuple[Part, ...]
    ties: frozenset[int]
    solved: frozenset[int]
    remarks: tuple[Remark, ...]


def _names(parts: list[Part]) -> str:
    return ", ".join(part.label for part in parts)


def examine(circuit: Circuit) -> Solvable:
    """Sort a circuit into what is solved and what is not; kept, because every netlist of it asks.

    Raises:
        SimulationError: nothing can be solved; the message gives the cause and the cells.
    """
    key = ("solvable", active_language())  # remarks are said in it
    if key not in circuit.notes:
        circuit.notes[key] = _examine(circuit)
    found: Solvable = circuit.notes[key]
    return found


def _examine(circuit: Circuit) -> Solvable:
    if len(circuit.parts) > _MOST_PARTS:
        raise SimulationError(tr("the board has more than {most} parts.", most=_MOST_PARTS))
    shorted = [
        part for part in circuit.parts if part.device.supplies and part.nets["plus"] == part.nets["minus"]
    ]
    if shorted:
        raise SimulationError(
            tr(
                "the supply is shorted: plus and minus of {parts} touch the same metal.",
                parts=_names(shorted),
            ),
            place=str(shorted[0].at),
            way_out=tr("Do not power this board. Take away the wire, lead or plate contact that joins them."),
        )
    if not any(part.device.drive for part in circuit.parts):
        raise SimulationError(
            tr("nothing drives this circuit: it has no battery, no supply and no input."),
            way_out=tr("Add the supply to the layout, or photograph the board with it."),
        )

    root = _islands(circuit)
    remarks: list[Remark] = []
    ties: set[int] = set()
    grounded = root[0]
    island: dict[int, list[Part]] = {}
    for part in circuit.parts:
        island.setdefault(root[next(iter(part.nets.values()))], []).append(part)
    alive = {grounded}
    for key, members in island.items():
        if key == grounded:
            continue
        supplies = [part for part in members if part.device.supplies]
        cells = tuple(str(part.at) for part in members)
        if supplies:
            alive.add(key)
            ties.add(supplies[0].nets["minus"])
            remarks.append(
                Remark(
                    "no-ground",
                    tr(
                        "{parts} have no connection to the plate; "
                        "their voltages are counted from the minus of {name}.",
                        parts=_names(members),
                        name=supplies[0].name,
                    ),
                    cells,
                )
            )
        else:
            remarks.append(
                Remark(
                    "floating",
                    tr("{parts} are cut off from every supply and from the plate.", parts=_names(members)),
                    cells,
                )
            )
    kept: list[Part] = []
    for part in circuit.parts:
        nets = set(part.nets.values())
        if root[next(iter(nets))] not in alive:
            continue
        if len(nets) == 1:
            remarks.append(
                Remark(
                    "bypassed",
                    tr("{parts} is bypassed: all its terminals are one net.", parts=_names([part])),
                    (str(part.at),),
                )
            )
            continue
        kept.append(part)
    remarks += _without_data(kept)
    if not any(part.device.drive for part in kept):
        raise SimulationError(
            tr("no battery, supply or input reaches the rest of this circuit."),
            way_out=tr("Look for half-made contacts beside the supply."),
        )
    solved = {net for part in kept for net in part.nets.values()} | {0}
    return Solvable(tuple(kept), frozenset(ties), frozenset(solved), tuple(remarks))


def _without_data(parts: list[Part]) -> list[Remark]:
    return [
        Remark(
            "generic",
            tr(
                "the kit has no data for {type}: {parts} is calculated as a usual {kind}.",
                type=part.cube.value,
                parts=_names([part]),
                kind=tr(part.kind.title),
            ),
            (str(part.at),),
        )
        for part in parts
        if not part.kind.knows(part.cube.value)
    ]


def _islands(circuit: Circuit) -> list[int]:
    """Root of each net's island, where every part joins all its terminals (capacitors leak)."""
    parent = list(range(len(circuit.nets)))

    def find(net: int) -> int:
        while parent[net] != net:
            parent[net] = parent[parent[net]]
            net = parent[net]
        return net

    for part in circuit.parts:
        first, *others = part.nets.values()
        for other in others:
            a, b = find(first), find(other)
            if a != b:
                parent[max(a, b)] = min(a, b)
    return [find(net) for net in range(len(parent))]
