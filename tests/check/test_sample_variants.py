"""Sample designs and builds of them: figures met, every fault found, every equivalent build passed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from samples import CHIP_DESIGNS, DESIGNS, Variant, held, kit_for, unmet, variants

from snapcheck.board import load_design, oddities
from snapcheck.check import Electrical, Verdict
from snapcheck.circuit import build_circuit
from snapcheck.findings import Severity
from snapcheck.simulate import Simulator, is_available

VARIANTS = variants()
FAULTS = [v for v in VARIANTS if v.sort == "fault"]
SAME = [v for v in VARIANTS if v.sort == "same"]
pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


@pytest.fixture(scope="module")
def simulator() -> Iterator[Simulator]:
    with Simulator() as made:
        yield made


def name(variant: Variant) -> str:
    return f"{variant.design.stem}: {variant.title}"


@pytest.mark.parametrize("file", [*DESIGNS, *CHIP_DESIGNS], ids=lambda f: f.stem)
def test_figures_are_met_as_designed(file: Path, simulator: Simulator) -> None:
    design = load_design(file, kit_for(file))
    assert design.title and design.purpose and len(design.expectations) >= 3
    assert [o.text for o in oddities(design.board, kit_for(file))] == []
    assert unmet(simulator, design, build_circuit(design.board, kit_for(file))) == []


@pytest.mark.parametrize("file", [*DESIGNS, *CHIP_DESIGNS], ids=lambda f: f.stem)
def test_every_design_has_six_faults(file: Path) -> None:
    assert len([v for v in FAULTS if v.design == file]) >= 6


@pytest.mark.parametrize("variant", FAULTS, ids=name)
def test_a_fault_is_found(variant: Variant, simulator: Simulator) -> None:
    design, built = load_design(variant.design, kit_for(variant.design)), variant.board()
    result = held(simulator, design, built, kit_for(variant.design))
    told = sorted(
        f"{f.rule} {f.lead or f.seam or f.cells[0]}" for f in result.findings if f.severity < Severity.NOTE
    )
    assert told == sorted(variant.data["finds"])
    assert result.verdict == variant.data["verdict"]
    assert result.verdict not in (Verdict.READY, Verdict.EQUIVALENT)
    if "unmet" in variant.data:
        measured = unmet(simulator, design, build_circuit(built, kit_for(variant.design)))
        for start in variant.data["unmet"]:
            assert [text for text in measured if text.startswith(start)], (start, measured)
        strays = [text for text in measured if not text.startswith(tuple(variant.data["unmet"]))]
        assert strays == []
    else:
        assert result.verdict is Verdict.DO_NOT_POWER  # only then is a fault's effect not calculated


@pytest.mark.parametrize("variant", SAME, ids=name)
def test_an_equivalent_build_passes(variant: Variant, simulator: Simulator) -> None:
    design = load_design(variant.design, kit_for(variant.design))
    result = held(simulator, design, variant.board(), kit_for(variant.design))
    assert [f.title for f in result.findings if f.severity < Severity.NOTE] == []
    assert result.verdict in (Verdict.READY, Verdict.EQUIVALENT)
    assert result.electrical in (Electrical.IDENTICAL, Electrical.EQUIVALENT)
