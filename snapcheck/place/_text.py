"""The parts list and the box as text.

A parts list names each part once, with the net at each of its terminals::

    title  Light for the stairs
    plate  0
    output D101 anode

    B101 battery 9V  plus=supply minus=0
    R101 resistor 470  a=supply b=light
    D101 led green  anode=light cathode=0

A terminal that joins nothing has ``-`` for its net. A box says how many there are::

    2 battery 9V
    5 resistor 470
    12 straight
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from snapcheck.board import Line, Value, Word, did_you_mean, kind_meant, split_lines
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit, parse_value
from snapcheck.place._list import PLATE_NET, Item, PartsAndNets
from snapcheck.words import tr

_NOTHING = "-"
_KEYWORDS = ("title", "plate", "input", "output")


def parse_parts(text: str, name: str, kit: Kit) -> PartsAndNets:
    """Read a parts list.

    Args:
        text: the file's text.
        name: its name, for messages.
        kit: the kinds that may stand in it.

    Raises:
        InputError: names file, line, column and what is accepted.
    """
    return _Reader(name, kit).read(text)


class _Reader:
    def __init__(self, name: str, kit: Kit) -> None:
        self.name, self.kit = name, kit
        self.items: dict[str, Item] = {}
        self.plate = PLATE_NET
        self.title = ""
        self.ends: dict[str, Line] = {}

    def read(self, text: str) -> PartsAndNets:
        readers: Mapping[str, Callable[[Line], None]] = {
            "title": self.read_title,
            "plate": self.read_plate,
            "input": self.keep_end,
            "output": self.keep_end,
        }
        parts = []
        for line in split_lines(text, self.name):
            reader = readers.get(line.words[0].text.lower())
            if reader is None:
                parts.append(line)
            else:
                reader(line)
        for line in parts:
            self.read_part(line)
        if not self.items:
            raise InputError(
                tr("there is no part in the list."),
                place=self.name,
                way_out=tr("Write one part a line, such as 'R101 resistor 470 a=supply b=light'."),
            )
        input_, output = (self.end(self.ends.get(word)) for word in ("input", "output"))
        return PartsAndNets(tuple(self.items.values()), self.plate, self.title, input_, output)

    def read_title(self, line: Line) -> None:
        self.title = " ".join(word.text for word in line.words[1:])

    def read_plate(self, line: Line) -> None:
        if len(line.words) != 2:
            line.fail(line.words[0], tr("the plate has one net."), tr("Write 'plate 0'."))
        self.plate = line.words[1].text

    def keep_end(self, line: Line) -> None:
        self.ends[line.words[0].text.lower()] = line

    def end(self, line: Line | None) -> tuple[str, str] | None:
        """Where the signal goes in or comes out."""
        if line is None:
            return None
        words = line.words[1:]
        item = self.items.get(words[0].text) if words else None
        if item is None:
            hint = did_you_mean(words[0].text, self.items) if words else ""
            line.fail(
                words[0] if words else line.words[0],
                tr("this names no part of the list.{hint}", hint=hint),
                tr("Write a part and its terminal, such as 'output Q101 collector'."),
            )
        terminals = [t for t in self.kit[item.kind].terminals if t in item.nets]
        if len(words) == 1 and len(terminals) == 1:
            return item.name, terminals[0]
        if len(words) != 2 or words[1].text not in terminals:
            line.fail(
                words[-1],
                tr("one terminal of {name} is needed here.", name=item.name),
                tr("Accepted: {names}.", names=", ".join(terminals)),
            )
        return item.name, words[1].text

    def read_part(self, line: Line) -> None:
        first = line.words[0]
        if first.text in self.items:
            line.fail(first, tr("'{name}' stands in the list twice.", name=first.text),
                      tr("Give every part a name of its own."))  # fmt: skip
        if len(line.words) < 2 or "=" in first.text:
            line.fail(first, tr("a part has a name, a kind, and a net at each terminal."),
                      tr("Write it like 'R101 resistor 470 a=supply b=light'."))  # fmt: skip
        kind = _kind(line, line.words[1], self.kit)
        values = [word for word in line.words[2:] if "=" not in word.text]
        value, unit = _value(line, kind, values)
        nets = self.nets(line, kind, [word for word in line.words[2:] if "=" in word.text])
        printed = " ".join(word.text for word in values) or None
        self.items[first.text] = Item(first.text, kind.name, nets, value, printed, unit)

    def nets(self, line: Line, kind: Kind, words: Sequence[Word]) -> dict[str, str | None]:
        """The net at every terminal that does not lie on the plate anyway."""
        terminals = [t for t in kind.terminals if t not in kind.on_plate]
        accepted = tr("Terminals of a {kind}: {names}.", kind=tr(kind.title), names=", ".join(terminals))
        nets: dict[str, str | None] = {}
        for word in words:
            terminal, _, net = word.text.partition("=")
            if terminal in kind.on_plate and net == self.plate:
                continue
            if terminal not in terminals or not net:
                hint = did_you_mean(terminal, terminals)
                line.fail(word, tr("'{word}' says no net of a terminal.{hint}", word=word.text, hint=hint),
                          accepted)  # fmt: skip
            if terminal in nets:
                line.fail(word, tr("'{key}' is given twice.", key=terminal), tr("Keep one of them."))
            nets[terminal] = None if net == _NOTHING else net
        missing = [t for t in terminals if t not in nets]
        if missing:
            line.fail(
                line.words[-1],
                tr("it is not said what is joined to {names}.", names=", ".join(missing)),
                tr("Write '{terminal}=NET', or '{terminal}=-' where nothing is.", terminal=missing[0]),
            )
        return nets


def _kind(line: Line, word: Word, kit: Kit) -> Kind:
    if word.text not in kit:
        hint = kind_meant(word.text, kit)
        line.fail(word, tr("the kit has no kind '{kind}'.{hint}", kind=word.text, hint=hint),
                  tr("Accepted: {names}.", names=", ".join(kit.kinds)))  # fmt: skip
    return kit[word.text]


def _value(line: Line, kind: Kind, words: Sequence[Word]) -> tuple[Value, str]:
    """Value and unit of what is printed."""
    if not words:
        return None, ""
    try:
        read = parse_value(" ".join(word.text for word in words), kind.value_form)
    except InputError as error:
        line.fail(words[0], f"{tr(kind.title)}: {error.message}", error.way_out)
    return read.value, read.unit


@dataclass(frozen=True)
class Stock:
    """How many cubes there are: (kind, value) to a number; a kind without print has the value None."""

    counts: Mapping[tuple[str, Value], int]

    def of_kind(self, kind: str) -> int:
        """How many of a kind, whatever is printed on them."""
        return sum(count for (name, _), count in self.counts.items() if name == kind)
