"""Top view of a board, and single symbols, as SVG and PNG."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import cache, lru_cache
from pathlib import Path
from xml.sax.saxutils import escape

from snapcheck.board._board import Board, Cube, LeadEnd, SocketEnd, TapEnd
from snapcheck.board._label import place_label, wrapped
from snapcheck.board._look import LOOKS, Look, Theme, family
from snapcheck.board._place import Cell, Seam, column_letters
from snapcheck.board._shapes import PITCH, TILE, Point, Stroke, extent, turned
from snapcheck.board._symbols import edge_point, flat, middle, symbol_strokes
from snapcheck.errors import MissingLibraryError
from snapcheck.kit import Contact, Kind, Kit, Side, ValueForm, format_value
from snapcheck.words import shown, tr

FONT = "'DejaVu Sans', Verdana, 'Segoe UI', sans-serif"
#: around the plate in a drawing
MARGIN = 44.0
_PEN = 3.6
_FINE = 2.4
_TITLE, _LINE = 21.0, 27.0  # size of the title, and from one of its lines to the next
_SOCKET_AT = {Side.E: (67.0, 50.0), Side.W: (31.0, 50.0)}


#: gives the colour of the conductor of a terminal, or None for plain ink
Ink = Callable[[Cell, str], str | None]


def symbol_svg(
    kind: Kind,
    *,
    turn: int = 0,
    label: str = "",
    unit: str = "",
    theme: Theme = "light",
    size: float = 100,
    tile: bool = True,
    ink: str | None = None,
    terminal_inks: Mapping[str, str] | None = None,
    alone: bool = False,
    lying: bool = False,
) -> str:
    """One cube's symbol as a complete SVG document.

    Args:
        kind: kind of the kit.
        turn: 0, 90, 180 or 270 degrees clockwise; text stays readable.
        label: value to print on it.
        unit: a meter's letter (V, A, mA).
        theme: ``light`` or ``dark``.
        size: width and height in pixels of a cell (a cube of several cells is larger).
        tile: draw the cube's body; without it the ground stays transparent.
        ink: colour of the strokes instead of the theme's.
        terminal_inks: colour of the conductors by terminal.
        alone: the symbol on a tile of one cell, however many the cube covers (for circuit drawings).
        lying: the label rather small than read from the right, as on the cubes of a box.
    """
    look, kind = LOOKS[theme], flat(kind) if alone else kind
    body = _cube(kind, turn, label, unit, look, tile, ink or look.ink, terminal_inks or {}, lying)
    width, height = (side + 4 for side in extent(*kind.lies(turn)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size * width / 104:g}" '
        f'height="{size * height / 104:g}" viewBox="-2 -2 {width:g} {height:g}" '
        f'font-family="{FONT}" role="img"><title>{_xml(f"{kind.title} {label}".strip())}</title>'
        f"{body}</svg>"
    )


def draw_svg(
    board: Board,
    kit: Kit,
    *,
    theme: Theme = "light",
    title: str = "",
    inks: Ink | None = None,
    badges: Mapping[Cell, str] | None = None,
    ghosts: Mapping[Cell, Cube] | None = None,
    faded: Collection[Cell] = (),
    addresses: bool = True,
) -> str:
    """Top view of a board as a complete SVG document.

    Args:
        board, kit: what to draw.
        theme: ``light`` or ``dark``.
        title: words above the plate, on as many lines as they need.
        inks: colour of conductors by cell and terminal (for nets).
        badges: short texts, such as a finding's number, on a ringed cube or empty cell.
        ghosts: cubes that should stand in empty cells, drawn dashed.
        faded: anchors of cubes that stand back behind the others, without print and contacts.
        addresses: letters and numbers of columns and rows around the plate.
    """
    look = LOOKS[theme]
    width = 2 * MARGIN + board.columns * PITCH
    lines = wrapped(title, _TITLE, width - MARGIN - 12)
    top = MARGIN + (7 + _LINE * len(lines) if title else 0)
    height = top + MARGIN + board.rows * PITCH
    words = title or f"board of {board.columns} x {board.rows}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}" '
        f'viewBox="0 0 {width:g} {height:g}" font-family="{FONT}" role="img">',
        f"<title>{_xml(words)}</title>",
        f'<rect width="{width:g}" height="{height:g}" fill="{look.page}"/>',
    ]
    for number, (line, size) in enumerate(lines):
        parts.append(_text(MARGIN, 36 + _LINE * number, line, size, look.ink, anchor="start"))
    parts.append(f'<g transform="translate({MARGIN:g} {top:g})">')
    parts += _plate(board, look, addresses)
    for cell, cube in board.cubes.items():
        kind = kit[cube.kind]
        colours = {t: c for t in kind.terminals if inks and (c := inks(cell, t))}
        if cell in faded:
            body = _cube(kind, cube.turn, "", "", look, True, look.ink, colours, contacts=False)
            body = f'<g opacity="0.38">{body}</g>'
        else:
            body = _cube(kind, cube.turn, label_of(cube, kind), cube.unit, look, True, look.ink, colours)
        parts.append(f"{_at(cell)}{body}</g>")
    for cell, cube in (ghosts or {}).items():
        kind = kit[cube.kind]
        body = _cube(kind, cube.turn, label_of(cube, kind), cube.unit, look, False, look.alert, {})
        width, height = extent(*cube.lies)
        edge = f'<rect x="2" y="2" width="{width - 4:g}" height="{height - 4:g}" rx="12" fill="none" '
        edge += f'stroke="{look.alert}" '
        edge += 'stroke-width="3" stroke-dasharray="9 7"/>'
        parts.append(f'{_at(cell)}<g opacity="0.8">{edge}{body}</g></g>')
    parts += [_tap(seam, look) for seam in sorted(board.taps)]
    parts += _leads(board, kit, look)
    there = {**(ghosts or {}), **board.cubes}
    parts += [_badge(cell, text, look, there.get(cell)) for cell, text in (badges or {}).items()]
    parts.append("</g></svg>")
    return "".join(parts)


def draw_png(
    board: Board,
    kit: Kit,
    *,
    width: int | None = None,
    theme: Theme = "light",
    title: str = "",
    inks: Ink | None = None,
    badges: Mapping[Cell, str] | None = None,
    ghosts: Mapping[Cell, Cube] | None = None,
) -> bytes:
    """The same as `draw_svg` as a PNG of the given width in pixels (by default as large as the SVG).

    Raises:
        MissingLibraryError: resvg-py is not installed.
    """
    svg = draw_svg(board, kit, theme=theme, title=title, inks=inks, badges=badges, ghosts=ghosts)
    return svg_to_png(svg, width=width)


def svg_to_png(svg: str, *, width: int | None = None) -> bytes:
    """A drawing of this module as PNG bytes; raises MissingLibraryError without resvg-py."""
    try:
        from resvg_py import svg_to_bytes
    except ImportError:
        raise MissingLibraryError(
            tr("PNG pictures need the library resvg-py, which is not installed."),
            way_out=tr("Run: pip install resvg-py (or write SVG instead)."),
        ) from None
    fonts = _font_files()
    return bytes(
        svg_to_bytes(svg, width=width, font_files=fonts, skip_system_fonts=bool(fonts),
                     sans_serif_family="DejaVu Sans")
    )  # fmt: skip


@cache
def _font_files() -> list[str]:
    """DejaVu Sans as shipped inside matplotlib, so that pictures look alike on machines without fonts."""
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or spec.origin is None:
        return []
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    return [str(p) for name in ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf") if (p := folder / name).exists()]


def _xml(text: str) -> str:
    """Text for an SVG."""
    return escape(shown(text, isolate=False))


def label_of(cube: Cube, kind: Kind) -> str:
    """What to print on a drawn cube, and in tables: its print, else its value; safe to show."""
    if cube.printed is not None:
        return shown(cube.printed, isolate=False)
    return format_value(cube.value, kind.value_form, style="spaced", unit=cube.unit)


def _at(cell: Cell) -> str:
    x, y = cell.column * PITCH + 4, cell.row * PITCH + 4
    return f'<g transform="translate({x:g} {y:g})">'


def _plate(board: Board, look: Look, addresses: bool = True) -> list[str]:
    width, height = board.columns * PITCH, board.rows * PITCH
    parts = [
        f'<rect x="-6" y="-6" width="{width + 12:g}" height="{height + 12:g}" rx="16" '
        f'fill="{look.plate}" stroke="{look.rim}" stroke-width="2"/>'
    ]
    marks = []
    for row in range(board.rows):
        for column in range(board.columns):
            x, y = (column + 0.5) * PITCH, (row + 0.5) * PITCH
            marks.append(f"M{x - 7:g} {y:g}h14M{x:g} {y - 7:g}v14")
    parts.append(f'<path d="{"".join(marks)}" stroke="{look.grid}" stroke-width="2" fill="none"/>')
    if not addresses:
        return parts
    for column in range(board.columns):
        x = (column + 0.5) * PITCH
        for y in (-15.0, height + 29):
            parts.append(_text(x, y, column_letters(column), 19, look.quiet))
    for row in range(board.rows):
        y = (row + 0.5) * PITCH + 7
        for x in (-25.0, width + 25):
            parts.append(_text(x, y, str(row + 1), 19, look.quiet))
    return parts


def _text(x: float, y: float, text: str, size: float, fill: str, *, anchor: str = "middle",
          turn: bool = False) -> str:  # fmt: skip
    spin = f' transform="rotate(-90 {x:g} {y:g})"' if turn else ""
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" font-weight="bold" text-anchor="{anchor}" '
        f'fill="{fill}"{spin}>{_xml(text)}</text>'
    )


def _cube(kind: Kind, turn: int, label: str, unit: str, look: Look, tile: bool, ink: str,
          terminal_inks: Mapping[str, str], lying: bool = False,
          *, contacts: bool = True) -> str:  # fmt: skip
    group = family(kind)
    parts = []
    width, height = extent(*kind.lies(turn))
    if tile:
        parts.append(
            f'<rect x="0" y="0" width="{width:g}" height="{height:g}" rx="13" fill="{look.tiles[group]}" '
            f'stroke="{look.edges[group]}" stroke-width="2.5"/>'
        )
        for contact in kind.contacts_at[turn] if contacts else ():
            parts.append(_contact(contact, look))
    strokes = symbol_strokes(kind, turn)
    parts += [_stroke(s, terminal_inks.get(s.terminal, ink)) for s in strokes]
    if kind.value_form is ValueForm.RANGE and unit:
        x, y = middle(kind, kind.symbol_at, turn)
        parts.append(_text(x, y + (7 if len(unit) < 2 else 5.5), unit, 20 if len(unit) < 2 else 15, ink))
    if kind.size != (1, 1) and len(kind.terminals) > 2:
        parts += [_leg_name(contact, terminal_inks.get(contact.terminal, ink))
                  for contact in kind.contacts_at[turn]]  # fmt: skip
    if label and kind.print_at is not None:
        x, y = middle(kind, kind.print_at, turn)
        parts.append(_text(x, y + 6, label, 17, ink))
    elif label:
        parts.append(_label(label, strokes, ink, (width, height), lying))
    return "".join(parts)


def _contact(contact: Contact, look: Look) -> str:
    x, y = {Side.N: (41, -2), Side.E: (96, 41), Side.S: (41, 96), Side.W: (-2, 41)}[contact.side]
    w, h = (18, 6) if contact.side in (Side.N, Side.S) else (6, 18)
    left, top = x + contact.column * PITCH, y + contact.row * PITCH
    return f'<rect x="{left:g}" y="{top:g}" width="{w}" height="{h}" rx="2.5" fill="{look.brass}"/>'


def _leg_name(contact: Contact, ink: str) -> str:
    """The name of a leg, inside the frame of its block."""
    x, y = edge_point(contact, 32 if contact.side in (Side.E, Side.W) else 36)
    anchor = {Side.W: "start", Side.E: "end"}.get(contact.side, "middle")
    return _text(x, y + 4, contact.terminal, 11, ink, anchor=anchor)


def _stroke(stroke: Stroke, ink: str) -> str:
    pen = _FINE if stroke.thin else _PEN
    fill = ink if stroke.solid else "none"
    return (
        f'<path d="{stroke.path()}" fill="{fill}" stroke="{ink}" stroke-width="{1 if stroke.solid else pen}" '
        f'stroke-linejoin="round" stroke-linecap="{"butt" if stroke.terminal else "round"}"/>'
    )


def _label(text: str, strokes: tuple[Stroke, ...], ink: str, size: tuple[float, float], lying: bool) -> str:
    placed = _place(text, strokes, size, lying=lying)
    return _text(placed.x, placed.y, text, placed.size, ink, turn=placed.upright)


_place = lru_cache(maxsize=4096)(place_label)


def _seam_point(seam: Seam) -> Point:
    first = seam.first
    if seam.vertical:
        return (first.column + 1) * PITCH, (first.row + 0.5) * PITCH
    return (first.column + 0.5) * PITCH, (first.row + 1) * PITCH


def _tap(seam: Seam, look: Look) -> str:
    x, y = _seam_point(seam)
    w, h = (7, 46) if seam.vertical else (46, 7)
    return (
        f'<rect x="{x - w / 2:g}" y="{y - h / 2:g}" width="{w}" height="{h}" rx="3" fill="{look.brass}" '
        f'stroke="{look.ink}" stroke-width="1.5"/>'
        f'<circle cx="{x:g}" cy="{y:g}" r="11" fill="{look.plate}" stroke="{look.ink}" stroke-width="3"/>'
        f'<circle cx="{x:g}" cy="{y:g}" r="4" fill="{look.ink}"/>'
    )


def end_point(end: LeadEnd, board: Board) -> Point:
    """Where a lead's plug sits, on the plate."""
    if isinstance(end, TapEnd):
        return _seam_point(end.seam)
    return _socket_point(end, board.cubes.get(end.cell))


def _socket_point(end: SocketEnd, cube: Cube | None) -> Point:
    return _on_top(end.cell, cube, _SOCKET_AT.get(end.side, (50.0, 50.0)))


def _on_top(anchor: Cell, cube: Cube | None, at: Point) -> Point:
    """A point beside the middle of a cube's top, given as on a cube of one cell at turn 0, on the plate."""
    x, y = turned(at, cube.turn if cube else 0)
    width, height = extent(*cube.lies) if cube else (TILE, TILE)
    return (
        anchor.column * PITCH + 4 + x + (width - TILE) / 2,
        anchor.row * PITCH + 4 + y + (height - TILE) / 2,
    )


#: how far a lead may swing out beyond the cubes, on the plate; further out costs more than hiding a symbol
_SLACK, _CUT_OFF = 24.0, 30.0


def _leads(board: Board, kit: Kit, look: Look) -> list[str]:
    """Leads as slack arcs, each bent so that it hides as few symbols and other leads as it can."""
    parts: list[str] = []
    taken = {
        cell: 1.0 if kit[cube.kind].wire else 3.0
        for anchor, cube in board.cubes.items()
        for cell in cube.cells(anchor)
    }
    drawn: set[tuple[int, int]] = set()
    shown = _shown(board)
    for number, lead in enumerate(board.leads):
        start, end = (end_point(end, board) for end in (lead.start, lead.end))
        signs = [
            at for at in _socket_signs(board, kit) if math.dist(at, start) > 9 and math.dist(at, end) > 9
        ]
        middle, arc = min(
            ((m, _curve(start, m, end)) for m in _bends(start, end)),
            key=lambda a: _cover(a[1], shown, taken, drawn, signs) + math.dist(start, a[0]) / PITCH,
        )
        drawn |= {(round(x / 14), round(y / 14)) for x, y in arc}
        colour = look.leads[number % len(look.leads)]
        path = f"M{start[0]:g} {start[1]:g}Q{middle[0]:.1f} {middle[1]:.1f} {end[0]:g} {end[1]:g}"
        parts += [f'<path d="{path}" fill="none" stroke="{c}" stroke-width="{w}" stroke-linecap="round"/>'
                  for w, c in ((8.5, look.page), (5, colour))]  # fmt: skip
        pen = f'fill="{colour}" stroke="{look.page}" stroke-width="2"'
        parts += [f'<circle cx="{x:g}" cy="{y:g}" r="9" {pen}/>' for x, y in (start, end)]
    return parts


def _socket_signs(board: Board, kit: Kit) -> list[Point]:
    """The holes of all sockets and the sign of the plate on them, which say what a lead is plugged into."""
    return [
        _on_top(cell, cube, at)
        for cell, cube in board.cubes.items()
        if kit[cube.kind].sockets
        for at in (*_SOCKET_AT.values(), (31.0, 68.0), (31.0, 80.0))
    ]


def _bends(start: Point, end: Point) -> list[Point]:
    (x0, y0), (x1, y1) = start, end
    return [((x0 + x1) / 2 - (y1 - y0) * bend, (y0 + y1) / 2 + (x1 - x0) * bend)
            for size in (0.12, 0.22, 0.34, 0.48, 0.65, 0.85, 1.1) for bend in (size, -size)]  # fmt: skip


def _curve(start: Point, middle: Point, end: Point) -> list[Point]:
    """Forty points of the arc, both ends included."""
    weights = (((1 - t) ** 2, 2 * t * (1 - t), t * t) for t in (n / 39 for n in range(40)))
    return [
        (a * start[0] + b * middle[0] + c * end[0], a * start[1] + b * middle[1] + c * end[1])
        for a, b, c in weights
    ]


def _shown(board: Board) -> tuple[Point, Point]:
    """Upper left and lower right corner of what pictures of the cubes alone show: leads stay whole there."""
    columns, rows = ([getattr(c, name) for c in board.occupied] or [0] for name in ("column", "row"))
    left, top = (max(0.0, min(some) * PITCH - _SLACK) for some in (columns, rows))
    right, bottom = (
        min(size * PITCH, (max(some) + 1) * PITCH + _SLACK)
        for some, size in ((columns, board.columns), (rows, board.rows))
    )
    return (left, top), (right, bottom)


def _cover(arc: Sequence[Point], shown: tuple[Point, Point], taken: Mapping[Cell, float],
           drawn: set[tuple[int, int]], signs: Sequence[Point]) -> float:  # fmt: skip
    """How much an arc hides: cubes under it, signs of sockets, leads beside it; any way beyond `shown`."""
    (left, top), (right, bottom) = shown
    cost = 15.0 * sum(any(math.dist(at, sign) < 14 for at in arc) for sign in signs)
    for x, y in arc[3:-3]:
        cell = Cell(int(y // PITCH), int(x // PITCH))
        if not (left <= x < right and top <= y < bottom):
            cost += _CUT_OFF
        dx, dy = x / PITCH - cell.column - 0.5, y / PITCH - cell.row - 0.5
        cost += taken.get(cell, 0.0) * (1.5 if abs(dx) < 0.35 and abs(dy) < 0.4 else 0.3)
        cost += 4 if (round(x / 14), round(y / 14)) in drawn else 0
    return cost


def _badge(cell: Cell, text: str, look: Look, cube: Cube | None) -> str:
    size = 20 if len(text) < 3 else 15
    width, height = extent(*cube.lies) if cube else (TILE, TILE)
    return (
        f'{_at(cell)}<rect x="-3" y="-3" width="{width + 6:g}" height="{height + 6:g}" rx="15" fill="none" '
        f'stroke="{look.alert}" stroke-width="5"/>'
        f'<circle cx="4" cy="4" r="17" fill="{look.alert}" stroke="{look.page}" stroke-width="2.5"/>'
        f"{_text(4, 4 + size * 0.36, text, size, look.alert_ink)}</g>"
    )
