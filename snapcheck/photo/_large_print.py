"""The print of cubes of several cells: where it stands on them, and what it says.

Nobody taught a network where print stands there. Marks as large as letters that stand in a row are taken for
a line that may be print, names of legs among them; each is read by the text network and weighed with the
kit's values by the rules for cubes of one cell. Where two lines say different values, neither is sure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import cv2
import numpy as np

from snapcheck.board import Cell, Cube
from snapcheck.kit import Kind, Kit, ValueForm
from snapcheck.photo._cells import FINE, Print, read_lines
from snapcheck.photo._nets import calibration
from snapcheck.photo._reading import CubeReading, State
from snapcheck.photo._weigh import LEAST, Values, filled, print_is_sure, trusted, valued, values_of
from snapcheck.words import tr

#: a print may stand this far (cells) from where the kit has its middle
_NEAR = 0.5
#: size of a print that the kit places and that is not seen, in cells
_USUAL = (0.6, 0.16)
#: letters: least and greatest height, greatest width, in cells
_LETTER = (0.055, 0.34, 0.4)
#: letters of one line: gap and difference of their middles in heights, ratio of heights
_GAP, _OFF, _RATIO = 1.0, 0.45, 1.9
#: a line where a value is as likely as this speaks against another value elsewhere
_SPEAKS = 0.2
#: lines that are read at most
_MOST = 24
#: around the top of a cube, cells
_AROUND = 0.1
#: ink differs from the mean round about, over this many cells, by so many grey levels, and has so many pixels
_BLOCK, _CONTRAST, _LEAST_INK = 0.4, 12, 12

#: middle, width and height of a line, in cells from the upper left corner of the cube's top at turn 0
Box = tuple[float, float, float, float]


def with_prints(
    board: np.ndarray, rim: float, large: Mapping[Cell, CubeReading], kit: Kit
) -> dict[Cell, CubeReading]:
    """Large cubes, and what is printed on those that come with several values.

    Args:
        board: flattened, FINE pixels a cell, with `rim` cells around.
    """
    result = dict(large)
    for anchor, seen in large.items():
        kind = kit[seen.cube.kind]
        if kind.value_form is ValueForm.NONE or seen.cube.value is not None:
            continue
        top = _upright(board, rim, anchor, seen.cube)
        boxes = _boxes(top, kind)
        lines = _lines(top, 0, boxes)
        if kind.either_way:  # then the print may stand either way up
            lines += _lines(top, 2, boxes)
        result[anchor] = told(seen, lines, kind)
    return result


def told(seen: CubeReading, lines: list[Print], kind: Kind) -> CubeReading:
    """A large cube with the value that its prints say, and how far that can be trusted.

    Args:
        lines: what is read at the places that may be its print.
    """
    limits = calibration()
    p_symbol = seen.parts[0]
    places = sorted(((line, *_of_kind(kind, line)) for line in lines), key=lambda place: -place[2])
    if not places or not places[0][1]:
        return replace(seen, reason=tr("the printed value is not clear"))
    line, values, _ = places[0]
    cube, p_text, why = valued(kind, seen.cube.turn, line, values)
    p_text = trusted(p_text, limits["text_trust"])
    said = values[0][0]
    others = [v[0][0] for _, v, fits in places[1:] if v and fits > _SPEAKS]
    contested = any((o.value, o.unit) != (said.value, said.unit) for o in others)
    cube = replace(cube, size=seen.cube.size)
    if contested:
        p_text = min(p_text, 0.5)
    if p_symbol >= limits["symbol_threshold"] and print_is_sure(p_text, values, limits) and not why:
        return CubeReading(cube, State.READ, round(p_symbol * p_text, 6), parts=(p_symbol, p_text))
    chances = [
        (replace(cube, value=v.value, printed=text, unit=v.unit), round(p_symbol * p, 6))
        for v, text, p in values
    ]
    chances = [c for c in chances if c[1] >= LEAST]
    clear = p_symbol >= limits["symbol_threshold"]
    reason = why or (tr("the printed value is not clear") if clear else tr("the symbol is not clear"))
    return CubeReading(
        cube, State.UNSURE, round(p_symbol * p_text, 6), tuple(c for c in chances if c[0] != cube),
        reason, (p_symbol, p_text), tuple(chances),
    )  # fmt: skip


def _of_kind(kind: Kind, line: Print) -> tuple[Values, float]:
    """What a line may say on this kind, likeliest first, and how likely it is print of it; what the kit has
    comes before anything else."""
    values, fits = values_of(kind, line)
    if not kind.values:
        return values, fits
    listed = [v for v in values if v[0].value in kind.values]
    _, chance = filled(kind, line)
    exact = line.confidence if listed and listed[0][1] == " ".join(line.text.split()) else 0.0
    return listed, max(exact, float(chance.max(initial=0.0)))


def _upright(board: np.ndarray, rim: float, anchor: Cell, cube: Cube) -> np.ndarray:
    """A cube's top at turn 0, FINE pixels a cell, with a little around it."""
    columns, rows = cube.lies
    x0, y0 = (round((v + rim - _AROUND) * FINE) for v in (anchor.column, anchor.row))
    wide, high = (round((n + 2 * _AROUND) * FINE) for n in (columns, rows))
    return np.ascontiguousarray(np.rot90(board[y0 : y0 + high, x0 : x0 + wide], cube.turn // 90))


def _lines(top: np.ndarray, quarter: int, boxes: list[Box]) -> list[Print]:
    """What is read at some places of a cube's top."""
    n = len(boxes)
    at = np.array([(x - 0.5, y - 0.5, w, h) for x, y, w, h in boxes]).reshape(-1, 4)
    return read_lines(top, _AROUND, [(0, 0)] * n, np.full(n, quarter), at)


def _boxes(top: np.ndarray, kind: Kind) -> list[Box]:
    """Places on a cube's top that may be its print."""
    grey = np.asarray(cv2.cvtColor(top, cv2.COLOR_BGR2GRAY))
    found: list[Box] = []
    for way in (cv2.THRESH_BINARY_INV, cv2.THRESH_BINARY):  # dark letters, and light ones
        block = round(_BLOCK * FINE) | 1
        least = _CONTRAST if way == cv2.THRESH_BINARY_INV else -_CONTRAST
        ink = cv2.adaptiveThreshold(grey, 255, cv2.ADAPTIVE_THRESH_MEAN_C, way, block, least)
        found += rows_of(_letters(np.asarray(ink)))
    columns, rows = kind.size
    found = [b for b in found if 0 < b[0] < columns and 0 < b[1] < rows]
    if kind.print_at is not None:
        px, py = kind.print_at
        found = [b for b in found if abs(b[0] - px) < _NEAR and abs(b[1] - py) < _NEAR]
        found = found or [(px, py, *_USUAL)]
    return sorted(found, key=lambda b: -b[2] * b[3])[:_MOST]


def _letters(ink: np.ndarray) -> list[Box]:
    """Marks as large as letters."""
    low, high, wide = _LETTER
    _, _, stats, _ = cv2.connectedComponentsWithStats(ink, connectivity=8)
    boxes: list[Box] = []
    for x, y, w, h, area in (stats[1:] / [FINE, FINE, FINE, FINE, 1]).tolist():
        if low <= h <= high and w <= wide and area > _LEAST_INK:
            boxes.append((x + w / 2 - _AROUND, y + h / 2 - _AROUND, w, h))
    return boxes


def rows_of(letters: list[Box]) -> list[Box]:
    """Lines that letters stand in, side by side and of about one height; one letter may be a line."""
    rows: list[list[Box]] = []
    for letter in sorted(letters):
        x, y, w, h = letter
        for row in rows:
            u, v, wide, tall = row[-1]
            taller = max(h, tall)
            beside = x - w / 2 - (u + wide / 2) < _GAP * taller
            level = abs((y + h / 2) - (v + tall / 2)) < _OFF * taller and abs(y - v) < _OFF * taller
            if beside and level and taller < _RATIO * min(h, tall):
                row.append(letter)
                break
        else:
            rows.append([letter])
    boxes = []
    for row in rows:
        some = np.array(row)
        x0, y0 = (some[:, :2] - some[:, 2:] / 2).min(0)
        x1, y1 = (some[:, :2] + some[:, 2:] / 2).max(0)
        boxes.append((float(x0 + x1) / 2, float(y0 + y1) / 2, float(x1 - x0), float(y1 - y0)))
    return boxes
