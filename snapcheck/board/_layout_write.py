"""Writing a board or design as a layout file that reads back to the same."""

from __future__ import annotations

import re
from dataclasses import replace

from snapcheck.board._board import Board, Cube, Lead, LeadEnd, TapEnd
from snapcheck.board._design import Conditions, Design, Expectation
from snapcheck.board._figures import Scene, expectation_text, read_expectation, settings_text
from snapcheck.board._place import Cell
from snapcheck.board._stages import stage_lines
from snapcheck.board._words import UNFIT, quote, split_lines
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit, Side, ValueForm, format_value, parse_value
from snapcheck.words import tr

# printed text that may stand without quotes: single spaces, nothing that a reader takes for something else
_BARE = re.compile(r'(?!#)[^\s="]+(?: (?!#)[^\s="]+)*')


def write_layout(board: Board | Design, kit: Kit) -> str:
    """A board or design as text; `parse_layout` gives the same board (and design) back.

    Raises:
        InputError: a cube's kind is not in the kit, or its value cannot be written for that kind.
    """
    design = board if isinstance(board, Design) else Design(board)
    board = design.board
    head = [f"plate {board.columns} x {board.rows}"]
    if design.title:
        head.append(f"title {_plain(design.title)}")
    if design.purpose:
        head += [f"purpose {_plain(line)}".rstrip() for line in design.purpose.split("\n")]
    if design.input:
        level = "" if design.input_V is None else f" {design.input_V!r} V"
        head.append(f"input {design.input}{level}")
    if design.output:
        head.append(f"output {design.output}")
    head += [f"set {setting}" for setting in settings_text(design.conditions, Conditions())]
    head += [f"expect {_figure_text(figure, design, kit)}" for figure in design.expectations]
    blocks = [head]
    rows: dict[int, list[str]] = {}
    for cell, cube in board.cubes.items():
        rows.setdefault(cell.row, []).append(f"{cell} {_cube_text(cell, cube, kit)}")
    blocks += list(rows.values())
    if board.taps or board.leads:
        taps = [f"tap {seam}" for seam in sorted(board.taps)]
        blocks.append(taps + [f"lead {_lead_text(lead, board, kit)}" for lead in board.leads])
    blocks.append(stage_lines(design.note, design.stages))
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _plain(text: str) -> str:
    """One line without odd spaces and without what does not fit into a layout file."""
    return " ".join(UNFIT.sub(" ", text).split())


def _figure_text(figure: Expectation, design: Design, kit: Kit) -> str:
    """The figure in its own words where they still say the same, else in exact numbers."""
    if figure.conditions is not None:
        figure = replace(figure, conditions=_completed(figure.conditions, design, kit))
    lines = list(split_lines(f"expect {figure.text}", "")) if "\n" not in figure.text else []
    if figure.text and len(lines) == 1:
        scene = Scene(kit, design.board.cubes)
        try:
            again = read_expectation(lines[0], lines[0].words[1:], scene, design.conditions, design.output)
        except InputError:
            again = None
        if again == figure:
            return figure.text
    return expectation_text(figure, design.conditions)


def _completed(conditions: Conditions, design: Design, kit: Kit) -> Conditions:
    """Conditions with the rest position of what only the design sets (a file adds to its own settings)."""
    supply, switches, pots = dict(conditions.supply_V), dict(conditions.switches), dict(conditions.pots)
    for cell in design.conditions.supply_V:
        printed = design.board.cubes[cell].value
        if isinstance(printed, float):
            supply.setdefault(cell, printed)
    for cell in design.conditions.switches:
        kind = kit[design.board.cubes[cell].kind]
        switches.setdefault(cell, bool(kind.parameters.get("closed_at_rest", 0)))
    for cell in design.conditions.pots:
        pots.setdefault(cell, 0.5)
    return replace(conditions, supply_V=supply, switches=switches, pots=pots)


def _cube_text(cell: Cell, cube: Cube, kit: Kit) -> str:
    if cube.kind not in kit:
        raise InputError(
            tr("'{kind}' is no kind of the kit '{name}'.", kind=cube.kind, name=kit.name), place=str(cell)
        )
    kind = kit[cube.kind]
    words = [cube.kind, *_value_words(cell, cube, kind)]
    if kind.symmetry == 360:
        words.append(facing(cube, kind))
    elif cube.turn:
        words.append(f"turn={cube.turn}")
    return " ".join(words)


def facing(cube: Cube, kind: Kind) -> str:
    """Which way round a cube stands, as people say it: ``plus=left``, ``ends=right+down``."""
    if kind.marked:
        return f"{kind.marked}={kind.faces[kind.marked].turned(cube.turn).word}"
    ends = dict.fromkeys(contact.side.turned(cube.turn) for contact in kind.contacts)
    turns = [t for t in (0, 90, 180, 270) if {c.side.turned(t) for c in kind.contacts} == ends.keys()]
    return f"ends={'+'.join(side.word for side in ends)}" if turns == [cube.turn] else f"turn={cube.turn}"


def _value_words(cell: Cell, cube: Cube, kind: Kind) -> list[str]:
    if cube.value is None:
        words = [] if cube.printed is None else [f"printed={quote(cube.printed)}"]
        return words + ([f"unit={cube.unit}"] if cube.unit else [])
    text = cube.printed
    if text is None or not _BARE.fullmatch(text) or not _says(text, cube, kind):
        text = format_value(cube.value, kind.value_form, unit=cube.unit) if _printable(cube, kind) else ""
        if not text or not _BARE.fullmatch(text) or not _says(text, cube, kind):
            raise InputError(
                tr("{value!r} is no value of a {kind}.", value=cube.value, kind=tr(kind.title)),
                place=str(cell),
            )
    words = [text]
    if cube.printed != text:
        printed = "none" if cube.printed is None else quote(cube.printed)
        words.append(f"printed={printed}")
    return words


def _printable(cube: Cube, kind: Kind) -> bool:
    return kind.value_form is not ValueForm.NONE and kind.value_form.numeric == isinstance(cube.value, float)


def _says(text: str, cube: Cube, kind: Kind) -> bool:
    """True when reading `text` gives the cube's value and unit."""
    try:
        parsed = parse_value(text, kind.value_form)
    except InputError:
        return False
    return parsed.value == cube.value and parsed.unit == cube.unit


def _lead_text(lead: Lead, board: Board, kit: Kit) -> str:
    text = f"{end_text(lead.start, board, kit)} to {end_text(lead.end, board, kit)}"
    return text if all(_held(end, board, kit) for end in lead.ends) else f"{text} loose"


def _held(end: LeadEnd, board: Board, kit: Kit) -> bool:
    if isinstance(end, TapEnd):
        return end.seam in board.taps
    cube = board.cubes.get(end.cell)
    return cube is not None and end.side in kit[cube.kind].sockets


def end_text(end: LeadEnd, board: Board, kit: Kit) -> str:
    """An end as the line of a lead has it: ``C4|D4``, ``F1``, ``F1 plate``."""
    if isinstance(end, TapEnd):
        return str(end.seam)
    if end.side is Side.E:
        return str(end.cell)
    cube = board.cubes.get(end.cell)
    terminal = kit[cube.kind].sockets.get(end.side) if cube else None
    return f"{end.cell} {terminal or end.side.name}"
