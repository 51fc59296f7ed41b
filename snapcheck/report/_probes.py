"""Where the probes go: on the drawn board, and on the photo seen from straight above."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from snapcheck.board import PITCH, STEP, Board, Cell, Side
from snapcheck.diagnose import Touch
from snapcheck.kit import Kit
from snapcheck.report._picture import drawing_svg, jpeg, lay_marks, rectify, window_of
from snapcheck.words import tr

if TYPE_CHECKING:
    import numpy as np

    from snapcheck.photo import Reading

#: sign of a probe to its colour and the word of the legend; the sign itself stands in the mark
_COLOURS = {"+": "#a8201a", "-": "#10243a", "~": "#0b5687", "Ω": "#6a3a94"}
_RADIUS = 19.0
#: how far from the middle of its cell a contact is touched, in cells
_OUT = 0.36


def probes_drawing(board: Board, kit: Kit, probes: Sequence[Touch], title: str = "") -> str:
    """The drawn top view with the places of the probes, as an SVG document."""
    words = title or tr("Where the probes go")
    return drawing_svg(board, kit, window_of(board), _marks(probes, board), words)


def probes_on_photo(pixels: np.ndarray, reading: Reading, probes: Sequence[Touch]) -> bytes:
    """The photo from straight above with the places of the probes, as JPEG.

    Args:
        pixels: (h, w, 3) uint8, upright; the photo that was read.
        reading: says where the board lies.
        probes: where they go, in the cells of the reading.

    Raises:
        PhotoError: photo and reading do not belong together.
    """
    window = window_of(reading.board)
    panel = rectify(pixels, reading, window).copy()
    lay_marks(panel, _marks(probes, reading.board), window)
    return jpeg(panel)


def _marks(probes: Sequence[Touch], board: Board) -> str:
    """SVG elements in the plate's units."""
    return "".join(_mark(probe, board) for probe in probes)


def _mark(probe: Touch, board: Board) -> str:
    colour = _COLOURS[probe.sign]
    if probe.seam is not None:
        x, y = _middle(probe.seam.first)
        over = _middle(probe.seam.second)
        x, y = (x + over[0]) / 2, (y + over[1]) / 2
    elif probe.side is not None:
        x, y = _edge(probe.cell, probe.side)
    else:
        return _whole(probe, board, colour)
    return (
        f'<g><circle cx="{x:.1f}" cy="{y:.1f}" r="{_RADIUS + 4:g}" fill="#ffffff"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_RADIUS:g}" fill="{colour}"/>'
        f'<text x="{x:.1f}" y="{y + 10:.1f}" font-size="28" font-weight="bold" text-anchor="middle" '
        f'fill="#ffffff">{"−" if probe.sign == "-" else probe.sign}</text></g>'
    )


def _whole(probe: Touch, board: Board, colour: str) -> str:
    """A ring round a cube that is to be lifted."""
    cube = board.cube_at(probe.cell)
    columns, rows = (1, 1) if cube is None else cube.lies
    left, top = probe.cell.column * PITCH, probe.cell.row * PITCH
    width, height = columns * PITCH, rows * PITCH
    ring = (
        f'<rect x="{left + 3:.1f}" y="{top + 3:.1f}" width="{width - 6:.1f}" height="{height - 6:.1f}" '
        'rx="16" fill="none" stroke='
    )
    return (
        f'{ring}"#ffffff" stroke-width="10"/>{ring}"{colour}" stroke-width="6" stroke-dasharray="16 9"/>'
        f'<text x="{left + width - 14:.1f}" y="{top + 30:.1f}" font-size="28" font-weight="bold" '
        f'text-anchor="end" fill="{colour}" stroke="#ffffff" stroke-width="5" paint-order="stroke">'
        f"{probe.sign}</text>"
    )


def _middle(cell: Cell) -> tuple[float, float]:
    return (cell.column + 0.5) * PITCH, (cell.row + 0.5) * PITCH


def _edge(cell: Cell, side: Side) -> tuple[float, float]:
    x, y = _middle(cell)
    right, down = STEP[side]
    return x + right * _OUT * PITCH, y + down * _OUT * PITCH
