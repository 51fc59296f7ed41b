"""A SPICE netlist read as parts and nets: the plain subset that cubes can be made of.

The syntax is that of SPICE 2/3 as the ngspice manual describes it: the first line is a title, ``*`` begins a
comment line, ``+`` goes on with the line before, names do not mind capitals, and scale letters are
``T G MEG K M U N P F`` (and ``MIL``), letters behind them mean nothing (``10kOhm``, ``100nF``).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from typing import NoReturn

from snapcheck.circuit._direct import PartSpec
from snapcheck.devices import Device, Drive, Store, Transistor
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit, ValueForm, parse_value, usual_spelling
from snapcheck.words import tr

#: the most a netlist may have, in parts
MOST_PARTS = 2000
#: from here on a capacitor is taken for an electrolytic one (common practice, no source)
POLAR_FROM_F = 1e-6
_SCALES = {"T": 12, "G": 9, "MEG": 6, "K": 3, "M": -3, "U": -6, "N": -9, "P": -12, "F": -15, "": 0}
_MIL = Decimal("25.4e-6")
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,2})?)([A-Za-zµΩ]*)")
#: lines that say what to calculate, not what is there
_ASIDE = frozenset(
    re.findall(
        r"\w+",
        "title op tran ac dc noise tf sens disto pz four fourier options option opt temp print plot save "
        "probe measure meas ic nodeset width global end model",
    )
)
#: whether a device will do
_Fits = Callable[[Device], bool]
_WAVES = ("ac", "sin", "pulse", "pwl", "exp", "sffm")


def parse_netlist(text: str, kit: Kit, source: str = "netlist") -> tuple[PartSpec, ...]:
    """The parts of a SPICE netlist, as cubes of a kit; `circuit_of` makes a circuit of them.

    Nodes are numbered as they come, node 0 (GND) is the plate.

    Resistors, capacitors, inductors, diodes, transistors, MOSFETs with their bulk at the source, direct
    voltages (batteries), and a voltage with a wave against node 0 (the audio input). A capacitor from 1 µF on
    is an electrolytic one with its plus at the first node; a kind's name behind the value says otherwise
    (``C1 in out 2.2u capacitor``, ``R3 a b 10k photoresistor``). Models are those the kit has; the parameters
    of ``.model`` lines do not count, apart from BV, which makes a diode that the kit does not know a Zener
    diode. Lines that say what to calculate are passed over.

    Args:
        text: of the netlist, its title first.
        kit: the cubes there are.
        source: names the text in messages.

    Raises:
        InputError: a line is none of these; names it, and what is accepted.
    """
    found: dict[str, tuple[PartSpec, int]] = {}
    reader = _Reader(kit, source)
    lines = list(_lines(text))
    if lines and lines[0][0] == 1:
        number, title = lines.pop(0)
        if re.fullmatch(r"snapcheck \d+\.\d+\.\d+", title):
            raise InputError(
                tr("was written by 'snapcheck spice' to be calculated: parts are taken apart in it."),
                place=source,
                way_out=tr("Give the board itself: 'snapcheck lay FILE' lays its circuit anew."),
            )
        if re.match(r"[RCLDQMVI]\w*(\s+\S+){3,}$", title, re.I) and _looks_like_part(title):
            reader.fail(
                number,
                tr("the first line of a netlist is its title, and this one looks like a part."),
                tr("Put a title above it."),
            )
    for number, line in lines:
        if line.split()[0].lower() == ".model":
            reader.model(number, line)
    for number, line in lines:
        word = line.split()[0].lower()
        if word == ".end":
            break
        if word.startswith("."):
            if word[1:] not in _ASIDE:
                reader.fail(number, tr("'{word}' is not understood here.", word=word), _accepted())
            continue
        part = reader.part(number, line)
        if part.name.lower() in found:
            before = found[part.name.lower()][1]
            reader.fail(
                number,
                tr("'{name}' stands in line {line} already.", name=part.name, line=before),
                tr("Give each part a name of its own."),
            )
        found[part.name.lower()] = part, number
        if len(found) > MOST_PARTS:
            reader.fail(number, tr("there are more than {n} parts.", n=MOST_PARTS), "")
    if not found:
        raise InputError(tr("there is no part in this netlist."), place=source, way_out=_accepted())
    return tuple(part for part, _ in found.values())


def _accepted() -> str:
    return tr(
        "Accepted: parts R, C, L, D, Q, M, V without subcircuits, .model lines and what is to be calculated."
    )


def _lines(text: str) -> Iterator[tuple[int, str]]:
    """Lines with their numbers, without comments, continued ones in one piece."""
    kept: tuple[int, str] | None = None
    for number, raw in enumerate(text.splitlines(), start=1):
        line = re.split(r";|\s\$\s", raw, maxsplit=1)[0].strip() if number > 1 else raw.strip()
        if number > 1 and (not line or line.startswith("*")):
            continue
        if line.startswith("+") and kept is not None and kept[0] > 1:
            kept = kept[0], f"{kept[1]} {line[1:]}"
            continue
        if kept is not None:
            yield kept
        kept = number, line
    if kept is not None:
        yield kept


def _looks_like_part(title: str) -> bool:
    return bool(_NUMBER.fullmatch(title.rsplit(maxsplit=1)[-1])) or title[0].upper() in "DQM"


class _Reader:
    """Reads lines with what the kit has, and says where one is wrong."""

    def __init__(self, kit: Kit, source: str) -> None:
        self._kit, self._source = kit, source
        self._models: dict[str, tuple[str, Mapping[str, Decimal]]] = {}
        self._nodes = {"0": 0}

    def fail(self, number: int, message: str, way_out: str) -> NoReturn:
        place = tr("{file}, line {line}", file=self._source, line=number)
        raise InputError(message, place=place, way_out=way_out)

    def model(self, number: int, line: str) -> None:
        """``.model NAME TYPE (NAME=VALUE ...)``."""
        words = re.sub(r"[(),]", " ", line).split()
        if len(words) < 3:
            self.fail(number, tr("a model needs a name and a type."), ".model BC547 NPN")
        numbers = {}
        for name, value in re.findall(r"(\w+)\s*=\s*(\S+)", " ".join(words[3:])):
            numbers[name.upper()] = self._number(number, value)
        self._models[words[1].lower()] = words[2].upper(), numbers

    def part(self, number: int, line: str) -> PartSpec:
        words = line.split()
        letter = words[0][0].upper()
        make = {
            "R": self._passive, "C": self._passive, "L": self._passive, "D": self._diode,
            "Q": self._transistor, "M": self._mosfet, "V": self._voltage,
        }.get(letter)  # fmt: skip
        if letter == "I":
            self.fail(
                number,
                tr("no cube is a source of current."),
                tr("Use a voltage with a resistor, or the kind of the part that is meant."),
            )
        if letter == "X":
            self.fail(number, tr("subcircuits are not taken."), tr("Write its parts out."))
        if make is None:
            self.fail(number, tr("'{word}' is not understood here.", word=words[0]), _accepted())
        return make(number, words)

    # ------------------------------------------------------------------ letters

    def _passive(self, number: int, words: list[str]) -> PartSpec:
        name, nodes, rest = self._split(number, words, 2)
        letter = name[0].upper()
        if not rest:
            self.fail(number, tr("'{name}' has no value.", name=name), f"{name} a b 10k")
        value = self._value(number, rest[0].split("=")[-1], letter)
        if len(rest) > 1 and "=" not in rest[1]:
            kind = self._kit.kinds.get(rest[1].lower())
            if kind is None or len(kind.terminals) != 2 or kind.value_form is not _FORMS[letter]:
                names = [
                    k.name for k in self._kit.kinds.values()
                    if len(k.terminals) == 2 and k.value_form is _FORMS[letter]
                ]  # fmt: skip
                self.fail(
                    number,
                    tr("'{word}' is no kind of part for '{name}'.", word=rest[1], name=name),
                    tr("Accepted: {names}.", names=", ".join(names)),
                )
        else:
            polar = letter == "C" and value >= POLAR_FROM_F and "electrolytic" in self._kit
            usual, fits = _PASSIVE[letter]
            kind = self._kind(number, "electrolytic" if polar else usual, fits)
        return self._made(name, kind, value, nodes)

    def _diode(self, number: int, words: list[str]) -> PartSpec:
        name, nodes, rest = self._split(number, words, 2)
        kind, value = self._named(number, name, rest, lambda device: device.one_way)
        return self._made(name, kind, value, nodes)

    def _transistor(self, number: int, words: list[str]) -> PartSpec:
        name, nodes, rest = self._split(number, words, 3)
        if len(rest) > 1 and not _NUMBER.fullmatch(rest[1]) and "=" not in rest[1]:
            rest = rest[1:]  # a substrate node, which a cube does not have
        kind, value = self._named(number, name, rest, lambda device: device.bipolar)
        return self._stage(name, kind, value, nodes)

    def _mosfet(self, number: int, words: list[str]) -> PartSpec:
        name, nodes, rest = self._split(number, words, 4)
        if nodes[3] != nodes[2]:
            self.fail(
                number,
                tr("the bulk of '{name}' is not joined to its source, as it is in every cube.", name=name),
                tr("Name the source's node twice: {line}", line=f"{name} d g s s MODEL"),
            )
        kind, value = self._named(number, name, rest, lambda device: device.transistor is Transistor.FIELD)
        return self._stage(name, kind, value, nodes)

    def _stage(self, name: str, kind: Kind, value: float | str, nodes: list[str]) -> PartSpec:
        """A transistor: its current's way in, its control, its current's way out."""
        stage = kind.device.stage
        assert stage is not None
        legs = stage.against, stage.control, stage.along
        return self._spec(name, kind, value, dict(zip(legs, nodes, strict=False)))

    def _voltage(self, number: int, words: list[str]) -> PartSpec:
        name, nodes, rest = self._split(number, words, 2)
        plain = [w for w in re.sub(r"[(),]", " ", " ".join(rest)).split() if w.lower() != "dc"]
        if any(w.lower() in _WAVES for w in plain):
            kind = self._kind(number, "audio-in", lambda device: device.drive is Drive.SIGNAL)
            if nodes[1] != "0":
                self.fail(
                    number,
                    tr("the signal of '{name}' is not against node 0, which is the plate.", name=name),
                    tr("Put its second node to 0."),
                )
            return self._spec(name, kind, None, dict(zip(kind.device.legs, nodes, strict=True)))
        if not plain:
            self.fail(number, tr("'{name}' has no value.", name=name), f"{name} plus 0 9")
        volts = self._value(number, plain[0], "V")
        if volts < 0:
            volts, nodes = -volts, nodes[::-1]
        makes = [k for k in self._kit.kinds.values() if k.device.supplies]
        makes.sort(key=lambda k: (volts not in k.values, k.device.ripples))
        if not makes:
            self._kind(number, "battery", lambda device: device.supplies)
        return self._made(name, makes[0], volts, nodes)

    # ------------------------------------------------------------------- words

    def _split(self, number: int, words: list[str], count: int) -> tuple[str, list[str], list[str]]:
        name, nodes, rest = words[0], words[1 : 1 + count], words[1 + count :]
        if len(nodes) < count:
            self.fail(
                number,
                tr("'{name}' has {n} nodes and needs {count}.", name=name, n=len(nodes), count=count),
                tr("Write its name, its nodes, and its value or model."),
            )
        return name, [("0" if n.lower() == "gnd" else n.lower()) for n in nodes], rest

    def _named(self, number: int, name: str, rest: list[str], fits: _Fits) -> tuple[Kind, float | str]:
        """The kind and the type or colour of a device's model."""
        kinds = [k for k in self._kit.kinds.values() if fits(k.device)]
        if rest:
            called = rest[0]
            for kind in kinds:
                value = _known(kind, called)
                if value is not None:
                    return kind, value
            type_, numbers = self._models.get(called.lower(), ("", {}))
            zener = next((k for k in kinds if k.device.regulates), None)
            if type_ == "D" and "BV" in numbers and zener is not None:
                return zener, float(numbers["BV"])
        known = ", ".join(str(v) for k in kinds for v in k.values if isinstance(v, str))
        self.fail(
            number,
            tr("the model of '{name}' is none that the kit has.", name=name),
            tr("Accepted: {names}.", names=known),
        )

    def _kind(self, number: int, name: str, fits: _Fits) -> Kind:
        found = self._kit.kinds.get(name) or next(
            (k for k in self._kit.kinds.values() if fits(k.device)), None
        )
        if found is None:
            self.fail(number, tr("the kit has no '{kind}'.", kind=name), tr("Give another kit with --kit."))
        return found

    def _made(self, name: str, kind: Kind, value: float | str, nodes: list[str]) -> PartSpec:
        return self._spec(name, kind, value, dict(zip(kind.terminals, nodes, strict=False)))

    def _spec(self, name: str, kind: Kind, value: float | str | None, nodes: Mapping[str, str]) -> PartSpec:
        nets = {leg: self._nodes.setdefault(node, len(self._nodes)) for leg, node in nodes.items()}
        return PartSpec(kind.name, nets, value, name=name)

    def _value(self, number: int, word: str, letter: str) -> float:
        value = float(self._number(number, word))
        if letter == "R" and 0 < value < 0.1 and re.search(r"\dM(?!il)", word):
            self.fail(
                number,
                tr("'{word}' is {ohm:g} ohm: M is a thousandth in SPICE.", word=word, ohm=value),
                tr("Write {word} for a million.", word=re.sub("M.*", "Meg", word)),
            )
        if value <= 0 and letter != "V":
            self.fail(number, tr("'{word}' is no value of a part.", word=word), tr("Use one above zero."))
        return value

    def _number(self, number: int, word: str) -> Decimal:
        match = _NUMBER.fullmatch(word)
        if match is None:
            self.fail(
                number,
                tr("'{word}' is no number.", word=word),
                tr("Write it like 4.7k, 100n, 1Meg, 2.2e-6."),
            )
        digits, letters = Decimal(match[1]), match[2].upper().replace("Μ", "U").replace("µ".upper(), "U")
        if letters.startswith("MIL"):
            return digits * _MIL
        scale = next((s for s in ("MEG", *_SCALES) if s and letters.startswith(s)), "")
        if letters in ("F", "FARAD"):  # a unit alone would be a femto: nobody means that
            self.fail(
                number,
                tr("'{word}' is a femto, not a farad, in SPICE.", word=word),
                tr("Leave the unit away."),
            )
        return digits.scaleb(_SCALES[scale])


#: letter to the name of the usual kind, and what else would do
_PASSIVE: Mapping[str, tuple[str, _Fits]] = {
    "R": ("resistor", lambda device: device.resists),
    "C": ("capacitor", lambda device: device.store is Store.CHARGE),
    "L": ("inductor", lambda device: device.store is Store.FLUX and device.count == 2),
}
_FORMS = {"R": ValueForm.OHMS, "C": ValueForm.FARADS, "L": ValueForm.HENRIES}


def _known(kind: Kind, called: str) -> float | str | None:
    """The value that a model's name means on this kind: BC547, red, led_red, 5V1."""
    if kind.value_form in (ValueForm.TYPE, ValueForm.COLOUR):
        words = [called, *re.split(r"[_-]", called)] if kind.value_form is ValueForm.COLOUR else [called]
        for word in words:
            spelt = usual_spelling(word, kind.value_form)
            for known in (*kind.values, *kind.parameters_by_value):
                if isinstance(known, str) and usual_spelling(known, kind.value_form) == spelt:
                    return known
        return None
    if kind.value_form is ValueForm.VOLTS and re.fullmatch(r"\d+V\d*", called, re.I):
        try:
            return parse_value(called.upper(), kind.value_form).value
        except InputError:
            return None
    return None
