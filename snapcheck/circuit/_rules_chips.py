"""Rules about chips: outputs that are held fast, inputs outside the supply."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from snapcheck.circuit._circuit import Part
from snapcheck.circuit._context import Context
from snapcheck.circuit._say import capital, part_words, terminal_words, volts
from snapcheck.findings import Finding, Severity
from snapcheck.words import tr


def output_shorted(ctx: Context) -> Iterator[Finding]:
    """An output on a rail that it may have to leave, or two outputs that may want different voltages."""
    outputs = [(part, leg) for part in ctx.circuit.parts if part.device.chip for leg in part.device.outlets]
    expected = tr("Nothing but parts that limit the current hangs on an output.")
    mend = tr("Take away the wire, lead or ground that joins them.")
    for part, leg in outputs:
        heat_W = _heat_W(ctx, part, leg)
        if not heat_W or part.at in ctx.turned or part.at in ctx.cut_off:
            continue
        rated = part.ratings.get("max_power_W")
        danger = rated is not None and heat_W >= ctx.book.limit("over-rating", "danger_power_factor") * rated
        ctx.overloading.add(part.at)
        yield ctx.finding(
            "output-shorted",
            [part.at],
            tr("{output} is joined to {what}.",
               output=capital(terminal_words(part, leg)), what=_rail(ctx, part, leg)),
            expected=expected,
            found=tr("No resistor lies between them, once every switch is closed."),
            why=tr("As soon as it wants another voltage, it gives all the current it can: the chip gets "
                   "hot and may be destroyed."),
            mend=f"{tr('Do not power.')} {mend}" if danger else mend,
            severity=Severity.DANGER if danger else None,
            data={"heat_W": heat_W},
        )  # fmt: skip
    for (one, leg), (other, its) in itertools.combinations(outputs, 2):
        net = one.nets[leg]
        if net != other.nets[its] or ctx.topology.tie[net] in ctx.topology.rails:
            continue
        if not (_pushes(one, leg) or _pushes(other, its)) or (one is other and _moves(one, leg, its)):
            continue
        yield ctx.finding(
            "output-shorted",
            [one.at, other.at],
            tr("{one} and {other} are joined.",
               one=capital(terminal_words(one, leg)), other=terminal_words(other, its)),
            expected=expected,
            found=tr("Both drive the same net."),
            why=tr("As soon as they want different voltages, each gives all the current it can: they get "
                   "hot and may be destroyed."),
            mend=mend,
        )  # fmt: skip


def _rail(ctx: Context, part: Part, leg: str) -> str:
    """What a leg on a rail is joined to."""
    return tr("the plate") if ctx.topology.rail_V(part.nets[leg]) == 0.0 else tr("the supply")


def _pushes(part: Part, output: str) -> bool:
    """Whether an output gives current, too; an open collector only draws it."""
    plus = part.pair[0]
    return any({plus, output} == {*pair} for pair in part.device.direct or ())


def _moves(part: Part, output: str, other: str) -> bool:
    """Whether two outputs of one chip obey the same inputs and so never want different voltages."""
    ways = part.device.ways or ()
    ins = [{(way.start, way.turned) for way in ways if way.end == end} for end in (output, other)]
    return ins[0] == ins[1]


def _heat_W(ctx: Context, part: Part, output: str) -> float | None:
    """Heat of an output on a rail that pulls as hard as it can away from it; None where it never does.

    Its limited current times what stands between the rail and the supply leg that it pulls to.
    """
    plus, minus = part.pair
    below, above = ctx.topology.across(part, output, minus), ctx.topology.across(part, plus, output)
    away = [v for v in (below, above if _pushes(part, output) else None) if v is not None]
    limit_A = part.parameters.get("limit_A", 0.02)
    if not _pushes(part, output):
        limit_A = part.parameters.get("sink_A", limit_A)
    return max([v * limit_A for v in away if v > 0], default=None)


def input_beyond_supply(ctx: Context) -> Iterator[Finding]:
    """An input straight on a rail that lies outside what the chip's data sheet allows.

    Behind a resistor the current into it stays small, and data sheets then allow it.
    """
    slack = ctx.book.limit("input-beyond-supply", "below_V")
    for part in ctx.circuit.parts:
        if not part.device.chip or part.at in ctx.turned or part.at in ctx.cut_off:
            continue
        for leg in part.device.controls:
            for net, knob in _feeding(ctx, part.nets[leg]):
                under, over = _beyond(ctx, part, net)
                if max(under, over) > slack:
                    yield _outside(ctx, part, leg, knob, under if under > slack else 0.0, over)
                    break


def _feeding(ctx: Context, net: int) -> Iterator[tuple[int, Part | None]]:
    """A net, and those to which a knob at one end of its travel joins it."""
    yield net, None
    tie = ctx.topology.tie
    for part in ctx.circuit.parts:
        for wiper, end in part.device.slides:
            if tie[part.nets[wiper]] == tie[net]:
                yield part.nets[end], part


def _beyond(ctx: Context, part: Part, net: int) -> tuple[float, float]:
    """Volts of a rail below a chip's minus, and above what its inputs stand; 0 where it is none."""
    rails = [
        ctx.topology.rails.get(ctx.topology.tie[n]) for n in (net, *(part.nets[leg] for leg in part.pair))
    ]
    at, plus, minus = rails
    if at is None or minus is None or at[0] != minus[0]:
        return 0.0, 0.0
    most = part.ratings.get("max_input_V")
    if most is not None:
        return minus[1] - at[1], at[1] - minus[1] - most
    return minus[1] - at[1], at[1] - plus[1] if plus is not None and plus[0] == at[0] else 0.0


def _outside(ctx: Context, part: Part, leg: str, knob: Part | None, under: float, over: float) -> Finding:
    title = tr("{input} is outside the supply of its chip.", input=capital(terminal_words(part, leg)))
    if knob is not None:
        title = tr("{input} is outside the supply of its chip when {pot} is at one end of its travel.",
                   input=capital(terminal_words(part, leg)), pot=part_words(knob))  # fmt: skip
    mend = tr("Lead a voltage between the chip's minus and plus to it, or put some 10k in series.")
    found = tr("It lies {volts} above what the chip stands.", volts=volts(over))
    why = tr("Beyond the limits of its data sheet a chip does anything, and may be destroyed.")
    if under:
        found = tr("It lies {volts} below the chip's minus.", volts=volts(under))
        why = tr("An input below its chip's minus conducts like a diode, and nothing limits the current: the "
                 "chip is destroyed in a moment.")  # fmt: skip
    danger = bool(under) and knob is None
    return ctx.finding(
        "input-beyond-supply",
        [part.at] if knob is None else [part.at, knob.at],
        title,
        expected=tr("A voltage between the chip's minus and plus."),
        found=found,
        why=why,
        mend=f"{tr('Do not power.')} {mend}" if danger else mend,
        severity=Severity.DANGER if danger else None,
        data={"beyond_V": under or over},
    )
