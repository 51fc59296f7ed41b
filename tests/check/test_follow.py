"""Figures of a build that is the same circuit: measured where its parts stand, wherever that is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from samples import DESIGNS, KIT, Variant, kit_for, variants

from snapcheck.board import Board, Cell, Cube, load_design, write_layout
from snapcheck.check import Electrical, compare, follow
from snapcheck.cli import main
from snapcheck.errors import SimulationError
from snapcheck.findings import Severity
from snapcheck.kit import Side
from snapcheck.pipeline import _nowhere, check_build
from snapcheck.simulate import Simulator, is_available, judge

pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
SAME = [v for v in variants() if v.sort == "same"]
#: designs without taps and leads, whose cubes alone say where everything is
PLAIN = [f for f in DESIGNS if not (b := load_design(f, KIT).board).taps and not b.leads]


@pytest.fixture(scope="module")
def simulator() -> Iterator[Simulator]:
    with Simulator() as made:
        yield made


def stretched(board: Board, row: int) -> Board:
    """The board with one row more below `row`, straight wires where cubes touched."""
    cubes = {Cell(c.row + (c.row > row), c.column): cube for c, cube in board.cubes.items()}
    for cell, cube in board.cubes.items():
        below = board.cubes.get(Cell(row + 1, cell.column))
        if (
            cell.row == row
            and below is not None
            and KIT[cube.kind].terminal_at(Side.S, cube.turn)
            and KIT[below.kind].terminal_at(Side.N, below.turn)
        ):
            cubes[Cell(row + 1, cell.column)] = Cube("straight", 90)
    return replace(board, rows=board.rows + 1, cubes=cubes)


@pytest.mark.parametrize("file", PLAIN, ids=lambda f: f.stem)
def test_every_figure_of_a_stretched_build_is_met(file: Path, simulator: Simulator) -> None:
    design = load_design(file, KIT)
    for row in range(design.board.rows - 1):
        result = check_build(stretched(design.board, row), design, KIT, simulator)
        assert result.comparison.electrical in (Electrical.IDENTICAL, Electrical.EQUIVALENT)
        assert len(result.figures) == len(design.expectations)
        assert [b.text for _, b in result.figures if b is None or not b.met or b.value is None] == []


@pytest.mark.parametrize("variant", SAME, ids=lambda v: f"{v.design.stem}: {v.title}")
def test_every_figure_of_an_equivalent_build_is_met(variant: Variant, simulator: Simulator) -> None:
    kit = kit_for(variant.design)
    design = load_design(variant.design, kit)
    result = check_build(variant.board(), design, kit, simulator)
    assert [b.text if b else d.text for d, b in result.figures if b is None or not b.met] == []
    assert result.unexplained == ()
    for ours, theirs in result.figures:
        if theirs is not None and theirs.value is None:  # then it says why
            assert "built in another order" in theirs.reason and ours.met


def test_the_place_of_a_voltage_inside_a_chain_in_another_order_is_not_made_up() -> None:
    (variant,) = [v for v in SAME if v.title == "The resistor behind the diode"]
    design = load_design(variant.design, KIT)
    there = follow(design, compare(design, variant.board(), KIT))
    voltage, current, leak, power = there.places
    assert voltage is None  # the diode stands at the supply's side there
    assert str(current.place) == str(leak.place) == "D2 anode"
    assert power.place.cell == Cell(2, 3)  # where the resistor went
    assert len(there.design.expectations) == 3


def test_settings_follow_the_parts() -> None:
    design = load_design(next(f for f in DESIGNS if f.stem == "glue-pot-alarm"), KIT)
    built = stretched(design.board, 0)
    there = follow(design, compare(design, built, KIT))
    pots = [cell for e in there.places if e is not None and e.conditions for cell in e.conditions.pots]
    assert pots and all(built.cubes[cell].kind == "potentiometer" for cell in pots)


@pytest.mark.parametrize("stem", ["glue-pot-alarm", "speech-stage", "first-light"])
def test_simulate_beside_a_design_in_another_layout(stem: str, tmp_path: Path, capsys) -> None:
    plan = next(f for f in DESIGNS if f.stem == stem)
    built = tmp_path / "built.board"
    built.write_text(write_layout(stretched(load_design(plan, KIT).board, 1), KIT), encoding="utf-8")
    code = main(["simulate", str(built), "--design", str(plan)])
    out = capsys.readouterr().out
    assert code == 0, out
    assert "It does what the design does." in out and "NOT MET" not in out


def test_simulate_beside_a_design_in_another_layout_with_a_fault(tmp_path: Path, capsys) -> None:
    plan = next(f for f in DESIGNS if f.stem == "glue-pot-alarm")
    board = stretched(load_design(plan, KIT).board, 0)
    (cell,) = [c for c, q in board.cubes.items() if q.kind == "thermistor"]
    board = replace(board, cubes={**board.cubes, cell: replace(board.cubes[cell], value=100e3)})
    built = tmp_path / "built.board"
    built.write_text(write_layout(board, KIT), encoding="utf-8")
    code = main(["simulate", str(built), "--design", str(plan)])
    out = capsys.readouterr().out
    assert code == 1 and "Beside the design" in out and "rises from" in out


def test_a_figure_without_a_place_is_met_where_the_circuit_is_the_same_and_the_plan_meets_it() -> None:
    design = load_design(next(f for f in DESIGNS if f.stem == "first-light"), KIT)
    expectation = next(e for e in design.expectations if e.quantity == "voltage")
    inside, outside = (judge(expectation, design, v) for v in (expectation.low, 2 * expectation.high))
    told = {
        (figure.met, same): _nowhere(figure, same) for figure in (inside, outside) for same in (True, False)
    }
    assert {key: figure.met for key, figure in told.items()} == {
        (True, True): True, (True, False): False, (False, True): False, (False, False): False,
    }  # fmt: skip
    assert {figure.value for figure in told.values()} == {None}
    assert "the circuit is the same" in told[True, True].text and "no counterpart" in told[True, False].text


def test_findings_are_told_without_numbers_where_what_a_build_does_cannot_be_calculated(
    simulator: Simulator, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*args: object, **more: object) -> None:
        raise SimulationError("it swings.")

    design = load_design(next(f for f in DESIGNS if f.stem == "first-light"), KIT)
    (cell,) = [c for c, cube in design.board.cubes.items() if cube.kind == "resistor"]
    built = design.board.put({cell: replace(design.board.cubes[cell], value=4700.0, printed=None)})
    monkeypatch.setattr(simulator, "what_if", fails)
    result = check_build(built, design, KIT, simulator)
    (finding,) = [f for f in result.findings if f.severity <= Severity.DEVIATION]
    assert finding.rule == "wrong-value" and "simulated" not in finding.data and result.what_if is None
    assert "What the build does was not calculated: it swings." in result.notes
