"""Bench cards to print: one for each student, with a QR code that `snapcheck.grade._card` reads."""

from __future__ import annotations

import textwrap
from typing import Any
from xml.sax.saxutils import escape

import numpy as np

from snapcheck.grade._card import Card
from snapcheck.grade._course import Course, Student
from snapcheck.words import shown, tr

#: A4 and the cards on it, millimetres
PAGE = (210.0, 297.0)
CARD = (90.0, 54.0)
ACROSS, DOWN = 2, 5
#: side of the code with its quiet zone, millimetres
CODE = 46.0
#: letters of the title on one line
_TITLE_LETTERS = 22


def code_modules(card: Card) -> Any:
    """The QR code (error correction M) with its quiet zone: (n, n) array, True where it is black."""
    import zxingcpp

    made = zxingcpp.create_barcode(card.text, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    return np.asarray(made.to_image()) < 128


def sheets_svg(course: Course, task: str = "") -> list[str]:
    """Pages of cards as SVG in millimetres, in the order of the roster.

    Args:
        task: printed and coded as well, "" for cards that serve all tasks of the course (then the task must
            be known from the file's name, or be the only one).

    Raises:
        InputError: there is no such task.
    """
    if task:
        course.task(task)
    each = ACROSS * DOWN
    return [
        _sheet(course, course.students[at : at + each], task) for at in range(0, len(course.students), each)
    ]


def _sheet(course: Course, students: tuple[Student, ...], task: str) -> str:
    left, top = (PAGE[0] - ACROSS * CARD[0]) / 2, (PAGE[1] - DOWN * CARD[1]) / 2
    cards = []
    for i, student in enumerate(students):
        x, y = left + (i % ACROSS) * CARD[0], top + (i // ACROSS) * CARD[1]
        cards.append(f'<g transform="translate({x:g} {y:g})">{_card(course, student, task)}</g>')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{PAGE[0]:g}mm" height="{PAGE[1]:g}mm" '
        f'viewBox="0 0 {PAGE[0]:g} {PAGE[1]:g}" font-family="DejaVu Sans, Verdana, sans-serif">'
        f"{''.join(cards)}</svg>"
    )


def _card(course: Course, student: Student, task: str) -> str:
    modules = code_modules(Card(student.number, task))
    side = CODE / len(modules)
    rows, columns = modules.nonzero()
    d = "".join(f"M{c} {r}h1v1h-1z" for r, c in zip(rows.tolist(), columns.tolist(), strict=True))
    title = course.task(task).title if task else course.title
    pieces = textwrap.wrap(title, _TITLE_LETTERS, max_lines=3, placeholder=" …") or [""]
    lines = [
        (14.0, 4.2, "bold", student.number),
        (21.0, 3.4, "normal", student.name),
        *((28.0 + 4.2 * i, 3.0, "normal", line) for i, line in enumerate(pieces)),
        (46.0, 2.4, "normal", tr("Lay it flat beside the plate,")),
        (49.5, 2.4, "normal", tr("all of it in the picture.")),
    ]
    words = "".join(_line(*line) for line in lines)
    return (
        f'<rect width="{CARD[0]:g}" height="{CARD[1]:g}" fill="#fff" stroke="#888" stroke-width=".2" '
        f'stroke-dasharray="2 1.5"/><path transform="translate(2.5 4) scale({side:.5f})" d="{d}"/>{words}'
    )


def _line(y: float, size: float, weight: str, text: str) -> str:
    """A line of text that never runs over the card's edge."""
    fitted = 'textLength="37" lengthAdjust="spacingAndGlyphs" ' if 0.56 * size * len(text) > 37 else ""
    words = escape(shown(text, isolate=False))
    return f'<text x="50" y="{y:g}" font-size="{size:g}" font-weight="{weight}" {fitted}>{words}</text>'


def sheets_html(course: Course, task: str = "") -> str:
    """The same pages as one HTML text, to be printed or made into a PDF."""
    pages = "".join(f"<div>{sheet}</div>" for sheet in sheets_svg(course, task))
    css = "@page{size:A4;margin:0}body{margin:0}div{break-after:page}svg{display:block}"
    title = escape(tr("Bench cards: {title}", title=course.title))
    head = f'<meta charset="utf-8"><title>{title}</title><style>{css}</style>'
    return f"<!doctype html><html><head>{head}</head><body>{pages}</body></html>"
