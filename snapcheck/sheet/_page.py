"""The build sheet as one HTML page, which prints and makes the PDF."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterable
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Literal

from snapcheck import __version__
from snapcheck.board import PITCH, STEP, Board, Cell, Probe, TapEnd
from snapcheck.circuit import Circuit, cube_words, listing
from snapcheck.report import (
    INK,
    Window,
    cautions,
    detail_svg,
    drawing_svg,
    foot_css,
    net_colours,
    pages,
    schematic_svg,
    style,
    window_of,
)
from snapcheck.sheet._order import touching
from snapcheck.sheet._readings import Reading, StageCheck
from snapcheck.sheet._sheet import Sheet, conditions_words
from snapcheck.sheet._steps import Step
from snapcheck.sheet._words import facing_words, matters, stage_title
from snapcheck.simulate import figure_text, name_of, range_text
from snapcheck.words import active_language, tr

if TYPE_CHECKING:
    import jinja2
    from markupsafe import Markup

Paper = Literal["a4", "letter"]
#: circuit drawings up to this width, in their units, stand beside the plate
_NARROW = 620
#: steps beside each other on paper
_ACROSS = 3
#: cells that a step's picture shows around the new cubes, and how small it may be
_AROUND, _LEAST = 1, (5, 3)


def sheet_html(sheet: Sheet, *, paper: Paper = "a4", for_pdf: bool = False) -> str:
    """The page as HTML: one file, no network, no script.

    Args:
        sheet: what to show.
        paper: size of the printed pages.
        for_pdf: drawings as pictures of their own, which a PDF is made of in much less time.
    """
    course, design = sheet.course, sheet.design
    title = design.title or tr("Untitled design")
    places = {course.circuit.net_of(p.place.cell, p.place.terminal): p.number for p in sheet.expected.points}
    numbers = {net: number for net, number in places.items() if net is not None}
    circuit = schematic_svg(course.circuit, design, net_colours(course.circuit), points=numbers)
    width = re.search(r' width="([0-9.]+)"', circuit.partition(">")[0])
    kinds = [cube.kind for cube in design.board.cubes.values()]
    size = f"@media print{{@page{{size:{'letter' if paper == 'letter' else 'A4'}}}}}"
    points = [
        {"number": p.number, "words": p.words, "readings": [band_words(r) for r in p.readings]}
        for p in sheet.expected.points
    ]
    shown = _as_picture if for_pdf else _inline
    return _template().render(
        tr=tr,
        picture=shown,
        lang=active_language(),
        program=f"snapcheck {__version__}",
        css=style() + _data("sheet.css") + size + foot_css(f"{title} · {tr('Build sheet')}"),
        title=title,
        purpose=design.purpose,
        note=design.note,
        circuit_svg=circuit,
        wide=width is not None and float(width[1]) > _NARROW,
        board_svg=_board(sheet),
        cautions=cautions(kinds),
        parts=[n for n in sheet.needed if not n.wire],
        wires=[n for n in sheet.needed if n.wire],
        taps=sheet.taps,
        leads=sheet.leads,
        columns=design.board.columns,
        rows=design.board.rows,
        stages=_stages(sheet),
        points=points,
        moving=sheet.expected.moving,
        conditions=conditions_words(sheet),
        figures=[
            {
                "name": name_of(f.expectation, design), "range": range_text(f.expectation),
                "value": "–" if f.value is None else figure_text(f.value, f.expectation.unit), "met": f.met,
            }
            for f in sheet.figures
        ],
        uncalculated=sheet.expected.note,
    )  # fmt: skip


def _inline(svg: str) -> Markup:
    from markupsafe import Markup

    return Markup(svg)


def _as_picture(svg: str) -> Markup:
    from markupsafe import Markup

    return Markup(f'<img alt="" src="data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}">')


def band_words(reading: Reading | None) -> str:
    """``4.93 V (4.1 to 5.7 V)``."""
    if reading is None:
        return "–"
    low, high = (0.0 if abs(v) < 0.02 else v for v in (reading.low, reading.high))
    volts = figure_text(0.0 if abs(reading.volts) < 5e-4 else reading.volts, "V")
    return tr(
        "{volts} ({low} to {high})", volts=volts, low=figure_text(low, "V"), high=figure_text(high, "V")
    )


def check_words(sheet: Sheet, check: StageCheck) -> list[str]:
    """What to do at the end of a stage, in sentences."""
    cubes = sheet.design.board.cubes
    power = listing(f"{c} {cube_words(cubes[c], sheet.kit)}" for c in check.power)
    return [
        tr("Check: look it over, then put in the power for the time being: {power}.", power=power),
        tr("Now measure {volts} at {place}, against the plate. Then take the power out again.",
           volts=band_words(check.reading), place=check.reading.words),
    ]  # fmt: skip


def _stages(sheet: Sheet) -> list[dict[str, Any]]:
    """Stages for the template; a stage that is nothing but the power stands with the one before it."""
    course = sheet.course
    found: list[dict[str, Any]] = []
    for number, stage in enumerate(course.stages):
        cards = [
            {"sort": "step", "number": s.number, "power": s.power, "puts": s.puts, "svg": step_svg(sheet, s)}
            for s in course.steps if s.stage == number
        ]  # fmt: skip
        if len(cards) == 1 and cards[0]["power"] and found and not stage.note and not stage.own:
            found[-1]["cards"] += cards
            continue
        title = stage_title(stage.name, len(found) + 1)
        found.append({"title": title, "note": stage.note, "cards": cards, "number": number})
    for told in found:
        told["rows"], told["check"] = _rows(sheet, told["cards"], sheet.check_after(told["number"]))
    return found


def _rows(
    sheet: Sheet, cards: list[dict[str, Any]], check: StageCheck | None
) -> tuple[list[list[dict[str, Any]]], list[str]]:
    """Cards in rows, in whose free places the check or the last look stands; the check where none is free."""
    power = next((n for n, card in enumerate(cards) if card["power"]), None)
    if power is not None:
        look = {"sort": "look", "points": look_words(sheet), "power": False, "wide": power % _ACROSS != 1}
        first, last = cards[:power], [look, *cards[power:]]
        rows = _in_rows(first)
        if rows and not look["wide"]:
            rows[-1] += last
            return rows, []
        return [*rows, last], []
    if check is not None and len(cards) % _ACROSS:
        return _in_rows([*cards, {"sort": "check", "lines": check_words(sheet, check), "power": False}]), []
    return _in_rows(cards), [] if check is None else check_words(sheet, check)


def _in_rows(cards: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    return [cards[at : at + _ACROSS] for at in range(0, len(cards), _ACROSS)]


def look_words(sheet: Sheet) -> list[str]:
    """What to look at once more before the power comes: which way round, and the joints with the plate."""
    board, kit = sheet.design.board, sheet.kit
    power = {c for s in sheet.course.steps if s.power for c in s.cells}
    turned = [
        f"{cell} {facing_words(cube, kit[cube.kind])}"
        for cell, cube in board.cubes.items() if matters(kit[cube.kind]) and cell not in power
    ]  # fmt: skip
    graph = touching(sheet.course.circuit)
    grounds = [
        tr("{ground} to {cells}", ground=c, cells=listing(map(str, sorted(graph[c]))))
        for c, q in board.cubes.items() 
        if kit[q.kind].device.grounds and c not in power
    ]  # fmt: skip
    told = [tr("Nothing but cubes lies on the plate.")]
    if turned:
        told.append(tr("Which way round: {cells}.", cells="; ".join(turned)))
    if grounds:
        told.append(tr("Grounds, each with the stem to its cube: {cells}.", cells=", ".join(grounds)))
    return told


def _board(sheet: Sheet) -> str:
    """The finished board with its test points."""
    circuit = sheet.course.circuit
    marks = "".join(_point(circuit, p.place, p.number) for p in sheet.expected.points)
    board = sheet.design.board
    return drawing_svg(board, sheet.kit, window_of(board), marks, tr("The finished board"))


def _point(circuit: Circuit, place: Probe, number: int) -> str:
    """A number in a circle on the contact where one measures."""
    cube = circuit.board.cubes[place.cell]
    legs = [c for c in circuit.kit[cube.kind].contacts_at[cube.turn] if c.terminal == place.terminal]
    contact = legs[0]
    dx, dy = STEP[contact.side]
    x = (place.cell.column + contact.column + 0.5 + 0.42 * dx) * PITCH
    y = (place.cell.row + contact.row + 0.5 + 0.42 * dy) * PITCH
    return (
        f'<circle cx="{x:g}" cy="{y:g}" r="19" fill="#fff" stroke="{INK}" stroke-width="4"/>'
        f'<text x="{x:g}" y="{y + 8:g}" font-size="23" font-weight="bold" text-anchor="middle" '
        f'fill="{INK}">{number}</text>'
    )


def step_svg(sheet: Sheet, step: Step) -> str:
    """The top view around the new cubes of a step: they stand out, what was there before stands back."""
    after = sheet.course.board_after(step.number)
    window = _around(sheet, step)
    old = [c for c in after.cubes if c not in set(step.cells)]
    rings = "".join(_ring(cell, after) for cell in step.cells)
    title = tr("Step {number}", number=step.number)
    return detail_svg(after, sheet.kit, window, rings, title, faded=old)


def _ring(anchor: Cell, board: Board) -> str:
    """A strong frame around a new cube."""
    columns, rows = board.cubes[anchor].lies
    x, y = anchor.column * PITCH + 1, anchor.row * PITCH + 1
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{columns * PITCH - 2:g}" height="{rows * PITCH - 2:g}" rx="15" '
        f'fill="none" stroke="{INK}" stroke-width="7"/>'
    )


def _around(sheet: Sheet, step: Step) -> Window:
    """The cells that a step's picture shows: the new cubes, the ends of new leads, and a little around them,
    within what the finished board covers."""
    board, whole = sheet.design.board, window_of(sheet.design.board)
    cells = [c for anchor in step.cells for c in board.cubes[anchor].cells(anchor)]
    for seam in step.taps:
        cells += [seam.first, seam.second]
    for lead in step.leads:
        for end in lead.ends:
            cells += [end.seam.first, end.seam.second] if isinstance(end, TapEnd) else [end.cell]
    rows = _span([c.row for c in cells], whole.row, whole.rows, _LEAST[1])
    columns = _span([c.column for c in cells], whole.column, whole.columns, _LEAST[0])
    return Window(columns[0], rows[0], columns[1], rows[1])


def _span(where: Iterable[int], first: int, many: int, least: int) -> tuple[int, int]:
    """First row or column and how many to show."""
    where = list(where) or [first]
    low, high = min(where) - _AROUND, max(where) + _AROUND
    while high - low + 1 < least:
        low, high = low - 1, high + 1
    low, high = max(low, first), min(high, first + many - 1)
    return low, max(high - low + 1, 1)


@cache
def _data(name: str) -> str:
    return resources.files("snapcheck.sheet").joinpath(f"data/{name}").read_text(encoding="utf-8")


@cache
def _template() -> jinja2.Template:
    return pages().from_string(_data("sheet.html.j2"))
