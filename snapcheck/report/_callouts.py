"""What is drawn upon a picture of the board: numbers, arrows for turns, ghosts of missing cubes, leads.

Everything is SVG in the units of `snapcheck.board.draw_svg`: one cell is 108 units, the plate's upper left
corner is (0, 0). So the same marks lie on the rectified photo, on the drawing of the build and on the plan.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from xml.sax.saxutils import escape

from snapcheck.board import (
    PITCH,
    Board,
    Cell,
    Cube,
    Lead,
    LeadEnd,
    Seam,
    TapEnd,
    extent,
    label_of,
    symbol_svg,
)
from snapcheck.findings import Finding, Severity
from snapcheck.kit import Kit, Side
from snapcheck.report._look import MARKS, badge_svg
from snapcheck.words import shown

_HALO = "#ffffff"
_TURNING = ("turned", "reversed")
_ANGLE = {Side.E: 0.0, Side.S: 90.0, Side.W: 180.0, Side.N: 270.0}
Point = tuple[float, float]


def callouts_svg(
    findings: Sequence[tuple[int, Finding]], board: Board, kit: Kit, plan: Board | None = None
) -> str:
    """Marks of all findings, to lie upon a picture of the build.

    Args:
        findings: with their numbers.
        board: the build.
        kit: the cubes.
        plan: the design in the cells of the build, for ghosts of many missing cubes.
    """
    below: list[str] = []
    badges: list[str] = []
    taken: dict[Point, int] = {}
    for number, finding in sorted(findings, key=lambda item: -item[1].severity):  # the gravest on top
        marks = _marks(finding, board, kit, plan)
        if not marks:
            continue
        below.append(f'<g class="mark mark-{number}">{"".join(marks)}</g>')
    for number, finding in findings:
        place = _anchor(finding)
        if place is None:
            continue
        shift = taken.get(place, 0)
        taken[place] = shift + 1
        badge = badge_svg(finding.severity, str(number), place[0] + shift * 46, place[1], 22)
        badges.append(f'<g class="badge badge-{number}">{badge}</g>')
    return "".join(below + badges)


def reference_svg(findings: Sequence[tuple[int, Finding]], board: Board) -> str:
    """The same numbers on the plan: rings and the badge, no more."""
    parts: list[str] = []
    badges: list[str] = []
    taken: dict[Point, int] = {}
    for number, finding in findings:
        lead = finding.lead if finding.rule == "lead-missing" else finding.expected_lead
        place = _anchor(finding) if lead is None else _beside(end_point(_new_end(finding, lead), board))
        if place is None:
            continue
        several = (
            14 if finding.rule in ("swapped", "cubes-missing") else 1
        )  # all of them differ from the plan
        for cell in finding.cells[:several] if finding.lead is None and finding.seam is None else ():
            if cell in board.cubes or finding.rule == "cube-extra":
                dashed = cell not in board.cubes
                parts.append(_ring(cell, MARKS[finding.severity].colour, _lies(cell, board), dashed=dashed))
        for end in () if lead is None else (lead.start, lead.end):  # the lead itself is drawn already
            parts.append(_hole(end_point(end, board), MARKS[finding.severity].colour))
        shift = taken.get(place, 0)
        taken[place] = shift + 1
        badges.append(badge_svg(finding.severity, str(number), place[0] + shift * 46, place[1], 22))
    return "".join(parts + badges)


def region_svg(finding: Finding, board: Board) -> str:
    """A soft shade over the ninth of the plate where the trouble lies (student mode, first hint)."""
    at = middle_of(finding)
    if at is None:
        return ""
    width, height = board.columns * PITCH, board.rows * PITCH
    column = min(2, int(3 * at[0] / width))
    row = min(2, int(3 * at[1] / height))
    colour = MARKS[finding.severity].colour
    return (
        f'<rect x="{column * width / 3 - 6:.1f}" y="{row * height / 3 - 6:.1f}" width="{width / 3 + 12:.1f}" '
        f'height="{height / 3 + 12:.1f}" rx="40" fill="{colour}" fill-opacity="0.16" stroke="{colour}" '
        f'stroke-width="5" stroke-dasharray="4 12" stroke-linecap="round"/>'
    )


def rings_svg(finding: Finding, board: Board) -> str:
    """Rings around the cubes of a finding, without telling what to do (student mode, second hint)."""
    colour = MARKS[finding.severity].colour
    return "".join(_ring(cell, colour, _lies(cell, board)) for cell in finding.cells[:2])


def rings_of(cells: Sequence[Cell], board: Board) -> str:
    """Dashed rings around cubes that a person must look at."""
    colour = MARKS[Severity.QUESTION].colour
    return "".join(_ring(cell, colour, _lies(cell, board), dashed=True) for cell in cells)


# ---------------------------------------------------------------- where


def _lies(cell: Cell, *boards: Board | None) -> tuple[int, int]:
    """Columns and rows of the first cube that one of the boards has at a cell; of a cell, where none has."""
    found = (cube for board in boards if board is not None and (cube := board.cubes.get(cell)))
    return next((cube.lies for cube in found), (1, 1))


def _centre(cell: Cell, lies: tuple[int, int] = (1, 1)) -> Point:
    return (cell.column + lies[0] / 2) * PITCH, (cell.row + lies[1] / 2) * PITCH


def _seam_point(seam: Seam) -> Point:
    (ax, ay), (bx, by) = _centre(seam.first), _centre(seam.second)
    return (ax + bx) / 2, (ay + by) / 2


def end_point(end: LeadEnd, board: Board) -> Point:
    """Where a lead's plug sits, plate units."""
    if isinstance(end, TapEnd):
        return _seam_point(end.seam)
    x, y = _centre(end.cell, _lies(end.cell, board))
    u, v = (18.0, 0.0) if end.side is Side.E else (-18.0, 0.0)
    cube = board.cubes.get(end.cell)
    for _ in range((cube.turn if cube else 0) // 90):
        u, v = -v, u
    return x + u, y + v


def _new_end(finding: Finding, planned: Lead) -> LeadEnd:
    """The end of a planned lead where the build has no plug of this lead."""
    there = () if finding.lead is None else sorted(planned.ends - finding.lead.ends, key=str)
    return there[0] if there else planned.start


def _beside(at: Point) -> Point:
    return at[0] - 26, at[1] - 34


def _anchor(finding: Finding) -> Point | None:
    """Where a finding's number stands on the build."""
    lead = finding.lead
    if lead is not None and not (finding.cells and finding.rule == "supply-shorted"):
        (ax, ay), (bx, by) = (
            _seam_point(e.seam) if isinstance(e, TapEnd) else _centre(e.cell) for e in (lead.start, lead.end)
        )
        mx, my = _bow((ax, ay), (bx, by))
        return (ax + 2 * mx + bx) / 4, (ay + 2 * my + by) / 4  # the middle of its arc
    if finding.seam is not None:
        x, y = _seam_point(finding.seam)
        return x, y - 30
    if finding.cells:
        cell = finding.cells[0]
        return cell.column * PITCH + 8, cell.row * PITCH + 8  # off the print, which may have to be read
    return None


def middle_of(finding: Finding) -> Point | None:
    return _centre(finding.cells[0]) if finding.cells else _anchor(finding)


# ---------------------------------------------------------------- what


def _marks(finding: Finding, board: Board, kit: Kit, plan: Board | None) -> list[str]:  # noqa: PLR0912
    colour = MARKS[finding.severity].colour
    marks: list[str] = []
    unsure = finding.severity is Severity.QUESTION
    place = finding.lead or finding.seam  # which have marks of their own
    for index, cell in enumerate(finding.cells[:14] if place is None else ()):
        lies = _lies(cell, board, plan)
        marks.append(_ring(cell, colour, lies, dashed=unsure or index > 0, thin=index > 0))
    wanted, found = finding.expected_cube, finding.found_cube
    first = finding.cells[0] if finding.cells else None
    centres = [_centre(cell, _lies(cell, board, plan)) for cell in finding.cells[:2]]
    match finding.rule:
        case "cube-missing" if first is not None and wanted is not None:
            marks.append(_ghost(first, wanted, kit, colour))
        case "cubes-missing" if plan is not None:
            for cell in finding.cells:
                if cell in plan.cubes:
                    marks.append(_ghost(cell, plan.cubes[cell], kit, colour))
        case "cube-extra" if first is not None:
            marks.append(_cross(centres[0], colour))
        case "wrong-kind" if first is not None and wanted is not None:
            marks.append(_inset(first, _lies(first, board), wanted, kit, colour))
        case "swapped" if len(finding.cells) > 1:
            marks += _exchange(centres[0], centres[1], colour)
        case "moved" if len(finding.cells) == 2 and wanted is not None:
            marks.append(_ghost(finding.cells[0], wanted, kit, colour))
            marks += _arrow(centres[1], _centre(finding.cells[0], wanted.lies), colour)
        case rule if first is not None and wanted is not None and found is not None:
            same = wanted.kind == found.kind
            if same and not kit[wanted.kind].same_turn(wanted.turn, found.turn):
                marks += _turn(first, wanted, found, kit, colour)
            if same and rule == "wrong-value":
                marks.append(_tag(first, found.lies, f"→ {label_of(wanted, kit[wanted.kind])}", colour))
        case _:
            pass
    if finding.seam is not None and finding.lead is None:
        marks.append(_tap(finding.seam, colour, finding.rule))
    if finding.lead is not None:
        missing = finding.rule == "lead-missing"
        marks += _lead_arc(finding.lead, board, colour, dashed=missing or unsure)
        if finding.expected_lead is not None:
            here = list(finding.lead.ends - finding.expected_lead.ends)
            there = list(finding.expected_lead.ends - finding.lead.ends)
            if len(here) == len(there) == 1:  # one plug is to be moved
                start, end = end_point(here[0], board), end_point(there[0], board)
                marks.append(_hole(end, colour))
                if math.dist(start, end) > 80:
                    marks += _arrow(start, end, colour, near=18)
        if finding.rule in ("lead-extra",) and (at := _anchor(finding)) is not None:
            marks.append(_cross((at[0] + 30, at[1]), colour, 14))
    return marks


def _ring(cell: Cell, colour: str, lies: tuple[int, int], *, dashed: bool = False, thin: bool = False) -> str:
    x, y = cell.column * PITCH + 2, cell.row * PITCH + 2
    width, height = (side + 4 for side in extent(*lies))
    dash = ' stroke-dasharray="15 9"' if dashed else ""
    pen = 3.5 if thin else 5.5
    frame = f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="13" fill="none"'
    return (
        f'{frame} stroke="{_HALO}" stroke-width="{pen + 5}" stroke-opacity="0.9"/>'
        f'{frame} stroke="{colour}" stroke-width="{pen}"{dash}/>'
    )


def _path(d: str, colour: str, *, width: float = 6, dashed: bool = False) -> str:
    dash = ' stroke-dasharray="14 10"' if dashed else ""
    line = f'<path d="{d}" fill="none" stroke-linecap="round" stroke-linejoin="round"'
    return (
        f'{line} stroke="{_HALO}" stroke-width="{width + 6}" stroke-opacity="0.92"/>'
        f'{line} stroke="{colour}" stroke-width="{width}"{dash}/>'
    )


def _head(tip: Point, angle: float, colour: str, size: float = 20) -> str:
    """An arrow head that points along `angle` (degrees, clockwise on the screen)."""
    a = math.radians(angle)
    ux, uy = math.cos(a), math.sin(a)
    x, y = tip
    bx, by = x - ux * size, y - uy * size
    half = size * 0.55
    points = (
        f"{x:.1f},{y:.1f} {bx - uy * half:.1f},{by + ux * half:.1f} {bx + uy * half:.1f},{by - ux * half:.1f}"
    )
    return (
        f'<polygon points="{points}" fill="{colour}" stroke="{_HALO}" stroke-width="3" '
        f'stroke-linejoin="round"/>'
    )


def _turn(cell: Cell, wanted: Cube, found: Cube, kit: Kit, colour: str) -> list[str]:
    """An arc from where the marked terminal is to where it belongs."""
    kind = kit[wanted.kind]
    x, y = _centre(cell, found.lies)
    r = 38.0
    quarter = (wanted.turn - found.turn) % 360
    side = kind.faces.get(kind.marked)
    start = _ANGLE[side.turned(found.turn)] if side is not None else 0.0
    half = 180.0 if start in (0.0, 270.0) else -180.0  # clear of the number in the upper left
    sweep = {90: 90.0, 180: half, 270: -90.0}[quarter]
    way = 1 if sweep > 0 else -1
    first, last = start + way * 14, start + sweep - way * 40  # clear of the sign where it belongs
    (x0, y0), (x1, y1) = _on(x, y, r, first), _on(x, y, r, last)
    large = 1 if abs(last - first) > 180 else 0
    d = f"M{x0:.1f} {y0:.1f}A{r} {r} 0 {large} {1 if way > 0 else 0} {x1:.1f} {y1:.1f}"
    tip = _on(x, y, r, last + way * 20)
    marks = [_path(d, colour), _head(tip, last + way * 100, colour)]
    if kind.marked == "plus" and side is not None:
        for angle, text, pen in ((_ANGLE[side.turned(wanted.turn)], "+", colour),):
            px, py = _on(x, y, 47, angle)
            marks.append(
                f'<circle cx="{px:.1f}" cy="{py:.1f}" r="11" fill="{_HALO}" stroke="{pen}" stroke-width="3"/>'
                f'<path d="M{px - 6:.1f} {py:.1f}h12M{px:.1f} {py - 6:.1f}v12" stroke="{pen}" '
                f'stroke-width="3.4" aria-label="{text}"/>'
            )
    return marks


def _on(x: float, y: float, r: float, degrees: float) -> Point:
    return x + r * math.cos(math.radians(degrees)), y + r * math.sin(math.radians(degrees))


def _ghost(cell: Cell, cube: Cube, kit: Kit, colour: str) -> str:
    """A dashed outline and the cube in small: what the photo shows there may have to be looked at."""
    x, y = cell.column * PITCH + 6, cell.row * PITCH + 6
    width, height = (side - 4 for side in extent(*cube.lies))
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="11" fill="none" '
        f'stroke="{colour}" stroke-width="3.5" stroke-dasharray="9 7"/>'
        f"{_inset(cell, cube.lies, cube, kit, colour)}"
    )


def _inset(cell: Cell, lies: tuple[int, int], cube: Cube, kit: Kit, colour: str) -> str:
    """What should stand there, small in the lower right corner."""
    x, y = (cell.column + lies[0] - 1) * PITCH + 46, (cell.row + lies[1] - 1) * PITCH + 46
    return (
        f'<rect x="{x:g}" y="{y:g}" width="62" height="62" rx="8" fill="{_HALO}" fill-opacity="0.94" '
        f'stroke="{colour}" stroke-width="3"/>{_symbol(cube, kit, x + 1, y + 1, 60, colour)}'
    )


def _symbol(cube: Cube, kit: Kit, x: float, y: float, size: float, colour: str) -> str:
    """A cube's symbol whose longer side has this size."""
    kind = kit[cube.kind]
    cell = size * 104 / (max(extent(*cube.lies)) + 4)
    svg = symbol_svg(
        kind, turn=cube.turn, label=label_of(cube, kind), unit=cube.unit, tile=False, ink=colour, size=cell
    )
    return svg.replace("<svg ", f'<svg x="{x:g}" y="{y:g}" ', 1)


def _cross(at: Point, colour: str, r: float = 26) -> str:
    x, y = at
    return _path(
        f"M{x - r:g} {y - r:g}L{x + r:g} {y + r:g}M{x + r:g} {y - r:g}L{x - r:g} {y + r:g}", colour, width=8
    )


def _tag(cell: Cell, lies: tuple[int, int], text: str, colour: str) -> str:
    """A label on the lower edge of a cube."""
    x, y = _centre(cell, lies)[0], (cell.row + lies[1] - 1) * PITCH + 92
    width = max(34.0, 13.0 * len(text) + 18)
    return (
        f'<rect x="{x - width / 2:.1f}" y="{y - 17:g}" width="{width:.1f}" height="34" rx="9" fill="{colour}" '  # noqa: E501
        f'stroke="{_HALO}" stroke-width="3"/><text x="{x:g}" y="{y + 8:g}" font-size="22" font-weight="bold" '
        f'text-anchor="middle" fill="#fff">{escape(shown(text, isolate=False))}</text>'
    )


def _arrow(start: Point, end: Point, colour: str, near: float = 40) -> list[str]:
    """An arrow whose tip stays `near` units away from its end."""
    (ax, ay), (bx, by) = start, end
    length = math.hypot(bx - ax, by - ay) or 1.0
    ux, uy = (bx - ax) / length, (by - ay) / length
    tip = (bx - ux * near, by - uy * near)
    back = (tip[0] - ux * 16, tip[1] - uy * 16)
    angle = math.degrees(math.atan2(uy, ux))
    return [
        _path(f"M{ax + ux * 12:.1f} {ay + uy * 12:.1f}L{back[0]:.1f} {back[1]:.1f}", colour),
        _head(tip, angle, colour),
    ]


def _exchange(a: Point, b: Point, colour: str) -> list[str]:
    """A bow with a head at either end."""
    (ax, ay), (bx, by) = a, b
    length = math.hypot(bx - ax, by - ay) or 1.0
    ux, uy = (bx - ax) / length, (by - ay) / length
    bend = 0.22 * length
    mx, my = (ax + bx) / 2 + uy * bend, (ay + by) / 2 - ux * bend
    angle_b = math.degrees(math.atan2(by - my, bx - mx))
    angle_a = math.degrees(math.atan2(ay - my, ax - mx))
    return [
        _path(f"M{ax:.1f} {ay:.1f}Q{mx:.1f} {my:.1f} {bx:.1f} {by:.1f}", colour),
        _head(
            (bx + 8 * math.cos(math.radians(angle_b)), by + 8 * math.sin(math.radians(angle_b))),
            angle_b,
            colour,
        ),
        _head(
            (ax + 8 * math.cos(math.radians(angle_a)), ay + 8 * math.sin(math.radians(angle_a))),
            angle_a,
            colour,
        ),
    ]


def _tap(seam: Seam, colour: str, rule: str) -> str:
    x, y = _seam_point(seam)
    w, h = (14, 56) if seam.vertical else (56, 14)
    dash = ' stroke-dasharray="8 6"' if rule == "tap-missing" else ""
    body = (
        f'<rect x="{x - w / 2:g}" y="{y - h / 2:g}" width="{w}" height="{h}" rx="5" fill="{_HALO}" '
        f'fill-opacity="0.85" stroke="{colour}" stroke-width="4"{dash}/>'
    )
    return body + (_cross((x, y), colour, 14) if rule == "tap-extra" else "")


def _hole(at: Point, colour: str) -> str:
    """A ring around a hole into which a plug belongs."""
    ring = f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="17" fill="none"'
    return (
        f'{ring} stroke="{_HALO}" stroke-width="9"/>'
        f'{ring} stroke="{colour}" stroke-width="5" stroke-dasharray="7 4"/>'
    )


def _bow(a: Point, b: Point) -> Point:
    """The point that the arc of a lead is drawn towards."""
    return (a[0] + b[0]) / 2 - (b[1] - a[1]) * 0.18, (a[1] + b[1]) / 2 + (b[0] - a[0]) * 0.18


def _lead_arc(lead: Lead, board: Board, colour: str, *, dashed: bool) -> list[str]:
    (ax, ay), (bx, by) = (end_point(end, board) for end in (lead.start, lead.end))
    mx, my = _bow((ax, ay), (bx, by))
    arc = _path(f"M{ax:.1f} {ay:.1f}Q{mx:.1f} {my:.1f} {bx:.1f} {by:.1f}", colour, width=7, dashed=dashed)
    plugs = "".join(
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="11" fill="{_HALO}" stroke="{colour}" stroke-width="5"/>'
        for x, y in ((ax, ay), (bx, by))
    )
    return [arc, plugs]
