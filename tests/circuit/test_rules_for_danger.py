"""The rules that are asked for dangers alone find every danger that all rules find."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from snapcheck.board import Cube, load_design
from snapcheck.circuit import RULES, build_circuit, bundled_rules, check_rules, rules_for_danger
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit

KIT = bundled_kit()
DESIGNS = sorted((Path(__file__).parents[2] / "fixtures" / "designs").glob("*.board"))


def test_none_is_missed() -> None:
    """In designs with a wire in each resistor's place, and with each supply and capacitor turned round."""
    some, dangerous = rules_for_danger(), 0
    assert len(some) < len(RULES)
    for board in (load_design(file, KIT).board for file in DESIGNS):
        for cell, cube in board.cubes.items():
            if cube.kind in ("resistor", "battery", "electrolytic"):
                turned = replace(cube, turn=(cube.turn + 180) % 360)
                other = Cube("straight", cube.turn) if cube.kind == "resistor" else turned
                circuit = build_circuit(board.put({cell: other}), KIT)
                dangers = [f for f in check_rules(circuit) if f.severity is Severity.DANGER]
                told = check_rules(circuit, only=some)
                assert [f for f in told if f.severity is Severity.DANGER] == dangers
                dangerous += bool(dangers)
    assert dangerous >= 20


def test_a_book_that_calls_more_dangerous_has_more_rules_asked() -> None:
    book = bundled_rules()
    island = replace(book, rules={**book.rules, "island": replace(book["island"], severity=Severity.DANGER)})
    assert rules_for_danger(island)[-1] == "island"
    assert set(rules_for_danger(book)) < set(rules_for_danger(island)) <= set(RULES)
