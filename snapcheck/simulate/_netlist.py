"""Circuit to SPICE netlist. All names are made here; no text of a cube ever reaches a line."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import NamedTuple

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Template
from snapcheck.simulate import _solvable
from snapcheck.simulate._solvable import Remark, Solvable

#: generator put to a net that has no input cube: a bench generator's resistance, behind a capacitor so
#: large that it carries no direct current
GENERATOR_OHM = 50.0
_GENERATOR_FARAD = 1.0

#: insulation of a cube to the plate, ohm: holds nodes that only blocked junctions reach, which ngspice
#: otherwise answers by chance or not at all (10 GΩ: common practice for clean plastic, no source)
_INSULATION_OHM = 1e10

#: never: a pulse that stays
_FOREVER = "1e+09 2e+09"

_SPICE_NAME = re.compile(r"[A-Z][A-Z0-9]*")


class Term(NamedTuple):
    """One term of a current: factor · (x[plus] - x[minus]), x being node voltages or branch currents."""

    factor: float
    plus: str
    minus: str | None = None


@dataclass(frozen=True)
class Stimulus:
    """What is put to the circuit beside its supplies.

    Attributes:
        input: the audio input or microphone that carries the signal, or the net that a generator drives.
        ac: unit alternating signal at the input.
        sine: (amplitude in V at the source, frequency in Hz) in a transient.
        ramp: (V, s) in a transient, a slow rise of the input from zero, and back in the same time.
        ripple: unit alternating voltage in series with every mains supply.
        into_net: unit alternating current into this net.
        power_on: in a transient, supplies rise from zero in 10 µs.
        after: in a transient, conditions that set in at t = 0.
        kick: in a transient, 1 µA for 1 ms into the first base or input: no oscillator balances on its edge.
        held: (net, V): the transient starts from the balance with this net held there, then let go.
        near: (net, V) each, where the search for an operating point begins.
    """

    input: Part | int | None = None
    ac: bool = False
    sine: tuple[float, float] | None = None
    ramp: tuple[float, float] | None = None
    ripple: bool = False
    into_net: int | None = None
    power_on: bool = False
    after: Conditions | None = None
    kick: bool = False
    held: tuple[int, float] | None = None
    near: tuple[tuple[int, float], ...] = ()


QUIET = Stimulus()

#: every part as printed
NO_SCALES: Mapping[str, float] = MappingProxyType({})


class Written(NamedTuple):
    """A part that obeys conditions, with its number and where its lines begin and end in a netlist."""

    part: Part
    number: int
    begin: int
    end: int


@dataclass
class Netlist:
    """Lines for ngspice and the way back from its vectors to parts and nets.

    Attributes:
        lines: without title; the last is ``.end``.
        nodes: every node but 0.
        currents: part name to terminal to terms of the current into that terminal (A).
        vectors: branch and device vectors that `currents` needs.
        solvable: what is solved.
        emf_nodes: nodes that a supply sets; every other direct voltage lies between them.
        changeable: part name to (ngspice command up to the number, number) of all that scales with the part:
            ``("alter r7 =", 4700.0)``, ``("altermod k3 bf =", 294.0)``.
        input_branch: vector of the current through the input's source, where there is one.
        obeying: the parts that obey conditions.
    """

    lines: list[str] = field(default_factory=list)
    nodes: set[str] = field(default_factory=set)
    currents: dict[str, dict[str, list[Term]]] = field(default_factory=dict)
    vectors: list[str] = field(default_factory=list)
    solvable: Solvable = field(default_factory=lambda: Solvable((), frozenset(), frozenset(), ()))
    emf_nodes: list[str] = field(default_factory=list)
    changeable: dict[str, list[tuple[str, float]]] = field(default_factory=dict)
    input_branch: str = ""
    obeying: list[Written] = field(default_factory=list)

    def node(self, net: int) -> str:
        """Node name of a net (``0`` for the plate and for nets that stand in for it)."""
        return "0" if net == 0 or net in self.solvable.ties else f"n{net}"

    def node_of(self, net: int) -> str | None:
        """Node name of a net, None for a net that is not solved."""
        return self.node(net) if net in self.solvable.solved else None

    def begun(self, near: Sequence[tuple[int, float]]) -> Netlist:
        """The same, solved from (net, V) each; itself where there is none of them."""
        nodes = [(self.node_of(net), volts) for net, volts in near]
        begins = [f"v({node})={volts:.9g}" for node, volts in nodes if node not in (None, "0")]
        if not begins:
            return self
        return replace(self, lines=[*self.lines[:-1], f".nodeset {' '.join(begins)}", self.lines[-1]])

    @property
    def remarks(self) -> tuple[Remark, ...]:
        return self.solvable.remarks


@functools.lru_cache(maxsize=512)
def _model_words(first: str, parameters: tuple[tuple[str, float], ...]) -> str:
    """What stands between the brackets of a model line."""
    words = [first] if first else []
    words += [f"{key.lower()}={value:.12g}" for key, value in parameters if _SPICE_NAME.fullmatch(key)]
    return " ".join(words)


class Writer:
    """Collects a netlist part by part; `snapcheck.simulate._models` has one function a model."""

    def __init__(
        self,
        circuit: Circuit,
        conditions: Conditions,
        stimulus: Stimulus = QUIET,
        *,
        own_models: bool = False,
    ) -> None:
        self.circuit = circuit
        self.conditions = conditions
        self.stimulus = stimulus
        self.netlist = Netlist(solvable=_solvable.examine(circuit))
        self.own_models = own_models
        self._model_names: dict[tuple[str, object], str] = {}
        self._index = 0
        self._control = False
        #: factor on what varies between specimens of the part being written
        self.scale = 1.0

    # -------------------------------------------------------------- the part being written

    def start(self, part: Part, index: int, scale: float) -> None:
        self._index = index
        self.scale = scale
        self._terminals: dict[str, list[Term]] = {terminal: [] for terminal in part.nets}
        self.netlist.currents[part.name] = self._terminals

    def name(self, letter: str, suffix: str = "") -> str:
        """A device name for the part being written, such as ``r7`` or ``r7b``."""
        return f"{letter}{self._index}{suffix}"

    def inner(self, suffix: str) -> str:
        """A node inside the part being written."""
        node = f"i{self._index}{suffix}"
        self.netlist.nodes.add(node)
        return node

    def outer(self, part: Part, terminal: str) -> str:
        """The node of a terminal."""
        node = self.netlist.node(part.nets[terminal])
        if node != "0":
            self.netlist.nodes.add(node)
        return node

    def add(self, line: str) -> None:
        self.netlist.lines.append(line)

    def flows(self, terminal: str, *terms: Term) -> None:
        """Add to the current into a terminal."""
        self._terminals[terminal].extend(terms)

    def vector(self, name: str) -> str:
        """Ask for a branch or device vector; returns its name."""
        self.netlist.vectors.append(name)
        return name

    # -------------------------------------------------------------- building blocks

    def resistor(self, device: str, a: str, b: str, ohm: float, ohm_after: float | None = None) -> None:
        """A resistor; with `ohm_after`, one that changes to it at t = 0 of a transient."""
        if ohm_after is None or ohm_after == ohm:
            self.add(f"{device} {a} {b} {ohm:.12g}")
            return
        self._need_control()
        self.add(f"s{device} {a} {b} ctl 0 x{device}")
        self.add(f".model x{device} sw(vt=0.5 vh=0 ron={ohm_after:.12g} roff={ohm:.12g})")

    def between(self, part: Part, a: str, b: str, node_a: str, node_b: str, ohm: float) -> None:
        """Book the current of a resistance between two terminals."""
        self.flows(a, Term(1 / ohm, node_a, node_b))
        self.flows(b, Term(-1 / ohm, node_a, node_b))

    def model(self, part: Part, spice_type: str, parameters: Mapping[str, float], first: str = "") -> str:
        """Name of the part's model line, shared between like parts unless each needs its own."""
        key = (part.kind.name, part.cube.value)
        if not self.own_models and key in self._model_names:
            return self._model_names[key]
        name = f"k{self._index}"
        self.add(f".model {name} {spice_type}({_model_words(first, tuple(parameters.items()))})")
        self._model_names[key] = name
        return name

    def subcircuit(self, text: Template, outer: Mapping[str, str], parameters: Mapping[str, float]) -> None:
        """The lines of a subcircuit, its ports joined to nodes."""
        lower = {name.lower(): value for name, value in parameters.items()}
        lines, inner = text.written(self._index, outer, lower)
        self.netlist.nodes.update(inner)
        self.netlist.lines += lines

    def varies(self, part: Part, letter: str, value: float, suffix: str = "") -> None:
        """Note a device of the part whose value scales between specimens."""
        command = f"alter {self.name(letter, suffix)} ="
        self.netlist.changeable.setdefault(part.name, []).append((command, value))

    def varies_in_model(self, part: Part, model: str, parameter: str, value: float) -> None:
        """Note a model parameter that scales between specimens, where the part has a model of its own."""
        if self.own_models:
            self.netlist.changeable.setdefault(part.name, []).append(
                (f"altermod {model} {parameter} =", value)
            )

    def _need_control(self) -> None:
        if not self._control:
            self._control = True
            self.netlist.nodes.add("ctl")
            self.add(f"vctl ctl 0 dc 0 pulse(0 1 0 1e-06 1e-06 {_FOREVER})")

    def emf(self, device: str, plus: str, minus: str, volts: float, after: float | None, ac: bool) -> None:
        """A voltage source that obeys power-on and the conditions afterwards."""
        shape = ""
        if self.stimulus.power_on:
            shape = f" pulse(0 {volts:.12g} 0 1e-05 1e-05 {_FOREVER})"
        elif after is not None and after != volts:
            shape = f" pulse({volts:.12g} {after:.12g} 0 1e-06 1e-06 {_FOREVER})"
        self.add(f"{device} {plus} {minus} dc {volts:.12g}{' ac 1' if ac else ''}{shape}")

    def signal(self, device: str, plus: str, minus: str, scale: float = 1.0) -> None:
        """A signal source: unit alternating, or a sine of the stimulus's amplitude times `scale`."""
        words = ["dc 0"]
        if self.stimulus.ac:
            words.append(f"ac {scale:.12g}")
        if self.stimulus.sine is not None:
            amplitude, frequency = self.stimulus.sine
            words.append(f"sin(0 {amplitude * scale:.12g} {frequency:.12g})")
        if self.stimulus.ramp is not None:
            volts, rise = self.stimulus.ramp
            words.append(
                f"pulse(0 {volts:.12g} 0 {rise:.12g} {rise:.12g} {rise / 1000:.12g} {3 * rise:.12g})"
            )
        self.add(f"{device} {plus} {minus} {' '.join(words)}")

    # -------------------------------------------------------------- the whole

    def finish(self) -> Netlist:
        netlist, stimulus = self.netlist, self.stimulus
        if isinstance(stimulus.input, int) and netlist.node_of(stimulus.input) not in (None, "0"):
            target = netlist.node(stimulus.input)
            netlist.nodes |= {"gen", target} | ({"gena"} if stimulus.ramp is None else set())
            self.signal("vgen", "gen", "0")
            coupled = stimulus.ramp is None
            self.add(f"rgen gen {'gena' if coupled else target} {GENERATOR_OHM:g}")
            if coupled:
                self.add(f"cgen gena {target} {_GENERATOR_FARAD:g}")
            netlist.input_branch = self.vector("vgen#branch")
        if stimulus.into_net is not None and netlist.node_of(stimulus.into_net) not in (None, "0"):
            self.add(f"iout 0 {netlist.node(stimulus.into_net)} dc 0 ac 1")
        if stimulus.kick:
            inputs = (p.nets[leg] for p in netlist.solvable.parts for leg in p.device.controls)
            first = next((netlist.node(net) for net in inputs if net), "0")
            if first != "0":
                self.add(f"ikick 0 {first} dc 0 pulse(0 1e-06 1e-04 1e-05 1e-05 1e-03 1e+09)")
        if stimulus.held is not None and netlist.node_of(stimulus.held[0]) not in (None, "0"):
            self.add(f".ic v({netlist.node(stimulus.held[0])})={stimulus.held[1]:.9g}")
        devices = [name for name in netlist.vectors if name.startswith("@")]
        if devices:
            self.add(f".save all {' '.join(devices)}")
        self.add(self.options())
        self.add(".end")
        return netlist

    def options(self) -> str:
        """The line of options, the last but one."""
        stimulus = self.stimulus
        in_time = (
            stimulus.sine is not None
            or stimulus.ramp is not None
            or stimulus.power_on
            or stimulus.after is not None
            or stimulus.held is not None
        )
        options = {
            "temp": self.conditions.temperature_C,
            "reltol": 5e-4 if in_time else 1e-6,
            "rshunt": _INSULATION_OHM,
        }
        words = " ".join(f"{name}={value:.6g}" for name, value in options.items())
        return f".options method=gear {words}"
