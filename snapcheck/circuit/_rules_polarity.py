"""Rules about polarity: electrolytics, and what works one way round only."""

from __future__ import annotations

import math
from collections.abc import Iterator

from snapcheck.circuit._circuit import Part
from snapcheck.circuit._context import Context
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.circuit._say import capital, part_words, side_of, volts
from snapcheck.devices import Store
from snapcheck.findings import Finding, Severity
from snapcheck.words import tr


def is_electrolytic(part: Part) -> bool:
    """A capacitor with a plus and a minus."""
    return part.device.store is Store.CHARGE and set(part.nets) == {"plus", "minus"}


def _bias(ctx: Context, part: Part, plus: str, minus: str) -> tuple[float | None, bool | None]:
    """(volts or None, reversed or None): simulated where possible, else from the structure.

    The structure gives volts where both ends are drawn to one rail each, and a direction where one end
    can never be above the other.
    """
    simulated = ctx.voltage(part, plus, minus)
    if simulated is not None:
        return simulated, None
    high = ctx.topology.pull(part.nets[plus], part.at)
    low = ctx.topology.pull(part.nets[minus], part.at)
    if high.fixed and low.fixed and high.ring == low.ring:
        return high.low - low.low, None
    if high.reached and low.reached and high.below(low):
        return None, True
    return None, None


def electrolytic_reversed(ctx: Context) -> Iterator[Finding]:
    """Minus above plus: from the simulated operating point, else from the structure."""
    danger = ctx.book.limit("electrolytic-reversed", "reverse_V")
    uneasy = ctx.book.limit("electrolytic-reversed", "uneasy_V")
    for part in ctx.circuit.parts:
        if not is_electrolytic(part) or not ctx.powered or _back_to_back(ctx, part):
            continue
        v, wrong = _bias(ctx, part, "plus", "minus")
        if v is not None and -danger <= v < -uneasy:
            if not any(_across(point, part) > danger for point in ctx.others):  # it flips, and stands right
                yield _slightly_reversed(ctx, part, v)
        elif wrong or (v is not None and v < -danger):
            found = tr("Plus is on the side of the lower voltage.")
            if v is not None:
                found = tr("Plus is at {volts} against minus.", volts=volts(v))
            yield ctx.finding(
                "electrolytic-reversed",
                [part.at],
                tr("{part} is the wrong way round.", part=capital(part_words(part))),
                expected=tr("Its plus is on the side with the higher voltage."),
                found=found,
                why=tr("With reversed voltage an electrolytic capacitor heats up, loses its capacitance and "
                       "can burst."),
                mend=tr("Do not power. Turn the cube at {cell} by half a turn.", cell=part.at),
                side=side_of(part, "plus"),
                data={} if v is None else {"voltage_V": v},
            )  # fmt: skip


def _back_to_back(ctx: Context, part: Part) -> bool:
    """Whether another one in series, turned round and with nothing between, blocks what reverses this one.

    The one the right way round then takes the voltage: Cornell Dubilier, Aluminum Electrolytic Capacitor
    Application Guide, on two back to back (from memory).
    """
    for leg, net in part.nets.items():
        ends = list(ctx.circuit.parts_on(net))
        others = [p for p, its in ends if p is not part and its == leg and is_electrolytic(p)]
        if net and len(ends) == 2 and others and not ctx.is_port(net):
            return True
    return False


def _across(point: OperatingPointLike, part: Part) -> float:
    """Volts of a polarised capacitor at a point, nan where they are not known."""
    volts = point.net_voltages_V
    return volts.get(part.nets["plus"], math.nan) - volts.get(part.nets["minus"], math.nan)


def _slightly_reversed(ctx: Context, part: Part, v: float) -> Finding:
    """Less in reverse than such capacitors stand; in a flip-flop that is usual at one moment."""
    return ctx.finding(
        "electrolytic-reversed",
        [part.at],
        tr("{part} has its plus on the lower side, by less than a volt.", part=capital(part_words(part))),
        expected=tr("Its plus is on the side with the higher voltage."),
        found=tr("At rest, plus is at {volts} against minus.", volts=volts(v)),
        why=tr("So little is tolerated, and a circuit that flips to and fro passes through it; in an "
               "amplifier it is a sign that the capacitor stands the wrong way round."),
        mend=tr("In an amplifier, turn the cube at {cell} by half a turn.", cell=part.at),
        side=side_of(part, "plus"),
        severity=Severity.NOTE,
        data={"voltage_V": v},
    )  # fmt: skip


def electrolytic_overvoltage(ctx: Context) -> Iterator[Finding]:
    """More voltage than printed on an electrolytic, simulated or from the rails."""
    for part in ctx.circuit.parts:
        rated = part.ratings.get("max_voltage_V")
        if not is_electrolytic(part) or rated is None:
            continue
        v, _ = _bias(ctx, part, "plus", "minus")
        if v is None or v <= rated:
            continue
        found = tr("{volts} stand across it.", volts=volts(v))
        yield too_much(ctx, part, v, rated, found)


def too_much(ctx: Context, part: Part, v: float, rated: float, found: str) -> Finding:
    """An electrolytic that gets more volts than its rating."""
    return ctx.finding(
        "electrolytic-overvoltage",
        [part.at],
        tr("{part} gets more voltage than it is made for.", part=capital(part_words(part))),
        expected=tr("At most {volts}.", volts=volts(rated)),
        found=found,
        why=tr("Above its rated voltage an electrolytic capacitor can burst."),
        mend=tr("Do not power. Use one with a higher rated voltage."),
        data={"voltage_V": v, "rated_V": rated},
    )


def reversed_in_circuit(ctx: Context) -> Iterator[Finding]:
    """LED, buzzer, microphone, meter or chip with its plus on the lower voltage."""
    limit = ctx.book.limit("reversed-in-circuit", "reverse_V")
    for part in ctx.circuit.parts:
        if part.device.polarity is None or part.at in ctx.cut_off:
            continue
        plus, minus = part.device.polarity
        if part.device.reads and ctx.operating_point is None and not part.cube.unit.endswith("A"):
            v, wrong = ctx.topology.across(part, plus, minus), None
        else:
            v, wrong = _bias(ctx, part, plus, minus)
        if not wrong and (v is None or v > -limit):
            continue
        if not all(ctx.topology.pull(part.nets[leg], part.at).reached for leg in (plus, minus)):
            continue  # what floats has no voltage of its own, and something else is open
        ctx.turned.add(part.at)
        if part.device.one_way and (beside := _other_way_round(ctx, part)) is not None:
            yield _stays_dark(ctx, part, beside, v)
            continue
        why = tr("It works one way round only.")
        mend = tr("Turn the cube at {cell} by half a turn.", cell=part.at)
        if part.device.chip:
            why = tr("Fed the wrong way round, a chip is little more than a diode across the supply: it gets "
                     "hot and is destroyed in a moment.")  # fmt: skip
            mend = tr("Do not power. Lead the higher voltage to its plus, and the lower one to its minus.")
        elif part.device.one_way:
            why = tr("An LED conducts one way only: it stays dark, and above about 5 V in reverse it dies.")
        elif part.device.reads:
            why = tr("The pointer is driven below zero.")
        yield ctx.finding(
            "reversed-in-circuit",
            [part.at],
            tr("{part} is the wrong way round.", part=capital(part_words(part))),
            expected=tr("Its {plus} is on the side with the higher voltage.", plus=_word(plus)),
            found=tr("Its {plus} is on the side of the lower voltage.", plus=_word(plus)),
            why=why,
            mend=mend,
            side=side_of(part, plus),
            severity=Severity.DANGER if part.device.chip else None,
            data={} if v is None else {"voltage_V": v},
        )


def _other_way_round(ctx: Context, part: Part) -> Part | None:
    """A light across the same two nets that points the other way: it holds this one's reverse voltage low."""
    tie = ctx.topology.tie
    ends = [tie[part.nets[leg]] for leg in part.pair[::-1]]
    for other in ctx.circuit.parts:
        if (
            other.device.one_way
            and other.device.shows
            and [tie[other.nets[leg]] for leg in other.pair] == ends
        ):
            return other
    return None


def _stays_dark(ctx: Context, part: Part, beside: Part, v: float | None) -> Finding:
    """One of two lights that show which way round the voltage is."""
    return ctx.finding(
        "reversed-in-circuit",
        [part.at, beside.at],
        tr("{part} stays dark: {other} beside it conducts.",
           part=capital(part_words(part)), other=part_words(beside)),
        found=tr("The two lie across each other, one each way round."),
        why=tr("Such a pair shows which way round a voltage is; the one that is lit protects the other."),
        mend=tr("If both ought to light, turn the cube at {cell} by half a turn.", cell=part.at),
        severity=Severity.NOTE,
        data={} if v is None else {"voltage_V": v},
    )  # fmt: skip


def _word(terminal: str) -> str:
    return tr("anode") if terminal == "anode" else tr("plus")
