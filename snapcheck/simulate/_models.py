"""One function a device model: how a cube of that model is written into the netlist.

Formulas and typical values carry their source; "common practice" marks rules of the trade.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from snapcheck.board import Conditions
from snapcheck.circuit import Part, is_closed
from snapcheck.devices import DEVICES, Drop, template
from snapcheck.errors import SimulationError
from snapcheck.kit import ValueForm, inner_ends, parse_value
from snapcheck.simulate._netlist import Term, Writer
from snapcheck.words import tr

#: insulation of a film capacitor, ohm (common data sheets: above 10 GΩ)
_FILM_LEAKAGE_OHM = 1e11
#: gate insulation, so that a floating gate has a direct path
_GATE_LEAKAGE_OHM = 1e11
#: no cube is a perfect conductor
_LEAST_OHM = 1e-3
_KELVIN = 273.15


def part_value(part: Part) -> float:
    """The part's value in SI units; a resistor of zero ohms is a link of a milliohm.

    Raises:
        SimulationError: it has none, or one that is not above zero.
    """
    value = part.cube.value
    if value == 0 and part.kind.value_form is ValueForm.OHMS:
        return _LEAST_OHM
    if isinstance(value, (int, float)) and value > 0 and math.isfinite(value):
        return float(value)
    raise SimulationError(
        tr("the value of {name} is not known.", name=part.name),
        place=str(part.at),
        way_out=tr(
            "Write its value into the layout, such as: {cell} {kind} 4k7.",
            cell=part.at,
            kind=part.kind.name,
        ),
    )


def light_resistance(part: Part, lux: float) -> float:
    """Photoresistor: R = R_ref · (lux / lux_ref)^-gamma, within the part's limits (common data sheets)."""
    p = part.parameters
    ohm: float = part_value(part) * (max(lux, 1e-6) / p.get("reference_lux", 10.0)) ** -p.get("gamma", 0.7)
    return min(max(ohm, p.get("lowest_ohm", 100.0)), p.get("highest_ohm", 2e7))


def heat_resistance(part: Part, celsius: float) -> float:
    """NTC thermistor: R = R25 · exp(B·(1/T - 1/298.15 K)) (IEC 60539-1)."""
    beta = part.parameters.get("beta_K", 3950.0)
    return part_value(part) * math.exp(beta * (1 / (celsius + _KELVIN) - 1 / (25 + _KELVIN)))


def supply_volts(part: Part, conditions: Conditions) -> float:
    """Open-circuit voltage of a battery or supply, V."""
    chosen = conditions.supply_V.get(part.at)
    return part_value(part) if chosen is None else chosen


def lamp_print(part: Part) -> tuple[float, float]:
    """Nominal (V, A) of a lamp from its print; 6 V, 0.1 A where nothing can be read."""
    if isinstance(part.cube.value, str):
        parsed = parse_value(part.cube.value, ValueForm.LAMP)
        if parsed.volts and parsed.amperes:
            return parsed.volts, parsed.amperes
    return 6.0, 0.1


Parameters = Mapping[str, float]


def _variable(w: Writer, part: Part, ohm: Callable[[Conditions], float]) -> None:
    """A two-terminal resistance that depends on conditions."""
    a, b = w.outer(part, "a"), w.outer(part, "b")
    now = max(ohm(w.conditions) * w.scale, _LEAST_OHM)
    after = w.stimulus.after
    w.resistor(w.name("r"), a, b, now, None if after is None else max(ohm(after) * w.scale, _LEAST_OHM))
    w.between(part, "a", "b", a, b, now)
    w.varies(part, "r", now)


def _resistor(w: Writer, part: Part, p: Parameters) -> None:
    ohm = part_value(part)
    _variable(w, part, lambda _: ohm)


def _network(w: Writer, part: Part, p: Parameters) -> None:
    """Resistors between pairs of legs."""
    for number, (name, ohm) in enumerate(p.items()):
        a, b = inner_ends(name)
        one, other = w.outer(part, a), w.outer(part, b)
        w.resistor(w.name("r", f"n{number}"), one, other, max(ohm * w.scale, _LEAST_OHM))
        w.between(part, a, b, one, other, max(ohm * w.scale, _LEAST_OHM))
        w.varies(part, "r", ohm, f"n{number}")


def _photoresistor(w: Writer, part: Part, p: Parameters) -> None:
    _variable(w, part, lambda c: light_resistance(part, c.light_lux))


def _thermistor(w: Writer, part: Part, p: Parameters) -> None:
    _variable(w, part, lambda c: heat_resistance(part, c.temperature_C))


def _switch(w: Writer, part: Part, p: Parameters) -> None:
    closed, opened = p.get("closed_ohm", 0.05), p.get("open_ohm", 1e9)
    _variable(w, part, lambda c: closed if is_closed(part, c) else opened)


def _fuse(w: Writer, part: Part, p: Parameters) -> None:
    # the voltage drop at rated current is limited by IEC 60127-2, so the cold resistance follows from it
    _variable(w, part, lambda _: p.get("burden_V", 0.2) / part_value(part))


def _buzzer(w: Writer, part: Part, p: Parameters) -> None:
    plus, minus = w.outer(part, "plus"), w.outer(part, "minus")
    ohm = p.get("resistance_ohm", 400.0)
    w.resistor(w.name("r"), plus, minus, ohm)
    w.between(part, "plus", "minus", plus, minus, ohm)


def _meter(w: Writer, part: Part, p: Parameters) -> None:
    plus, minus = w.outer(part, "plus"), w.outer(part, "minus")
    full = part.cube.value if isinstance(part.cube.value, (int, float)) and part.cube.value > 0 else 10.0
    # its full scale is in amperes or volts, whatever prefix is printed
    if part.cube.unit.endswith("A"):
        ohm = p.get("burden_V", 0.1) / float(full)
    else:
        ohm = p.get("ohm_per_V", 20000.0) * float(full)
    w.resistor(w.name("r"), plus, minus, ohm)
    w.between(part, "plus", "minus", plus, minus, ohm)


def _potentiometer(w: Writer, part: Part, p: Parameters) -> None:
    a, wiper, b = (w.outer(part, t) for t in ("a", "wiper", "b"))
    ohm, end, after = part_value(part) * w.scale, p.get("end_ohm", 5.0), w.stimulus.after

    def halves(conditions: Conditions) -> tuple[float, float]:
        position = min(max(conditions.pots.get(part.at, 0.5), 0.0), 1.0)
        return max(position * ohm, end), max((1 - position) * ohm, end)

    now = halves(w.conditions)
    later = (None, None) if after is None else halves(after)
    for suffix, one, other, node_one, node_other, value, then in (
        ("a", "a", "wiper", a, wiper, now[0], later[0]),
        ("b", "wiper", "b", wiper, b, now[1], later[1]),
    ):
        if node_one != node_other:
            w.resistor(w.name("r", suffix), node_one, node_other, value, then)
            w.between(part, one, other, node_one, node_other, value)
            w.varies(part, "r", value, suffix)


def _capacitor(w: Writer, part: Part, p: Parameters) -> None:
    """Capacitance with series and leakage resistance; a polarised one conducts when reversed.

    Leakage of electrolytics: 0.01·C·U is the usual data sheet limit, so ohm · farad = 100.
    Reversed, aluminium oxide conducts above 1 to 1.5 V (from memory of makers' application guides).
    """
    first, second = ("plus", "minus") if "plus" in part.nets else ("a", "b")
    a, b = w.outer(part, first), w.outer(part, second)
    farad = part_value(part) * w.scale
    inner = a
    series = p.get("series_ohm", 0.0)
    if series > 0:
        inner = w.inner("s")
        w.add(f"{w.name('r', 's')} {a} {inner} {series:.12g}")
    w.add(f"{w.name('c')} {inner} {b} {farad:.12g}")
    leak = p["leakage_ohm_F"] / farad if "leakage_ohm_F" in p else p.get("leakage_ohm", _FILM_LEAKAGE_OHM)
    w.add(f"{w.name('r', 'l')} {a} {b} {leak:.12g}")
    w.between(part, first, second, a, b, leak)
    w.varies(part, "c", farad)
    if first == "plus" and p.get("reverse_knee_V", 0.0) > 0:
        # 1 mA at the knee, from 1 pA at none: N = knee / (kT/q · ln(1e9))
        emission = p["reverse_knee_V"] / (0.02585 * math.log(1e9))
        model = w.model(part, "d", {"IS": 1e-12, "N": emission, "RS": p.get("reverse_ohm", 200.0)})
        w.add(f"{w.name('d')} {b} {a} {model}")
        current = w.vector(f"@{w.name('d')}[id]")
        w.flows(first, Term(-1, current))
        w.flows(second, Term(1, current))


def _inductor(w: Writer, part: Part, p: Parameters) -> None:
    henry = part_value(part)
    _coil(w, part, "a", "b", p.get("series_ohm", 0.5) + p.get("ohm_per_H", 0.0) * henry, henry)


def _speaker(w: Writer, part: Part, p: Parameters) -> None:
    printed = part.cube.value if isinstance(part.cube.value, (int, float)) and part.cube.value > 0 else 8.0
    dc, henry = p.get("dc_fraction", 0.85) * printed, p.get("inductance_H_per_ohm", 4e-5) * printed
    _coil(w, part, "a", "b", dc, henry)


def _coil(w: Writer, part: Part, one: str, other: str, ohm: float, henry: float) -> None:
    a, b, inner = w.outer(part, one), w.outer(part, other), w.inner("s")
    ohm, henry = max(ohm * w.scale, _LEAST_OHM), henry * w.scale
    w.add(f"{w.name('r')} {a} {inner} {ohm:.12g}")
    w.add(f"{w.name('l')} {inner} {b} {henry:.12g}")
    w.varies(part, "r", ohm)
    w.varies(part, "l", henry)
    w.flows(one, Term(1 / ohm, a, inner))
    w.flows(other, Term(-1 / ohm, a, inner))


def _lamp(w: Writer, part: Part, p: Parameters) -> None:
    """Tungsten filament: R = R_hot · (c³ + (1 - c³)·P/P_nominal)^(1/3), P following in a thermal time.

    The cube root gives I ∝ √U near the nominal point (handbooks: exponent 0.5 to 0.6); c is the cold
    fraction of the hot resistance. Fast signals see the resistance of the mean power. Where specimens are
    tried in one loaded circuit, a node at 1 V times the specimen's factor carries its scale.
    """
    a, b, heat = w.outer(part, "a"), w.outer(part, "b"), w.inner("h")
    volts, amperes = lamp_print(part)
    hot, cold3, tau = (
        w.scale * volts / amperes,
        p.get("cold_fraction", 0.1) ** 3,
        p.get("thermal_time_s", 0.05),
    )
    scale = ""
    if w.own_models:
        scale = f"v({w.inner('k')})*"
        w.add(f"{w.name('v', 'k')} {w.inner('k')} 0 dc 1")
        w.varies(part, "v", 1.0, "k")
    ohm = f"({hot:.12g}*{scale}pow({cold3:.12g}+{1 - cold3:.12g}*max(v({heat}),0),0.333333333))"
    across = f"v({a},{b})" if b != "0" else f"v({a})"
    across = across if a != "0" else f"(0-v({b}))"
    w.add(f"{w.name('b')} {a} i{w._index}m i={across}/{ohm}")
    middle = w.inner("m")
    w.add(f"{w.name('v')} {middle} {b} dc 0")
    w.add(f"{w.name('b', 'h')} 0 {heat} i={across}*i({w.name('v')})/{volts * amperes:.12g}")
    w.add(f"{w.name('r', 'h')} {heat} 0 1")
    w.add(f"{w.name('c', 'h')} {heat} 0 {tau:.12g}")
    branch = w.vector(f"{w.name('v')}#branch")
    w.flows("a", Term(1, branch))
    w.flows("b", Term(-1, branch))


def _diode(w: Writer, part: Part, p: Parameters) -> None:
    anode, cathode = w.outer(part, "anode"), w.outer(part, "cathode")
    parameters = dict(p)
    parameters.setdefault("RS", 0.1)  # without it, switching circuits flip on every time step
    zener = any(j.drop is Drop.PRINTED for j in part.device.junctions)
    if zener and isinstance(part.cube.value, (int, float)):
        parameters.setdefault("BV", float(part.cube.value))
        parameters["BV"] *= w.scale
    model = w.model(part, part.device.spice, parameters)
    if zener and "BV" in parameters:
        w.varies_in_model(part, model, "bv", parameters["BV"])
    w.add(f"{w.name('d')} {anode} {cathode} {model}")
    current = w.vector(f"@{w.name('d')}[id]")
    w.flows("anode", Term(1, current))
    w.flows("cathode", Term(-1, current))


def _bipolar(w: Writer, part: Part, p: Parameters) -> None:
    c, b, e = (w.outer(part, t) for t in ("collector", "base", "emitter"))
    parameters = dict(p)
    for name, least in (("RB", 10.0), ("RE", 0.1), ("RC", 0.5)):
        parameters.setdefault(name, least)  # without them an astable flips on every time step
    parameters["BF"] = parameters.get("BF", 100.0) * w.scale
    model = w.model(part, part.device.spice, parameters)
    w.varies_in_model(part, model, "bf", parameters["BF"])
    w.add(f"{w.name('q')} {c} {b} {e} {model}")
    ic, ib = w.vector(f"@{w.name('q')}[ic]"), w.vector(f"@{w.name('q')}[ib]")
    w.flows("collector", Term(1, ic))
    w.flows("base", Term(1, ib))
    w.flows("emitter", Term(-1, ic), Term(-1, ib))


def _mosfet(w: Writer, part: Part, p: Parameters) -> None:
    d, g, s = (w.outer(part, t) for t in ("drain", "gate", "source"))
    parameters = dict(p)
    parameters["VTO"] = parameters.get("VTO", 2.0 * part.device.sign) * w.scale
    model = w.model(part, part.device.spice, parameters, first="nchan" if part.device.sign > 0 else "pchan")
    w.varies_in_model(part, model, "vto", parameters["VTO"])
    # its current is measured in the drain lead: ngspice's own leaves the body diode out
    inner = w.inner("d")
    w.add(f"{w.name('v')} {d} {inner} dc 0")
    w.add(f"{w.name('m')} {inner} {g} {s} {model}")
    if g != s:
        w.add(f"{w.name('r', 'g')} {g} {s} {_GATE_LEAKAGE_OHM:g}")
    branch = w.vector(f"{w.name('v')}#branch")
    w.flows("drain", Term(1, branch))
    w.flows("source", Term(-1, branch))


def _supply(w: Writer, part: Part, p: Parameters) -> None:
    plus, minus, emf = w.outer(part, "plus"), w.outer(part, "minus"), w.inner("e")
    volts = supply_volts(part, w.conditions) * w.scale
    after = None if w.stimulus.after is None else supply_volts(part, w.stimulus.after) * w.scale
    printed = part.cube.value if isinstance(part.cube.value, (int, float)) else volts
    ohm = p.get("internal_ohm", p.get("internal_ohm_per_V", 0.1) * abs(float(printed)))
    rippling = w.stimulus.ripple and part.device.ripples
    w.emf(w.name("v"), emf, minus, volts, after, rippling)
    w.add(f"{w.name('r')} {emf} {plus} {max(ohm, _LEAST_OHM):.12g}")
    branch = w.vector(f"{w.name('v')}#branch")
    w.flows("plus", Term(1, branch))
    w.flows("minus", Term(-1, branch))
    w.netlist.emf_nodes += [node for node in (emf, minus) if node != "0"]
    w.varies(part, "v", volts)


def _source(w: Writer, part: Part, p: Parameters) -> None:
    """An audio input: a voltage behind the source resistance; its body is the plate."""
    node, emf = w.outer(part, "signal"), w.inner("e")
    if w.stimulus.input is part:
        w.signal(w.name("v"), emf, "0")
        w.netlist.input_branch = f"{w.name('v')}#branch"
    else:
        w.add(f"{w.name('v')} {emf} 0 dc 0")
    w.add(f"{w.name('r')} {emf} {node} {max(p.get('source_ohm', 600.0), _LEAST_OHM):.12g}")
    branch = w.vector(f"{w.name('v')}#branch")
    w.flows("signal", Term(1, branch))
    if "plate" in part.nets:
        w.flows("plate", Term(-1, branch))


def microphone_slope(p: Parameters) -> float:
    """Transconductance of the capsule's field-effect transistor at its bias, A/V: 2·I/|U_saturation|."""
    return 2 * p.get("bias_A", 2.5e-4) / p.get("saturation_V", 1.0)


def _microphone(w: Writer, part: Part, p: Parameters) -> None:
    """An electret capsule is a junction FET with its gate at the membrane (common practice).

    It draws its bias current above the saturation voltage, nothing usable below, and conducts like a
    diode when reversed. The signal is put to the gate.
    """
    plus, minus = w.outer(part, "plus"), w.outer(part, "minus")
    drain, gate = w.inner("d"), w.inner("g")
    bias, knee = p.get("bias_A", 2.5e-4), p.get("saturation_V", 1.0)
    slope_ohm = p.get("output_ohm", 1e5)
    # JFET at gate = source: I = BETA·VTO²·(1 + LAMBDA·U)
    model = w.model(
        part,
        "njf",
        {"VTO": -knee, "BETA": bias / knee**2, "LAMBDA": 1 / (slope_ohm * bias), "RD": 10, "RS": 10},
    )
    w.add(f"{w.name('v')} {plus} {drain} dc 0")
    w.add(f"{w.name('j')} {drain} {gate} {minus} {model}")
    if w.stimulus.input is part:
        w.signal(w.name("v", "g"), gate, minus)
        w.netlist.input_branch = f"{w.name('v')}#branch"
    else:
        w.add(f"{w.name('v', 'g')} {gate} {minus} dc 0")
    branch = w.vector(f"{w.name('v')}#branch")
    w.flows("plus", Term(1, branch))
    w.flows("minus", Term(-1, branch))


def _subcircuit(w: Writer, part: Part, p: Parameters) -> None:
    """A device that is a subcircuit, with an ammeter in each of its leads."""
    inside = {}
    for number, leg in enumerate(part.nets):
        inside[leg] = w.inner(f"t{number}")
        w.add(f"{w.name('v', f't{number}')} {w.outer(part, leg)} {inside[leg]} dc 0")
        w.flows(leg, Term(1, w.vector(f"{w.name('v', f't{number}')}#branch")))
    volts = {"volts": part_value(part)} if part.kind.value_form is ValueForm.VOLTS else {}
    w.subcircuit(template(part.device.template), inside, {**p, **volts})


Write = Callable[[Writer, Part, Parameters], None]

_WRITERS: dict[str, Write] = {
    "resistor": _resistor,
    "network": _network,
    "photoresistor": _photoresistor,
    "thermistor": _thermistor,
    "potentiometer": _potentiometer,
    "capacitor": _capacitor,
    "inductor": _inductor,
    "lamp": _lamp,
    "fuse": _fuse,
    "switch": _switch,
    "diode": _diode,
    "bipolar": _bipolar,
    "mosfet": _mosfet,
    "supply": _supply,
    "source": _source,
    "microphone": _microphone,
    "speaker": _speaker,
    "buzzer": _buzzer,
    "meter": _meter,
}


def writer_of(part: Part) -> Write:
    """What writes a part into a netlist.

    Raises:
        SimulationError: parts of its kind cannot be simulated.
    """
    write = _subcircuit if part.device.template else _WRITERS.get(part.device.writes)
    if write is None:
        raise SimulationError(
            tr("cubes of kind '{kind}' cannot be simulated.", kind=part.kind.name),
            place=str(part.at),
            way_out=tr("Give the kind one of these models: {models}.", models=", ".join(_calculated())),
        )
    return write


def _calculated() -> list[str]:
    """Names of the devices that can be calculated."""
    return sorted(device.name for device in DEVICES.values() if device.is_part)
