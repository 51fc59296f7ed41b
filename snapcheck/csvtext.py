"""Tables for spreadsheets and learning platforms: CSV (RFC 4180) that runs nothing.

A spreadsheet takes a cell for a formula that begins with one of a few signs, also where it splits a line at
another separator than ours, as it does in countries with a decimal comma. Source: OWASP, "CSV Injection".
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from snapcheck.words import shown

#: a sign that begins a formula, also as a full-width letter: at the start, or behind what a program may take
#: for a separator or the end of a quotation
_FORMULA = re.compile('^(?=\\s*[=+\\-@＝＋－＠])|(?<=[;,|"])(?=[=+\\-@＝＋－＠])')
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_QUOTED = re.compile(r'[",;|]|^\s|\s$')


def csv_text(rows: Iterable[Iterable[str]], separator: str = ",") -> str:
    """Rows of cells as CSV; lines end with CR LF."""
    return "".join(separator.join(map(_written, row)) + "\r\n" for row in rows)


def _written(text: str) -> str:
    cell = safe_cell(text)
    return '"' + cell.replace('"', '""') + '"' if _QUOTED.search(cell) else cell


def safe_cell(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe stands before; numbers stay numbers."""
    if _NUMBER.fullmatch(text):
        return text
    return _FORMULA.sub("'", shown(text, isolate=False))
