"""Rules about transistors: legs that hang free, bias, swapped legs, inputs."""

from __future__ import annotations

from collections.abc import Iterator

from snapcheck.circuit._circuit import Circuit, Part, Terminal
from snapcheck.circuit._context import Context
from snapcheck.circuit._say import capital, listing, part_words, side_of, terminal_word, terminal_words
from snapcheck.circuit._topology import stage_of
from snapcheck.devices import Drive, Store, Transistor
from snapcheck.findings import Finding
from snapcheck.words import tr


def base_floating(ctx: Context) -> Iterator[Finding]:
    """A base or gate that nothing but itself determines."""
    for part, base in _undriven(ctx):
        if _capacitors_on(ctx.circuit, part.nets[base]):
            continue  # an input without bias
        if ctx.circuit.nets[part.nets[base]].terminals == (Terminal(part.at, base),):
            found = ctx.loose_words(part, base)
        else:
            found = tr("No part brings direct current to it.")
        ctx.told.add(Terminal(part.at, base))
        yield ctx.finding(
            "base-floating",
            [part.at],
            tr("{base} is not connected.", base=capital(terminal_words(part, base))),
            expected=tr("A way for direct current from the {base} to the rest of the circuit.",
                        base=terminal_word(base)),
            found=found,
            why=tr("An open gate picks up any hum: the transistor switches at random.")
            if base == "gate"
            else tr("Without base current the transistor stays off."),
            mend=tr("Connect it to its resistor or to the part that drives it."),
            side=side_of(part, base),
        )  # fmt: skip


def gate_floats_open(ctx: Context) -> Iterator[Finding]:
    """A gate that only closed switches join to the rest: open, it keeps or picks up any voltage."""
    for part in ctx.topology.transistors:
        if part.device.transistor is not Transistor.FIELD or part.at in ctx.cut_off:
            continue
        gate = part.nets["gate"]
        if not ctx.topology.pull(gate, part.at).reached or ctx.opened.pull(gate, part.at).reached:
            continue
        yield ctx.finding(
            "gate-floats-open",
            [part.at],
            tr("{gate} hangs free while a switch is open.", gate=capital(terminal_words(part, "gate"))),
            expected=tr("A resistor that sets its voltage while the switch is open."),
            found=tr("Only a closed switch brings direct current to it."),
            why=tr("An open gate keeps its charge or picks up any hum: what it switches may be fully on."),
            mend=tr("Put a resistor of about 100k from the gate to its source."),
            side=side_of(part, "gate"),
        )


def input_without_bias(ctx: Context) -> Iterator[Finding]:
    """A base or gate that only capacitors reach."""
    for part, base in _undriven(ctx):
        capacitors = _capacitors_on(ctx.circuit, part.nets[base])
        if not capacitors:
            continue
        ctx.told.add(Terminal(part.at, base))
        yield ctx.finding(
            "input-without-bias",
            [part.at, *(c.at for c in capacitors)],
            tr("{base} has no bias.", base=capital(terminal_words(part, base))),
            expected=tr("A resistor that sets its direct voltage."),
            found=tr("Nothing but {capacitors} leads to it, and no direct current passes there.",
                     capacitors=listing(part_words(c) for c in capacitors)),
            why=tr("Without bias the transistor is off and passes only the tips of a strong signal, if any."),
            mend=tr("Add the resistor from the supply, or from the collector, to the {base}.",
                    base=terminal_word(base)),
            side=side_of(part, base),
        )  # fmt: skip


def _undriven(ctx: Context) -> Iterator[tuple[Part, str]]:
    if not ctx.powered:
        return
    for part in ctx.topology.transistors:
        base = stage_of(part).control
        reached = ctx.topology.pull(part.nets[base], part.at).reached
        if part.at not in ctx.cut_off and not reached and not _plugged(ctx, part, base):
            yield part, base


def _plugged(ctx: Context, part: Part, leg: str) -> bool:
    """Whether direct current comes to a leg from a socket: something is plugged in there."""
    tie = ctx.topology.tie
    ports = {tie[net] for net in range(1, ctx.circuit.net_count) if ctx.is_port(net)}
    return not ports.isdisjoint(ctx.topology.reach(part.nets[leg], part.at))


def emitter_no_return(ctx: Context) -> Iterator[Finding]:
    """An emitter or source (or collector or drain) from which current cannot go on."""
    if not ctx.powered:
        return
    for part in ctx.topology.transistors:
        if part.at in ctx.cut_off:
            continue
        for leg in stage_of(part)[:0:-1]:
            if ctx.topology.pull(part.nets[leg], part.at).reached:
                continue
            alone = ctx.circuit.nets[part.nets[leg]].terminals == (Terminal(part.at, leg),)
            ctx.told.add(Terminal(part.at, leg))
            yield ctx.finding(
                "emitter-no-return",
                [part.at],
                tr("{leg} does not reach the supply.", leg=capital(terminal_words(part, leg))),
                expected=tr("A way for direct current from there back to the supply."),
                found=ctx.loose_words(part, leg) if alone else tr("The way ends before the supply."),
                why=tr("Current that cannot flow on does not flow at all: the transistor does nothing."),
                mend=tr("Close the way from the {leg} to the supply or ground.", leg=terminal_word(leg)),
                side=side_of(part, leg),
            )


def transistor_swapped(ctx: Context) -> Iterator[Finding]:
    """Collector and emitter (drain and source) exchanged."""
    limit = ctx.book.limit("transistor-swapped", "reverse_V")
    for part in ctx.topology.transistors:
        if part.at in ctx.overloading:
            continue  # what flows there in the wrong direction comes out of its base
        base, high, low = stage_of(part)
        if part.device.sign < 0:
            high, low = low, high
        v = ctx.voltage(part, high, low)
        if v is None:
            upper = ctx.topology.pull(part.nets[high], part.at)
            lower = ctx.topology.pull(part.nets[low], part.at)
            if not (upper.reached and lower.reached and upper.below(lower)):
                continue
        elif v > -limit:
            continue
        yield ctx.finding(
            "transistor-swapped",
            [part.at],
            tr("{one} and {two} of {part} are swapped.",
               one=capital(terminal_word(high)), two=terminal_word(low), part=part_words(part)),
            expected=tr("The {leg} is on the side of the plus.", leg=terminal_word(high)),
            found=tr("The {leg} is on the side of the plus.", leg=terminal_word(low)),
            why=tr("Its body diode conducts all the time: it can no longer switch off.")
            if part.device.transistor is Transistor.FIELD
            else tr("The wrong way round a transistor hardly amplifies and stands only a few volts."),
            mend=tr("Turn the cube at {cell}, and mind where its {base} then lies.",
                    cell=part.at, base=terminal_word(base)),
            side=side_of(part, high),
        )  # fmt: skip


def input_without_block(ctx: Context) -> Iterator[Finding]:
    """A signal source that is joined to a biased base without a capacitor."""
    topology = ctx.topology
    for source in ctx.circuit.parts:
        if source.device.drive is not Drive.SIGNAL:
            continue
        start = topology.tie[source.nets[source.device.signal_leg]]
        seen, queue = {start}, [start]
        while queue:
            here = queue.pop()
            for there, cell in topology.neighbours(here, source.at):
                between = ctx.circuit.part_at[cell].device
                passes = between.plain or between.slides
                if passes and there not in seen and there not in topology.rails:
                    seen.add(there)
                    queue.append(there)
        for part in topology.transistors:
            base = stage_of(part).control
            if not part.device.bipolar or topology.tie[part.nets[base]] not in seen:
                continue
            yield ctx.finding(
                "input-without-block",
                [source.at, part.at],
                tr("{source} is joined to {base} without a capacitor.",
                   source=capital(part_words(source)), base=terminal_words(part, base)),
                expected=tr("A capacitor between the signal source and the base."),
                found=tr("Direct current can flow from the base into the source."),
                why=tr("The source pulls the base down to its own direct voltage, and the bias is lost."),
                mend=tr("Put a capacitor in series, plus towards the higher direct voltage."),
            )  # fmt: skip


def _capacitors_on(circuit: Circuit, net: int) -> list[Part]:
    return [p for p, _ in circuit.parts_on(net) if p.device.store is Store.CHARGE]
