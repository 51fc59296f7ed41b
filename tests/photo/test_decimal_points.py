"""What is said of decimal points, beside what the text network says."""

from __future__ import annotations

from pathlib import Path

import cv2
import matplotlib
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from snapcheck.photo import _points
from snapcheck.photo._cells import LINE_H, LINE_W
from snapcheck.photo._nets import names, run
from snapcheck.photo._points import MOST, with_points

LETTERS = names()[1]
POINT, FOUR = 1 + LETTERS.index("."), 1 + LETTERS.index("4")
LINES = np.zeros((1, LINE_H, LINE_W, 3), np.uint8)
FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def said(heat: list[float], monkeypatch: pytest.MonkeyPatch) -> np.ndarray:
    """A line of which the text network says four, or nothing, with a point now and then."""
    prob = np.zeros((1, 40, 1 + len(LETTERS)))
    prob[:, :, 0], prob[:, :, POINT], prob[:, :, FOUR] = 0.5, 0.1, 0.4
    monkeypatch.setattr(_points, "run", lambda name, lines: np.array([heat]))
    new = with_points(prob, LINES, [len(heat)])
    assert np.allclose(new.sum(2), 1) and np.allclose(new[:, :, FOUR], 0.4)
    assert np.allclose(prob[:, :, POINT], 0.1)  # what was given is left as it was
    return new[0, :, POINT]


def test_between_a_point_and_nothing_alone_the_second_opinion_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    heat = [0.0] * 20 + [9.0] + [-9.0] * 19
    after = said(heat, monkeypatch)
    assert np.allclose(after[: 20 - _points.BESIDE], 0.1)  # it says nothing there
    assert (after[20 - _points.BESIDE : 21 + _points.BESIDE] > 0.58).all()  # 0.6 are between the two
    assert (after[21 + _points.BESIDE :] < 0.001).all()


def test_no_opinion_outweighs_all_evidence(monkeypatch: pytest.MonkeyPatch) -> None:
    odds = 0.1 / 0.5
    for heat, sign in ((1e6, 1), (-1e6, -1)):
        after = said([heat] * 40, monkeypatch)
        assert np.allclose(after / (0.6 - after), odds * np.exp(sign * MOST))


def test_what_is_said_beyond_the_end_of_a_line_counts_nowhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(_points, "run", lambda name, lines: np.array([[-9.0] * 20 + [9.0] * 20]))
    prob = np.full((1, 40, 1 + len(LETTERS)), 1 / (1 + len(LETTERS)))
    before = prob[0, :20, POINT]
    assert (with_points(prob, LINES, [20])[0, :20, POINT] < 0.1 * before).all()
    assert (with_points(prob, LINES, [40])[0, 20 - _points.BESIDE : 20, POINT] > before[0]).all()


def line(text: str, spacing: int, font: str = "DejaVuSansMono.ttf") -> tuple[np.ndarray, int]:
    """Print as the text network sees it, three quarters of the line's height; and how many frames show it."""
    face, x = ImageFont.truetype(str(FONTS / font), 40), 16.0
    picture = Image.new("L", (2 * LINE_W, 2 * LINE_H), 235)
    for letter in text:
        ImageDraw.Draw(picture).text((x, 8), letter, 40, face)
        x += face.getlength(letter) + spacing
    small = cv2.resize(np.asarray(picture), (LINE_W, LINE_H), interpolation=cv2.INTER_AREA)
    small[:, int(x / 2) + 8 :] = 128
    return np.repeat(small[:, :, None], 3, 2), int(x / 2) // 4


@pytest.mark.parametrize("spacing", [0, 8, 16])
def test_letters_set_wide_apart_have_no_point_between_them(spacing: int) -> None:
    pairs = [("47k", "4.7k"), ("33n", "3.3n"), ("22u", "2.2u"), ("15V", "1.5V"), ("68", "6.8")]
    made = [line(text, spacing) for pair in pairs for text in pair]
    heat = run("points", np.stack([picture for picture, _ in made]))
    most = np.array([row[:end].max() for row, (_, end) in zip(heat, made, strict=True)])
    without, with_ = most[::2], most[1::2]
    assert (without < -1).all() and (with_ > 1).all(), np.round(np.stack([without, with_]), 1)
