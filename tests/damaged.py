"""Data files with something wrong in them: what a slip of the hand, a bad export or malice may leave."""

from __future__ import annotations

import copy
import datetime
import json
import math
from typing import Any

from hypothesis import strategies as st

#: what nobody expects in the place of a sensible value
ODD: tuple[Any, ...] = (
    True, False, 0, 1, -1, 3, 0.5, -0.0, 1e-320, 1e308, -1e308, math.nan, math.inf, -math.inf, 10**18,
    10**400, -(10**400), "", " ", "x", "A1", "Z9", "A0", "AA100", "a1", "\0", "\n", "\u202e", "0",
    "-1", "nan", "1e999", "²", "٣", "x" * 3000, "[/x]", "{0}", "%s", [], [[]], [1], [""], [[], [1]],
    ["A1", "A1"], {}, {"a": 1}, {"": {}}, datetime.date(1, 1, 1), datetime.datetime(9999, 12, 31, 23, 59),
    datetime.time(0),
)  # fmt: skip


def places(data: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to everything in nested tables and lists."""
    found = [way] if way else []
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        found += places(value, (*way, key))
    return found


@st.composite
def damaged(draw: st.DrawFn, whole: Any, odd: tuple[Any, ...] = ODD) -> Any:
    """Nested tables and lists with one to three things in them replaced, left out, doubled or exchanged."""
    data = copy.deepcopy(whole)
    for _ in range(draw(st.sampled_from([1, 1, 1, 2, 3]))):
        ways = places(data)
        if not ways:
            break
        *way, last = draw(st.sampled_from(ways))
        inside = data
        for key in way:
            inside = inside[key]
        match draw(st.integers(0, 5)):
            case 0:
                del inside[last]
            case 1 if isinstance(inside, list):
                inside.append(copy.deepcopy(inside[last]))
            case 1:
                inside[draw(st.sampled_from(["x", "", "value", "\u202e"]))] = copy.deepcopy(inside[last])
            case 2:
                other = data
                for key in draw(st.sampled_from(ways)):
                    other = other[key] if isinstance(other, dict | list) and _has(other, key) else other
                inside[last] = copy.deepcopy(other)
            case _:
                inside[last] = copy.deepcopy(draw(st.sampled_from(odd)))
    return data


def _has(inside: Any, key: Any) -> bool:
    return key in inside if isinstance(inside, dict) else isinstance(key, int) and key < len(inside)


@st.composite
def damaged_text(draw: st.DrawFn, whole: str) -> str:
    """A text with one to four pieces of it left out, doubled, exchanged or replaced."""
    text = whole
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(text)))
        size = draw(st.sampled_from([0, 1, 2, 7, 40]))
        piece = draw(
            st.sampled_from(["", "\n", "=", '"', "[", "{", "#", ",", ";", "\t", "\r", "\0", "é", "\u2028",
                             "9" * 5000, "nan", "inf", "-", "|", "to", "[" * 3000, "\ufeff"])
            | st.text(max_size=4)
            | st.just(text[max(at - size, 0) : at])
        )  # fmt: skip
        text = text[:at] + piece + text[at + size :]
    return text


def json_bytes(data: Any) -> bytes:
    """JSON as Python writes it, also of what JSON does not know (NaN, dates as text)."""
    return json.dumps(data, default=str).encode()


def toml_text(data: dict[str, Any]) -> str:
    """TOML, every table on one line."""
    return "".join(f"{json.dumps(key)} = {_toml(value)}\n" for key, value in data.items())


def _toml(value: Any) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case dict():
            return "{" + ", ".join(f"{json.dumps(k)} = {_toml(v)}" for k, v in value.items()) + "}"
        case list():
            return "[" + ", ".join(map(_toml, value)) + "]"
        case str():
            return json.dumps(value).replace("\x7f", "\\u007f")
        case datetime.date() | datetime.time():
            return value.isoformat()
        case _:
            return str(value)
