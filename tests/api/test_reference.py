"""What the reference is made of: public names and arguments of the door say what they are."""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Iterator
from typing import Any

import pytest

import snapcheck

ROOMS = (
    "kit",
    "board",
    "findings",
    "circuit",
    "photo",
    "simulate",
    "check",
    "report",
    "grade",
    "api",
    "errors",
)


def public(module: str) -> Iterator[tuple[str, Any]]:
    room = importlib.import_module(f"snapcheck.{module}")
    for name in getattr(room, "__all__", [n for n in vars(room) if not n.startswith("_")]):
        thing = getattr(room, name)
        if inspect.isclass(thing) or inspect.isfunction(thing):
            yield name, thing


@pytest.mark.parametrize("room", ROOMS)
def test_every_public_name_says_what_it_is(room: str) -> None:
    named = dict(public(room))
    assert named
    assert [name for name, thing in named.items() if not thing.__doc__] == []


def test_every_argument_of_the_door_is_explained() -> None:
    functions = [f for name in snapcheck.__all__ if inspect.isfunction(f := getattr(snapcheck, name))]
    assert len(functions) > 9
    unsaid = [
        (f.__name__, name)
        for f in functions
        for name in inspect.signature(f).parameters
        if name not in (inspect.getdoc(f) or "")
    ]
    assert unsaid == []
