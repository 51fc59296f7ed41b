"""Rules about wiring: open ends, islands, loose leads, good manners."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from snapcheck.board import Spot
from snapcheck.circuit._circuit import Gap, Part, Terminal
from snapcheck.circuit._context import Context, OpenGroup
from snapcheck.circuit._say import (
    capital,
    cube_words,
    end_words,
    lead_words,
    listing,
    part_words,
    place_words,
    side_of,
    terminal_words,
)
from snapcheck.circuit._topology import direct_ohms, drives
from snapcheck.devices import Store
from snapcheck.findings import Finding
from snapcheck.words import tr

# ---------------------------------------------------------------- open ends and islands


def terminal_open(ctx: Context) -> Iterator[Finding]:
    """A terminal that leads to no other part; open ends that meet at one place are one finding."""
    for group in ctx.open_groups:
        terminals = [t for t in _missed(ctx, group) if t not in ctx.told]
        if not terminals:
            continue
        lost = _cut_off(ctx, terminals)
        ends = [e.cell for e in group.ends]
        if group.facing is None:
            cells: list[Spot] = [terminals[0].at, *ends]
            words = partial(_open_finding, ctx, cells, group, terminals[0], lost)
        else:
            cells = [group.facing, *(t.at for t in terminals), *ends]
            words = partial(_gap_finding, ctx, cells, group, terminals, lost)
        yield ctx.wordy("terminal-open", cells, words)


def _missed(ctx: Context, group: OpenGroup) -> list[Terminal]:
    """The terminals that end there and should not."""
    ending = (t for n in group.nets for t in ctx.circuit.nets[n].terminals)
    return [t for t in ending if not _spare(ctx, t)]


def _open_finding(
    ctx: Context, cells: list[Spot], group: OpenGroup, terminal: Terminal, lost: list[Part]
) -> Finding:
    part = ctx.circuit.part_at[terminal.at]
    ends = [capital(ctx.where(e)) + "." for e in group.ends]
    return ctx.finding(
        "terminal-open",
        cells,
        tr("{terminal} is not connected.", terminal=capital(terminal_words(part, terminal.name))),
        expected=tr("It leads on to another part."),
        found=" ".join(ends) or tr("Nothing touches it."),
        why=tr("No current can flow through a part of which one end is open."),
        mend=tr("Add the missing cube, or turn the neighbour so that its contact meets this one."),
        effect=_cut_off_words(lost),
        side=side_of(part, terminal.name),
    )


def _gap_finding(
    ctx: Context, cells: list[Spot], group: OpenGroup, terminals: list[Terminal], lost: list[Part]
) -> Finding:
    assert group.facing is not None
    cube = ctx.circuit.board.cubes.get(group.facing)
    named = ctx.circuit.board.named
    towards = [e for e in group.ends if named(e.cell) != group.facing]
    places = listing(place_words(e.cell, e.side) for e in towards if e.side is not None)
    if cube is None:
        title = tr(
            "At {cell} a cube is missing: {places} lead into nothing.", cell=group.facing, places=places
        )
        mend = tr("Put the missing wire or part into {cell}.", cell=group.facing)
        found = tr("{cell} is empty.", cell=group.facing)
    else:
        title = tr("The cube at {cell} does not touch {places}.", cell=group.facing, places=places)
        mend = tr("Turn the cube at {cell} so that its contacts meet the neighbours', or put the right one "
                  "there.", cell=group.facing)  # fmt: skip
        found = tr("{cell} holds {cube}, which has no contact there.",
                   cell=group.facing, cube=cube_words(cube, ctx.circuit.kit))  # fmt: skip
        astray = [capital(ctx.where(e)) + "." for e in group.ends if named(e.cell) == group.facing]
        found = " ".join([found, *astray])
    names = listing(terminal_words(ctx.circuit.part_at[t.at], t.name) for t in terminals)
    return ctx.finding(
        "terminal-open",
        cells,
        title,
        expected=tr("A connection to {terminals}.", terminals=names),
        found=found,
        why=tr("No current can flow through a part of which one end is open."),
        effect=_cut_off_words(lost),
        mend=mend,
    )


def _cut_off(ctx: Context, terminals: list[Terminal]) -> list[Part]:
    """What the open ends cut off; those islands are then told."""
    lost: list[Part] = []
    for index in sorted({ctx.island_at[t.at] for t in terminals if t.at in ctx.island_at}):
        if index not in ctx.told_islands:
            ctx.told_islands.add(index)
            lost += ctx.islands[index]
    return lost


def _cut_off_words(lost: list[Part]) -> str:
    if not lost:
        return ""
    return tr("Cut off from the supply: {parts}.", parts=listing(part_words(p) for p in lost[:6]))


def _spare(ctx: Context, terminal: Terminal) -> bool:
    """A leg that need not be used."""
    part = ctx.circuit.part_at[terminal.at]
    free = [leg for leg, net in part.nets.items() if net in ctx.open_nets]
    return part.device.may_stay_free(terminal.name, free) or _spare_pot_end(ctx, terminal)


def _spare_pot_end(ctx: Context, terminal: Terminal) -> bool:
    """A potentiometer used as a variable resistor leaves one end open; that is its own, milder rule."""
    part = ctx.circuit.part_at[terminal.at]
    if not part.device.slides or terminal.name not in part.pair:
        return False
    return sum(part.nets[t] in ctx.open_nets for t in part.nets) == 1


def pot_end_open(ctx: Context) -> Iterator[Finding]:
    """One end of a potentiometer is not used."""
    for part in ctx.circuit.parts:
        for name in ("a", "b"):
            terminal = Terminal(part.at, name)
            if part.nets.get(name) not in ctx.open_nets or not _spare_pot_end(ctx, terminal):
                continue
            yield ctx.finding(
                "pot-end-open",
                [part.at],
                tr("{end} is not used.", end=capital(terminal_words(part, name))),
                found=tr("The potentiometer works as a variable resistor."),
                why=tr("If the wiper ever loses contact, the circuit is open."),
                mend=tr("If that is meant, nothing; joining the free end to the wiper is safer."),
                side=side_of(part, name),
            )


def gap_between(ctx: Context) -> Iterator[Finding]:
    """Two nets that both point into one place where nothing joins them."""
    told = {g.facing for g in ctx.open_groups if _missed(ctx, g)}
    for cell, halves in ctx.pointing.items():
        nets = {ctx.net_of_half(h) for h in halves}
        if len(nets) < 2 or cell in told:
            continue
        places = listing(place_words(h.cell, h.side) for h in halves if h.side is not None)
        cube = ctx.circuit.board.cubes.get(cell)
        found = tr("{cell} is empty.", cell=cell)
        if cube is not None:
            found = tr("{cell} holds {cube}.", cell=cell, cube=cube_words(cube, ctx.circuit.kit))
        yield ctx.finding(
            "gap-between",
            [cell, *(h.cell for h in halves)],
            tr("{places} point at {cell} and are not joined there.", places=places, cell=cell),
            found=found,
            why=tr("Contacts that point into a gap are often the trace of a missing or turned cube."),
            mend=tr("Check against the plan whether something belongs there."),
        )


def island(ctx: Context) -> Iterator[Finding]:
    """Parts that no source reaches."""
    for index, parts in enumerate(ctx.islands):
        if index in ctx.told_islands or not (ctx.powered or any(map(drives, ctx.circuit.parts))):
            continue
        yield ctx.finding(
            "island",
            [p.at for p in parts],
            tr("Cut off from the supply: {parts}.", parts=listing(part_words(p) for p in parts[:6])),
            expected=tr("A connection to the rest of the circuit besides the plate."),
            found=tr("They touch only each other or the plate."),
            why=tr("Without a supply these parts do nothing."),
            mend=tr("Look for the missing wire or lead between them and the supply."),
        )


# ---------------------------------------------------------------- leads, taps, good manners


def lead_loose(ctx: Context) -> Iterator[Finding]:
    """A lead with an end in the air, or with both ends on one net."""
    for half in ctx.circuit.half_made:
        if half.lead is None:
            continue
        missing = next(e for e in (half.lead.start, half.lead.end) if ctx.circuit.net_of_end(e) is None)
        yield ctx.finding(
            "lead-loose",
            [half.cell],
            tr("One end of {lead} is not plugged in.", lead=lead_words(half.lead)),
            expected=tr("A socket or tap at both ends."),
            found=tr("There is no such thing as {end}.", end=end_words(missing)),
            why=tr("A lead with one loose end joins nothing, and the loose plug may touch the plate."),
            mend=tr("Plug it in, or take the lead away."),
            lead=half.lead,
        )


def tap_loose(ctx: Context) -> Iterator[Finding]:
    """A tap that touches no contact."""
    for half in ctx.circuit.half_made:
        if half.reason is not Gap.DEAD_TAP or half.seam is None:
            continue
        yield ctx.finding(
            "tap-loose",
            [half.seam.first, half.seam.second],
            tr("The tap on {seam} touches no contact.", seam=half.seam),
            expected=tr("A seam where at least one cube has a contact."),
            found=tr("Both sides are blank or empty there."),
            why=tr("A lead or probe in this tap reaches nothing."),
            mend=tr("Move the tap to a seam with contacts."),
            seam=half.seam,
        )


def decoupling_missing(ctx: Context) -> Iterator[Finding]:
    """Several transistors on a supply without a capacitor across it."""
    topology = ctx.topology
    amplifying = [p for p in topology.transistors if p.device.bipolar]
    if len(amplifying) < ctx.book.limit("decoupling-missing", "transistors"):
        return
    series = ctx.book.limit("decoupling-missing", "series_ohm")
    for source in topology.sources:
        plus, minus = topology.tie[source.plus], topology.tie[source.minus]
        near = {plus}  # the rail, and what a filter resistor away from it counts as rail too
        for part in ctx.circuit.parts:
            ohms = direct_ohms(part)
            ends = {topology.tie[n] for n in part.nets.values()}
            if plus in ends and ohms is not None and ohms <= series:
                near |= ends
        across = any(
            p.device.store is Store.CHARGE
            and minus in (ends := {topology.tie[n] for n in p.nets.values()})
            and ends & (near - {minus})
            for p in ctx.circuit.parts
        )
        if across or plus == minus:
            continue
        yield ctx.finding(
            "decoupling-missing",
            [source.part.at],
            tr("No capacitor lies across {source}.", source=part_words(source.part)),
            expected=tr("A capacitor of about 100 µF between plus and minus."),
            why=tr(
                "Stages that share a supply can hear each other through it, and the circuit may oscillate."
            ),
            mend=tr("Add an electrolytic capacitor across the supply, plus to plus."),
        )
