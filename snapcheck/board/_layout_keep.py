"""Writing a changed design into the layout file that it was in: comments, order and wording stay."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from snapcheck.board._design import Design
from snapcheck.board._layout import parse_layout
from snapcheck.board._layout_write import write_layout
from snapcheck.board._place import Cell, Seam
from snapcheck.board._words import split_lines
from snapcheck.errors import InputError
from snapcheck.kit import Kit

#: sorts of lines, in the order in which a file has them
_SORTS = ("plate", "title", "purpose", "input", "output", "set", "expect", "cube", "tap", "lead", "stage")
_COMMENT = re.compile(r"\s+#.*$")


@dataclass
class _Row:
    """A line of the file.

    Attributes:
        text: as it stands.
        sort: see `_SORTS`, "" for what holds nothing.
        key: by which the line is known among those of its sort.
    """

    text: str
    sort: str = ""
    key: str = ""


def rewritten(text: str, design: Design, kit: Kit) -> str:
    """The text of a layout file with a design in it that was made from the file's own by a change.

    What the change does not touch stays as it was typed; `parse_layout` gives the design back.

    Raises:
        InputError: the text is no layout file, or the design cannot be written.
    """
    fresh = write_layout(design, kit)
    old, new = _by_sort(write_layout(parse_layout(text, "", kit), kit)), _by_sort(fresh)
    rows = _rows(text)
    for sort in _SORTS:
        if old.get(sort) != new.get(sort):
            _change(rows, sort, old.get(sort, {}), new.get(sort, {}))
    made = re.sub(r"\n{3,}", "\n\n", "\n".join(row.text for row in rows).strip("\n")) + "\n"
    try:
        same = parse_layout(made, "", kit) == design
    except InputError:
        same = False
    return made if same else fresh


def _sort_of(word: str) -> str:
    word = word.lower()
    return {"note": "stage"}.get(word, word if word in _SORTS else "cube")


def _by_sort(text: str) -> dict[str, dict[str, str]]:
    """The lines of a file as `write_layout` makes it, by sort and key."""
    found: dict[str, dict[str, str]] = {}
    for row in _rows(text):
        if row.sort:
            found.setdefault(row.sort, {})[row.key] = row.text
    return found


def _rows(text: str) -> list[_Row]:
    """Every line, with the key by which it is known: its place, or which of its sort it is."""
    raw = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    rows = [_Row(line.rstrip()) for line in raw]
    count: dict[str, int] = {}
    for line in split_lines(text, ""):
        row, word = rows[line.number - 1], line.words[0].text
        row.sort = _sort_of(word)
        count[row.sort] = count.get(row.sort, 0) + 1
        row.key = f"{count[row.sort]:04}"
        if row.sort == "cube":
            cell = Cell.parse(word)
            row.key = f"{cell.row:02} {cell.column:02}"
        elif row.sort == "tap":
            row.key = str(Seam.parse(line.words[1].text))
    return rows


def _change(rows: list[_Row], sort: str, old: Mapping[str, str], new: Mapping[str, str]) -> None:
    """Bring the lines of one sort to what they are to say."""
    there = [row for row in rows if row.sort == sort]
    if sort in ("cube", "tap"):
        instead = {key: new.get(key) for key in old}
        extra = [(key, line) for key, line in new.items() if key not in old]
    elif len(there) == len(old):
        instead, extra = _followed(list(old.items()), list(new.items()))
    else:  # said in other lines than ours
        instead, extra = {row.key: None for row in there}, list(new.items())
    at = next((n for n, row in enumerate(rows) if row.sort == sort), None)
    noted = {}
    if sort in ("cube", "tap", "lead"):  # the rest may hold a # as text
        noted = {k: c[0] for row in there if (c := _COMMENT.search(row.text)) for k in _known(sort, row, old)}
    for row in there:
        line = instead.get(row.key, row.text)
        if line is None:
            rows.remove(row)
        elif old.get(row.key) != line:
            row.text = line + _comment(sort, row.key, line, noted)
    for key, line in extra:
        _insert(rows, _Row(line + _comment(sort, key, line, noted), sort, key), at)


def _known(sort: str, row: _Row, old: Mapping[str, str]) -> list[str]:
    """By what the thing that a comment is about is known again: a cube in another place is the same."""
    words = old[row.key].split(" ")
    return [" ".join(words[1:]), f"{row.key} {words[1]}"] if sort == "cube" else [row.key]


def _comment(sort: str, key: str, line: str, noted: Mapping[str, str]) -> str:
    words = line.split(" ")
    if sort != "cube":
        return noted.get(key, "")
    return noted.get(f"{key} {words[1]}", "") or noted.get(" ".join(words[1:]), "")


def _followed(
    old: Sequence[tuple[str, str]], new: Sequence[tuple[str, str]]
) -> tuple[dict[str, str | None], list[tuple[str, str]]]:
    """For each old line of a list what takes its place (None: nothing), and what comes behind them."""
    instead: dict[str, str | None] = {}
    extra: list[tuple[str, str]] = []
    lines = difflib.SequenceMatcher(None, [w for _, w in old], [w for _, w in new], autojunk=False)
    for _, start, end, first, last in lines.get_opcodes():
        for n, (key, _) in enumerate(old[start:end]):
            instead[key] = new[first + n][1] if first + n < last else None
        extra += [(f"~{key}", line) for key, line in new[first + (end - start) : last]]
    return instead, extra


def _insert(rows: list[_Row], row: _Row, before: int | None) -> None:
    """Put a line where a person would look for it."""
    if row.sort == "cube":
        line = row.key[:2]
        cubes = [n for n, r in enumerate(rows) if r.sort == "cube"]
        ahead = [n for n in cubes if rows[n].key < row.key]
        behind = [n for n in cubes if rows[n].key > row.key]
        if ahead and rows[ahead[-1]].key[:2] == line:
            rows.insert(ahead[-1] + 1, row)
        elif behind and rows[behind[0]].key[:2] == line:
            rows.insert(behind[0], row)
        elif ahead:
            rows[ahead[-1] + 1 : ahead[-1] + 1] = [_Row(""), row, _Row("")]
        else:
            at = behind[0] if behind else _end_of(rows, _SORTS[:7])
            rows[at:at] = [_Row(""), row, _Row("")]
        return
    same = [n for n, r in enumerate(rows) if r.sort == row.sort]
    if same or before is not None:
        rows.insert(same[-1] + 1 if same else before or 0, row)
        return
    at = _end_of(rows, _SORTS[: _SORTS.index(row.sort)])
    apart = row.sort in ("tap", "lead", "stage") and not (at and rows[at - 1].sort == "tap")
    rows[at:at] = [_Row(""), row, _Row("")] if apart else [row]


def _end_of(rows: Sequence[_Row], sorts: Sequence[str]) -> int:
    """Behind the last line of these sorts."""
    return max((n + 1 for n, row in enumerate(rows) if row.sort in sorts), default=len(rows))
