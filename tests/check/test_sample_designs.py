"""The sample designs: clean by the rules, ready when built as planned, and their rules with real numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from snapcheck.board import Cell, Design, load_design
from snapcheck.check import Electrical, Verdict, compare
from snapcheck.circuit import build_circuit, check_rules
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator, is_available

KIT = bundled_kit()
FILES = sorted((Path(__file__).parents[2] / "fixtures" / "designs").glob("*.board"))


@pytest.fixture(scope="module")
def simulator() -> Iterator[Simulator]:
    if not is_available():
        pytest.skip("ngspice is not installed")
    with Simulator() as made:
        yield made


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.stem)
def test_a_sample_design_is_clean(file: Path, simulator: Simulator) -> None:
    design = load_design(file, KIT)
    circuit = build_circuit(design.board, KIT)
    supply = design.conditions.supply_V
    point = simulator.operating_point(circuit, design.conditions)
    for findings in (check_rules(circuit, supply_V=supply), check_rules(circuit, point, supply_V=supply)):
        assert [f.title for f in findings if f.severity < Severity.DEVIATION] == []
    result = compare(design, design.board, KIT, operating_point=point, plan_operating_point=point)
    assert result.verdict is Verdict.READY and result.electrical is Electrical.IDENTICAL


def amplifier() -> Design:
    return load_design(next(f for f in FILES if f.stem == "two-stage-amplifier"), KIT)


def reversed_at(design: Design, cell: str) -> Design:
    cubes = dict(design.board.cubes)
    cube = cubes[Cell.parse(cell)]
    cubes[Cell.parse(cell)] = replace(cube, turn=(cube.turn + 180) % 360)
    return replace(design, board=replace(design.board, cubes=cubes))


def test_a_reversed_electrolytic_is_found_from_the_simulated_voltage(simulator: Simulator) -> None:
    built = build_circuit(reversed_at(amplifier(), "G3").board, KIT)
    point = simulator.operating_point(built, amplifier().conditions)
    (finding,) = [f for f in check_rules(built, point) if f.rule == "electrolytic-reversed"]
    assert str(finding.cells[0]) == "G3" and finding.severity is Severity.DANGER
    assert isinstance(finding.data["voltage_V"], float) and finding.data["voltage_V"] < -1


def test_comparison_trusts_the_simulated_voltage(simulator: Simulator) -> None:
    """A plan that has a capacitor the wrong way round: the build that turns it is not called dangerous."""
    wrong_plan, built = reversed_at(amplifier(), "G3"), amplifier().board
    assert compare(wrong_plan, built, KIT).verdict is Verdict.DO_NOT_POWER
    point = simulator.operating_point(build_circuit(built, KIT), amplifier().conditions)
    result = compare(wrong_plan, built, KIT, operating_point=point)
    (finding,) = [f for f in result.findings if f.rule == "reversed"]
    assert finding.severity is Severity.DEVIATION
    assert isinstance(finding.data["voltage_V"], float) and finding.data["voltage_V"] > 3
