"""The layout file: a board or design as text that a teacher types and reads aloud.

::

    plate 9 x 6
    title  Lamp that comes on at dusk
    input  A3
    expect voltage at C4 collector 4.5 V ± 20 %

    B2 battery 9V plus=up
    C3 resistor 4k7 turn=90
    C4 npn BC547 base=left

    tap  C4|D4
    lead F1 to C4|D4
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from snapcheck.board._board import TURNS, Board, Cube, Lead, LeadEnd, SocketEnd, TapEnd
from snapcheck.board._design import MOST_V, Conditions, Design, Expectation, Probe
from snapcheck.board._figures import Scene, read_expectation, read_number, read_settings
from snapcheck.board._place import Cell, Seam
from snapcheck.board._stages import read_stages
from snapcheck.board._words import (
    SIDES_ACCEPTED,
    Line,
    Word,
    did_you_mean,
    joined,
    kind_meant,
    sides_of,
    split_lines,
    unquote,
)
from snapcheck.devices import Drive
from snapcheck.errors import InputError
from snapcheck.kit import PLATE, Kind, Kit, Side, ValueForm, parse_value
from snapcheck.words import tr

_CELL = re.compile(r"[A-Za-z]{1,2}[0-9]{1,2}")
_KEYWORDS = ("plate", "title", "purpose", "input", "output", "set", "expect", "tap", "lead", "stage", "note")


def parse_layout(text: str, name: str, kit: Kit) -> Design:
    """Read a layout file.

    Args:
        text: the file's text.
        name: its name, for messages.
        kit: the kinds that may stand on the board.

    Raises:
        InputError: names file, line, column and what is accepted.
    """
    return _Reader(name, kit).read(text)


class _Reader:
    """Reads line by line; lines that refer to cubes wait until all cubes are known."""

    def __init__(self, name: str, kit: Kit) -> None:
        self.name = name
        self.kit = kit
        self.size: tuple[int, int] | None = None
        self.size_line: Line | None = None
        self.title: str | None = None
        self.purpose: list[str] = []
        self.cubes: dict[Cell, Cube] = {}
        self.cube_lines: dict[Cell, tuple[Line, Word]] = {}
        #: cell to the anchor of the cube that covers it
        self.covered: dict[Cell, Cell] = {}
        self.taps: dict[Seam, tuple[Line, Word]] = {}
        self.leads: dict[Lead, Line] = {}
        self.conditions = Conditions()
        self.probes: dict[str, Probe] = {}
        self.input_V: float | None = None
        self.figures: list[Expectation] = []
        self.scene = Scene(kit, self.cubes)

    def read(self, text: str) -> Design:
        verbs: dict[str, Callable[[Line], None]] = {
            "plate": self.read_plate,
            "title": self.read_title,
            "purpose": self.read_purpose,
            "tap": self.read_tap,
            "doubt": self.read_doubt,
        }
        postponed = {"lead": 0, "set": 1, "input": 2, "output": 2, "expect": 3, "stage": 4, "note": 4}
        late: list[list[Line]] = [[], [], [], [], []]
        for line in split_lines(text, self.name):
            word = line.words[0].text
            if _CELL.fullmatch(word):
                self.read_cube(line)
            elif word.lower() in verbs:
                verbs[word.lower()](line)
            elif word.lower() in postponed:
                late[postponed[word.lower()]].append(line)
            else:
                hint = did_you_mean(word, _KEYWORDS)
                line.fail(
                    line.words[0],
                    tr(
                        "'{word}' is neither a cell nor a word of layout files.{hint}",
                        word=word[:40],
                        hint=hint,
                    ),
                    tr("Accepted: a cell such as C3, or {names}.", names=", ".join(_KEYWORDS)),
                )
        self.check_plate()
        readers = (self.read_lead, self.read_set, self.read_probe, self.read_expect)
        for reader, lines in zip(readers, late[:4], strict=True):
            for line in lines:
                reader(line)
        assert self.size is not None
        board = Board(*self.size, self.cubes, frozenset(self.taps), tuple(self.leads))
        note, stages = read_stages(late[4], board)
        return Design(
            board,
            self.title or "",
            "\n".join(self.purpose),
            self.probes.get("input"),
            self.probes.get("output"),
            self.conditions,
            tuple(self.figures),
            self.input_V,
            note,
            stages,
        )

    # ------------------------------------------------------------------ head

    def read_plate(self, line: Line) -> None:
        if self.size_line is not None:
            line.fail(
                line.words[0],
                tr("the plate was given before, in line {number}.", number=self.size_line.number),
            )
        match = re.fullmatch(r"(?i)(\d{1,4}) ?(?:x|×|by) ?(\d{1,4})", joined(line.words[1:]))
        if not match:
            at = line.words[1] if len(line.words) > 1 else line.end()
            line.fail(at, tr("the plate's size is not readable."), tr("Write columns x rows: 'plate 9 x 6'."))
        self.size, self.size_line = (int(match[1]), int(match[2])), line
        try:
            Board(*self.size)
        except InputError as error:
            line.fail(line.words[1], error.message, error.way_out)

    def read_doubt(self, line: Line) -> None:
        """What a photo left open must not pass for what stands on the plate."""
        line.fail(
            line.words[0],
            tr("the photo left this in doubt: {what}.", what=joined(line.words[1:])),
            tr(
                "Look at the build, mend the file, and delete this 'doubt' line;"
                " or give the .json file written beside it."
            ),
        )

    def check_plate(self) -> None:
        if self.size is None:
            raise InputError(
                tr("the plate's size is missing."),
                place=self.name,
                way_out=tr("Add a line such as 'plate 9 x 6'."),
            )
        for cell, (line, word) in self.cube_lines.items():
            self.on_plate(line, word, cell)
            if self.cubes[cell].large:
                try:
                    Board(*self.size, {cell: self.cubes[cell]})
                except InputError as error:
                    line.fail(word, error.message, error.way_out)
        for seam, (line, word) in self.taps.items():
            self.on_plate(line, word, seam.first)
            self.on_plate(line, word, seam.second)
            inside = self.covered.get(seam.first)
            if inside is not None and inside == self.covered.get(seam.second):
                line.fail(
                    word,
                    tr("the tap on {seam} would lie inside the cube at {cell}.", seam=seam, cell=inside),
                    tr("A tap sits in the seam between two cubes."),
                )

    def on_plate(self, line: Line, word: Word, cell: Cell) -> None:
        assert self.size is not None
        if cell.column >= self.size[0] or cell.row >= self.size[1]:
            last = Cell(self.size[1] - 1, self.size[0] - 1)
            line.fail(
                word,
                tr(
                    "{cell} lies outside the plate of {size} x {size2}.",
                    cell=cell,
                    size=self.size[0],
                    size2=self.size[1],
                ),
                tr("Cells go from A1 to {last}.", last=last),
            )

    def rest(self, line: Line) -> str:
        """The text behind the first word, as it stands (a # is no comment there)."""
        return " ".join(line.text[line.words[0].column - 1 + len(line.words[0].text) :].split())

    def read_title(self, line: Line) -> None:
        if self.title is not None:
            line.fail(line.words[0], tr("the title was given before."), tr("Keep one of them."))
        self.title = self.rest(line)

    def read_purpose(self, line: Line) -> None:
        self.purpose.append(self.rest(line))

    # ------------------------------------------------------------------ cubes

    def read_cube(self, line: Line) -> None:
        cell = self.parse_cell(line, line.words[0])
        if cell in self.cube_lines:
            first = self.cube_lines[cell][0].number
            line.fail(
                line.words[0],
                tr("{cell} already holds the cube of line {first}.", cell=cell, first=first),
                tr("Remove one of them."),
            )
        if len(line.words) < 2:
            line.fail(
                line.end(), tr("the kind of the cube in {cell} is missing.", cell=cell), self.kinds_accepted()
            )
        name = line.words[1].text.lower()
        if name not in self.kit:
            hint = kind_meant(name, self.kit)
            line.fail(
                line.words[1],
                tr("'{value}' is no kind.{hint}", value=line.words[1].text[:40], hint=hint),
                self.kinds_accepted(),
            )
        split = next((n for n, w in enumerate(line.words) if n > 1 and "=" in w.text), len(line.words))
        cube = self.cube(line, self.kit[name], line.words[2:split], line.words[split:])
        self.room(line, cell, cube)
        self.cubes[cell] = cube
        self.cube_lines[cell] = (line, line.words[0])

    def room(self, line: Line, cell: Cell, cube: Cube) -> None:
        """Two cubes cannot cover one cell."""
        for place in cube.cells(cell):
            other = self.covered.setdefault(place, cell)
            if other != cell:
                line.fail(
                    line.words[0],
                    tr(
                        "{cell} is covered by the {kind} in {other}, line {number}.",
                        cell=place,
                        kind=tr(self.kit[self.cubes[other].kind].title),
                        other=other,
                        number=self.cube_lines[other][0].number,
                    ),
                    tr("Move one of them, or turn it."),
                )

    def kinds_accepted(self) -> str:
        return tr("Accepted: {names}.", names=", ".join(self.kit.kinds))

    def parse_cell(self, line: Line, word: Word) -> Cell:
        try:
            return Cell.parse(word.text)
        except InputError as error:
            line.fail(word, error.message, error.way_out)

    def cube(self, line: Line, kind: Kind, values: Sequence[Word], keys: Sequence[Word]) -> Cube:
        value: float | str | None = None
        printed: str | None = None
        unit = ""
        if values:
            printed = joined(values)
            try:
                parsed = parse_value(printed, kind.value_form)
            except InputError as error:
                line.fail(values[0], f"{tr(kind.title)}: {error.message}", error.way_out)
            value, unit = parsed.value, parsed.unit
        turns: dict[str, tuple[Word, frozenset[int]]] = {}
        for word in keys:
            key, equals, text = word.text.partition("=")
            key = key.lower()
            if not equals or not text:
                line.fail(
                    word,
                    tr("'{word}' is not understood here.", word=word.text[:40]),
                    self.keys_accepted(kind),
                )
            if key == "printed":
                printed = None if text == "none" else unquote(line, word, text)
            elif key == "unit":
                unit = self.unit(line, word, text, kind)
            elif key in turns:
                line.fail(word, tr("'{key}' is given twice.", key=key), tr("Keep one of them."))
            else:
                turns[key] = (word, self.turns(line, word, key, text, kind))
        return Cube(kind.name, self.agreed_turn(line, kind, turns), value, printed, unit, kind.size)

    def unit(self, line: Line, word: Word, text: str, kind: Kind) -> str:
        if kind.value_form is not ValueForm.RANGE or text not in ("V", "mV", "A", "mA", "µA"):
            line.fail(
                word,
                tr("'{text}' does not go with a {kind}.", text=word.text, kind=tr(kind.title)),
                self.keys_accepted(kind),
            )
        return text

    def keys_accepted(self, kind: Kind) -> str:
        words = ["turn=0|90|180|270"]
        words += [f"{face}={{{SIDES_ACCEPTED.replace(', ', '|')}}}" for face in kind.faces]
        words += ["ends=SIDE+SIDE", 'printed="…"']
        return tr("Accepted: {names}.", names=", ".join(words))

    def turns(self, line: Line, word: Word, key: str, text: str, kind: Kind) -> frozenset[int]:
        """The turns that fit one statement about orientation."""
        if key == "turn":
            if not re.fullmatch(r"\d{1,3}°?", text) or int(text.rstrip("°")) not in TURNS:
                line.fail(
                    word,
                    tr("'{text}' is no turn.", text=text[:20]),
                    tr("Accepted: turn=0, 90, 180, 270 (clockwise)."),
                )
            return frozenset({int(text.rstrip("°"))})
        if key == "ends":
            wanted = sides_of(line, word, text)
            ends = {c.side for c in kind.contacts}
            fitting = frozenset(t for t in TURNS if {s.turned(t) for s in ends} == wanted)
            if not fitting:
                line.fail(
                    word,
                    tr("a {kind} cannot have its contacts at {text}.", kind=tr(kind.title), text=text),
                    self.keys_accepted(kind),
                )
            return fitting
        if key not in kind.faces:
            hint = did_you_mean(key, kind.faces)
            line.fail(
                word,
                tr("a {kind} has no '{key}'.{hint}", kind=tr(kind.title), key=key[:20], hint=hint),
                self.keys_accepted(kind),
            )
        sides = sides_of(line, word, text)
        if len(sides) != 1:
            line.fail(
                word,
                tr("{key} can point to one side only.", key=key),
                tr("Accepted: {SIDES_ACCEPTED}.", SIDES_ACCEPTED=SIDES_ACCEPTED),
            )
        side = next(iter(sides))
        return frozenset(t for t in TURNS if kind.faces[key].turned(t) == side)

    def agreed_turn(self, line: Line, kind: Kind, turns: dict[str, tuple[Word, frozenset[int]]]) -> int:
        possible = frozenset(TURNS)
        before: list[str] = []
        for word, fitting in turns.values():
            if not possible & fitting:
                line.fail(
                    word,
                    tr("'{text}' contradicts {names}.", text=word.text, names=" and ".join(before)),
                    tr("Keep what is true."),
                )
            possible &= fitting
            before.append(f"'{word.text}'")
        if not turns and kind.symmetry == 360:
            example = f"{kind.marked}=left" if kind.marked else "ends=right+down"
            line.fail(
                line.end(),
                tr("it is not said which way round the {kind} stands.", kind=tr(kind.title)),
                tr(
                    "Write {example} or turn=0. {accepted}",
                    example=example,
                    accepted=self.keys_accepted(kind),
                ),
            )
        best = min(possible)
        if turns and not all(kind.same_turn(best, turn) for turn in possible):
            first = next(iter(turns.values()))[0]
            still = tr("this leaves more than one turn open ({turns}).", turns=_turns(possible))
            line.fail(first, still, self.keys_accepted(kind))
        return best

    # ------------------------------------------------------------------ taps and leads

    def seam(self, line: Line, word: Word) -> Seam:
        try:
            return Seam.parse(word.text)
        except InputError as error:
            line.fail(word, error.message, error.way_out)

    def read_tap(self, line: Line) -> None:
        if len(line.words) != 2:
            at = line.words[2] if len(line.words) > 2 else line.end()
            line.fail(at, tr("a tap needs one seam."), tr("Write 'tap C4|D4'."))
        seam = self.seam(line, line.words[1])
        if seam in self.taps:
            first = self.taps[seam][0].number
            line.fail(
                line.words[1],
                tr("the tap on {seam} was given before, in line {first}.", seam=seam, first=first),
                tr("Keep one."),
            )
        self.taps[seam] = (line, line.words[1])

    def read_lead(self, line: Line) -> None:
        words = list(line.words[1:])
        loose = bool(words) and words[-1].text.lower() == "loose"
        if loose:
            words.pop()
        names = [w.text.lower() for w in words]
        forms = tr("Write 'lead F1 to C4|D4' or 'lead F1 plate to C4|D4'.")
        if names.count("to") != 1:
            line.fail(words[-1] if words else line.end(), tr("a lead goes from one end to another."), forms)
        split = names.index("to")
        ends = []
        for part in (words[:split], words[split + 1 :]):
            if not part:
                line.fail(words[split], tr("one end of the lead is missing."), forms)
            ends.append(self.end(line, part, loose))
        if ends[0] == ends[1]:
            line.fail(words[0], tr("both ends of the lead are in the same socket."), forms)
        lead = Lead(*ends)
        if lead in self.leads:
            line.fail(
                words[0],
                tr("this lead was given before, in line {number}.", number=self.leads[lead].number),
                tr("Keep one."),
            )
        self.leads[lead] = line

    def end(self, line: Line, words: list[Word], loose: bool) -> LeadEnd:
        """``C4|D4``, ``tap C4|D4``, ``F1``, ``F1 plate``, ``socket F1 E``."""
        hint = "" if loose else tr(" If the plug truly hangs there, end the line with 'loose'.")
        if words[0].text.lower() in ("tap", "socket") and len(words) > 1:
            words = words[1:]
        if "|" in words[0].text:
            if len(words) > 1:
                line.fail(
                    words[1],
                    tr("'{text}' does not belong here.", text=words[1].text),
                    tr("Write 'lead F1 to C4|D4'."),
                )
            seam = self.seam(line, words[0])
            self.on_plate(line, words[0], seam.first)
            self.on_plate(line, words[0], seam.second)
            if seam not in self.taps and not loose:
                line.fail(
                    words[0],
                    tr("no tap sits on {seam}.", seam=seam),
                    tr("Add 'tap {seam}'.{hint}", seam=seam, hint=hint),
                )
            return TapEnd(seam)
        cell = self.parse_cell(line, words[0])
        self.on_plate(line, words[0], cell)
        cell = self.covered.get(cell, cell)
        cube = self.cubes.get(cell)
        sockets = self.kit[cube.kind].sockets if cube else {}
        if not sockets and not loose:
            what = (
                tr("the {kind} there has none", kind=tr(self.kit[cube.kind].title))
                if cube
                else tr("the cell is empty")
            )
            line.fail(
                words[0],
                tr("no socket in {cell}: {what}.", cell=cell, what=what),
                tr("Put a socket cube there.{hint}", hint=hint),
            )
        if len(words) == 1:
            return SocketEnd(cell, Side.E)
        name = words[1].text
        by_terminal = {terminal: side for side, terminal in sockets.items()} or {PLATE: Side.W}
        if name.lower() in by_terminal and len(words) == 2:
            return SocketEnd(cell, by_terminal[name.lower()])
        if name.upper() in ("E", "W") and len(words) == 2:
            return SocketEnd(cell, Side[name.upper()])
        line.fail(
            words[1],
            tr("'{name}' is no socket of {cell}.", name=name, cell=cell),
            tr("Accepted: {names}, E, W.", names=", ".join(by_terminal)),
        )

    # ------------------------------------------------------------------ what it must do

    def read_set(self, line: Line) -> None:
        self.conditions = read_settings(line, line.words[1:], self.scene, self.conditions)

    def read_probe(self, line: Line) -> None:
        name = line.words[0].text.lower()
        if name in self.probes:
            line.fail(line.words[0], tr("the {name} was given before.", name=name), tr("Keep one of them."))
        words = [w for w in line.words[1:] if w.text.lower() not in ("at", "of")]
        if not words:
            line.fail(
                line.end(),
                tr("the place of the {name} is missing.", name=name),
                tr("Write '{name} C4 collector'.", name=name),
            )
        probe, used = self.scene.probe(line, words)
        if name == "input" and len(words) > used:
            self.input_V = self.read_level(line, words[used:], probe)
        elif len(words) > used:
            line.fail(
                words[used],
                tr("'{text}' does not belong here.", text=words[used].text),
                tr("Write '{name} {probe}'.", name=name, probe=probe),
            )
        self.probes[name] = probe

    def read_level(self, line: Line, words: Sequence[Word], probe: Probe) -> float:
        """The amplitude of the signal at the input, V."""
        kind = self.kit[self.cubes[probe.cell].kind]
        if kind.device.drive is Drive.SENSOR:
            line.fail(words[0], tr("how much a microphone gives is said in the kit."), tr("Leave it out."))
        volts, _ = read_number(line, words, "V")
        if not 0 < volts <= MOST_V:
            line.fail(words[0], tr("{volts:g} V is no signal.", volts=volts), tr("Write 'input A3 20 mV'."))
        return volts

    def read_expect(self, line: Line) -> None:
        self.figures.append(
            read_expectation(line, line.words[1:], self.scene, self.conditions, self.probes.get("output"))
        )


def _turns(turns: frozenset[int]) -> str:
    return ", ".join(map(str, sorted(turns)))
