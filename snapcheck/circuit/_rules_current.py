"""Rules about current that nothing limits, and what it blows."""

from __future__ import annotations

import heapq
from collections.abc import Iterator

from snapcheck.board import Spot
from snapcheck.circuit._circuit import Part
from snapcheck.circuit._context import Context
from snapcheck.circuit._rules_supply import low_pairs, one_at_a_time
from snapcheck.circuit._say import amperes, capital, listing, part_words, volts
from snapcheck.circuit._topology import junction_steps
from snapcheck.findings import Finding, Severity
from snapcheck.words import tr

#: (tie before, part) by which a tie was reached
_Steps = dict[int, tuple[int, Part | None]]


def no_current_limit(ctx: Context) -> Iterator[Finding]:
    """A diode, LED or transistor junction fed from a rail with nothing to limit the current."""
    topology = ctx.topology
    margin = ctx.book.limit("no-current-limit", "margin_V")
    coil = ctx.book.limit("no-current-limit", "coil_ohm")
    steps: dict[int, list[tuple[int, Part, float]]] = {}
    for part in ctx.circuit.parts:
        moves = [(a, b, v) for a, b, v in junction_steps(part)]
        moves += [(a, b, 0.0) for pq in low_pairs(part, coil) for a, b in (pq, pq[::-1])]
        for one, two, drop in moves:
            a, b = topology.tie[part.nets[one]], topology.tie[part.nets[two]]
            if a != b:
                steps.setdefault(a, []).append((b, part, drop))
    told: set[Spot] = set()
    for start, (ring, high) in sorted(topology.rails.items()):
        for _ in range(6):  # several junctions may hang on one rail
            found = _cheapest(steps, start, topology.rails, ring, high - margin, told)
            if found is None:
                break
            parts, drop, low = found
            junctions = [p for p in parts if any(True for _ in junction_steps(p))]
            if not junctions:
                break  # a plain short circuit; told elsewhere
            told.update(p.at for p in junctions)
            if not any(p.device.slides for p in parts):
                ctx.overloading.update(p.at for p in parts)
                feeding = (s.part.at for s in topology.sources if _ring_of(ctx, s.plus) == ring)
                ctx.overloading.update(feeding)
            yield _unlimited(ctx, junctions, parts, high - low, drop)


def _ring_of(ctx: Context, net: int) -> int | None:
    """The ring of sources that fixes a net; None where none does, as beside a source that is shorted."""
    rail = ctx.topology.rails.get(ctx.topology.tie[net])
    return None if rail is None else rail[0]


def _unlimited(ctx: Context, junctions: list[Part], parts: list[Part], v: float, drop: float) -> Finding:
    knobs = [p for p in parts if p.device.slides]
    names = listing(part_words(p) for p in junctions)
    if knobs:
        title = tr("Nothing limits the current through {parts} when {pot} is at one end of its travel.",
                   parts=names, pot=listing(part_words(p) for p in knobs))  # fmt: skip
    else:
        title = tr("Nothing limits the current through {parts}.", parts=names)
    return ctx.finding(
        "no-current-limit",
        [p.at for p in (*junctions, *parts)],
        title,
        expected=tr("A resistor in series with it."),
        found=tr("{supply} across junctions that need only {drop}.", supply=volts(v), drop=volts(drop)),
        why=tr("Above its forward voltage a junction takes whatever current the supply gives: it is "
               "destroyed in a moment and may burst."),
        mend=tr("Do not power. Put a resistor in series with the cube at {cell}.", cell=junctions[0].at),
        severity=Severity.FAULT if knobs else None,
        data={"supply_V": v, "drop_V": drop},
    )  # fmt: skip


def _cheapest(
    steps: dict[int, list[tuple[int, Part, float]]],
    start: int,
    rails: dict[int, tuple[int, float]],
    ring: int,
    budget_V: float,
    told: set[Spot],
) -> tuple[list[Part], float, float] | None:
    """The way from a rail to a lower one over the least junction voltage that the rails can overcome."""
    best: dict[int, float] = {start: 0.0}
    came: _Steps = {start: (start, None)}
    heap = [(0.0, start)]
    while heap:
        drop, here = heapq.heappop(heap)
        if drop > best[here]:
            continue
        rail = rails.get(here)
        if rail is not None and here != start:
            if rail[0] == ring and rail[1] + drop < budget_V:
                return _parts_on_way(came, here), drop, rail[1]
            continue
        for there, part, step in steps.get(here, ()):
            if part.at in told or (part is came[here][1] and one_at_a_time(part)):
                continue
            if drop + step < best.get(there, float("inf")):
                best[there] = drop + step
                came[there] = (here, part)
                heapq.heappush(heap, (drop + step, there))
    return None


def _parts_on_way(came: _Steps, goal: int) -> list[Part]:
    parts: list[Part] = []
    here = goal
    while (step := came[here])[1] is not None:
        parts.append(step[1])
        here = step[0]
    return list(dict.fromkeys(reversed(parts)))  # a bridge may be passed twice


def resistor_missing(ctx: Context) -> Iterator[Finding]:
    """An LED that gets too much because nothing but a transistor stands between it and the supply.

    How much a transistor lets through is a matter of its base and its gain: the calculated current is asked.
    """
    slack = 1 + ctx.book.limit("over-rating", "slack")
    told: set[Spot] = set()
    for part in ctx.circuit.parts:
        amperes_, rated = ctx.current(part), part.ratings.get("max_current_A")
        light = part.device.one_way and part.device.shows
        if not light or amperes_ is None or rated is None or part.at in ctx.overloading:
            continue
        between = _transistors_alone(ctx, part) if amperes_ > rated * slack else []
        if not between:
            continue
        ctx.overloading.update((part.at, *(q.at for q in between)))
        if not told.isdisjoint(q.at for q in between):
            continue  # one resistor does for all in the string
        told.update(q.at for q in between)
        ctx.overloading.update(source.part.at for source in ctx.topology.sources)
        danger = amperes_ >= rated * ctx.book.limit("over-rating", "danger_factor")
        mend = tr("Put a resistor in series with the cube at {cell}.", cell=part.at)
        yield ctx.finding(
            "resistor-missing",
            [part.at, *(q.at for q in between)],
            tr("Nothing but {transistors} limits the current through {part}.",
               transistors=listing(map(part_words, between)), part=part_words(part)),
            expected=tr("A resistor in series with it."),
            found=tr("{current} flow through it.", current=amperes(amperes_)),
            why=tr("A transistor that is fully on limits nothing: both get hot and are destroyed."),
            mend=f"{tr('Do not power.')} {mend}" if danger else mend,
            severity=Severity.DANGER if danger else None,
            data={"current_A": amperes_, "rated_A": rated},
        )  # fmt: skip


def _transistors_alone(ctx: Context, part: Part) -> list[Part]:
    """The transistors on the unbranched way of an LED from rail to rail, if all else there are junctions."""
    tie, found = ctx.topology.tie, []
    for net in part.nets.values():
        here, last = tie[net], part.at
        for _ in ctx.circuit.parts:
            if here in ctx.topology.rails:
                break
            onward = ctx.topology.neighbours(here, last)
            spots = {spot for _, spot in onward}
            if len(spots) != 1:
                return []
            last = spots.pop()
            there = ctx.circuit.part_at[last]
            ends = {t for t, _ in onward}
            if there.device.stage is not None:
                ends.discard(tie[there.nets[there.device.stage.control]])
                found.append(there)
            if len(ends) != 1 or not (there.device.stage or there.device.one_way) or len(found) > 2:
                return []
            here = ends.pop()
        if here not in ctx.topology.rails:
            return []
    return found


def fuse_blows(ctx: Context) -> Iterator[Finding]:
    """Simulated current above a fuse's print."""
    for part in ctx.circuit.parts:
        current, rated = ctx.current(part), part.cube.value
        if not part.device.trips or current is None or not isinstance(rated, float | int):
            continue
        if abs(current) > rated:
            yield ctx.finding(
                "fuse-blows",
                [part.at],
                tr("{part} blows.", part=capital(part_words(part))),
                found=tr("{current} flow through it.", current=amperes(abs(current))),
                expected=tr("No more than {current}.", current=amperes(rated)),
                why=tr("It opens the circuit to protect it."),
                mend=tr("Find what draws so much current; do not simply take a larger fuse."),
                data={"current_A": abs(current), "rated_A": float(rated)},
            )
