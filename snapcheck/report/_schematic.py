"""A conventional circuit drawing: input left, output right, supply up, plate down; wiring cubes collapsed.

Every net becomes a level line, and levels fall from the supply to the plate. A part between two levels
stands upright between their lines; a part that couples two stages lies between two nets on one level.
`Layout` decides where things go, in whole steps; `schematic_svg` draws it with the symbols of the cubes.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import zip_longest
from xml.sax.saxutils import escape

from snapcheck.board import Design, label_of, symbol_svg
from snapcheck.circuit import Circuit, Part, terminal_word
from snapcheck.devices import Drive, Store
from snapcheck.report._look import CARD, INK
from snapcheck.report._schematic_layout import (
    BLOCK_STEP,
    Layout,
    Placed,
    idle,
    is_block,
    lay_out,
    legs_of_block,
)
from snapcheck.report._schematic_names import Names, letters, overlap
from snapcheck.words import shown, tr

_COLUMN, _LEVEL = 150.0, 118.0
_LEFT, _TOP = 70.0, 62.0
_PEN = 3.6
#: where the text begins, right of the middle of parts that are wider than others
_TEXT_AT = {"led": 44, "photoresistor": 44, "npn": 38, "pnp": 38, "nmos": 32, "speaker": 30, "supply": 30}
_FONT = "'DejaVu Sans', Verdana, 'Segoe UI', sans-serif"


def schematic_svg(
    circuit: Circuit,
    design: Design | None,
    colours: Mapping[int, str],
    title: str = "",
    points: Mapping[int, int] | None = None,
) -> str:
    """The circuit as an SVG document, "" for a board where no part does anything.

    Args:
        circuit: what to draw.
        design: gives input and output, in the cells of the circuit; None where they are unknown.
        colours: CSS colour of each net.
        points: test points in circles, net to number, instead of the nets' own numbers; nets that lead to a
            block are named by letters then.
    """
    if all(idle(part) for part in circuit.parts):
        return ""
    layout = lay_out(circuit, design)
    drawing = _Drawing(circuit, design, layout, colours)
    if points is not None:
        drawing.points = points
        joined = {net for part in circuit.parts if is_block(part) for net in part.nets.values()} - {0}
        drawing.letters = {net: letters(number) for number, net in enumerate(sorted(joined))}
    return drawing.svg(title or tr("Circuit drawing"))


class _Drawing(Names):
    def __init__(
        self, circuit: Circuit, design: Design | None, layout: Layout, colours: Mapping[int, str]
    ) -> None:
        super().__init__()
        self.circuit, self.design, self.layout, self.colours = circuit, design, layout, colours
        self.width = _LEFT * 2 + layout.columns * _COLUMN
        self.lowest = 0.0
        self.dots: dict[int, list[tuple[float, float]]] = {}
        self.under: list[str] = []
        self.rims: list[str] = []
        self.over: list[str] = []

    def svg(self, title: str) -> str:
        for placed in self.layout.placed:
            self._part(placed)
        self._ports()
        lines = [
            self._line(n, min(xs), self.y(n), max(xs), self.y(n))
            for n, xs in self.spans.items()
            if len(xs) > 1
        ]
        if self.spans:
            self.lowest = max(self.lowest, *(self.y(n) for n in self.spans))
        self._idle()
        self.height = max(self.lowest, *(self.level(p.middle) + 56 for p in self.layout.placed)) + 34
        body = "".join(lines + self.under + self._junctions() + self.net_names() + self.rims + self.over)
        at_most = min(self.width, 1180)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width:g}" height="{self.height:g}" '
            f'viewBox="0 0 {self.width:g} {self.height:g}" style="--w:{at_most:g}px" font-family="{_FONT}" '
            f'role="img"><title>{escape(title)}</title>{body}</svg>'
        )

    def _idle(self) -> None:
        """Parts that are left out, by name, below the drawing."""
        names = [p.name for p in self.circuit.parts if idle(p)]
        if names:
            self.lowest = max(self.lowest, *(self.level(p.middle) + 56 for p in self.layout.placed)) + 30
            text = tr("Not drawn, because all its ends lie on one net: {parts}", parts=", ".join(names))
            self._text(_LEFT, self.lowest, text, "start")

    # ------------------------------------------------------------ places

    def x(self, column: float) -> float:
        return _LEFT + (column + 0.5) * _COLUMN

    def y(self, net: int) -> float:
        return self.level(self.layout.level[net])

    def level(self, level: float) -> float:
        return _TOP + level * _LEVEL

    def ink(self, net: int) -> str:
        return self.colours.get(net, INK)

    def _line(self, net: int, x0: float, y0: float, x1: float, y1: float) -> str:
        if abs(x0 - x1) < 0.5:
            self.upright.append((x0, min(y0, y1), max(y0, y1)))
        return (
            f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="{self.ink(net)}" stroke-width="{_PEN}" '
            'stroke-linecap="round" fill="none"/>'
        )

    def _join(self, net: int, x: float, y: float) -> None:
        """A wire end that comes to the net's level at x; (x, y) is where it comes from."""
        level = self.y(net)
        if abs(level - y) > 0.5:
            self.under.append(self._line(net, x, y, x, level))
        self.spans.setdefault(net, []).append(x)
        self.dots.setdefault(net, []).append((x, y))

    def _ground(self, x: float, y: float) -> None:
        """The sign of the plate, at the first place below where no line runs through it."""
        bottom = y + 14
        places = [bottom, *(self.level(n + 0.4) for n in range(self.layout.levels + 1) if self.level(n) > y)]
        bottom = next((at for at in places if self._clear(x, at)), places[-1])
        self.under.append(self._line(0, x, y, x, bottom))
        self.lowest = max(self.lowest, bottom + 20)
        bars = "".join(f"M{x - w:.1f} {bottom + d:.1f}h{2 * w}" for w, d in ((20, 0), (12.5, 8), (5, 16)))
        self.under.append(f'<path d="{bars}" stroke="{self.ink(0)}" stroke-width="{_PEN}" fill="none"/>')

    def _clear(self, x: float, y: float) -> bool:
        """True when no net's line runs through a sign of the plate at (x, y)."""
        column = (x - _LEFT) / _COLUMN - 0.5
        return not any(
            net and first - 0.3 <= column <= last + 0.3 and y - 16 < self.y(net) < y + 30
            for net, (first, last) in self.layout.reach.items()
        )

    # ------------------------------------------------------------ parts

    def _part(self, placed: Placed) -> None:
        x, part = self.x(placed.column), placed.part
        if placed.lies:
            self._lying(placed, x)
            return
        if is_block(part):
            self._block(placed, x)
            return
        middle = self.level(placed.middle)
        self._symbol(part, placed.turn, x, middle)
        for terminal, side in placed.sides.items():
            net = part.nets[terminal]
            dx, dy = {"N": (0, -50), "S": (0, 50), "W": (-50, 0), "E": (50, 0)}[side]
            self._reach(net, x + dx, middle + dy, side)
        self._label(part, x + _TEXT_AT.get(part.kind.name, 34), middle, placed)

    def _block(self, placed: Placed, x: float) -> None:
        """A frame with its legs; the number of the net at each says where it leads."""
        part, middle, step = placed.part, self.level(placed.middle), BLOCK_STEP * _LEVEL
        sides = legs_of_block(part)
        half = step * len(sides[0]) / 2
        words = [[shown(terminal_word(name), isolate=False) for name in names] for names in sides]
        # letters of 11.5 are about 6.2 wide: a frame grows for long words as far as its column allows
        most = 6.2 * max(sum(map(len, row)) for row in zip_longest(*words, fillvalue=""))
        wide = min(max(34.0, most / 2 + 7), 46.0)
        letters = min(11.5, 11.5 * (2 * wide - 14) / most)
        self.over.append(
            f'<rect x="{x - wide:.1f}" y="{middle - half:.1f}" width="{2 * wide:.0f}" '
            f'height="{2 * half:.1f}" fill="{CARD}" stroke="{INK}" stroke-width="{_PEN}"/>'
        )
        self.boxes.append((x - wide - 30, middle - half, x + wide + 30, middle + half))
        self.lowest = max(self.lowest, middle + half)
        for side, way, anchor in ((0, -1, "start"), (1, 1, "end")):
            for number, terminal in enumerate(sides[side]):
                net, y = part.nets[terminal], middle - half + (number + 0.5) * step
                self.under.append(self._line(net, x + way * wide, y, x + way * (wide + 10), y))
                self.over.append(self.chip(net, x + way * (wide + 20), y))
                self.over.append(
                    f'<text x="{x + way * (wide - 5):.1f}" y="{y + 4:.1f}" font-size="{letters:.3g}" '
                    f'text-anchor="{anchor}" fill="{INK}">{escape(words[side][number])}</text>'
                )
        self._text(x, middle - half - 8, f"{part.name} {label_of(part.cube, part.kind)}".strip(), "middle",
                   bold=True)  # fmt: skip

    def _reach(self, net: int, x: float, y: float, side: str) -> None:
        if net == 0:
            if side in "WE":
                out = x + (-10 if side == "W" else 10)
                self.under.append(self._line(0, x, y, out, y))
                self._ground(out, y)
            elif side == "N":  # upside down: lead it round the part
                # below the terminal's own end, well clear of the level line above it
                self.under.append(self._line(0, x, y + 10, x + 58, y + 10))
                self.under.append(self._line(0, x + 58, y + 10, x + 58, y + 100))
                self._ground(x + 58, y + 100)
            else:
                self._ground(x, y)
            return
        level = self.y(net)
        if side in "WE":
            out = x + (-12 if side == "W" else 12)
            if abs(level - y) < 0.5:
                self._join(net, x, y)
                return
            self.under.append(self._line(net, x, y, out, y))
            self._join(net, out, y)
            return
        wrong = (side == "N" and level > y + 1) or (side == "S" and level < y - 1)
        if wrong:
            step = -6 if side == "N" else 6
            self.under.append(self._line(net, x, y, x, y + step))
            self.under.append(self._line(net, x, y + step, x + 58, y + step))
            self._join(net, x + 58, y + step)
            return
        self._join(net, x, y)

    def _lying(self, placed: Placed, x: float) -> None:
        part = placed.part
        middle = self.level(placed.middle)
        self._symbol(part, placed.turn, x, middle)
        for terminal, side in placed.sides.items():
            net = part.nets[terminal]
            sx = x - 50 if side == "W" else x + 50
            self._reach(net, sx, middle, side)
        self._label(part, x, middle, placed)

    def _symbol(self, part: Part, turn: int, x: float, y: float) -> None:
        inks = {t: self.ink(n) for t, n in part.nets.items()}
        svg = symbol_svg(
            part.kind,
            turn=turn,
            unit=part.cube.unit,
            tile=False,
            ink=INK,
            terminal_inks=inks,
            size=104,
            alone=True,
        )
        svg = svg.replace("<svg ", f'<svg x="{x - 52:.1f}" y="{y - 52:.1f}" ', 1)
        self.over.append(svg)
        self.boxes.append((x - 36, y - 32, x + 36, y + 32))

    def _label(self, part: Part, x: float, y: float, placed: Placed) -> None:
        value = label_of(part.cube, part.kind)
        if placed.lies:
            tall = {"led": 52, "photoresistor": 52}.get(part.kind.name, 32)  # arrows of light
            low = part.device.store is Store.CHARGE or part.device.drive is Drive.SIGNAL
            above = y - (38 if low else tall)
            self._text(x, above, part.name, "middle", bold=True)
            self._text(x, y + (44 if part.device.store is Store.CHARGE else 40), value, "middle")
            return
        if placed.sides.get("wiper") == "E":  # the wire from the wiper leaves where the text would stand
            x, y, anchor = x - 68, y + 1, "end"
        else:
            anchor = "start"
        self._text(x, y - 3, part.name, anchor, bold=True)
        self._text(x, y + 15, value, anchor)

    def _text(self, x: float, y: float, text: str, anchor: str, *, bold: bool = False) -> None:
        if not text:
            return
        weight = ' font-weight="bold"' if bold else ""
        wide = 10.0 * len(text)
        start = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * wide
        self.boxes.append((start, y - 13, start + wide, y + 4))
        place = f'<text x="{x:.1f}" y="{y:.1f}" font-size="15.5" text-anchor="{anchor}"{weight} '
        words = f"{escape(shown(text, isolate=False))}</text>"
        # the light rim as a text of its own: not every renderer knows paint-order
        self.rims.append(
            f'{place}fill="{CARD}" stroke="{CARD}" stroke-width="4" stroke-linejoin="round" '
            f'aria-hidden="true">{words}'
        )
        self.over.append(f'{place}fill="{INK}">{words}')

    # ------------------------------------------------------------ nets

    def _ports(self) -> None:
        """Where the signal goes in and comes out, as open circles at the margins."""
        if self.design is None:
            return
        for probe, name, side in (
            (self.design.input, tr("in"), "W"),
            (self.design.output, tr("out"), "E"),
        ):
            if probe is None:
                continue
            net = self.circuit.net_of(probe.cell, probe.terminal)
            if not net or net not in self.layout.level or net not in self.spans:
                continue
            if side == "W" and any(p.device.drive is Drive.SIGNAL for p, _ in self.circuit.parts_on(net)):
                continue  # the connector itself shows where it comes in
            x, y = self._port_at(net, side)
            self._join(net, x, y)
            self.over.append(
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="{CARD}" stroke="{self.ink(net)}" '
                'stroke-width="3"/>'
            )
            self.named.append((x - 9, y - 9, x + 9, y + 9))
            under = y > self.y(net) + 1
            self._text(x, y + 24 if under else y - 14, name, "middle", bold=True)
            self.lowest = max(self.lowest, y + 10)

    def _port_at(self, net: int, side: str) -> tuple[float, float]:
        """Where a port stands clear of parts, texts and wires: at an end of the net's line, else over it."""
        xs, y = self.spans[net], self.y(net)
        right = [(max(xs), max(xs) + 62 - back, y) for back in (0, 20, 34)]
        left = [(min(xs), min(xs) - 34 - out, y) for out in (0, 28)]
        over = [
            (x, x, y + up) for x in (max(xs) - 10, min(xs) + 10, (min(xs) + max(xs)) / 2) for up in (-36, 40)
        ]
        places = [*(left + right if side == "W" else right + left), *over]
        return next((at[1:] for at in places if self._is_clear(at, y)), places[0][1:])

    def _is_clear(self, place: tuple[float, float, float], level: float) -> bool:
        """Whether a port (where its wire begins, and its own x and y) and its wire touch nothing."""
        begin, x, y = place
        port = (x - 18, y - 26, x + 18, y + 9) if y <= level else (x - 18, y - 9, x + 18, y + 28)
        wire = (min(begin, x) + 6, level - 3, max(begin, x) - 6, level + 3)
        if begin == x:
            wire = (x - 3, min(y, level - 6), x + 3, max(y, level + 6))
        return not any(overlap(port, box) or overlap(wire, box) for box in self.boxes) and not any(
            min(begin, x) - 10 < at < max(begin, x) + 10
            and min(y, level) - 10 < high
            and max(y, level) + 10 > low
            and not (at == begin and begin != x)
            for at, low, high in self.upright
        )

    def _junctions(self) -> list[str]:
        """Dots where three wires meet."""
        parts = []
        for net, xs in self.spans.items():
            level = self.y(net)
            left, right = min(xs), max(xs)
            for x in sorted({round(v, 1) for v in xs}):
                here = [y for px, y in self.dots[net] if abs(px - x) < 0.6]
                arms = (
                    (x > left + 0.5) + (x < right - 0.5)
                    + any(y < level - 0.5 for y in here) + any(y > level + 0.5 for y in here)
                    + any(abs(y - level) <= 0.5 and left + 0.5 < x < right - 0.5 for y in here)
                )  # fmt: skip
                if arms > 2:
                    parts.append(f'<circle cx="{x:g}" cy="{level:g}" r="5.6" fill="{self.ink(net)}"/>')
        return parts
