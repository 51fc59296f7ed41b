"""The devices of a first course in electronics: one entry each."""

from __future__ import annotations

from snapcheck.devices._device import (
    CertainLoad,
    Device,
    Drive,
    Drop,
    Junction,
    Load,
    Parameters,
    Sense,
    Setting,
    Spread,
    Stage,
    Store,
    Transistor,
)

_PLUS_MINUS = ("plus", "minus")
_ANODE = ("anode", "cathode")


def _printed(value: float | str | None, p: Parameters) -> float | None:
    return float(value) if isinstance(value, float | int) else None


def _winding(value: float | str | None, p: Parameters) -> float | None:
    """Winding resistance of a coil, growing with its inductance."""
    if not isinstance(value, float | int):
        return None
    return p.get("series_ohm", 0.0) + p.get("ohm_per_H", 0.0) * float(value)


def _voice_coil(value: float | str | None, p: Parameters) -> float | None:
    return float(value) * p.get("dc_fraction", 1.0) if isinstance(value, float | int) else None


def _stated(value: float | str | None, p: Parameters) -> float | None:
    return p.get("resistance_ohm") if not isinstance(value, float | int) else None


_FORWARD = Junction("anode", "cathode", Drop.FORWARD)
_BIPOLAR_DIRECT = (("base", "emitter"), ("collector", "emitter"), ("base", "collector"))
_BETWEEN = Load("voltage_V", "max_voltage_V", ("collector", "emitter"))
_ACROSS_BASE = Load("gate_voltage_V", "max_gate_V", ("base", "emitter"))

CLASSIC = (
    Device(
        "resistor", count=2, plain=True, ohmic=True, smooths=True, ohms=_printed, preferred=True,
        certain=CertainLoad.POWER, writes="resistor",
    ),
    Device(
        "capacitor", count=2, store=Store.CHARGE, direct=(), preferred=True, certain=CertainLoad.VOLTAGE,
        writes="capacitor",
    ),
    Device(
        "inductor", count=2, plain=True, smooths=True, ohms=_winding, store=Store.FLUX, preferred=True,
        certain=CertainLoad.CURRENT, writes="inductor",
    ),
    Device(
        "diode", legs=_ANODE, family="active", pair=_ANODE, junctions=(_FORWARD,),
        smooths=True, clamps=True, spice="d", writes="diode",
    ),
    Device(
        "zener", legs=_ANODE, family="active", pair=_ANODE,
        junctions=(_FORWARD, Junction("cathode", "anode", Drop.PRINTED)), clamps=True, spice="d",
        writes="diode",
    ),
    Device(
        "led", legs=_ANODE, family="active", pair=_ANODE, polarity=_ANODE, junctions=(_FORWARD,), shows=True,
        certain=CertainLoad.FORWARD, forward_V=1.8, spice="d", writes="diode",
    ),
    Device("photoresistor", count=2, ohmic=True, sense=Sense.LIGHT, writes="photoresistor"),
    Device("thermistor", count=2, ohmic=True, sense=Sense.TEMPERATURE, writes="thermistor"),
    Device(
        "potentiometer", legs=("a", "b", "wiper"), setting=Setting.POT, pair=("a", "b"), ohmic=True,
        direct=(("a", "b"), ("a", "wiper"), ("b", "wiper")), slides=(("wiper", "a"), ("wiper", "b")),
        loads=(), writes="potentiometer",
    ),
    Device(
        "npn", legs=("base", "collector", "emitter"), family="active", transistor=Transistor.BIPOLAR,
        stage=Stage("base", "collector", "emitter"), pair=("collector", "emitter"), direct=_BIPOLAR_DIRECT,
        junctions=(Junction("base", "emitter", Drop.SILICON), Junction("base", "collector", Drop.SILICON)),
        loads=(_BETWEEN, _ACROSS_BASE,
               Load("base_reverse_V", "max_emitter_base_V", ("base", "emitter"), backward=True)),
        spread=Spread.GAIN, spice="npn", writes="bipolar",
    ),
    Device(
        "pnp", legs=("base", "collector", "emitter"), family="active", transistor=Transistor.BIPOLAR,
        sign=-1.0, stage=Stage("base", "collector", "emitter"), pair=("collector", "emitter"),
        direct=_BIPOLAR_DIRECT,
        junctions=(Junction("emitter", "base", Drop.SILICON), Junction("collector", "base", Drop.SILICON)),
        loads=(_BETWEEN, _ACROSS_BASE,
               Load("base_reverse_V", "max_emitter_base_V", ("emitter", "base"), backward=True)),
        spread=Spread.GAIN, spice="pnp", writes="bipolar",
    ),
    Device(
        "nmos", legs=("gate", "drain", "source"), family="active", transistor=Transistor.FIELD,
        stage=Stage("gate", "drain", "source"), pair=("drain", "source"), direct=(("drain", "source"),),
        junctions=(Junction("source", "drain", Drop.SILICON),),  # the body diode
        loads=(Load("voltage_V", "max_voltage_V", ("drain", "source")),
               Load("gate_voltage_V", "max_gate_V", ("gate", "source"))),
        spread=Spread.THRESHOLD, spice="vdmos", writes="mosfet",
    ),
    Device("switch", count=2, family="outside", setting=Setting.SWITCH, closes=True, writes="switch"),
    Device(
        "lamp", count=2, family="outside", filament=True, shows=True, certain=CertainLoad.VOLTAGE,
        writes="lamp",
    ),
    Device("fuse", count=2, family="source", closes=True, trips=True, writes="fuse"),
    Device(
        "battery", legs=_PLUS_MINUS, family="source", setting=Setting.SUPPLY, drive=Drive.POWER,
        pair=_PLUS_MINUS, direct=(), writes="supply",
    ),
    Device(
        "supply", legs=_PLUS_MINUS, family="source", setting=Setting.SUPPLY, drive=Drive.POWER,
        pair=_PLUS_MINUS, direct=(), ripples=True, writes="supply",
    ),
    Device(
        "source", legs=("signal", "plate"), family="outside", symbol="audio-in", drive=Drive.SIGNAL,
        signal_leg="signal", pair=("signal", "plate"), writes="source",
    ),
    Device(
        "microphone", legs=_PLUS_MINUS, family="outside", drive=Drive.SENSOR, signal_leg="plus",
        pair=_PLUS_MINUS, polarity=_PLUS_MINUS, writes="microphone",
    ),
    Device(
        "speaker", count=2, family="outside", ohms=_voice_coil, sounds=True, certain=CertainLoad.POWER,
        writes="speaker",
    ),
    Device(
        "buzzer", legs=_PLUS_MINUS, family="outside", pair=_PLUS_MINUS, polarity=_PLUS_MINUS, ohms=_stated,
        shows=True, certain=CertainLoad.VOLTAGE, writes="buzzer",
    ),
    Device(
        "meter", legs=_PLUS_MINUS, family="outside", pair=_PLUS_MINUS, polarity=_PLUS_MINUS, direct=(),
        reads=True, writes="meter",
    ),
    Device("network", between_legs=True, writes="network"),
    Device("wire", is_part=False, family="wire"),
    Device("ground", is_part=False, grounds=True, family="wire", letter="⏚"),
    Device("socket", is_part=False, access=True, family="outside", letter="◎"),
)  # fmt: skip
