"""A build of another task is told as one finding, never passed, and its dangers stay."""

from __future__ import annotations

from collections import Counter

import pytest
from handmade import Entry, handmade
from samples import CHIP_DESIGNS, KIT, designs, kit_for, variants

from snapcheck.board import Cell, load_design
from snapcheck.check import Verdict
from snapcheck.circuit import build_circuit
from snapcheck.findings import Severity
from snapcheck.sheet import Lookalike, as_another, likeness, looks_like
from snapcheck.sheet._likeness import _dice, _joined, _labels, worth_asking

DESIGNS = {file.stem: design for file, design in designs()}
OTHERS = [(f"{name}.board", design) for name, design in DESIGNS.items()]
#: two plans that are the same parts in the same cells, so that one is the other with mistakes
FILTERS = {"hiss-filter", "speech-band"}


def test_likeness_is_dices_measure() -> None:
    """Two sets of 4 and 6 with 3 in common: 2·3/(4+6) (L. R. Dice, Ecology 26 (1945), 297-302)."""
    assert _dice(Counter("abcd"), Counter("bcdxyz")) == pytest.approx(0.6)
    assert _dice(Counter(), Counter()) == 0
    for name, design in DESIGNS.items():
        assert likeness(design, build_circuit(design.board, KIT)) == pytest.approx(1), name


def test_the_same_parts_joined_otherwise_are_less_alike() -> None:
    """A resistor and a light in series, and side by side."""

    def light(a: int, k: int) -> Entry:
        return "led", "red", {"anode": a, "cathode": k}

    battery: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})
    row = handmade(battery, ("resistor", 470.0, {"a": 1, "b": 2}), light(2, 0))
    beside = handmade(battery, ("resistor", 470.0, {"a": 1, "b": 0}), light(1, 0))
    assert _dice(Counter(_labels(row)), Counter(_labels(beside))) == 1
    assert _dice(Counter(_joined(row)), Counter(_joined(beside))) == 0
    assert _dice(Counter(_joined(row)), Counter(_joined(row))) == 1


def test_builds_with_mistakes_are_never_taken_for_another_task() -> None:
    chips = {file.stem: load_design(file, kit_for(file)) for file in CHIP_DESIGNS}
    others = [*OTHERS, *((f"{name}.board", design) for name, design in chips.items())]
    for variant in variants():
        own, kit = (DESIGNS | chips)[variant.design.stem], kit_for(variant.design)
        found = looks_like(build_circuit(variant.board(), kit), own, others, kit)
        assert found is None, (variant.design.stem, variant.title, found and found.name)


@pytest.mark.parametrize("planned", DESIGNS)
def test_another_tasks_build_is_noticed(planned: str) -> None:
    for name, design in DESIGNS.items():
        found = looks_like(build_circuit(design.board, KIT), DESIGNS[planned], OTHERS, KIT)
        if name == planned or {name, planned} == FILTERS:
            assert found is None
        else:
            assert found is not None and found.name == f"{name}.board"


def test_it_is_one_finding_and_no_pass() -> None:
    lamp, light = DESIGNS["night-lamp"], DESIGNS["first-light"]
    found = Lookalike("night-lamp.board", lamp, 1.0, 0.3)
    findings, verdict = as_another(found, light, lamp.board, KIT)
    assert [f.rule for f in findings] == ["another-circuit"] and verdict is Verdict.DOES_NOT_WORK
    assert lamp.title in findings[0].title and "night-lamp.board" in findings[0].mend


def test_its_dangers_come_first() -> None:
    stage, light = DESIGNS["speech-stage"], DESIGNS["first-light"]
    cell = Cell.parse("F6")
    cube = stage.board.cubes[cell]
    turned = stage.board.put({cell: type(cube)(cube.kind, (cube.turn + 180) % 360, cube.value, cube.printed)})
    findings, verdict = as_another(Lookalike("", stage, 0.98, 0.1), light, turned, KIT)
    assert verdict is Verdict.DO_NOT_POWER and findings[0].severity is Severity.DANGER
    assert findings[0].cells[0] == cell and findings[-1].rule == "another-circuit" and len(findings) == 2


@pytest.mark.parametrize("bad", [Severity.DANGER, Severity.FAULT, Severity.DEVIATION])
def test_it_takes_five_mistakes_to_ask_whether_it_is_another_task(bad: Severity) -> None:
    others = [Severity.QUESTION, Severity.NOTE] * 5
    assert worth_asking([bad] * 5) and not worth_asking([bad] * 4 + others)
