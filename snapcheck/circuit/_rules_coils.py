"""Rules about coils that are switched: what catches their kick."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from snapcheck.circuit._circuit import Part
from snapcheck.circuit._context import Context
from snapcheck.circuit._say import capital, part_words
from snapcheck.devices import Setting, Store
from snapcheck.findings import Finding
from snapcheck.words import tr


class _Switched(NamedTuple):
    """A coil with one end on a rail, and what interrupts its current at the other.

    Attributes:
        here: net where it is interrupted.
        there: net of its end on the rail.
        breakers: transistors and switches at `here`.
    """

    coil: Part
    here: int
    there: int
    breakers: list[Part]


def _switched(ctx: Context) -> Iterator[_Switched]:
    circuit = ctx.circuit
    for part in circuit.parts:
        if part.device.store is not Store.FLUX:
            continue
        ends = [part.nets[leg] for leg in part.pair]
        for here, there in (ends, ends[::-1]):
            breakers = [
                p for p, t in circuit.parts_on(here)
                if p.device.setting is Setting.SWITCH or (p.device.stage and t == p.device.stage.against)
            ]  # fmt: skip
            if breakers and here != there and ctx.topology.rail_V(there) is not None:
                yield _Switched(part, here, there, breakers)


def flyback_missing(ctx: Context) -> Iterator[Finding]:
    """A coil that a transistor or switch interrupts, without a diode across it."""
    diodes = [set(p.nets.values()) for p in ctx.circuit.parts if p.device.clamps]
    told: set[str] = set()
    for coil, here, there, breakers in _switched(ctx):
        caught = any(here in d and (there in d or any(ctx.topology.rail_V(n) is not None for n in d))
                     for d in diodes)  # fmt: skip
        if caught or coil.name in told or _swings(ctx, coil, here, there, breakers):
            continue
        told.add(coil.name)
        yield ctx.finding(
            "flyback-missing",
            [coil.at, breakers[0].at],
            tr("No diode catches the kick of {coil}.", coil=part_words(coil)),
            expected=tr("A diode across the coil, cathode towards the plus."),
            found=tr("{breaker} interrupts its current.", breaker=capital(part_words(breakers[0]))),
            why=tr("When its current is cut, a coil makes a voltage many times that of the supply."),
            mend=tr("Add a diode across it, unless the kick is wanted."),
        )


def _swings(ctx: Context, coil: Part, here: int, there: int, breakers: list[Part]) -> bool:
    """Whether a coil makes a resonant circuit, in the hands of a transistor that is driven all the time.

    Such a coil is the tank of an oscillator or of a tuned amplifier, and not switched: capacitors, even two
    in series as in a divided tank, take its current over. A relay stores too much for any small capacitor,
    and what a switch breaks is told.
    """
    if coil.device.template or not all(b.device.stage for b in breakers):
        return False
    if not all(_always_driven(ctx, b) for b in breakers):
        return False
    seen, waiting = {here}, [here]
    while waiting:
        net = waiting.pop()
        for part, leg in ctx.circuit.parts_on(net):
            if part.device.store is not Store.CHARGE:
                continue
            for there_leg, far in part.nets.items():
                if there_leg == leg or far in seen:
                    continue
                if far == there or ctx.topology.rail_V(far) is not None:
                    return True
                seen.add(far)
                waiting.append(far)
    return False


def _always_driven(ctx: Context, transistor: Part) -> bool:
    """Whether direct current reaches a transistor's base or gate with every switch open, too."""
    stage = transistor.device.stage
    return stage is not None and ctx.opened.pull(transistor.nets[stage.control], transistor.at).reached


def clamp_reversed(ctx: Context) -> Iterator[Finding]:
    """A diode across a coil that conducts past it as soon as a transistor feeds the coil.

    (Where a switch does, nothing at all limits the current, which is a rule of its own.)
    """
    rail_V = ctx.topology.rail_V
    for coil, here, there, breakers in _switched(ctx):
        for diode in ctx.circuit.parts:
            if not diode.device.clamps or {*diode.nets.values()} != {here, there}:
                continue
            for breaker in breakers:
                far = breaker.device.stage and rail_V(breaker.nets[breaker.device.stage.along])
                near = rail_V(there)
                if far is None or near is None or (diode.nets["anode"] == there) != (near > far):
                    continue
                ctx.overloading |= {diode.at, breaker.at}
                yield ctx.finding(
                    "clamp-reversed",
                    [diode.at, coil.at, breaker.at],
                    tr("{diode} across {coil} is the wrong way round.",
                       diode=capital(part_words(diode)), coil=part_words(coil)),
                    expected=tr("Its cathode is towards the plus: it conducts only when the coil kicks."),
                    found=tr("Its anode is towards the plus."),
                    why=tr("As soon as {breaker} conducts, nothing limits the current through both: they are "
                           "destroyed in a moment and may burst.", breaker=part_words(breaker)),
                    mend=tr("Do not power. Turn the cube at {cell} by half a turn.", cell=diode.at),
                )  # fmt: skip
                break
