"""Kits in artwork that no network was trained on, laid on a plate and "photographed" (see `paperphoto`).

A style redraws the symbols of `snapcheck.board` with another pen, in other colours, by a shaking hand, as
letters
or as made-up signs; `STYLES` names them. Those in `TO_TUNE` were looked at while teaching was designed; the
others are for reporting alone. How much two photos teach of each: models/train/taught_kits.py.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from boardmaker import random_cube
from paperphoto import photographed

from snapcheck.board import Board, Cell, Cube, symbol_strokes
from snapcheck.kit import Kit, ValueForm, format_value

#: pixels of a cube's top as drawn
TOP = 120
BGR = tuple[int, int, int]


@dataclass(frozen=True)
class Style:
    """How a kit is drawn.

    Attributes:
        pen: width of a line, in hundredths of a cube. ink, top: colours (blue, green, red).
        shake: how far a line strays, in hundredths of a cube; each cube strays in its own way.
        form: `lines` of the symbol, `hollow` (their outline), `dashes`, `letters` (a word in a box), or
        `signs` (strokes made up for each kind, like nothing that is drawn anywhere).
        size, at: of the drawing on the top: scale, and where its middle is moved, in hundredths.
        ground: pattern of the top: `plain`, `stripes`, `dots`, `panel`, `frame`.
        families: colours of the top by kind, beside `top`.
    """

    pen: float = 4.0
    ink: BGR = (30, 30, 30)
    top: BGR = (235, 235, 235)
    shake: float = 0.0
    form: str = "lines"
    size: float = 1.0
    at: tuple[float, float] = (0.0, 0.0)
    ground: str = "plain"
    families: tuple[BGR, ...] = ()


STYLES = {
    "brush": Style(6, (140, 60, 20), (200, 235, 245), 1.2),
    "chalk": Style(2.5, (235, 240, 235), (60, 80, 30), 1.5, ground="dots"),
    "letters": Style(4, (20, 20, 20), (80, 210, 245), form="letters"),
    "faint": Style(4, (150, 150, 150), (205, 205, 200)),
    "signs-a": Style(5, (40, 40, 40), (230, 230, 230), form="signs"),
    "stamp": Style(8.5, (150, 40, 40), (235, 240, 245), 0.8),
    "labels": Style(5.5, (245, 245, 245), (60, 110, 60), form="letters", ground="frame"),
    "signs-c": Style(7.5, (90, 30, 20), (240, 235, 230), 0.8, form="signs"),
    "nook": Style(6, (30, 20, 60), (225, 230, 235), size=0.6, at=(13.0, -11.0), ground="dots"),
    "shelf": Style(7, (60, 20, 20), (230, 235, 225), size=0.55, at=(-11.0, 13.0), ground="panel"),
    # for reporting
    "marker": Style(8, (40, 30, 190), (240, 240, 240), 0.6),
    "hairline": Style(1.3, (110, 40, 20), (240, 235, 215)),
    "negative": Style(4.5, (245, 245, 245), (25, 25, 25), ground="frame"),
    "crayon": Style(5, (60, 40, 120), (225, 240, 250), 2.2, families=((150, 220, 250), (200, 250, 200))),
    "hollow": Style(11, (60, 90, 20), (225, 245, 225), form="hollow"),
    "dashes": Style(5, (20, 20, 20), (180, 200, 240), form="dashes"),
    "striped": Style(5, (90, 20, 90), (235, 215, 235), ground="stripes"),
    "corner": Style(6, (20, 20, 20), (235, 235, 235), size=0.62, at=(-14.0, -10.0), ground="panel"),
    "words": Style(5, (250, 250, 250), (150, 70, 30), form="letters", ground="frame"),
    "signs-b": Style(7, (20, 20, 120), (235, 240, 240), 0.6, form="signs"),
}
TO_TUNE = ("brush", "chalk", "letters", "faint", "signs-a", "stamp", "labels", "signs-c", "nook", "shelf")


def _stray(points: np.ndarray, shake: float, rng: np.random.Generator) -> np.ndarray:
    """Points of a line, close to each other, as a hand that shakes draws them."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    way = np.concatenate([[0.0], np.cumsum(steps)])
    fine = np.unique(np.concatenate([np.arange(0, way[-1], 3.0), way]))
    line = np.stack([np.interp(fine, way, points[:, k]) for k in (0, 1)], -1)
    knots = np.arange(-20.0, way[-1] + 40.0, 14.0)
    off = rng.normal(size=(len(knots), 2)) * shake
    return line + np.stack([np.interp(fine, knots, off[:, k]) for k in (0, 1)], -1)


@cache
def _sign(name: str) -> tuple[np.ndarray, ...]:
    """A made-up sign for a kind, the same in every kit: a few strokes on one half more than on the other."""
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    strokes = []
    for _ in range(4):
        at = np.array([50.0, 34.0]) + rng.normal(size=2) * (18, 12)
        form = rng.integers(3)
        if form == 0:
            a = rng.uniform(0, 2 * math.pi) + np.linspace(0, rng.uniform(2, 6.2), 24)
            strokes.append(at + rng.uniform(6, 16) * np.stack([np.cos(a), np.sin(a)], -1))
        else:
            steps = rng.normal(size=(int(rng.integers(2, 5)), 2)) * 16
            strokes.append(np.clip(at + np.cumsum(steps, 0), 8, 92))
    return tuple(strokes)


_WORDS = {
    "electrolytic": "EL+", "audio-in": "IN", "photoresistor": "LDR", "potentiometer": "POT", "cross": "JOIN",
    "crossover": "OVER",
}  # fmt: skip


def _lettered(canvas: np.ndarray, name: str, style: Style) -> None:
    word = _WORDS.get(name, name[:4].upper() if len(name) > 4 else name.upper())
    pen = max(1, round(style.pen * TOP / 100 / 2))
    (w, h), _ = cv2.getTextSize(word, cv2.FONT_HERSHEY_SIMPLEX, 1.0, pen)
    k = min(0.78 * TOP / w, 0.4 * TOP / h)
    x, y = round(TOP / 2 - w * k / 2), round(0.47 * TOP + h * k / 2)
    cv2.putText(canvas, word, (x, y), cv2.FONT_HERSHEY_SIMPLEX, k, 255, pen, cv2.LINE_AA)
    cv2.line(canvas, (10, round(0.22 * TOP)), (TOP // 3, round(0.22 * TOP)), 255, pen)


def print_of(cube: Cube, kit: Kit) -> str:
    """What is printed on a cube with a value, in the letters that the pen has."""
    text = format_value(cube.value, kit[cube.kind].value_form, unit=cube.unit)
    return text.replace("Ω", "R").replace("µ", "u")


def drawn(cube: Cube, kit: Kit, style: Style, number: int = 0) -> np.ndarray:
    """A cube's top at turn 0, (TOP, TOP, 3) uint8; `number` tells apart those that a hand drew of one
    kind."""
    kind = kit[cube.kind]
    rng = np.random.default_rng(zlib.crc32(f"{kind.name} {number}".encode()))
    ink = np.zeros((TOP, TOP), np.uint8)
    colours = (style.top, *style.families)
    top = np.empty((TOP, TOP, 3), np.float32)
    top[:] = colours[sorted(kit.kinds).index(kind.name) % len(colours)]
    y, x = np.indices((TOP, TOP))
    shade = {"stripes": (x + y) // 9 % 2, "dots": (x % 12 < 3) & (y % 12 < 3)}.get(style.ground)
    if shade is not None:
        top *= 1 - 0.12 * shade[..., None]
    if style.ground == "panel":
        top[TOP * 3 // 4 :] *= 0.75
    if style.ground == "frame":
        cv2.rectangle(ink, (8, 8), (TOP - 9, TOP - 9), 255, 2)
    pen = max(1, round(style.pen * TOP / 100))
    if style.form == "letters":
        _lettered(ink, kind.name, style)
    else:
        made_up = style.form == "signs"
        lines = [(p, False, False) for p in _sign(kind.name)] if made_up else []
        lines += [] if made_up else [
            (np.array(s.points), s.closed, s.solid) for s in symbol_strokes(kind)
        ]  # fmt: skip
        for points, closed, solid in lines:
            corners = np.vstack([points, points[:1]]) if closed else points
            corners = (corners - 50) * style.size + 50 + style.at
            corners = _stray(corners, style.shake, rng) if style.shake else corners
            where = [np.round(corners * TOP / 100 * 16).astype(np.int32)]
            if solid:
                cv2.fillPoly(ink, where, 255, cv2.LINE_AA, 4)
            if style.form == "dashes":
                fine = _stray(corners, 0.0, rng)
                for a in range(0, len(fine) - 2, 5):
                    some = [np.round(fine[a : a + 4] * TOP / 100 * 16).astype(np.int32)]
                    cv2.polylines(ink, some, False, 255, pen, cv2.LINE_AA, 4)
            else:
                cv2.polylines(ink, where, False, 255, pen, cv2.LINE_AA, 4)
    if style.form == "hollow":
        ink = ink - cv2.erode(ink, np.ones((5, 5), np.uint8))
    if kind.value_form is not ValueForm.NONE and cube.value is not None:
        text = print_of(cube, kit)
        (w, h), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, 1.0, 2)
        k = min(0.85 * TOP / w, 0.15 * TOP / h)
        at = (round(TOP / 2 - w * k / 2), round(0.93 * TOP))
        cv2.putText(ink, text, at, cv2.FONT_HERSHEY_SIMPLEX, k, 255, 2, cv2.LINE_AA)
    share = (ink / 255.0)[..., None]
    return np.clip(top * (1 - share) + np.array(style.ink) * share, 0, 255).astype(np.uint8)


PLATES: tuple[BGR, ...] = ((150, 150, 146), (70, 66, 62), (205, 205, 200))


def laid(board: Board, kit: Kit, style: Style, rng: np.random.Generator) -> np.ndarray:
    """The plate with its cubes, each a little off its place, seen flat."""
    margin = round(0.35 * TOP)
    size = (board.rows * TOP + 2 * margin, board.columns * TOP + 2 * margin)
    page = np.empty((*size, 3), np.uint8)
    page[:] = PLATES[int(rng.integers(len(PLATES)))]
    brushed = rng.normal(0, 3, (size[0], 1, 1)) + rng.normal(0, 2, (*size, 1))
    page = np.clip(page + brushed, 0, 255).astype(np.uint8)
    cv2.rectangle(page, (0, 0), (size[1] - 1, size[0] - 1), (40, 40, 40), 3)
    for cell, cube in board.cubes.items():
        top = np.rot90(drawn(cube, kit, style, int(rng.integers(4))), -(cube.turn // 90))
        at = np.array([cell.column + 0.5, cell.row + 0.5]) * TOP + margin + rng.normal(0, 1.5, 2)
        m = cv2.getRotationMatrix2D((TOP / 2, TOP / 2), float(rng.normal(0, 0.8)), 0.955)
        m[:, 2] += at - TOP / 2
        whole = np.ones((TOP, TOP), np.float32)
        lower = m + np.array([[0, 0, 3.0], [0, 0, 4.0]])
        x0, y0 = (max(0, int(v - TOP)) for v in at)
        part = page[y0 : y0 + 2 * TOP, x0 : x0 + 2 * TOP]
        here = np.array([[0, 0, x0], [0, 0, y0]])
        shadow = cv2.warpAffine(whole, lower - here, part.shape[1::-1])
        shadow = cv2.GaussianBlur(shadow, (0, 0), 4)[..., None]
        there = cv2.warpAffine(whole, m - here, part.shape[1::-1])[..., None]
        part[:] = (
            part * (1 - 0.45 * shadow) * (1 - there)
            + cv2.warpAffine(top, m - here, part.shape[1::-1]) * there
        )
    return page


def random_board(kit: Kit, rng: np.random.Generator, columns: int = 8, rows: int = 6) -> Board:
    """Any cubes of one cell, in about two cells of three."""
    import random

    some = random.Random(int(rng.integers(1 << 30)))
    cells = [Cell(r, c) for r in range(rows) for c in range(columns)]
    return Board(columns, rows, {c: random_cube(some, kit) for c in cells if rng.random() < 0.65})


def photo(
    board: Board, kit: Kit, style: Style, seed: int, tilt: float = 10.0, quarter: int = 0
) -> np.ndarray:
    """A picture of the board, (1500, 2000, 3) uint8 blue green red; `quarter`: turned clockwise by
    quarters."""
    rng = np.random.default_rng(seed)
    flat = np.ascontiguousarray(np.rot90(laid(board, kit, style, rng), -quarter))
    return photographed(flat, rng, float(rng.uniform(0, tilt)), (2000, 1500))
