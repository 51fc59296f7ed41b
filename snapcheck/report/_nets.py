"""The board's top view with its nets in colours; each net also carries its number."""

from __future__ import annotations

import math
from collections.abc import Mapping

from snapcheck.board import PITCH, Cell, Side, draw_svg
from snapcheck.circuit import Circuit, Metal
from snapcheck.report._look import INK
from snapcheck.report._picture import Window, addresses_svg, document, moved

#: told apart by colour-blind people in pairs of neighbours; at least 3 : 1 against every cube's body
_PALETTE = (
    "#0a5c99", "#a03c00", "#00694a", "#8a2f73", "#4a41b0", "#655500", "#a8201a", "#00646f", "#6e421c", "#365f00",  # noqa: E501
)  # fmt: skip
_APART = 2.6 * PITCH
_SHIFT = {Side.N: (0, -50), Side.E: (50, 0), Side.S: (0, 50), Side.W: (-50, 0)}


def net_colours(circuit: Circuit) -> dict[int, str]:
    """Colour of every net that joins something; the plate is ink."""
    colours = {0: INK}
    wanted = [n.number for n in circuit.nets if n.number and len(n.contacts) > 1]
    for index, number in enumerate(wanted):
        colours[number] = _PALETTE[index % len(_PALETTE)]
    return colours


def nets_svg(circuit: Circuit, colours: Mapping[int, str], window: Window, title: str = "") -> str:
    """Top view with conductors in the colour of their net, and the net's number here and there."""

    def ink(cell: Cell, terminal: str) -> str | None:
        net = circuit.net_of(cell, terminal)
        return None if net is None else colours.get(net)

    drawn = draw_svg(circuit.board, circuit.kit, inks=ink)
    body = drawn[drawn.index("</title>") + len("</title>") :].removesuffix("</svg>")
    chips = "".join(_chips(circuit, colours))
    return document(window, body + addresses_svg(window) + moved(chips), title)


def _chips(circuit: Circuit, colours: Mapping[int, str]) -> list[str]:
    parts = []
    for net in circuit.nets:
        if net.number not in colours or not net.number:
            continue
        placed: list[tuple[float, float]] = []
        for contact in net.contacts:
            if contact.side is None or contact.metal is not Metal.CONTACT:
                continue
            dx, dy = _SHIFT[contact.side]
            x = (contact.cell.column + 0.5) * PITCH + dx * 1.08
            y = (contact.cell.row + 0.5) * PITCH + dy * 1.08
            if any(math.dist((x, y), other) < _APART for other in placed):
                continue
            placed.append((x, y))
            text = str(net.number)
            width = 22 if len(text) < 2 else 30
            parts.append(
                f'<rect x="{x - width / 2:g}" y="{y - 11:g}" width="{width}" height="22" rx="11" '
                f'fill="{colours[net.number]}" stroke="#fff" stroke-width="2.5"/>'
                f'<text x="{x:g}" y="{y + 5.4:g}" font-size="15" font-weight="bold" text-anchor="middle" '
                f'fill="#fff">{text}</text>'
            )
    return parts
