"""Rules about supplies and about current that nothing limits."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from typing import Any

from snapcheck.board import Spot
from snapcheck.circuit._circuit import Part
from snapcheck.circuit._context import Context
from snapcheck.circuit._path import MetalPath, metal_path
from snapcheck.circuit._say import capital, listing, part_words, volts
from snapcheck.circuit._topology import (
    Conflict,
    Source,
    closes,
    direct_ohms,
    drives,
)
from snapcheck.devices import Setting
from snapcheck.findings import Finding
from snapcheck.words import tr


def above_extra_low(ctx: Context) -> Iterator[Finding]:
    """Sources that alone or in series give more than extra-low voltage."""
    topology, limit = ctx.topology, ctx.book.limit("above-extra-low", "direct_V")
    rings: dict[int, list[Source]] = {}
    for source in topology.sources:
        rail = topology.rails.get(topology.tie[source.plus])
        if rail is not None and source.volts is not None:
            rings.setdefault(rail[0], []).append(source)
    for ring, sources in rings.items():
        levels = [v for r, v in topology.rails.values() if r == ring]
        span = max(max(levels) - min(levels), *(abs(s.volts or 0.0) for s in sources))
        if span > limit:
            yield ctx.finding(
                "above-extra-low",
                [s.part.at for s in sources],
                tr("{sources} give {volts}: that is more than extra-low voltage.",
                   sources=capital(listing(part_words(s.part) for s in sources)), volts=volts(span))
                if len(sources) > 1
                else tr("{source} gives {volts}: that is more than extra-low voltage.",
                        source=capital(part_words(sources[0].part)), volts=volts(span)),
                expected=tr("At most {volts} of direct current.", volts=volts(limit)),
                found=tr("Up to {volts}.", volts=volts(span)),
                why=tr("Cubes, plate and plugs are bare metal: touching them can kill."),
                mend=tr("Do not power. Use batteries or a bench supply of {volts} at most, never mains.",
                        volts=volts(limit)),
            )  # fmt: skip


def supply_shorted(ctx: Context) -> Iterator[Finding]:
    """Plus and minus of one source joined by metal, in any position of switches and knobs."""
    for source in ctx.topology.sources:
        way = _short_way(ctx, source)
        if way is None:
            continue
        parts, path = way
        ctx.shorted.add(source.part.at)
        switches = [p for p in parts if p.device.setting is Setting.SWITCH]
        knobs = [p for p in parts if p.device.slides]
        relays = [p for p in parts if p.device.contacts]
        cells = [source.part.at, *(p.at for p in parts), *path.cells]
        ctx.shorting.update(p.at for p in parts)
        name = part_words(source.part)
        if knobs:
            title = tr("The supply is shorted when {pot} is at one end of its travel.",
                       pot=listing(part_words(p) for p in knobs))  # fmt: skip
        elif switches:
            names = listing(part_words(p) for p in switches)
            title = (
                tr("The supply is shorted as soon as {switch} closes.", switch=names)
                if len(switches) == 1
                else tr("The supply is shorted as soon as {switches} are closed.", switches=names)
            )
        elif relays:
            title = tr("The supply is shorted through a contact of {relay}.",
                       relay=listing(part_words(p) for p in relays))  # fmt: skip
        else:
            title = tr("The supply is shorted: plus and minus of {source} are joined.", source=name)
        yield shorted(
            ctx,
            cells,
            title,
            found=tr("Way of the current: {path}.", path=path) if path.steps else "",
            mend=_short_mend(path, parts, source),
            data={"path": [str(c) for c in path.cells], "through_plate": path.through_plate},
            lead=path.leads[0] if path.leads else None,
        )


def shorted(ctx: Context, cells: Iterable[Spot], title: str, **more: Any) -> Finding:
    """The two ends of what feeds a circuit joined; `more` as `Context.finding` takes it."""
    return ctx.finding(
        "supply-shorted",
        cells,
        title,
        expected=tr("Between plus and minus there is always a part that limits the current."),
        why=tr("Nothing limits the current: battery, wires and cubes get hot enough to burn."),
        **more,
    )


def take_out_words(part: Part) -> str:
    """What to do about a source that is shorted by cubes without a name of their own."""
    return tr("Do not power. Take {source} out and check what its two sides touch.", source=part_words(part))


def _short_mend(path: MetalPath, parts: list[Part], source: Source) -> str:
    if path.leads:
        return tr("Do not power. Pull the lead first, then check where it belongs.")
    if parts:
        return tr("Do not power. Put the load in series with {part}, not a plain wire.",
                  part=part_words(parts[0]))  # fmt: skip
    between = [str(c) for c in path.cells if c != source.part.at]
    if between:
        return tr("Do not power. Take out or turn one of these cubes: {cells}.", cells=", ".join(between))
    return take_out_words(source.part)


def _short_way(ctx: Context, source: Source) -> tuple[list[Part], MetalPath] | None:
    """Parts and metal that join plus and minus of a source, or None."""
    topology, limit = ctx.topology, ctx.book.limit("supply-shorted", "short_ohm")
    start, goal = topology.tie[source.plus], topology.tie[source.minus]
    steps: dict[int, list[tuple[int, Part, str, str]]] = {}
    low: list[tuple[Spot, str, str]] = []
    for part in ctx.circuit.parts:
        for one, two in low_pairs(part, limit):
            a, b = topology.tie[part.nets[one]], topology.tie[part.nets[two]]
            if a != b:
                steps.setdefault(a, []).append((b, part, one, two))
                steps.setdefault(b, []).append((a, part, two, one))
    # a knob cannot stand at both ends at once, nor a relay: remember by which one a tie was reached
    came: dict[tuple[int, Spot | None], list[tuple[Part, str, str]]] = {(start, None): []}
    queue: deque[tuple[int, Spot | None]] = deque([(start, None)])
    while queue and start != goal:
        here = queue.popleft()
        if here[0] == goal:
            break
        for there, part, one, two in steps.get(here[0], ()):
            knob = part.at if one_at_a_time(part) else None
            if (there, knob) not in came and not (knob is not None and knob == here[1]):
                came[there, knob] = [*came[here], (part, one, two)]
                queue.append((there, knob))
    reached = next((k for k in came if k[0] == goal), None)
    if reached is None:
        return None
    used = came[reached]
    low.extend((p.at, one, two) for p, one, two in used)
    terminals = (source.part.at, "plus"), (source.part.at, "minus")
    path = metal_path(ctx.circuit, *terminals, low)
    if not path.steps:  # only with switches closed, fuses and ammeters as metal
        closing = [p for p in ctx.circuit.parts if closes(p)]
        path = metal_path(ctx.circuit, *terminals, [*low, *((p.at, *p.pair) for p in closing)])
        on_path = set(path.cells)
        used = [*used, *((p, *p.pair) for p in closing if p.at in on_path)]
    return list(dict.fromkeys(p for p, _, _ in used)), path


def low_pairs(part: Part, limit_ohm: float) -> Iterator[tuple[str, str]]:
    """Terminal pairs that are next to a short circuit, knobs at either end, relays pulled in or not."""
    yield from part.device.slides
    yield from part.device.contacts
    if not closes(part) and part.device.plain:
        ohms = direct_ohms(part)
        if ohms is not None and ohms < limit_ohm:
            yield part.pair


def one_at_a_time(part: Part) -> bool:
    """Of its low pairs only one is low at any moment."""
    return bool(part.device.slides or part.device.contacts)


def supplies_fighting(ctx: Context) -> Iterator[Finding]:
    """Sources in a ring whose voltages do not cancel."""
    for conflict in ctx.topology.conflicts:
        if conflict.difference_V == 0:
            continue
        parts = [conflict.part, *conflict.others]
        switches = _joining_switches(ctx, conflict)
        names = listing(map(part_words, parts))
        yield ctx.finding(
            "supplies-fighting",
            [p.at for p in (*parts, *switches)],
            tr("With {switches} closed, two supplies work against each other: {parts}.",
               switches=listing(map(part_words, switches)), parts=names)
            if switches
            else tr("Two supplies work against each other: {parts}.", parts=names),
            expected=tr("Supplies that are joined at both ends have the same voltage the same way round."),
            found=tr("Round the ring {volts} are left, with nothing to limit the current.",
                     volts=volts(conflict.difference_V)),
            why=tr("The stronger one drives a large current backwards through the other, which may burst."),
            mend=tr("Do not power. Keep one of them, or put them in series the same way round."),
            data={"difference_V": conflict.difference_V},
        )  # fmt: skip


def _joining_switches(ctx: Context, conflict: Conflict) -> list[Part]:
    """The switches that join sources to a ring; none where they are joined anyway."""
    if any(other.difference_V and other.part is conflict.part for other in ctx.opened.conflicts):
        return []
    opened = ctx.opened
    poles = {ctx.topology.tie[net] for p in (conflict.part, *conflict.others) for net in p.nets.values()}
    near = [
        p for p in ctx.circuit.parts
        if p.device.setting is Setting.SWITCH and ctx.topology.tie[next(iter(p.nets.values()))] in poles
    ]  # fmt: skip
    between = [p for p in near if all(opened.tie[net] in opened.rails for net in p.nets.values())]
    return between or near


def supplies_parallel(ctx: Context) -> Iterator[Finding]:
    """Equal sources in parallel."""
    for conflict in ctx.topology.conflicts:
        if conflict.difference_V:
            continue
        parts = [conflict.part, *conflict.others]
        yield ctx.finding(
            "supplies-parallel",
            [p.at for p in parts],
            tr("Supplies are joined in parallel: {parts}.", parts=listing(map(part_words, parts))),
            expected=tr("One supply for each rail."),
            why=tr("The fuller one charges the emptier one; primary batteries must not be charged."),
            mend=tr("Keep one of them."),
        )


def supply_reversed(ctx: Context) -> Iterator[Finding]:
    """The only source stands with its plus on the plate."""
    sources = ctx.topology.sources
    plate = ctx.topology.tie[0]
    if any(ctx.topology.tie[s.minus] == plate for s in sources):
        return  # a negative rail beside a positive one may well be meant
    for source in sources:
        if ctx.topology.tie[source.plus] != plate or source.part.at in ctx.shorted:
            continue
        if source.minus in ctx.open_nets:  # it feeds nothing
            continue
        ctx.reversed.add(source.part.at)
        side = source.part.kind.sides("plus", source.part.cube.turn)
        yield ctx.finding(
            "supply-reversed",
            [source.part.at],
            tr("{source} stands the wrong way round: its plus goes to the plate.",
               source=capital(part_words(source.part))),
            expected=tr("Minus goes to the plate, plus feeds the circuit."),
            found=tr("Plus goes to the plate, minus feeds the circuit."),
            why=tr("Transistors, LEDs and electrolytic capacitors get their voltage backwards; an "
                   "electrolytic capacitor may burst."),
            mend=tr("Do not power. Turn the cube at {cell} by half a turn.", cell=source.part.at),
            side=side[0] if side else None,
        )  # fmt: skip


def batteries_opposed(ctx: Context) -> Iterator[Finding]:
    """Two sources in series with like poles together."""
    circuit = ctx.circuit
    for net in circuit.nets:
        ends = [(p, t) for p, t in circuit.parts_on(net.number)]
        if len(ends) != 2 or not all(p.device.supplies for p, _ in ends):
            continue
        (one, pole), (two, other) = ends
        if pole != other or one is two or ctx.reversed & {one.at, two.at}:
            continue
        yield ctx.finding(
            "batteries-opposed",
            [one.at, two.at],
            tr("{one} and {two} face each other with the same pole.",
               one=capital(part_words(one)), two=part_words(two)),
            expected=tr("In series, plus of one meets minus of the next."),
            found=tr("{pole} meets {pole}.", pole=tr("Plus") if pole == "plus" else tr("Minus")),
            why=tr("Their voltages subtract instead of adding."),
            mend=tr("Turn one of the two by half a turn."),
        )  # fmt: skip


def no_ground(ctx: Context) -> Iterator[Finding]:
    """Parts use the plate, but no source is joined to it."""
    sources = ctx.topology.sources
    on_plate = [p for p, _ in ctx.circuit.parts_on(0) if not drives(p)]
    plate = ctx.topology.tie[0]
    if not sources or not on_plate or any(plate in (ctx.topology.tie[s.plus], ctx.topology.tie[s.minus])
                                          for s in sources):  # fmt: skip
        return
    if plate in ctx.topology.rails or any(p.device.rectifies for p in on_plate):
        return
    source = sources[0].part
    sides = source.kind.sides("minus", source.cube.turn)
    yield ctx.finding(
        "no-ground",
        [source.at, *(p.at for p in on_plate)],
        tr("Nothing joins the supply to the plate: there is no ground on the minus of {source}.",
           source=part_words(source)),
        expected=tr("A ground cube on the minus of the supply."),
        found=tr("{parts} use the plate, the supply does not.",
                 parts=capital(listing(part_words(p) for p in on_plate[:4]))),
        why=tr("Current that goes into the plate cannot come back to the supply."),
        mend=tr("Put a ground cube where the minus of {source} can reach it.", source=part_words(source)),
        side=sides[0] if sides else None,
    )  # fmt: skip


def no_parts(ctx: Context) -> Iterator[Finding]:
    """An empty plate, or nothing but wires on it."""
    board = ctx.circuit.board
    if ctx.circuit.parts:
        return
    yield ctx.finding(
        "no-parts",
        [],
        tr("There are only wires on the plate.") if board.cubes else tr("The plate is empty."),
        expected=tr("At least one part, and what feeds it."),
        why=tr("Without a part there is no circuit."),
        mend=tr("Put the cubes on the plate first."),
    )


def no_supply(ctx: Context) -> Iterator[Finding]:
    """Nothing on the board drives it."""
    parts = ctx.circuit.parts
    if not parts or ctx.topology.sources or any(map(drives, parts)):
        return
    yield ctx.finding(
        "no-supply",
        [],
        tr("There is no battery, supply or input on the board."),
        expected=tr("A supply, or something plugged into a socket."),
        why=tr("Without a supply nothing can be expected of the circuit."),
        mend=tr("Add the battery or supply, unless it is connected from outside."),
    )
