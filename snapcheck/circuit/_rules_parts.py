"""Rules about single parts: polarity, ratings, direct current where none belongs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

from snapcheck.circuit._circuit import Part
from snapcheck.circuit._context import Context
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.circuit._say import amperes, capital, part_words, side_of, volts, watts
from snapcheck.circuit._topology import direct_ohms, drives
from snapcheck.devices import CertainLoad, Drive, Store
from snapcheck.errors import InputError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import ValueForm, parse_value
from snapcheck.words import tr

#: base current that small transistors stand (A), data sheets of BC337 and the like, from memory
_BASE_A = 0.1
#: what lies across a thin layer that breaks through and then passes any current
_THIN = ("gate_voltage_V", "base_reverse_V")


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


# ---------------------------------------------------------------- ratings


def over_rating(ctx: Context) -> Iterator[Finding]:
    """Power, current or voltage beyond a part's rating; from simulation, else where rails alone decide."""
    slack = ctx.book.limit("over-rating", "slack")
    for part in ctx.circuit.parts:
        if part.at in ctx.overloading:
            continue
        worst = max(_loads(ctx, part), key=lambda load: load[1] / load[2], default=None)
        if worst is None or worst[1] <= worst[2] * (1 + slack):
            continue
        what, value, rated = worst
        say = {"W": watts, "A": amperes, "V": volts}[what[-1]]
        ratio = value / rated
        danger = ratio >= _danger_ratio(ctx, part, what) or _breaks_through(ctx, part, what, value)
        severity = Severity.DANGER if danger else None
        why = (
            tr("An overloaded part gets hot and fails; it can burn fingers.")
            if what.endswith(("W", "A"))
            else tr("Beyond its voltage a part breaks through and is destroyed.")
        )
        mend = tr("Use a part with a higher rating, or make the current smaller.")
        if what.endswith("V"):
            mend = tr("Use a part with a higher rating, or a lower voltage.")
        light = part.device.one_way and part.device.shows
        if light and what == "reverse_V":
            mend = tr("Turn the cube at {cell} by half a turn.", cell=part.at)
        elif what == "base_current_A":
            mend = tr("Put a larger resistor in series with its base.")
            why = tr("The junction between base and emitter limits nothing by itself: it is destroyed.")
        elif part.device.filament and what == "voltage_V":
            mend = tr("Use a lamp made for this voltage, or a resistor in series with it.")
            why = tr("Far above its voltage a filament burns through in a flash; the bulb gets hot and can "
                     "burst.")  # fmt: skip
        elif light:
            mend = tr("Put a larger resistor in series with it.")
        elif part.device.plain and not part.device.store:
            mend = tr("Use a larger resistance.")
        if severity is Severity.DANGER or ctx.book["over-rating"].severity is Severity.DANGER:
            mend = tr("Do not power.") + " " + mend
        yield ctx.finding(
            "over-rating",
            [part.at],
            tr("{part} is overloaded.", part=capital(part_words(part))),
            expected=tr("At most {limit}.", limit=say(rated)),
            found=tr("It gets {value}.", value=say(value)),
            why=why,
            mend=mend,
            severity=severity,
            data={what: value, f"rated_{what}": rated, "ratio": ratio},
        )


def _danger_ratio(ctx: Context, part: Part, what: str) -> float:
    """From how many times the rating on an overload is a danger."""
    limit = partial(ctx.book.limit, "over-rating")
    if part.device.filament and what == "voltage_V":
        return limit("danger_lamp_factor")
    if what.endswith("W") or what == "base_current_A":
        return limit("danger_power_factor")
    return limit("danger_factor") if what.endswith("A") else math.inf


def _breaks_through(ctx: Context, part: Part, what: str, value: float) -> bool:
    """Whether a chip, gate or base gets more volts than it stands, straight from rails that limit nothing."""
    for load in part.device.loads or ():
        if load.what == what and (part.device.chip or what in _THIN):
            most = part.ratings.get("absolute_V", 0.0) if part.device.chip else 0.0
            return value > most and ctx.topology.across(part, *load.legs) is not None
    return False


def _loads(ctx: Context, part: Part) -> Iterator[tuple[str, float, float]]:
    """(quantity with unit, value, rating) of everything known about a part's load."""
    known = _simulated_loads if ctx.operating_point is not None else _certain_loads
    for what, value, rated in known(ctx, part):
        if value is not None and rated is not None and not (what == "reverse_V" and part.at in ctx.turned):
            yield what, value, rated
    before, rated_W = ctx.topology.before_base(part), part.ratings.get("max_power_W")
    if before is not None and rated_W is not None and part.at not in ctx.shorting:
        base, limit_A = _base_load(ctx, before[0])
        if base is None or base <= limit_A:  # else it is told of the transistor
            yield "power_W", before[1], rated_W
    base, limit_A = _base_load(ctx, part)
    if base is not None and part.at not in ctx.shorting:
        yield "base_current_A", base, limit_A


def _base_load(ctx: Context, part: Part) -> tuple[float | None, float]:
    """Amperes into a transistor's base, and how many it may have."""
    least = min(part.ratings.get("max_current_A", _BASE_A), _BASE_A)
    return ctx.topology.base_current_A(part), part.ratings.get("max_base_A", least)


_MaybeLoad = tuple[str, float | None, float | None]


def _certain_loads(ctx: Context, part: Part) -> Iterator[_MaybeLoad]:
    """What the structure alone makes certain."""
    if part.at in ctx.shorting:
        return
    rated, certain = part.ratings.get, part.device.certain
    if certain is CertainLoad.POWER:
        current, ohms = ctx.topology.series_current_A(part), direct_ohms(part)
        yield (
            "power_W",
            current * current * ohms if current is not None and ohms else None,
            rated("max_power_W"),
        )
    elif certain is CertainLoad.FORWARD:
        current = ctx.topology.series_current_A(part, through_transistors=True)
        yield "current_A", _forward(current), rated("max_current_A")
    elif certain is CertainLoad.CURRENT:
        yield "current_A", _size(ctx.topology.series_current_A(part)), rated("max_current_A")
    elif certain is CertainLoad.VOLTAGE and not is_electrolytic(part):
        yield "voltage_V", _size(ctx.topology.across(part, *part.pair)), _voltage_limit(part)


def _size(value: float | None) -> float | None:
    return None if value is None else abs(value)


def _forward(value: float | None) -> float | None:
    return None if value is None else max(value, 0.0)


def _backward(value: float | None) -> float | None:
    return None if value is None else max(-value, 0.0)


def _voltage_limit(part: Part) -> float | None:
    """Greatest voltage of a two-terminal part; a lamp's print plus what it survives for a while."""
    if not part.device.filament:
        return part.ratings.get("max_voltage_V")
    nominal = lamp_print(part)
    return None if nominal is None else nominal[0] * (1 + part.parameters.get("overload_fraction", 0.1))


def lamp_print(part: Part) -> tuple[float, float] | None:
    """Nominal volts and amperes of a lamp, or None where its print was not read."""
    try:
        parsed = parse_value(str(part.cube.value), ValueForm.LAMP)
    except InputError:
        return None
    return None if parsed.volts is None or parsed.amperes is None else (parsed.volts, parsed.amperes)


def _simulated_loads(ctx: Context, part: Part) -> Iterator[_MaybeLoad]:
    rated, device = part.ratings.get, part.device
    yield "power_W", _size(ctx.power(part)), rated("max_power_W")
    if not device.trips:  # it has a rule of its own
        yield "current_A", _size(ctx.current(part)), rated("max_current_A")
    if device.loads is not None:
        for what, rating, legs, backward in device.loads:
            of = _backward if backward else _size
            yield what, of(ctx.voltage(part, *legs)), rated(rating)
    elif len(part.nets) == 2 and not is_electrolytic(part):
        v = ctx.voltage(part, *part.pair)
        yield "voltage_V", _size(v), _voltage_limit(part)
        yield "reverse_V", _backward(v), rated("max_reverse_V")


# ---------------------------------------------------------------- direct current where none belongs


def speaker_direct_current(ctx: Context) -> Iterator[Finding]:
    """A loudspeaker in the way of direct current."""
    limit = ctx.book.limit("speaker-direct-current", "direct_A")
    for part in ctx.circuit.parts:
        if not part.device.sounds:
            continue
        current = ctx.current(part)
        one, two = (ctx.topology.pull(part.nets[t], part.at) for t in part.pair)
        if not (one.reached and two.reached):
            continue  # what a moment shows of an oscillator's signal is no direct current
        if current is None:
            spread = (one.low, one.high, two.low, two.high)
            flows = one.ring == two.ring and not math.isnan(sum(spread)) and min(spread) < max(spread)
        else:
            flows = abs(current) > limit
        if not flows:
            continue
        found = tr("Direct current has a way through it.")
        if current is not None:
            found = tr("{current} of direct current flow through it.", current=amperes(abs(current)))
        yield ctx.finding(
            "speaker-direct-current",
            [part.at],
            tr("Direct current flows through {part}.", part=part_words(part)),
            expected=tr("A capacitor in series with the loudspeaker."),
            found=found,
            why=tr("Direct current pushes the cone out of its middle and heats the coil; the sound is thin "
                   "and distorted."),
            mend=tr("Feed the loudspeaker through a large electrolytic capacitor, plus towards the higher "
                    "voltage."),
            data={} if current is None else {"current_A": abs(current)},
        )  # fmt: skip


def microphone_direct_current(ctx: Context) -> Iterator[Finding]:
    """A microphone straight across the supply, or beyond its current."""
    for part in ctx.circuit.parts:
        if part.device.drive is not Drive.SENSOR:
            continue
        v = ctx.topology.across(part, *part.pair)
        current, rated = ctx.current(part), part.ratings.get("max_current_A")
        over = current is not None and rated is not None and abs(current) > rated
        if not over and not v:
            continue
        found = tr("It lies straight across {volts}.", volts=volts(abs(v))) if v else ""
        if over and current is not None:
            found = tr("{current} flow through it.", current=amperes(abs(current)))
        yield ctx.finding(
            "microphone-direct-current",
            [part.at],
            tr("{part} has no resistor in its supply.", part=capital(part_words(part))),
            expected=tr("A resistor of some kilohms between the supply and the microphone."),
            found=found,
            why=tr(
                "Without the resistor no signal arises, and too much direct current destroys the capsule."
            ),
            mend=tr("Put a resistor of 2k2 to 10k between the supply and its plus."),
        )


def terminals_joined(ctx: Context) -> Iterator[Finding]:
    """A part with its two main terminals on one net."""
    for part in ctx.circuit.parts:
        if drives(part):
            continue  # told as a shorted supply
        if part.device.pair is None and len(part.nets) != 2:
            continue
        net, other = (part.nets[t] for t in part.pair)
        if net != other:
            continue
        if any(net == ctx.circuit.part_at[cell].nets["plus"] for cell in ctx.shorted):
            continue  # bridged by what shorts the supply
        by_plate = net == 0
        yield ctx.finding(
            "terminals-joined",
            [part.at],
            tr("{part} is bridged.", part=capital(part_words(part))),
            expected=tr("Its two ends lie on different nets."),
            found=tr("Both are joined through the plate.") if by_plate else tr("Both are joined by metal."),
            why=tr("Current goes round the part, so it does nothing."),
            mend=tr("Look for the wire, lead or ground that joins both of its sides, and take it away."),
            data={"net": net},
        )  # fmt: skip
