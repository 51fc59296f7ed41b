"""Rules about an inlet of alternating current: what its two half waves do to diodes and capacitors.

At either crest such an inlet stands for a supply, first one way round, then the other. What is looked for are
ways of current from its higher end to its lower one that keep the direction of every junction.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from snapcheck.board import Spot
from snapcheck.circuit._circuit import Part
from snapcheck.circuit._context import Context
from snapcheck.circuit._rules_polarity import is_electrolytic, too_much
from snapcheck.circuit._rules_supply import shorted, take_out_words
from snapcheck.circuit._say import capital, listing, part_words, side_of, volts
from snapcheck.circuit._topology import direct_ohms, direct_pairs, drives, junction_steps
from snapcheck.devices import Drive, Store
from snapcheck.findings import Finding
from snapcheck.words import tr

#: an inlet of less is a signal, which no rectifier is made for (common practice, no source)
_LEAST_V = 1.0


@dataclass
class _Crests:
    """One inlet against the plate, and the ways of current at the crests of its two half waves."""

    ctx: Context
    inlet: Part
    peak_V: float

    def __post_init__(self) -> None:
        tie = self.ctx.topology.tie
        self.ends = tie[self.inlet.nets["signal"]], tie[0]
        #: (high, low): first half wave, second half wave
        self.halves = (self.ends, self.ends[::-1])

    @cached_property
    def _steps(self) -> dict[int, list[tuple[int, Spot, bool]]]:
        """Tie to (tie, part, whether the part is a capacitor) that current reaches from it in one step."""
        tie = self.ctx.topology.tie
        found: dict[int, list[tuple[int, Spot, bool]]] = {}
        for part in self.ctx.circuit.parts:
            if drives(part):
                continue
            held = part.device.store is Store.CHARGE
            moves = [(a, b) for a, b, _ in junction_steps(part)]
            if not moves:
                pairs = [part.pair] if held else list(direct_pairs(part))
                moves = [move for a, b in pairs for move in ((a, b), (b, a))]
            for a, b in moves:
                one, two = tie[part.nets[a]], tie[part.nets[b]]
                if one != two:
                    found.setdefault(one, []).append((two, part.at, held))
        return found

    def _reaches(self, start: int, goal: int, part: Part, avoid: int, *, stores: bool) -> bool:
        """Whether current comes from one tie to another, not through `part` nor by way of `avoid`."""
        seen, left = {start}, [start]
        while left:
            here = left.pop()
            if here == goal:
                return True
            if here in self.ends and here != start:
                continue
            for there, at, held in self._steps.get(here, ()):
                if there not in seen and there != avoid and at != part.at and (stores or not held):
                    seen.add(there)
                    left.append(there)
        return False

    def driven(self, part: Part, first: str, second: str, *, stores: bool = False) -> bool:
        """Whether in some half wave current is driven from one leg of a part to another.

        Args:
            stores: capacitors let alternating current through.
        """
        tie = self.ctx.topology.tie
        a, b = tie[part.nets[first]], tie[part.nets[second]]
        return a != b and any(
            self._reaches(high, a, part, b, stores=stores) and self._reaches(b, low, part, a, stores=stores)
            for high, low in self.halves
        )

    def reverse_V(self, part: Part, anode: str, cathode: str) -> float:
        """The most that a diode has to block.

        The crest, and twice the crest where a capacitor keeps what it was charged to while the inlet goes the
        other way: one to the plate behind the diode, one between the inlet and a diode to the plate, or both
        (Horowitz, Hill: The Art of Electronics, chapter 1, half-wave rectifier; Sedra, Smith:
        Microelectronic Circuits, peak rectifier: PIV = 2 Vp, clamped capacitor and voltage doubler; all from
        memory). Never more than at what a junction the other way round, beside it, conducts.
        """
        if not self.driven(part, cathode, anode, stores=True):
            return 0.0
        tie = self.ctx.topology.tie
        one, two = tie[part.nets[anode]], tie[part.nets[cathode]]
        beside = (
            volts
            for other in self.ctx.circuit.parts
            for a, b, volts in junction_steps(other) if (tie[other.nets[a]], tie[other.nets[b]]) == (two, one)
        )  # fmt: skip
        held = self._holds(one, two) or self._holds(two, one)
        charged = held and self.driven(part, anode, cathode, stores=True)
        return min((2 * self.peak_V if charged else self.peak_V, *beside))

    def _holds(self, one: int, two: int) -> bool:
        """Whether one tie lies at the inlet and another at the plate, either or both behind a capacitor."""
        signal, plate = self.ends

        def at(net: int, end: int) -> bool:
            return net == end or any(there == end and held for there, _, held in self._steps.get(net, ()))

        return (one, two) != self.ends and at(one, signal) and at(two, plate)


def inlets(ctx: Context) -> list[_Crests]:
    """Inlets of alternating current that feed a circuit.

    Where direct current feeds it, too, nothing is said: which of the two is stronger, only calculation tells.
    """
    if ctx.topology.sources:
        return []
    feeding = [p for p in ctx.circuit.parts if p.device.drive is Drive.SIGNAL]
    peaks = [p.parameters.get("amplitude_V", 0.0) for p in feeding]
    return [_Crests(ctx, p, v) for p, v in zip(feeding, peaks, strict=True) if v >= _LEAST_V]


def above_extra_low(ctx: Context) -> Iterator[Finding]:
    """An inlet of more than extra-low voltage."""
    limit = ctx.book.limit("above-extra-low", "alternating_V")
    for inlet in inlets(ctx):
        effective = inlet.peak_V / 2**0.5
        if effective > limit:
            name = part_words(inlet.inlet)
            yield ctx.finding(
                "above-extra-low",
                [inlet.inlet.at],
                tr("{source} gives {volts}: that is more than extra-low voltage.",
                   source=capital(name), volts=volts(effective)),
                expected=tr("At most {volts} of alternating current (RMS).", volts=volts(limit)),
                why=tr("Cubes, plate and plugs are bare metal: touching them can kill."),
                mend=tr("Do not power. Use an inlet of {volts} at most, never mains.", volts=volts(limit)),
            )  # fmt: skip


def supply_shorted(ctx: Context) -> Iterator[Finding]:
    """The inlet's end joined to the plate by metal."""
    for inlet in inlets(ctx):
        if inlet.ends[0] == inlet.ends[1]:
            name = part_words(inlet.inlet)
            title = tr("The supply is shorted: plus and minus of {source} are joined.", source=name)
            yield shorted(ctx, [inlet.inlet.at], title, mend=take_out_words(inlet.inlet))


def no_current_limit(ctx: Context) -> Iterator[Finding]:
    """Junctions alone between the ends of an inlet, such as a bridge in which one diode is turned."""
    coil, margin = (ctx.book.limit("no-current-limit", name) for name in ("coil_ohm", "margin_V"))
    tie = ctx.topology.tie
    for inlet in inlets(ctx):
        if inlet.inlet.parameters.get("source_ohm", 0.0) >= coil:
            continue  # it limits the current itself
        steps: dict[int, list[tuple[int, Part, float]]] = {}
        for part in ctx.circuit.parts:
            moves = list(junction_steps(part))
            ohms = direct_ohms(part) if part.device.plain else None
            if ohms is not None and ohms < coil:
                moves += [(*part.pair, 0.0), (*part.pair[::-1], 0.0)]
            for a, b, drop in moves:
                steps.setdefault(tie[part.nets[a]], []).append((tie[part.nets[b]], part, drop))
        told: set[Spot] = set()
        for high, low in inlet.halves:
            way = _least(steps, high, low, inlet.peak_V - margin)
            junctions = [p for p in way or () if any(True for _ in junction_steps(p))]
            if not junctions or {p.at for p in junctions} <= told:
                continue
            told |= {p.at for p in junctions}
            yield ctx.finding(
                "no-current-limit",
                [p.at for p in junctions],
                tr("Nothing limits the current through {parts}.", parts=listing(map(part_words, junctions))),
                expected=tr("In each half wave the load lies in the way of the current."),
                found=tr("In one half wave they join both ends of {source}.", source=part_words(inlet.inlet)),
                why=tr("Above its forward voltage a junction takes whatever current the supply gives: it is "
                       "destroyed in a moment and may burst."),
                mend=tr("Do not power. Hold the direction of each of these diodes against the plan."),
                data={"supply_V": inlet.peak_V},
            )  # fmt: skip


def _least(
    steps: dict[int, list[tuple[int, Part, float]]], start: int, goal: int, budget_V: float
) -> list[Part] | None:
    """Parts on the way over the least junction voltage, None where that is more than there is."""
    best: dict[int, tuple[float, list[Part]]] = {start: (0.0, [])}
    left = [start]
    while left:
        here = left.pop()
        drop, way = best[here]
        for there, part, step in steps.get(here, ()):
            if drop + step < min(best[there][0] if there in best else budget_V, budget_V):
                best[there] = drop + step, [*way, part]
                left.append(there)
    return best[goal][1] if goal in best and start != goal else None


def electrolytic_reversed(ctx: Context) -> Iterator[Finding]:
    """An electrolytic that a half wave charges the wrong way round."""
    for inlet in inlets(ctx):
        for part in filter(is_electrolytic, ctx.circuit.parts):
            if not inlet.driven(part, "minus", "plus"):
                continue
            both = inlet.driven(part, "plus", "minus")
            yield ctx.finding(
                "electrolytic-reversed",
                [part.at],
                tr("{part} gets alternating current.", part=capital(part_words(part)))
                if both
                else tr("{part} is the wrong way round.", part=capital(part_words(part))),
                expected=tr("A diode that lets only the half wave through that charges its plus.")
                if both
                else tr("Its plus is on the side with the higher voltage."),
                found=tr("In one half wave its plus is on the side of the lower voltage."),
                why=tr("With reversed voltage an electrolytic capacitor heats up, loses its capacitance and "
                       "can burst."),
                mend=tr("Do not power. Hold the cube at {cell}, and the diode in front of it, against the "
                        "plan.", cell=part.at),
                side=side_of(part, "plus"),
            )  # fmt: skip


def electrolytic_overvoltage(ctx: Context) -> Iterator[Finding]:
    """An electrolytic that is charged to more than its rating: without load, to the crest."""
    for inlet in inlets(ctx):
        for part in filter(is_electrolytic, ctx.circuit.parts):
            rated = part.ratings.get("max_voltage_V")
            if rated is None or inlet.peak_V <= rated or not inlet.driven(part, "plus", "minus"):
                continue
            found = tr("Without a load it is charged to the crest, {volts}.", volts=volts(inlet.peak_V))
            yield too_much(ctx, part, inlet.peak_V, rated, found)


def over_rating(ctx: Context) -> Iterator[Finding]:
    """A diode that has to block more than it is made for."""
    slack = ctx.book.limit("over-rating", "slack")
    for inlet in inlets(ctx):
        for part in ctx.circuit.parts:
            rated = part.ratings.get("max_reverse_V")
            if not part.device.one_way or rated is None:
                continue
            blocked = inlet.reverse_V(part, *part.pair)
            if blocked <= rated * (1 + slack):
                continue
            yield ctx.finding(
                "over-rating",
                [part.at],
                tr("{part} is overloaded.", part=capital(part_words(part))),
                expected=tr("At most {limit}.", limit=volts(rated)),
                found=tr("In the half wave that it blocks, {volts} stand across it.", volts=volts(blocked)),
                why=tr("Beyond its voltage a part breaks through and is destroyed."),
                mend=tr("Use a diode with a higher rating, or a plain diode in series with an LED."),
                data={"reverse_V": blocked, "rated_reverse_V": rated, "ratio": blocked / rated},
            )


def reversed_in_circuit(ctx: Context) -> Iterator[Finding]:
    """An LED, buzzer or meter that no half wave feeds the right way round."""
    for inlet in inlets(ctx):
        for part in ctx.circuit.parts:
            if part.device.polarity is None:
                continue
            plus, minus = part.device.polarity
            if inlet.driven(part, plus, minus, stores=True) or not inlet.driven(part, minus, plus):
                continue
            yield ctx.finding(
                "reversed-in-circuit",
                [part.at],
                tr("{part} is the wrong way round.", part=capital(part_words(part))),
                expected=tr("One half wave at least drives current through it."),
                found=tr("The half wave that comes through is the one that it blocks."),
                why=tr("It works one way round only."),
                mend=tr("Hold the cube at {cell}, and the diode in front of it, against the plan.",
                        cell=part.at),
                side=side_of(part, plus),
            )  # fmt: skip
