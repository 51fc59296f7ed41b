"""A change told as a finding: where, what is there, what was expected, why it matters, how to mend."""

from __future__ import annotations

from dataclasses import dataclass

from snapcheck.board import Cell, Cube, Lead, Seam, Side, SocketEnd, TapEnd
from snapcheck.check._align import Both
from snapcheck.check._changes import CellChange, Change, Nearness, nearness
from snapcheck.check._settings import ComparisonSettings
from snapcheck.circuit import (
    capital,
    cube_words,
    end_words,
    lead_words,
    listing,
    terminal_word,
    value_words,
)
from snapcheck.devices import Store
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit
from snapcheck.words import numeral, tr

_SOURCE = "comparison with the plan"


@dataclass(frozen=True)
class Teller:
    """Turns changes of one comparison into findings.

    Attributes:
        columns, rows: size of the built plate.
        own_layout: the build is laid out in its own way, so the plan says nothing of its cells.
    """

    both: Both
    kit: Kit
    settings: ComparisonSettings
    columns: int
    rows: int
    own_layout: bool = False

    def place(self, cell: Cell) -> str:
        """The build's name for a cell of both; off its plate, the plan's name."""
        if self.on_plate(cell):
            return str(self.both.built_cell(cell))
        return tr("{cell} of the plan (off this plate)", cell=self.both.plan_cell(cell))

    def on_plate(self, cell: Cell) -> bool:
        """True when the build's plate has this cell."""
        own = self.both.built_cell(cell)
        return 0 <= own.row < self.rows and 0 <= own.column < self.columns

    def finding(self, change: CellChange, harmless: bool, effect: str) -> Finding:
        """The finding for one change; `effect` says what it joins or separates."""
        match change.change:
            case Change.MISSING | Change.EXTRA | Change.WRONG_KIND | Change.WRONG_VALUE:
                words = self._content(change)
            case Change.TURNED | Change.REVERSED:
                words = self._turned(change)
            case Change.SWAPPED | Change.MOVED:
                words = self._places(change)
            case _:
                words = self._lead_or_tap(change)
        why, severity = words.why, words.severity
        if harmless:
            severity = Severity.NOTE
            why = tr("It makes no difference to the circuit.")
            effect = ""
        first = change.cells[0]
        here = change.cells[-1] if change.change is Change.MOVED else first
        own = self.both
        return Finding(
            rule=change.change.value,
            severity=severity,
            cells=tuple(own.built_cell(c) for c in change.cells if self.on_plate(c)),
            title=words.title,
            expected=words.expected,
            found=words.found,
            why=why,
            effect=effect,
            mend=words.mend if not harmless else tr("Nothing need be done."),
            side=words.side,
            seam=words.seam,
            lead=words.lead,
            expected_lead=words.expected_lead,
            expected_cube=own.plan.cubes.get(first) if change.cubes else None,
            found_cube=own.built.cubes.get(here) if change.cubes else None,
            data={"harmless": harmless},
            source=_SOURCE,
        )

    def _cube(self, cube: Cube | None) -> str:
        return cube_words(cube, self.kit)

    # -------------------------------------------------------- what stands in a cell

    def _content(self, change: CellChange) -> _Words:
        cell = change.cells[0]
        place, found = self.place(cell), change.cubes[cell]
        planned = self.both.plan.cubes.get(cell)
        words = _Words(expected=self._standing(cell, planned), found=self._standing(cell, found))
        over = self.both.built.anchor_at(cell)
        if change.change is Change.MISSING:
            cube = self._cube(planned)
            words.title = (
                tr("{place} is empty; laid out like this, the plan needs there: {cube}.",
                   place=place, cube=cube)
                if self.own_layout
                else tr("{place} is empty; the plan has there: {cube}.", place=place, cube=cube)
            )  # fmt: skip
            if over is not None and found is None:
                cover = self._cube(self.both.built.cubes[over])
                words.title = tr("The {cover} at {anchor} covers {place}; the plan has there: {cube}.",
                                 cover=cover, anchor=self.place(over), place=place,
                                 cube=self._cube(planned))  # fmt: skip
                words.found = self._standing(over, self.both.built.cubes[over])
            words.why = self._missing_why(planned)
            words.mend = tr("Put the {cube} into {place}, {facing}.",
                            cube=self._cube(planned), place=place, facing=self._facing(planned))  # fmt: skip
        elif change.change is Change.EXTRA:
            words.title = tr("{place} holds a cube that the plan does not have: {cube}.",
                             place=place, cube=self._cube(found))  # fmt: skip
            words.why = tr("It joins what the plan keeps apart, or adds a part to it.")
            words.mend = tr("Take the {cube} out of {place}.", cube=self._cube(found), place=place)
            if found is not None and not self._wire(found):
                words.severity = Severity.DEVIATION
        elif change.change is Change.WRONG_KIND:
            words.title = tr("{place} holds the wrong cube: {found} instead of {planned}.",
                             place=place, found=self._cube(found), planned=self._cube(planned))  # fmt: skip
            words.why = tr("Another kind of part does another job.")
            words.mend = tr("Exchange it for the {cube}, {facing}.",
                            cube=self._cube(planned), facing=self._facing(planned))  # fmt: skip
        elif planned is not None and found is not None:
            self._value(words, place, planned, found)
            self._also_turned(words, planned, found)
        return words

    def _standing(self, cell: Cell, cube: Cube | None) -> str:
        """``Resistor 4k7.``; of a cube of several cells also which."""
        words = f"{capital(self._cube(cube))}."
        if cube is None or not cube.large:
            return words
        cells = listing(map(self.place, cube.cells(cell)))
        return words + " " + tr("It covers {cells}.", cells=cells)

    def _also_turned(self, words: _Words, planned: Cube, found: Cube) -> None:
        """Another value, and the wrong way round as well."""
        if self.kit[planned.kind].same_turn(planned.turn, found.turn):
            return
        words.title = tr("{title} It is also turned.", title=words.title)
        words.expected = tr("{value}. {stands}", value=words.expected, stands=self._stands(planned))
        words.found = tr("{value}. {stands}", value=words.found, stands=self._stands(found))
        why, severity = self._reversed_why(planned)
        if (planned.turn - found.turn) % 360 != 180:
            why, severity = tr("Its contacts meet the wrong neighbours."), Severity.FAULT
        if severity < words.severity:
            words.why, words.severity = why, severity
        words.mend = f"{words.mend} {tr('It stands {facing}.', facing=self._facing(planned))}"
        if severity is Severity.DANGER:
            words.mend = f"{tr('Do not power.')} {words.mend}"

    def _value(self, words: _Words, place: str, planned: Cube, found: Cube) -> None:
        kind = self.kit[planned.kind]
        want, got = value_words(planned, kind), value_words(found, kind)
        if found.value is None:
            words.title = tr("The value of the {kind} at {place} could not be read.",
                             kind=tr(kind.title), place=place)  # fmt: skip
            words.found, words.severity = tr("No value was read."), Severity.QUESTION
            words.why = tr("The plan asks for {value}; another value may work differently.", value=want)
            words.mend = tr("Look at the cube: is it {value}?", value=want)
            return
        near = nearness(kind, planned, found, self.settings.near_ratio, self.settings.far_ratio)
        words.title = tr("The {kind} at {place} is {found} instead of {planned}.",
                         kind=tr(kind.title), place=place, found=got, planned=want)  # fmt: skip
        words.expected, words.found = want, got
        words.severity = {
            Nearness.WITHIN: Severity.NOTE,
            Nearness.OUTRAGEOUS: Severity.FAULT,
        }.get(near, Severity.DEVIATION)
        words.why = self._value_why(planned, found, near)
        words.mend = tr("Exchange it for {value}.", value=want)
        if near is Nearness.WITHIN:
            words.mend = tr("Nothing need be done.")

    def _value_why(self, planned: Cube, found: Cube, near: Nearness) -> str:
        a, b = planned.value, found.value
        if near is Nearness.WITHIN:
            return tr("That lies within the tolerance of such parts.")
        if isinstance(a, float | int) and isinstance(b, float | int) and 0 in (a, b):
            return tr("Zero ohms is a plain link, not a resistance.")
        if not isinstance(a, float | int) or not isinstance(b, float | int) or a <= 0 or b <= 0:
            return tr("Another type has other limits and other properties.")
        if b > a:
            return tr("That is {times} times as much as planned.", times=numeral(f"{b / a:.3g}"))
        return tr("That is only {percent} % of what is planned.", percent=numeral(f"{100 * b / a:.2g}"))

    def _missing_why(self, planned: Cube | None) -> str:
        if planned is None:
            return ""
        if self.kit[planned.kind].device.grounds:
            return tr("Without the ground cube this place does not reach the plate.")
        return tr("Without the wire the circuit is open here.") if self._wire(planned) else \
            tr("Without this part the circuit is not the one that was planned.")  # fmt: skip

    def _wire(self, cube: Cube) -> bool:
        return self.kit[cube.kind].device.family == "wire"

    # -------------------------------------------------------- which way it stands

    def _turned(self, change: CellChange) -> _Words:
        cell = change.cells[0]
        planned, found = self.both.plan.cubes[cell], self.both.built.cubes[cell]
        kind, place = self.kit[planned.kind], self.place(cell)
        cube = self._cube(planned)
        words = _Words(expected=self._stands(planned), found=self._stands(found))
        if change.change is Change.REVERSED:
            words.title = tr("The {cube} at {place} is the wrong way round.", cube=cube, place=place)
            words.mend = tr("Turn the cube at {place} by half a turn, {facing}.",
                            place=place, facing=self._facing(planned))  # fmt: skip
            words.why, words.severity = self._reversed_why(planned)
        else:
            words.title = tr("The {cube} at {place} is turned.", cube=cube, place=place)
            quarter = (planned.turn - found.turn) % 360
            how = {
                90: tr("by a quarter turn to the right"),
                180: tr("by half a turn"),
                270: tr("by a quarter turn to the left"),
            }[quarter]
            words.mend = tr("Turn the cube at {place} {how}, {facing}.",
                            place=place, how=how, facing=self._facing(planned))  # fmt: skip
            words.why = tr("Its contacts meet the wrong neighbours.")
        if words.severity is Severity.DANGER:
            words.mend = tr("Do not power.") + " " + words.mend
        if kind.marked in kind.faces:
            words.side = kind.faces[kind.marked].turned(found.turn)
        return words

    def _reversed_why(self, cube: Cube) -> tuple[str, Severity]:
        device = self.kit[cube.kind].device
        if device.store is Store.CHARGE:
            return (
                tr("With reversed voltage an electrolytic capacitor heats up and can burst."),
                Severity.DANGER,
            )
        if device.supplies:
            return (
                tr("Everything gets its voltage backwards: transistors and electrolytic capacitors suffer."),
                Severity.DANGER,
            )
        if device.one_way:
            return tr("A diode conducts one way only."), Severity.FAULT
        return tr("It works one way round only."), Severity.FAULT

    def _stands(self, cube: Cube) -> str:
        """``Plus is on the left.``"""
        kind = self.kit[cube.kind]
        if kind.marked:
            side = kind.faces[kind.marked].turned(cube.turn)
            return tr("{mark} is {side}.", mark=capital(_mark_word(kind.marked)), side=_on(side))
        sides = listing(dict.fromkeys(_on(c.side.turned(cube.turn)) for c in kind.contacts))
        return tr("Its contacts are {sides}.", sides=sides)

    def _facing(self, cube: Cube | None) -> str:
        """``plus on the left``; ``contacts on the right and at the bottom``."""
        if cube is None:
            return ""
        kind = self.kit[cube.kind]
        if kind.marked:
            side = kind.faces[kind.marked].turned(cube.turn)
            return tr("{mark} {side}", mark=_mark_word(kind.marked), side=_on(side))
        sides = listing(dict.fromkeys(_on(c.side.turned(cube.turn)) for c in kind.contacts))
        return tr("contacts {sides}", sides=sides)

    # -------------------------------------------------------- swapped and moved

    def _places(self, change: CellChange) -> _Words:
        plan = self.both.plan.cubes
        if change.change is Change.SWAPPED:
            a, b = change.cells[:2]
            here, there = self._exchanged(change)
            words = _Words(
                title=tr("The {one} and the {two} at {a} and {b} are swapped.",
                         one=self._cube(plan[a]), two=self._cube(plan[b]), a=self.place(a), b=self.place(b)),
                expected=tr("{one} at {a}, {two} at {b}.", one=capital(self._cube(plan[a])), a=self.place(a),
                            two=self._cube(plan[b]), b=self.place(b)),
                found=tr("{two} at {a}, {one} at {b}.", one=self._cube(plan[a]), a=self.place(there),
                         two=capital(self._cube(plan[b])), b=self.place(here)),
                why=tr("Each does the other's job."),
                mend=tr("Exchange the two cubes: at {a} {one}, at {b} {two}.", a=self.place(a),
                        b=self.place(b), one=self._facing(plan[a]), two=self._facing(plan[b])),
            )  # fmt: skip
            if plan[a].kind == plan[b].kind:
                words.severity = Severity.DEVIATION
            return words
        source = [c for c in change.cells if c in plan and self._left(change, c)]
        shift = self._shift(change.step)
        if len(source) == 1:
            a = source[0]
            b = Cell(a.row + change.step[1], a.column + change.step[0])
            return _Words(
                title=tr("The {cube} stands at {b} instead of {a}.",
                         cube=self._cube(plan[a]), a=self.place(a), b=self.place(b)),
                expected=tr("It stands at {a}, {facing}.", a=self.place(a), facing=self._facing(plan[a])),
                found=tr("It stands at {b}, {shift}.", b=self.place(b), shift=shift),
                why=tr("There it meets the wrong neighbours."),
                mend=tr("Move it from {b} to {a}, {facing}.",
                        a=self.place(a), b=self.place(b), facing=self._facing(plan[a])),
            )  # fmt: skip
        places = listing(self.place(c) for c in source)
        return _Words(
            title=tr("{count} cubes that belong at {places} stand {shift}.",
                     count=len(source), places=places, shift=shift),
            expected=tr("They stand at {places}.", places=places),
            found=tr("They all stand {shift}.", shift=shift),
            why=tr("There they meet the wrong neighbours."),
            mend=tr("Move them back together."),
        )  # fmt: skip

    def _exchanged(self, change: CellChange) -> tuple[Cell, Cell]:
        """Where each of two swapped cubes stands: of different size, not just where the other was."""
        a, b = change.cells[:2]
        if len(change.cells) == 2:
            return b, a
        plan, built = self.both.plan.cubes, change.cubes
        there = [c for c in change.cells if built.get(c) is not None]
        first = next(c for c in there if built[c].kind == plan[a].kind and built[c].size == plan[a].size)  # type: ignore[union-attr]
        return first, next(c for c in there if c != first)

    def _left(self, change: CellChange, cell: Cell) -> bool:
        target = Cell(cell.row + change.step[1], cell.column + change.step[0])
        found, planned = change.cubes.get(target), self.both.plan.cubes.get(cell)
        return found is not None and planned is not None and found.kind == planned.kind

    def _shift(self, step: tuple[int, int]) -> str:
        columns, rows = step
        words = []
        if columns:
            words.append(_cells_off(abs(columns), Side.E if columns > 0 else Side.W))
        if rows:
            words.append(_cells_off(abs(rows), Side.S if rows > 0 else Side.N))
        return listing(words)

    # -------------------------------------------------------- leads and taps

    def _lead_or_tap(self, change: CellChange) -> _Words:
        if change.change in (Change.TAP_MISSING, Change.TAP_EXTRA):
            seam = self._own_seam(next(iter(change.taps_out or change.taps_in)))
            missing = change.change is Change.TAP_MISSING
            return _Words(
                title=tr("The tap at {seam} is missing.", seam=seam)
                if missing
                else tr("There is a tap at {seam} that the plan does not have.", seam=seam),
                why=tr("A lead or probe finds no place there.") if missing else "",
                mend=tr("Push a tap into the seam {seam}.", seam=seam) if missing else tr("Take it out."),
                seam=seam,
                severity=Severity.DEVIATION,
            )
        out = [self._own_lead(x) for x in change.leads_out]
        new = [self._own_lead(x) for x in change.leads_in]
        words = _Words(
            expected=capital(lead_words(out[0])) + "." if out else "",
            found=capital(lead_words(new[0])) + "." if new else tr("No such lead."),
            lead=(new or out)[0],
        )
        if change.change is Change.LEAD_MISSING:
            words.title = tr("{lead} is missing.", lead=capital(lead_words(out[0])))
            words.why = tr("What it should join stays apart.")
            words.mend = tr("Plug it in.")
        elif change.change is Change.LEAD_EXTRA:
            words.title = tr("{lead} is not in the plan.", lead=capital(lead_words(new[0])))
            words.why = tr("It joins what should be apart.")
            words.mend = tr("Pull it out.")
        else:
            wrong, right = (
                listing(map(end_words, one.ends - two.ends))  # the other end is where it should be
                for one, two in ((new[0], out[0]), (out[0], new[0]))
            )
            words.title = tr("A lead goes to {wrong} instead of {right}.", wrong=wrong, right=right)
            words.why = tr("It joins the wrong places.")
            words.mend = tr("Move its plug to {right}.", right=right)
            words.expected_lead = out[0]
        return words

    def _own_seam(self, seam: Seam) -> Seam:
        return Seam.between(self.both.built_cell(seam.first), self.both.built_cell(seam.second))

    def _own_lead(self, lead: Lead) -> Lead:
        def own(end: TapEnd | SocketEnd) -> TapEnd | SocketEnd:
            if isinstance(end, TapEnd):
                return TapEnd(self._own_seam(end.seam))
            return SocketEnd(self.both.built_cell(end.cell), end.side)

        return Lead(own(lead.start), own(lead.end))


def _mark_word(mark: str) -> str:
    words = {"stem": tr("the stem"), "wiper": tr("the wiper")}
    return words.get(mark, terminal_word(mark))


def _on(side: Side) -> str:
    return (tr("at the top"), tr("on the right"), tr("at the bottom"), tr("on the left"))[side]


def _cells_off(count: int, side: Side) -> str:
    if count == 1:
        return tr("one cell {side}", side=_towards(side))
    return tr("{count} cells {side}", count=count, side=_towards(side))


def _towards(side: Side) -> str:
    return (tr("too far up"), tr("too far right"), tr("too far down"), tr("too far left"))[side]


@dataclass
class _Words:
    title: str = ""
    expected: str = ""
    found: str = ""
    why: str = ""
    mend: str = ""
    severity: Severity = Severity.FAULT
    side: Side | None = None
    seam: Seam | None = None
    lead: Lead | None = None
    expected_lead: Lead | None = None
