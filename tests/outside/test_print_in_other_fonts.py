"""Printed values in fonts that training never had, through the room's own reading of lines and values.

Sources: texts of IEC 60062:2016 and type numbers, set in six fonts of Debian packages that are neither among
those that training used nor among its held-out ones (fixtures/outside/print/README.md). Each text is put on
plain cube tops in all four turns, three sizes and two colourings; its place is given, as the symbol network
would give it. `pytest -s` prints the table by font and the texts that are misread.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import cv2
import numpy as np
import pytest

from snapcheck.kit import ValueForm, bundled_kit, parse_value
from snapcheck.photo._cells import FINE, read_lines
from snapcheck.photo._nets import calibration
from snapcheck.photo._weigh import trusted, valued, values_of

FOLDER = Path(__file__).parents[2] / "fixtures" / "outside" / "print"
TEXTS: dict[str, str] = json.loads((FOLDER / "texts.json").read_text(encoding="utf-8"))
#: of the sheets
WIDE, HIGH, SHEET_COLUMNS = 260, 60, 6
#: what the value grammar is told to expect
KIND = {
    "ohms": "resistor", "farads": "capacitor", "henries": "inductor", "volts": "zener", "amperes": "fuse",
    "type": "npn",
}  # fmt: skip
TYPES = {"2N7000": "nmos", "1N4148": "diode"}
#: height of the text's box, in cells (most cubes print between a tenth and a fifth of a cell)
HEIGHTS = (0.10, 0.13, 0.18)
#: top and ink, blue green red
COLOURS = (((236, 240, 240), (25, 20, 20)), ((110, 80, 30), (235, 240, 245)))
RIM = 0.1
COLUMNS = 24


def sheet_texts(font: str) -> list[tuple[str, np.ndarray]]:
    """Each text of a sheet with its ink (0..1), cut to what is printed."""
    sheet = 1 - cv2.imread(str(FOLDER / f"{font}.png"), cv2.IMREAD_GRAYSCALE) / 255.0
    found = []
    for n, text in enumerate(TEXTS):
        y, x = HIGH * (n // SHEET_COLUMNS), WIDE * (n % SHEET_COLUMNS)
        ink = sheet[y : y + HIGH, x : x + WIDE]
        if ink.max() > 0.5:
            ys, xs = np.nonzero(ink > 0.3)
            found.append((text, ink[ys.min() : ys.max() + 1, xs.min() : xs.max() + 1]))
    return found


def laid_out(font: str) -> tuple[np.ndarray, list[tuple[int, int]], np.ndarray, np.ndarray, list[str]]:
    """A flattened board with a text on every cube: picture, places, turns, boxes, texts."""
    tiles, turns, boxes, want = [], [], [], []
    for n, (text, ink) in enumerate(sheet_texts(font)):
        for q in range(4):
            tall = HEIGHTS[(n + q) % len(HEIGHTS)]
            k = min(tall * FINE / ink.shape[0], 0.82 * FINE / ink.shape[1])
            small = cv2.resize(ink, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
            h, w = small.shape
            y, x = round(0.72 * FINE - h / 2), round((FINE - w) / 2)
            share = np.zeros((FINE, FINE))
            share[y : y + h, x : x + w] = small
            share = np.rot90(share, -q)[..., None]
            top, pen = COLOURS[(n // 3 + q) % 2]
            tiles.append(np.array(top) * (1 - share) + np.array(pen) * share)
            middle = np.array([(x + w / 2) / FINE - 0.5, (y + h / 2) / FINE - 0.5])
            size = np.array([w, h]) / FINE
            for _ in range(q):  # a quarter turn clockwise
                middle, size = np.array([-middle[1], middle[0]]), size[::-1]
            turns.append(q)
            boxes.append([*middle, *size])
            want.append(text)
    rows = -(-len(tiles) // COLUMNS)
    shape = (round((rows + 2 * RIM) * FINE), round((COLUMNS + 2 * RIM) * FINE), 3)
    board = np.full(shape, (70, 75, 80), np.uint8)
    places = [(i % COLUMNS, i // COLUMNS) for i in range(len(tiles))]
    for (x, y), tile in zip(places, tiles, strict=True):
        x0, y0 = round((x + RIM) * FINE), round((y + RIM) * FINE)
        board[y0 + 2 : y0 + FINE - 2, x0 + 2 : x0 + FINE - 2] = tile[2:-2, 2:-2]
    noise = np.random.default_rng(5).normal(size=shape) * 3
    board = np.clip(cv2.GaussianBlur(board, (0, 0), 1.0) + noise, 0, 255).astype(np.uint8)
    return board, places, np.array(turns), np.array(boxes), want


@pytest.mark.parametrize("font", sorted(p.stem for p in FOLDER.glob("*.png")))
def test_values_in_a_font_never_seen(font: str) -> None:
    """None is read as another value with the certainty asked for; most are read."""
    kit, limits = bundled_kit(), calibration()
    board, places, turns, boxes, want = laid_out(font)
    lines = read_lines(board, RIM, places, turns, boxes)
    exact = right = sure = 0
    wrong: list[tuple[float, str]] = []
    misread: Counter[str] = Counter()
    for text, line in zip(want, lines, strict=True):
        form = ValueForm(TEXTS[text])
        kind = TYPES.get(text, KIND[TEXTS[text]])
        cube, p, why = valued(kit[kind], 0, line, values_of(kit[kind], line)[0])
        p = trusted(p, limits["text_trust"])
        same = cube.value == parse_value(text, form).value
        exact += line.text == text
        right += same
        if p >= limits["text_threshold"] and not why:
            sure += same
            if not same:
                wrong.append((p, f"{text} read as {cube.printed} with {p:.3f}"))
        if not same:
            misread[f"{text} as {line.text}"] += 1
    n = len(want)
    print(
        f"\n{font:18} {n} texts: letter by letter {exact / n:.3f}, value {right / n:.3f}, sure {sure / n:.3f}"
    )
    print("  misread:", ", ".join(f"{what} ({k})" for what, k in misread.most_common(12)))
    print("  wrong though sure:", wrong)
    assert not wrong
    assert right / n > 0.85 and sure / n > 0.3
