"""Rules about single parts: ratings, direct current where none belongs."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import partial

from snapcheck.circuit._circuit import Part
from snapcheck.circuit._context import Context
from snapcheck.circuit._rules_polarity import is_electrolytic
from snapcheck.circuit._say import amperes, capital, part_words, volts, watts
from snapcheck.circuit._topology import direct_ohms, drives
from snapcheck.devices import CertainLoad, Drive
from snapcheck.errors import InputError
from snapcheck.findings import Finding, Severity
from snapcheck.kit import ValueForm, parse_value
from snapcheck.words import tr

#: base current that small transistors stand (A), data sheets of BC337 and the like, from memory
_BASE_A = 0.1
#: what lies across a thin layer that breaks through and then passes any current
_THIN = ("gate_voltage_V", "base_reverse_V")


def over_rating(ctx: Context) -> Iterator[Finding]:
    """Power, current or voltage beyond a part's rating; from simulation, else where rails alone decide."""
    slack = ctx.book.limit("over-rating", "slack")
    for part in ctx.circuit.parts:
        if part.at in ctx.overloading:
            continue
        over = [load for load in _loads(ctx, part) if load[1] > load[2] * (1 + slack)]
        if not over:
            continue
        deadly = [load for load in over if _breaks_through(ctx, part, load[0], load[1])]
        what, value, rated = max(deadly or over, key=lambda load: load[1] / load[2])
        say = {"W": watts, "A": amperes, "V": volts}[what[-1]]
        ratio = value / rated
        danger = bool(deadly) or ratio >= _danger_ratio(ctx, part, what)
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
