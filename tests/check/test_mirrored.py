"""A build made as in a mirror is told as one cause, harmless or not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from snapcheck.board import Board, Cell, load_design
from snapcheck.check import Electrical, Verdict, compare
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit

KIT = bundled_kit()
DESIGNS = sorted((Path(__file__).parents[2] / "fixtures" / "designs").glob("*.board"))
#: sides as layout files and the truth format count them: up, right, down, left
LEFT_RIGHT = {0: 0, 1: 3, 2: 2, 3: 1}


def mirror(board: Board) -> Board:
    """The board with left and right exchanged; every cube with its mark on the mirrored side."""
    cubes = {}
    for cell, cube in board.cubes.items():
        kind = KIT[cube.kind]
        there = Cell(cell.row, board.columns - 1 - cell.column)

        def side(side: int, turn: int) -> int:
            return (side + turn // 90) % 4

        wanted = {(LEFT_RIGHT[side(c.side, cube.turn)], c.terminal) for c in kind.contacts}
        fitting = [
            t for t in (0, 90, 180, 270) if {(side(c.side, t), c.terminal) for c in kind.contacts} == wanted
        ]
        if not fitting:
            mark = kind.faces[kind.marked]
            fitting = [t for t in (0, 90, 180, 270) if side(mark, t) == LEFT_RIGHT[side(mark, cube.turn)]]
        cubes[there] = replace(cube, turn=fitting[0])
    assert not board.leads and not board.taps
    return Board(board.columns, board.rows, cubes)


def design_of(name: str):
    return load_design(next(p for p in DESIGNS if p.stem == name), KIT)


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("name", ["first-light", "hiss-filter"])
def test_a_mirrored_build_that_works_is_one_note(name: str, turn: int) -> None:
    design = design_of(name)
    built = mirror(design.board).turned(turn)
    result = compare(design, built, KIT)
    assert [f.rule for f in result.findings] == ["build-mirrored"]
    assert result.findings[0].severity is Severity.NOTE
    assert result.electrical is Electrical.EQUIVALENT and result.verdict is Verdict.EQUIVALENT
    assert result.alignment.mirrored and not result.own_layout
    assert set(result.parts) == set(result.plan_circuit.part_at)
    placed = result.placed
    assert placed is not None and placed.board.cubes.keys() == built.cubes.keys()


def test_a_fault_in_a_mirrored_build_is_found() -> None:
    design = design_of("first-light")
    built = mirror(design.board)
    cell = next(c for c, q in built.cubes.items() if q.kind == "led")
    led = built.cubes[cell]
    built = replace(built, cubes={**built.cubes, cell: replace(led, turn=(led.turn + 180) % 360)})
    result = compare(design, built, KIT)
    assert {f.rule for f in result.findings} == {"build-mirrored", "reversed"}
    assert result.verdict is Verdict.DOES_NOT_WORK


def test_a_mirrored_transistor_is_the_one_cause() -> None:
    design = design_of("speech-stage")
    plain = replace(design, board=replace(design.board, taps=frozenset(), leads=()), input=None, output=None)
    result = compare(plain, mirror(plain.board), KIT)
    serious = [f for f in result.findings if f.severity <= Severity.DEVIATION]
    assert [f.rule for f in serious] == ["build-mirrored"]
    kinds = {result.built_circuit.part_at[c].kind.model for c in serious[0].cells}
    assert "npn" in kinds
    assert result.electrical is Electrical.DIFFERENT
    assert result.verdict in (Verdict.DOES_NOT_WORK, Verdict.DO_NOT_POWER)
    assert result.placed is None


@pytest.mark.parametrize("path", DESIGNS, ids=lambda p: p.stem)
def test_a_plan_is_never_its_own_mirror_image(path: Path) -> None:
    design = load_design(path, KIT)
    for turn in (0, 90, 180, 270):
        assert not compare(design, design.board.turned(turn), KIT).alignment.mirrored


def test_nets_correspond_under_a_turn() -> None:
    design = design_of("two-stage-amplifier")
    result = compare(design, design.board.turned(90), KIT)
    plan, built = result.plan_circuit, result.built_circuit
    assert result.nets
    for net, other in result.nets.items():
        here = {(result.alignment.to_built(t.cell), t.name) for t in plan.nets[net].terminals
                if not plan.part_at[t.cell].kind.interchangeable}  # fmt: skip
        there = {(t.cell, t.name) for t in built.nets[other].terminals}
        assert here <= there
