"""The box: how many of each cube there are, as a TOML file that is checked on load."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, NoReturn

from snapcheck.box._pieces import Piece
from snapcheck.datafiles import read_bytes, read_data_text, toml_table
from snapcheck.errors import DataError, InputError
from snapcheck.kit import Kit, ValueForm, parse_value, usual_spelling
from snapcheck.words import brief, tr

#: more cubes of one sort than this are a slip of the pen
MOST = 100_000


@dataclass(frozen=True)
class Box:
    """What lies in the box.

    Attributes:
        title: in words.
        cubes: how many of each.
        taps, leads: how many; None where they are not counted.
        plates: (columns, rows) to how many; empty where they are not counted.
        source: the file, for messages.
    """

    title: str
    cubes: Mapping[Piece, int]
    taps: int | None = None
    leads: int | None = None
    plates: Mapping[tuple[int, int], int] = field(default_factory=dict)
    source: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "cubes", MappingProxyType(dict(self.cubes)))
        object.__setattr__(self, "plates", MappingProxyType(dict(self.plates)))


def load_box(path: str | Path, kit: Kit) -> Box:
    """A box from its TOML file.

    Raises:
        InputError: it cannot be opened.
        DataError: it is wrong; names key and accepted values.
    """
    way_out = tr("Give a box file; 'snapcheck new box NAME' writes one to begin from.")
    if Path(path).suffix.lower() not in (".toml", ""):
        read_bytes(Path(path), 0, way_out)  # that it is not there at all is told first
        raise DataError(tr("is no box file: these are TOML."), place=path, way_out=way_out)
    return parse_box(read_data_text(Path(path), tr("a box"), 1, way_out), str(path), kit)


def parse_box(text: str, source: str, kit: Kit) -> Box:
    """As `load_box`, from the file's text."""
    return _Reader(source, kit).box(toml_table(text, source))


class _Reader:
    def __init__(self, source: str, kit: Kit) -> None:
        self._source, self._kit = source, kit

    def fail(self, key: str, message: str, way_out: str) -> NoReturn:
        raise DataError(message, place=tr("{file}, {key}", file=self._source, key=key), way_out=way_out)

    def box(self, data: dict[str, Any]) -> Box:
        self._known(data, "", ("title", "taps", "leads", "plates", "cubes"))
        title = data.get("title", "")
        if not isinstance(title, str):
            self.fail("title", tr("{value} is no text.", value=brief(title)), tr("Write it in quotes."))
        if "cubes" not in data:
            self.fail("cubes", tr("is missing."), tr("Write a table [cubes] with kind = how many."))
        cubes: dict[Piece, int] = {}
        for name, given in self._table(data["cubes"], "cubes").items():
            self._kind(name, given, cubes)
        loose = {name: self._count(data[name], name) for name in ("taps", "leads") if name in data}
        plates = {}
        for size, given in self._table(data.get("plates", {}), "plates").items():
            match = re.fullmatch(r"(\d{1,2}) ?[x×] ?(\d{1,2})", size)
            if match is None:
                self.fail(f"plates.{size}", tr("is no size of a plate."), '"8x6" = 10')
            plates[int(match[1]), int(match[2])] = self._count(given, f"plates.{size}")
        return Box(title, cubes, loose.get("taps"), loose.get("leads"), plates, self._source)

    def _kind(self, name: str, given: object, cubes: dict[Piece, int]) -> None:
        key = f"cubes.{name}"
        if name not in self._kit:
            near = difflib.get_close_matches(name, self._kit.kinds, 1)
            hint = tr("Did you mean '{name}'?", name=near[0]) + " " if near else ""
            accepted = tr("Accepted: {names}.", names=", ".join(self._kit.kinds))
            self.fail(key, tr("'{kind}' is no kind of the kit.", kind=name), hint + accepted)
        form = self._kit[name].value_form
        if form is ValueForm.NONE:
            if isinstance(given, dict):
                self.fail(key, tr("nothing is printed on a {name}.", name=name), f"{name} = 12")
            cubes[Piece(name)] = self._count(given, key)
            return
        if not isinstance(given, dict):
            example = next(iter(self._kit[name].values), None)
            self.fail(
                key,
                tr("has one number, but there are several values of a {name}.", name=name),
                f'[cubes.{name}]  "{example if isinstance(example, str) else "10k"}" = 12',
            )
        for text, count in given.items():
            try:
                said = parse_value(text, form)
            except InputError as error:
                self.fail(f"{key}.{text}", error.message, error.way_out)
            value = usual_spelling(said.value, form) if isinstance(said.value, str) else said.value
            piece = Piece(name, value, said.unit, said.rated_V)
            if piece in cubes:
                self.fail(f"{key}.{text}", tr("is listed twice."), tr("Add the numbers up in one line."))
            cubes[piece] = self._count(count, f"{key}.{text}")

    def _table(self, value: object, key: str) -> dict[str, Any]:
        if not isinstance(value, dict):
            self.fail(key, tr("{value} is no table.", value=brief(value)), f"[{key}]")
        return value

    def _count(self, value: object, key: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST:
            self.fail(
                key,
                tr("{value} is no number of pieces.", value=brief(value)),
                tr("Write a whole number from 0 to {most}.", most=MOST),
            )
        return value

    def _known(self, table: Iterable[str], key: str, accepted: tuple[str, ...]) -> None:
        for name in table:
            if name not in accepted:
                self.fail(
                    f"{key}.{name}".strip("."),
                    tr("'{name}' is not known here.", name=name),
                    tr("Accepted: {names}.", names=", ".join(accepted)),
                )
