"""Tables of a data file: every mistake names file, key and what is accepted."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from snapcheck.errors import DataError
from snapcheck.tables import TableReader

READER = TableReader("mine.toml")


@pytest.mark.parametrize(
    ("take", "told", "way_out"),
    [
        (lambda r: r.known({"colour": 1}, "lamp", ("color", "size")), "Did you mean 'color'", "color, size"),
        (lambda r: r.known({"x": 1}, "", {"b", "a"}), "is not known", "a, b"),
        (lambda r: r.table([], "lamp"), "is a list, not a table", "[lamp]"),
        (lambda r: r.tables({}, "lamp"), "tables are needed", ""),
        (lambda r: r.text(3, "lamp"), "is a number, not text", "quotes"),
        (lambda r: r.some_text(" ", "lamp"), "a text is needed", "quotes"),
        (lambda r: r.number(True, "lamp"), "is true/false, not a number", "plain number"),
        (lambda r: r.number(None, "lamp"), "is missing, not a number", "plain number"),
        (lambda r: r.number(float("nan"), "lamp"), "not a finite number", "plain number"),
        (lambda r: r.number(-1, "lamp", 0), "-1 is not accepted", "from 0 up"),
        (lambda r: r.number(3, "lamp", 0, 2), "3 is not accepted", "from 0 to 2"),
        (lambda r: r.flag("yes", "lamp"), "is not accepted", "true, false"),
        (lambda r: r.choice("larje", "lamp", ("small", "large")), "Did you mean 'large'", "small, large"),
        (lambda r: r.texts([""], "lamp"), "no list of texts", '["a", "b"]'),
        (lambda r: r.texts(["a", "c"], "lamp", ("a", "b")), "'c' is not accepted", "a, b"),
    ],
)
def test_mistakes_are_named(take: Callable[[TableReader], Any], told: str, way_out: str) -> None:
    with pytest.raises(DataError) as caught:
        take(READER)
    assert "mine.toml, key " in caught.value.place
    assert told in caught.value.message and way_out in caught.value.way_out


def test_what_is_right_is_taken() -> None:
    assert READER.number(3, "x", 3, 3) == 3.0
    assert READER.texts("one", "x") == ("one",) and READER.texts(["a"], "x", ("a",)) == ("a",)
    assert READER.some_text(" lamp ", "x") == "lamp" and READER.text("", "x") == ""
    assert READER.flag(False, "x") is False and READER.choice("a", "x", {"a"}) == "a"
    READER.known({"a": 1}, "", ("a",))
