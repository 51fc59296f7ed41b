"""Reading what a teacher may change: TOML tables, every mistake named by file, key and accepted values."""

from __future__ import annotations

import difflib
import math
from collections.abc import Collection, Mapping
from typing import Any, NoReturn

from snapcheck.datafiles import finite
from snapcheck.errors import DataError
from snapcheck.words import brief, tr


class TableReader:
    """Takes checked values out of the tables of one file; each complaint is a `DataError`.

    Args:
        source: the file, for messages.

    Every method takes the value and its key as it is written in the file, such as ``kind.lamp.model``.
    """

    def __init__(self, source: str) -> None:
        self.source = source

    def fail(self, key: str, message: str, way_out: str = "") -> NoReturn:
        """Raises DataError with the file and the key."""
        raise DataError(message, place=tr("{file}, key {key}", file=self.source, key=key), way_out=way_out)

    def known(self, table: Mapping[str, Any], key: str, accepted: Collection[str]) -> None:
        """Every key of a table is one of those accepted; `key` is the table's own, "" for the whole file."""
        for name in table:
            if name not in accepted:
                where = f"{key}.{name}" if key else name
                message = tr("is not known.{hint}", hint=_hint(name, accepted))
                self.fail(where, message, accepted_words(accepted))

    def table(self, value: object, key: str) -> dict[str, Any]:
        """A table."""
        if not isinstance(value, dict):
            self.fail(
                key,
                tr("is {type_word}, not a table.", type_word=type_word(value)),
                tr("Write it as [{key}] with keys below.", key=key),
            )
        return value

    def tables(self, value: object, key: str) -> list[dict[str, Any]]:
        """Several tables with one heading."""
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            self.fail(key, tr("tables are needed, each headed [[{key}]].", key=key))
        return value

    def text(self, value: object, key: str) -> str:
        """A text, maybe empty."""
        if not isinstance(value, str):
            self.fail(
                key,
                tr("is {type_word}, not text.", type_word=type_word(value)),
                tr('Write it in quotes: "…".'),
            )
        return value

    def some_text(self, value: object, key: str) -> str:
        """A text that says something, without blanks around it."""
        if value is None or not self.text(value, key).strip():
            self.fail(key, tr("a text is needed."), tr('Write it in quotes: "…".'))
        return self.text(value, key).strip()

    def number(
        self, value: object, key: str, low: float = -math.inf, high: float = math.inf, way_out: str = ""
    ) -> float:
        """A finite number, from `low` to `high`."""
        hint = way_out or tr("Write a plain number in SI units.")
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.fail(key, tr("is {type_word}, not a number.", type_word=type_word(value)), hint)
        number = finite(value)
        if number is None:
            self.fail(key, tr("is not a finite number."), hint)
        if not low <= number <= high:
            limits = {"low": f"{low:g}", "high": f"{high:g}"}
            self.fail(
                key,
                tr("{value:g} is not accepted.", value=number),
                tr("Write a number from {low} up.", **limits)
                if math.isinf(high)
                else tr("Write a number from {low} to {high}.", **limits),
            )
        return number

    def flag(self, value: object, key: str) -> bool:
        """True or false."""
        if not isinstance(value, bool):
            self.fail(key, tr("{value} is not accepted.", value=brief(value)), tr("Accepted: true, false."))
        return value

    def choice(self, value: object, key: str, accepted: Collection[str]) -> str:
        """One of several words."""
        word = self.text(value, key)
        if word not in accepted:
            message = tr("'{word}' is not accepted.", word=word) + _hint(word, accepted)
            self.fail(key, message, accepted_words(accepted))
        return word

    def texts(self, value: object, key: str, accepted: Collection[str] | None = None) -> tuple[str, ...]:
        """A list of texts, of those accepted where these are given; one may stand without a list."""
        values = [value] if isinstance(value, str) else value
        if not isinstance(values, list) or not all(isinstance(one, str) and one for one in values):
            self.fail(
                key,
                tr("is no list of texts."),
                tr('Write, say, ["a", "b"].') if accepted is None else accepted_words(accepted),
            )
        if accepted is not None:
            for one in values:
                self.choice(one, key, accepted)
        return tuple(values)


def accepted_words(accepted: Collection[str]) -> str:
    """``Accepted: a, b, c.``"""
    names = sorted(accepted) if isinstance(accepted, set | frozenset) else accepted
    return tr("Accepted: {names}.", names=listed(names))


def listed(names: Collection[str]) -> str:
    """Names for a sentence; those out of a file, such as terminals, may be endless and are cut."""
    return ", ".join(n if len(n) <= 60 else n[:60] + "…" for n in names)


def _hint(word: str, accepted: Collection[str]) -> str:
    close = difflib.get_close_matches(word, accepted, 1)
    return tr(" Did you mean '{name}'?", name=close[0]) if close else ""


def type_word(value: object) -> str:
    """What a value of a data file is, in a word."""
    words = {
        dict: tr("a table"),
        list: tr("a list"),
        str: tr("text"),
        bool: "true/false",
        int: tr("a number"),
        float: tr("a number"),
        type(None): tr("missing"),
    }
    return words.get(type(value), type(value).__name__)
