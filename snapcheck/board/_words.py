"""Words of one line of a layout file, each knowing its column, and errors that point at them."""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NoReturn

from snapcheck.errors import InputError
from snapcheck.kit import Kit, Side, chips_kit
from snapcheck.words import tr

#: what people call a side
SIDE_WORDS: dict[str, Side] = {
    word: side
    for side, words in {
        Side.N: ("up", "top", "north", "n"),
        Side.E: ("right", "east", "e"),
        Side.S: ("down", "bottom", "south", "s"),
        Side.W: ("left", "west", "w"),
    }.items()
    for word in words
}
SIDES_ACCEPTED = "left, right, up, down"

# a word; or key="quoted text" with JSON escapes, which may hold spaces
_WORD = re.compile(r'[^\s="]+="(?:[^"\\]|\\.)*"(?!\S)|\S+')


# characters that no text editor leaves in a text, and the mark of a lost one
UNFIT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ufffd]")


@dataclass(frozen=True)
class Word:
    """One word and its column, counted from 1."""

    text: str
    column: int


@dataclass(frozen=True)
class Line:
    """One line: the file's name, its number from 1, its text, its words (comment left out)."""

    file: str
    number: int
    text: str
    words: tuple[Word, ...]

    def fail(self, at: Word | int, message: str, way_out: str = "") -> NoReturn:
        """Raise an InputError that points at a word or column of this line."""
        column = at if isinstance(at, int) else at.column
        place = tr("{file}, line {line}, column {column}", file=self.file, line=self.number, column=column)
        raise InputError(message, place=place, way_out=way_out)

    def end(self) -> int:
        """The column behind the last word."""
        return self.words[-1].column + len(self.words[-1].text) if self.words else 1


def split_lines(text: str, file: str) -> Iterable[Line]:
    """The lines that hold something; ``#`` at the start of a word begins a comment."""
    for number, raw in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), 1):
        bad = UNFIT.search(raw)
        if bad:
            place = tr("{file}, line {line}, column {column}", file=file, line=number, column=bad.start() + 1)
            raise InputError(
                tr("the character U+{ord:04X} does not belong into a layout file.", ord=ord(bad[0])),
                place=place,
                way_out=tr("Is it a text file? Save it as plain UTF-8 text."),
            )
        words = []
        for match in _WORD.finditer(raw):
            if match[0].startswith("#"):
                break
            words.append(Word(match[0], match.start() + 1))
        if words:
            yield Line(file, number, raw, tuple(words))


def unquote(line: Line, word: Word, text: str) -> str:
    """The text behind ``key=``: as it stands, or a JSON string."""
    if not text.startswith('"'):
        return text
    try:
        value = json.loads(text, strict=False)
    except json.JSONDecodeError:
        line.fail(
            word,
            tr("{text} is not closed or holds a wrong escape.", text=text),
            tr('Write "…", with \\" for a quote.'),
        )
    return str(value)


def quote(text: str) -> str:
    """The text as `unquote` takes it back; what does not fit into a layout file is written as \\uXXXX."""
    return UNFIT.sub(lambda match: f"\\u{ord(match[0]):04x}", json.dumps(text, ensure_ascii=False))


def did_you_mean(word: str, accepted: Iterable[str]) -> str:
    """`` Did you mean 'x'?`` or nothing."""
    close = difflib.get_close_matches(word.lower(), list(accepted), 1, 0.6)
    return tr(" Did you mean '{name}'?", name=close[0]) if close else ""


def kind_meant(word: str, kit: Kit) -> str:
    """What a kind that `kit` lacks may be: one of the kit with chips, a slip for its own; or nothing."""
    if word.lower() in chips_kit():
        return tr(" It is a cube of the kit with chips: --kit chips.")
    return did_you_mean(word, kit.kinds)


def sides_of(line: Line, word: Word, text: str) -> frozenset[Side]:
    """Sides written as ``left`` or ``left+down``."""
    sides = set()
    for part in text.split("+"):
        side = SIDE_WORDS.get(part.lower())
        if side is None:
            hint = did_you_mean(part, SIDE_WORDS)
            line.fail(
                word,
                tr("'{part}' is no side.{hint}", part=part, hint=hint),
                tr("Accepted: {SIDES_ACCEPTED}.", SIDES_ACCEPTED=SIDES_ACCEPTED),
            )
        sides.add(side)
    return frozenset(sides)


def joined(words: Sequence[Word]) -> str:
    """The words with one space between them."""
    return " ".join(word.text for word in words)
