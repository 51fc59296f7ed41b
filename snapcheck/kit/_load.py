"""Reading kits from TOML, with every mistake named by file, key and accepted values."""

from __future__ import annotations

import functools
import importlib.resources
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from snapcheck.datafiles import read_data_text, toml_table
from snapcheck.devices import DEVICES
from snapcheck.errors import InputError
from snapcheck.kit._form import ValueForm
from snapcheck.kit._model import PLATE, Contact, Kind, Kit, inner_ends, value_key
from snapcheck.kit._side import Side
from snapcheck.kit._taught import FORM, Taught, bytes_of
from snapcheck.kit._values import parse_value
from snapcheck.tables import TableReader, listed, type_word
from snapcheck.words import brief, tr

#: name of the bundled kit with chips
CHIPS = "chips"
#: of a kit's file, with what it was taught
MOST_MB = 12
#: characters of a kind's name, which stands in layout files and messages
_LONGEST = 40
_NAME = re.compile(rf"[^\W\d_][\w.-]{{0,{_LONGEST - 1}}}")

#: columns or rows of the largest cube: its cells are called A1 to H8
_LARGEST = 8

RATINGS = (
    "max_power_W", "max_voltage_V", "max_current_A", "max_reverse_V", "max_emitter_base_V", "max_gate_V",
    "max_base_A", "max_input_V", "absolute_V",
    "nominal_current_A", "nominal_voltage_V", "min_voltage_V",
)  # fmt: skip

_KIND_KEYS = (
    "title", "contacts", "footprint", "legs", "symbol_at", "print_at", "plate", "sockets", "marked", "faces",
    "symmetry", "interchangeable", "value", "values", "model", "ratings",
    "parameters", "tolerance", "prefix", "count",
)  # fmt: skip


@functools.cache
def bundled_kit() -> Kit:
    """The kit that comes with snapcheck."""
    resource = importlib.resources.files("snapcheck.kit") / "data" / "workshop.toml"
    return parse_kit(resource.read_text(encoding="utf-8"), "workshop.toml (bundled)")


@functools.cache
def chips_kit() -> Kit:
    """The bundled kit with chips and other cubes of several cells, which are read from photos once they are
    taught."""
    resource = importlib.resources.files("snapcheck.kit") / "data" / "chips.toml"
    return parse_kit(resource.read_text(encoding="utf-8"), "chips.toml (bundled)")


def load_kit(path: str | Path) -> Kit:
    """Read a kit from a TOML file.

    A file with ``based_on = "bundled"`` starts from the bundled kit and adds or replaces kinds and devices;
    one with ``based_on = "chips"`` from the bundled kit with chips, which the name ``chips`` stands for.

    Raises:
        InputError: the file cannot be opened.
        DataError: it is no kit; the message names file, key and what is accepted.
    """
    path = Path(path)
    if str(path) == CHIPS and not path.exists():
        return chips_kit()
    return parse_kit(kit_text(path), str(path))


def kit_text(path: Path) -> str:
    """The text of a kit's file. Raises InputError and DataError."""
    return read_data_text(path, tr("a kit"), MOST_MB, tr("Give the path of a kit (TOML)."))


def parse_kit(text: str, source: str) -> Kit:
    """Read a kit from TOML text; `source` names it in messages. Raises DataError."""
    return _Reader(source).kit(toml_table(text, source))


class _Reader(TableReader):
    """Reads the tables of a kit."""

    def kit(self, data: dict[str, Any]) -> Kit:
        self.known(data, "", ("name", "title", "based_on", "kind", "device", "family", "taught"))
        for needed in ("name", "title"):
            if needed not in data:
                self.fail(needed, tr("is missing."), tr('Add {needed} = "…" at the top.', needed=needed))
        kinds: dict[str, Kind] = {}
        if "based_on" in data:
            base = self.choice(data["based_on"], "based_on", ("bundled", CHIPS))
            kinds.update((chips_kit() if base == CHIPS else bundled_kit()).kinds)
        for name, table in self.table(data.get("kind", {}), "kind").items():
            if not _NAME.fullmatch(name):
                self.fail(
                    f"kind.{name[:_LONGEST]}",
                    tr("a kind's name is one word: a letter, then letters, digits, '-', '_' or '.'."),
                    tr("Write at most {n} characters.", n=_LONGEST),
                )
            kinds[name] = self.kind(name, self.table(table, f"kind.{name}"))
        for sort, add in (("device", self.device), ("family", self.relative)):
            for name, devices in self.table(data.get(sort, {}), sort).items():
                if name not in kinds:
                    self.fail(
                        f"{sort}.{name}",
                        tr("is no kind of this kit."),
                        tr("Accepted: {names}.", names=", ".join(kinds)),
                    )
                for value, table in self.table(devices, f"{sort}.{name}").items():
                    key = f'{sort}.{name}."{value}"'
                    kinds[name] = add(kinds[name], value, self.table(table, key), key)
        if not kinds:
            self.fail(
                "kind", tr("is missing: the kit has no kinds."), tr("Add at least one table [kind.NAME].")
            )
        taught = tuple(
            self.taught(t, f"taught[{n}]")
            for n, t in enumerate(self.tables(data.get("taught", []), "taught"))
        )
        names = self.text(data["name"], "name"), self.text(data["title"], "title")
        return Kit(*names, kinds, self.source, taught)

    def taught(self, table: dict[str, Any], key: str) -> Taught:
        """What was learnt of one artwork."""
        self.known(table, key, ("name", "form", "network", "digest", "data"))
        again = tr("Take a copy that is whole, or teach the kit again.")
        for needed in ("name", "form", "network", "digest", "data"):
            if needed not in table:
                self.fail(f"{key}.{needed}", tr("is missing."), again)
        if table["form"] != FORM:
            self.fail(
                f"{key}.form",
                tr("{form} is not known to this version.", form=brief(table["form"])),
                tr("Use the snapcheck that wrote it, or teach the kit again."),
            )
        name, network, digest, text = (
            self.text(table[k], f"{key}.{k}") for k in ("name", "network", "digest", "data")
        )
        data = bytes_of(text, digest)
        if data is None:
            self.fail(f"{key}.data", tr("what was learnt from photos is damaged."), again)
        return Taught(name, network, data)

    def kind(self, name: str, table: dict[str, Any]) -> Kind:
        key = f"kind.{name}"
        self.known(table, key, _KIND_KEYS)
        legs = "legs" if "legs" in table else "contacts"
        for needed in ("title", legs, "model"):
            if needed not in table:
                self.fail(
                    f"{key}.{needed}",
                    tr("is missing."),
                    tr("Needed: {needed}. Accepted: {names}.", needed=needed, names=", ".join(_KIND_KEYS)),
                )
        size = self.footprint(table.get("footprint", [1, 1]), f"{key}.footprint")
        contacts = self.legs(table, size, key)
        sockets = self.sides(table.get("sockets", {}), f"{key}.sockets")
        terminals = {c.terminal for c in contacts} | set(sockets.values())
        if not contacts:
            self.fail(f"{key}.{legs}", tr("has no contact."), tr('Write, say, { W = "a", E = "b" }.'))
        on_plate = self.flag(table.get("plate", False), f"{key}.plate")
        if PLATE in terminals and not on_plate:
            self.fail(
                f"{key}.plate",
                tr("is false, yet a contact is called 'plate'."),
                tr("Write plate = true."),
            )
        form = ValueForm(
            self.choice(table.get("value", "none"), f"{key}.value", [f.value for f in ValueForm])
        )
        symmetry = table.get("symmetry", 360)
        if symmetry not in (90, 180, 360):
            self.fail(
                f"{key}.symmetry",
                tr("{symmetry} is not accepted.", symmetry=brief(symmetry)),
                tr("Accepted: 90, 180, 360."),
            )
        model = self.choice(table["model"], f"{key}.model", DEVICES)
        faces = self.faces(contacts, table.get("faces", {}), f"{key}.faces")
        marked = self.text(table.get("marked", ""), f"{key}.marked")
        if marked and marked not in faces:
            self.fail(
                f"{key}.marked",
                tr("'{marked}' is no terminal or face.", marked=marked),
                tr("Accepted: {names}.", names=listed(faces)),
            )
        count = table.get("count")
        if count is not None and (isinstance(count, bool) or not isinstance(count, int) or count < 0):
            self.fail(
                f"{key}.count",
                tr("{count} is no count.", count=brief(count)),
                tr("Write a whole number, or leave it out."),
            )
        tolerance = self.number(table.get("tolerance", 0.0), f"{key}.tolerance")
        if not 0 <= tolerance < 1:
            self.fail(
                f"{key}.tolerance",
                tr("{tolerance:g} is not in 0 to 1.", tolerance=tolerance),
                tr("Write 0.05 for 5 %."),
            )
        kind = Kind(
            name=name,
            title=self.text(table["title"], f"{key}.title"),
            contacts=contacts,
            plate_terminals=frozenset({PLATE}) if on_plate else frozenset(),
            sockets=sockets,
            marked=marked,
            faces=faces,
            symmetry=int(symmetry),
            interchangeable=self.groups(
                table.get("interchangeable", []), terminals, f"{key}.interchangeable"
            ),
            value_form=form,
            values=self.values(table.get("values", []), form, f"{key}.values"),
            model=model,
            ratings=self.ratings(table.get("ratings", {}), f"{key}.ratings"),
            parameters=self.numbers(table.get("parameters", {}), f"{key}.parameters"),
            tolerance=tolerance,
            prefix=self.text(table.get("prefix", ""), f"{key}.prefix"),
            count=count,
            wire=model == "wire",
            size=size,
            symbol_at=self.spot(table.get("symbol_at"), size, f"{key}.symbol_at"),
            print_at=self.spot(table.get("print_at"), size, f"{key}.print_at"),
        )
        self.symmetry_holds(kind, f"{key}.symmetry")
        self.terminals_fit(kind, f"{key}.{legs}")
        return kind

    def terminals_fit(self, kind: Kind, key: str) -> None:
        """Rule checks and simulation ask for terminals by name."""
        device, needed = kind.device, kind.device.legs
        if needed and set(kind.terminals) != set(needed):
            self.fail(
                key,
                tr(
                    "gives a {model} the terminals {names}.",
                    model=kind.model,
                    names=listed(kind.terminals),
                ),
                tr("Needed by this model: {names}.", names=", ".join(needed)),
            )
        if device.between_legs:
            for name, ohm in kind.parameters.items():
                ends = set(inner_ends(name)) & set(kind.terminals)
                if len(ends) < 2 or not name.endswith("_ohm") or ohm <= 0:
                    self.fail(
                        f"kind.{kind.name}.parameters.{name}",
                        tr("is no resistance between two legs."),
                        tr("Write LEG-LEG_ohm, with two of {names}.", names=listed(kind.terminals)),
                    )
        if device.count and len(kind.terminals) != device.count:
            self.fail(
                key,
                tr("gives a {model} {len} terminals.", model=kind.model, len=len(kind.terminals)),
                tr('Needed by this model: two of different names, such as { W = "a", E = "b" }.'),
            )

    def symmetry_holds(self, kind: Kind, key: str) -> None:
        """A symmetry that moves a contact to a blank side cannot be true."""
        turn = kind.symmetry % 360
        if (kind.lies(turn), kind.edges(turn)) != (kind.size, kind.edges(0)):
            self.fail(
                key,
                tr("{symmetry} moves a contact to a blank side.", symmetry=kind.symmetry),
                tr("Accepted here: 360 (none)."),
            )

    def footprint(self, value: object, key: str) -> tuple[int, int]:
        """Columns and rows of cells that a kind covers at turn 0."""
        if isinstance(value, list) and len(value) == 2:
            columns, rows = value
            if all(type(n) is int and 1 <= n <= _LARGEST for n in (columns, rows)):
                return columns, rows
        self.fail(
            key,
            tr("{value} is no footprint.", value=brief(value)),
            tr("Write columns and rows, each 1 to {most}: [2, 1].", most=_LARGEST),
        )

    def legs(self, table: Mapping[str, Any], size: tuple[int, int], key: str) -> tuple[Contact, ...]:
        """The contacts: `legs`, or `contacts` as its short form for a kind of one cell."""
        if "legs" not in table:
            if size != (1, 1):
                self.fail(
                    f"{key}.contacts",
                    tr("does not say on which of several cells a contact lies."),
                    tr('Write legs = [{ name = "a", cell = "A1", side = "W" }, …] instead.'),
                )
            sides = self.sides(table["contacts"], f"{key}.contacts")
            return tuple(Contact(side, terminal) for side, terminal in sides.items())
        if "contacts" in table:
            self.fail(f"{key}.contacts", tr("is given beside legs."), tr("Keep one of them."))
        legs = table["legs"]
        if not isinstance(legs, list):
            self.fail(
                f"{key}.legs",
                tr("is {type_word}, not a list.", type_word=type_word(legs)),
                tr('Write legs = [{ name = "a", cell = "A1", side = "W" }, …] instead.'),
            )
        found: dict[tuple[int, int, Side], Contact] = {}
        for number, item in enumerate(legs):
            contact = self.leg(item, size, f"{key}.legs[{number}]")
            if contact.edge in found:
                self.fail(
                    f"{key}.legs[{number}]",
                    tr("lies where the leg '{name}' lies.", name=found[contact.edge].terminal),
                    tr("Every edge of a cell takes one leg."),
                )
            found[contact.edge] = contact
        return tuple(found.values())

    def leg(self, item: object, size: tuple[int, int], key: str) -> Contact:
        """One leg: its name, a cell of the footprint (A1 is the upper left one), and the side there."""
        table = self.table(item, key)
        self.known(table, key, ("name", "cell", "side"))
        for needed in ("name", "side"):
            if needed not in table:
                self.fail(f"{key}.{needed}", tr("is missing."), tr('Write {needed} = "…".', needed=needed))
        columns, rows = size
        cells = {f"{chr(65 + c)}{r + 1}": (r, c) for r in range(rows) for c in range(columns)}
        row, column = cells[self.choice(table.get("cell", "A1"), f"{key}.cell", cells)]
        side = Side[self.choice(table["side"], f"{key}.side", [s.name for s in Side])]
        outside = {
            Side.N: row == 0,
            Side.E: column == columns - 1,
            Side.S: row == rows - 1,
            Side.W: column == 0,
        }
        if not outside[side]:
            self.fail(
                f"{key}.side",
                tr("{side} of that cell lies inside the cube.", side=side.name),
                tr("Accepted there: {names}.", names=", ".join(s.name for s in Side if outside[s]) or "-"),
            )
        return Contact(side, self.text(table["name"], f"{key}.name"), row, column)

    def spot(self, value: object, size: tuple[int, int], key: str) -> tuple[float, float] | None:
        """A point of the cube's top at turn 0, in cells right and down from its upper left corner."""
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 2:
            self.fail(key, tr("{value} is no place.", value=brief(value)), tr("Write, say, [0.5, 0.5]."))
        x, y = (self.number(n, key) for n in value)
        if not (0 <= x <= size[0] and 0 <= y <= size[1]):
            self.fail(key, tr("{value} is no place.", value=brief(value)), tr("Write, say, [0.5, 0.5]."))
        return x, y

    def sides(self, value: object, key: str) -> dict[Side, str]:
        table = self.table(value, key)
        self.known(table, key, [side.name for side in Side])
        return {Side[name]: self.text(terminal, f"{key}.{name}") for name, terminal in table.items()}

    def faces(self, contacts: tuple[Contact, ...], value: object, key: str) -> dict[str, Side]:
        names = [c.terminal for c in contacts]
        faces = {c.terminal: c.side for c in contacts if names.count(c.terminal) == 1}
        for word, side in self.table(value, key).items():
            faces[word] = Side[self.choice(side, f"{key}.{word}", [s.name for s in Side])]
        return faces

    def groups(self, value: object, terminals: set[str], key: str) -> tuple[frozenset[str], ...]:
        if not isinstance(value, list) or not all(isinstance(group, list) for group in value):
            self.fail(key, tr("is no list of lists."), tr('Write, say, [["a", "b"]].'))
        for group in value:
            for name in group:
                self.choice(name, key, sorted(terminals))
        return tuple(frozenset(group) for group in value)

    def values(self, value: object, form: ValueForm, key: str) -> tuple[float | str, ...]:
        if not isinstance(value, list):
            self.fail(
                key,
                tr("is {type_word}, not a list.", type_word=type_word(value)),
                tr('Write, say, ["4k7", "10k"].'),
            )
        return tuple(self.value(str(item), form, key) for item in value)

    def value(self, text: str, form: ValueForm, key: str) -> float | str:
        try:
            return parse_value(text, form).value
        except InputError as error:
            self.fail(key, error.message, error.way_out)

    def numbers(self, value: object, key: str) -> dict[str, float]:
        table = self.table(value, key)
        return {name: self.number(item, f"{key}.{name}") for name, item in table.items()}

    def ratings(self, value: object, key: str) -> dict[str, float]:
        ratings = self.numbers(value, key)
        self.known(ratings, key, RATINGS)
        for name, number in ratings.items():
            if number <= 0:
                self.fail(
                    f"{key}.{name}",
                    tr("{number:g} is not above zero.", number=number),
                    tr("Write a positive number."),
                )
        return ratings

    def device(self, kind: Kind, text: str, table: dict[str, Any], key: str) -> Kind:
        """`kind` with the data of one printed type or value added; also joins the kit's values."""
        if kind.value_form is ValueForm.NONE:
            self.fail(
                key,
                tr("nothing is printed on a {name}.", name=kind.name),
                tr("Put the data into its [kind] table."),
            )
        self.known(table, key, ("ratings", "parameters"))
        value = self.value(text, kind.value_form, key)
        name = value_key(value)
        ratings = self.ratings(table.get("ratings", {}), f"{key}.ratings")
        parameters = self.numbers(table.get("parameters", {}), f"{key}.parameters")
        return replace(
            kind,
            values=kind.values if value in kind.values else (*kind.values, value),
            ratings_by_value={**kind.ratings_by_value, name: ratings},
            parameters_by_value={**kind.parameters_by_value, name: parameters},
        )

    def relative(self, kind: Kind, text: str, table: dict[str, Any], key: str) -> Kind:
        """`kind` with a type that is not in the box, but of the family of one that has data."""
        self.known(table, key, ("like", "ratings", "parameters"))
        like = self.choice(table.get("like"), f"{key}.like", tuple(kind.parameters_by_value))
        name = value_key(self.value(text, kind.value_form, key))
        ratings = self.ratings(table.get("ratings", {}), f"{key}.ratings")
        parameters = self.numbers(table.get("parameters", {}), f"{key}.parameters")
        return replace(
            kind,
            ratings_by_value={**kind.ratings_by_value, name: {**kind.ratings_by_value[like], **ratings}},
            parameters_by_value={
                **kind.parameters_by_value,
                name: {**kind.parameters_by_value[like], **parameters},
            },
        )
