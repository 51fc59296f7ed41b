"""The faults that a board can have, made from the board itself."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from snapcheck.board import Cell, Seam, Side
from snapcheck.circuit import (
    Part,
    capital,
    cube_words,
    lead_words,
    part_words,
    terminal_words,
)
from snapcheck.diagnose._priors import Priors
from snapcheck.diagnose._wiring import Held, Wiring
from snapcheck.words import tr

#: name of the hypothesis that nothing is wrong
DESIGNED = "as-designed"


@dataclass(frozen=True)
class Change:
    """What one degree of a fault does to a split board.

    Attributes:
        cut: (joint, ohm) of joints that hold no more, with the resistance that is left (inf: none).
        bridges: (point, point, ohm) of what is joined.
        swaps: (part name, terminal, terminal) of ends that are exchanged inside a part.
        scales: (part name, factor on its value or gain).
    """

    cut: tuple[tuple[int, float], ...] = ()
    bridges: tuple[tuple[int, int, float], ...] = ()
    swaps: tuple[tuple[str, str, str], ...] = ()
    scales: tuple[tuple[str, float], ...] = ()

    def __add__(self, other: Change) -> Change:
        return Change(
            self.cut + other.cut,
            self.bridges + other.bridges,
            self.swaps + other.swaps,
            self.scales + other.scales,
        )


@dataclass(frozen=True)
class Fault:
    """One thing that may be wrong.

    Attributes:
        key: a stable name, such as ``seam-open C3|C4`` or ``short-collector-emitter Q101``.
        mode: the kind of fault, the first word of the key.
        cells: where it is.
        weight: how often it happens against others.
        degrees: what it does, each degree as likely as the others.
        part: name of the part, "" for a contact.
        text: one sentence.
        wiring: the board that it is, where it is another one than was thought.
    """

    key: str
    mode: str
    cells: tuple[Cell, ...]
    weight: float
    degrees: tuple[Change, ...]
    part: str = ""
    text: str = ""
    wiring: Wiring | None = field(default=None, compare=False, repr=False)

    def __hash__(self) -> int:
        return hash(self.key)


def faults_of(wiring: Wiring, priors: Priors) -> tuple[Fault, ...]:
    """Every single fault, those of contacts first; none of weight 0, none that changes nothing."""
    found = [*_contacts(wiring, priors), *_bridges(wiring, priors)]
    for part in wiring.circuit.parts:
        found += _of_part(wiring, part, priors)
    return tuple(fault for fault in found if fault.weight > 0)


def designed(weight: float) -> Fault:
    """The hypothesis that nothing is wrong."""
    return Fault(DESIGNED, DESIGNED, (), weight, (Change(),), text=tr("All is as designed."))


# -------------------------------------------------------------------- contacts


def _contacts(wiring: Wiring, priors: Priors) -> Iterator[Fault]:
    weight = priors.contact
    for index, joint in enumerate(wiring.joints):
        match joint.held:
            case Held.SEAM if joint.seam is not None:
                yield from _seam(wiring, index, joint.seam, priors)
            case Held.BODY if joint.cell is not None:
                if _carries(wiring, index):
                    what = cube_words(wiring.board.cubes[joint.cell], wiring.kit)
                    text = tr("{cell} ({what}) does not touch the plate.", cell=joint.cell, what=what)
                    yield _cut(f"body-open {joint.cell}", (joint.cell,), weight["body-open"], [index], text)
            case Held.LEAD if joint.lead is not None:
                text = capital(tr("{lead} is broken.", lead=lead_words(joint.lead)))
                cells = tuple(
                    dict.fromkeys(
                        c
                        for e in (joint.lead.start, joint.lead.end)
                        for c in ((e.cell,) if hasattr(e, "cell") else (e.seam.first, e.seam.second))
                    )
                )
                yield _cut(f"lead-open {joint.lead}", cells, weight["lead-open"], [index], text)
    for seam in wiring.taps:
        yield from _tap(wiring, seam, priors)


def _carries(wiring: Wiring, *cut: int) -> bool:
    """Whether something changes when these joints hold no more."""
    return len(set(wiring.net_of_points(cut))) > len(set(wiring.whole))


def _cut(key: str, cells: tuple[Cell, ...], weight: float, joints: list[int], text: str) -> Fault:
    change = Change(cut=tuple((joint, math.inf) for joint in joints))
    return Fault(key, key.split(maxsplit=1)[0], cells, weight, (change,), text=text)


def _seam(wiring: Wiring, index: int, seam: Seam, priors: Priors) -> Iterator[Fault]:
    if not _carries(wiring, index):
        return  # joined another way, too
    cells = seam.first, seam.second
    text = tr("The contacts in the seam {seam} do not touch.", seam=seam)
    yield _cut(f"seam-open {seam}", cells, priors.contact["seam-open"], [index], text)
    yield Fault(
        f"seam-poor {seam}",
        "seam-poor",
        cells,
        priors.contact["seam-poor"],
        tuple(Change(cut=((index, ohm),)) for ohm in priors.poor_ohm),
        text=tr("The contacts in the seam {seam} touch poorly.", seam=seam),
    )


def _tap(wiring: Wiring, seam: Seam, priors: Priors) -> Iterator[Fault]:
    at = [i for i, j in enumerate(wiring.joints) if j.seam == seam and j.held is Held.TAP]
    cells = seam.first, seam.second
    if at and _carries(wiring, *at):
        text = tr("The tap {seam} touches no cube.", seam=seam)
        yield _cut(f"tap-open {seam}", cells, priors.contact["tap-open"], at, text)
    direct = [i for i, j in enumerate(wiring.joints) if j.seam == seam and j.held is Held.SEAM]
    for index in at:
        joint = wiring.joints[index]
        if direct and joint.cell is not None and _carries(wiring, index, *direct):
            text = tr("{cell} does not touch the tap {seam}.", cell=joint.cell, seam=seam)
            key = f"tap-half {seam} {joint.cell}"
            yield _cut(key, cells, priors.contact["tap-half"], [index, *direct], text)


def _bridges(wiring: Wiring, priors: Priors) -> Iterator[Fault]:
    """Conductors of neighbouring cubes that touch where they should not, once for each pair of nets."""
    weight = priors.contact["bridge"]
    found: dict[tuple[int, int], Fault] = {}
    by_cell: dict[Cell, list[int]] = {}
    for (cell, _), point in wiring.point_of_leg.items():
        by_cell.setdefault(cell, []).append(point)
    for cell, points in sorted(by_cell.items()):
        for side in (Side.E, Side.S):
            beyond = cell.neighbour(side)
            for one in dict.fromkeys(points):
                for other in dict.fromkeys(by_cell.get(beyond, ())):
                    nets = wiring.whole[one], wiring.whole[other]
                    pair = min(nets), max(nets)
                    if pair[0] == pair[1]:
                        continue
                    if pair in found:
                        known = found[pair]
                        cells = tuple(dict.fromkeys((*known.cells, cell, beyond)))
                        found[pair] = replace(known, cells=cells, weight=known.weight + weight)
                        continue
                    text = tr("{a} and {b} are bridged by something.", a=cell, b=beyond)
                    change = Change(bridges=((one, other, priors.bridge_ohm),))
                    key = f"bridge {cell}|{beyond}"
                    if any(
                        f.key == key for f in found.values()
                    ):  # a second pair of nets between the same cubes
                        key += f" {len(found)}"
                    found[pair] = Fault(key, "bridge", (cell, beyond), weight, (change,), text=text)
    yield from found.values()


# -------------------------------------------------------------------- parts


def _of_part(wiring: Wiring, part: Part, priors: Priors) -> Iterator[Fault]:
    for mode, weight in priors.faults_of(part).items():
        degrees = _degrees(wiring, part, mode, priors)
        if degrees:
            yield Fault(
                f"{mode} {part.name}", mode, (part.cell,), weight, degrees, part.name, _words(part, mode)
            )


def _pin(wiring: Wiring, part: Part, terminal: str) -> int:
    pin = part.name, terminal
    return next(i for i, joint in enumerate(wiring.joints) if joint.pin == pin)


def _degrees(  # noqa: PLR0911 (one for each fault)
    wiring: Wiring, part: Part, mode: str, priors: Priors
) -> tuple[Change, ...]:
    """What a fault of a part does; nothing where it cannot have it."""
    what, *terminals = mode.split("-")
    if any(t not in part.nets for t in terminals) and what in ("open", "short") and terminals:
        return ()
    if what in ("open", "blown"):
        terminal = terminals[0] if terminals else part.pair[0]
        if len(list(wiring.circuit.parts_on(part.nets[terminal]))) == 1:
            return ()  # nothing else is there
        return (Change(cut=((_pin(wiring, part, terminal), math.inf),)),)
    if what == "short":
        one, other = terminals if len(terminals) == 2 else part.pair
        points = wiring.pins[part.name, one], wiring.pins[part.name, other]
        return (Change(bridges=((*points, priors.bridge_ohm),)),)
    if what == "reversed":
        ends = _turned_ends(part)
        return () if ends is None else (Change(swaps=((part.name, *ends),)),)
    if what == "decade":
        return (Change(scales=((part.name, 10.0 if terminals == ["up"] else 0.1),)),)
    if what == "low":
        return tuple(Change(scales=((part.name, factor),)) for factor in priors.low_gain)
    if what == "dead":
        return (Change(cut=tuple((_pin(wiring, part, leg), math.inf) for leg in part.device.outlets)),)
    table = priors.weak if what == "weak" else priors.flat
    plus = _pin(wiring, part, part.pair[0])
    return tuple(Change(cut=((plus, ohm),), scales=((part.name, factor),)) for factor, ohm in table)


def _turned_ends(part: Part) -> tuple[str, str] | None:
    """The ends that are exchanged when a part is the wrong way round; None where that changes nothing."""
    if part.kind.either_way:
        return None
    if (stage := part.device.stage) is not None:
        return stage.against, stage.along
    return part.pair if len(part.nets) == 2 else None


def _words(part: Part, mode: str) -> str:
    """One sentence about a fault of a part."""
    name = part_words(part)
    what, *terminals = mode.split("-")
    match what:
        case "open" if terminals:
            text = tr("{terminal} is broken off inside.", terminal=terminal_words(part, terminals[0]))
        case "open":
            text = tr("{part} is open inside.", part=name)
        case "blown":
            text = tr("{part} has burnt through.", part=name)
        case "short" if terminals:
            one, other = (terminal_words(part, t) for t in terminals)
            text = tr("{one} and {other} are shorted inside.", one=one, other=other)
        case "short":
            text = tr("{part} is shorted inside.", part=name)
        case "reversed":
            text = tr("{part} is the wrong way round.", part=name)
        case "decade":
            text = (
                tr("{part} has ten times its printed value.", part=name)
                if terminals == ["up"]
                else tr("{part} has a tenth of its printed value.", part=name)
            )
        case "low":
            text = tr("{part} amplifies far too little.", part=name)
        case "dead":
            text = tr("{part} is dead: nothing comes out of it.", part=name)
        case "weak":
            text = tr("{part} gives too little voltage.", part=name)
        case _:
            text = tr("{part} gives hardly any voltage.", part=name)
    return capital(text)
