"""Kits, rule files and limits with anything wrong in them: taken, or refused with file and key."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest
from damaged import damaged, damaged_text, toml_text
from hypothesis import given, settings

from snapcheck.board import Board, Cell, Cube, draw_svg
from snapcheck.check._settings import parse_settings
from snapcheck.circuit import build_circuit, check_rules, parse_rules
from snapcheck.errors import DataError
from snapcheck.kit import parse_kit

WHOLE = (resources.files("snapcheck.kit") / "data" / "workshop.toml").read_text(encoding="utf-8")
SOME = ("resistor", "npn", "corner", "ground", "lamp", "led", "battery", "crossover")
DATA = tomllib.loads(WHOLE)
KIT = {**DATA, "kind": {k: v for k, v in DATA["kind"].items() if k in SOME},
       "device": {k: v for k, v in DATA["device"].items() if k in SOME}}  # fmt: skip
RULES = (resources.files("snapcheck.circuit") / "data" / "rules.toml").read_text(encoding="utf-8")
LIMITS = (resources.files("snapcheck.check") / "data" / "comparison.toml").read_text(encoding="utf-8")


def refused(error: DataError) -> None:
    assert error.message and "mine.toml" in error.place and len(str(error)) < 3000


def test_a_name_without_end_does_not_fill_a_message() -> None:
    kinds = {
        "lamp": {
            **DATA["kind"]["lamp"],
            "interchangeable": [["a", "b"]],
            "contacts": {"W": "x" * 9000, "E": "b"},
        }
    }
    with pytest.raises(DataError) as error:
        parse_kit(toml_text({**KIT, "kind": kinds}), "mine.toml")
    refused(error.value)


@given(damaged(KIT).map(toml_text) | damaged_text(toml_text(KIT)))
@settings(max_examples=300)
def test_damaged_kits(text: str) -> None:
    try:
        kit = parse_kit(text, "mine.toml")
    except DataError as error:
        refused(error)
        return
    cubes = {Cell(0, n): Cube(kind.name, 0, kind.values[0] if kind.values else None)
             for n, kind in enumerate(list(kit.kinds.values())[:20])}  # fmt: skip
    board = Board(20, 1, cubes)
    draw_svg(board, kit, title=kit.title)
    check_rules(build_circuit(board, kit))


@given(damaged(tomllib.loads(RULES)).map(toml_text) | damaged_text(RULES))
@settings(max_examples=200)
def test_damaged_rules(text: str) -> None:
    try:
        parse_rules(text, "mine.toml")
    except DataError as error:
        refused(error)


@given(damaged(tomllib.loads(LIMITS)).map(toml_text) | damaged_text(LIMITS))
@settings(max_examples=200)
def test_damaged_limits(text: str) -> None:
    try:
        parse_settings(text, "mine.toml")
    except DataError as error:
        refused(error)
