"""A fault in a layout that is stretched, shifted or mirrored in part: one finding, and no danger lost."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest
from samples import DESIGNS, KIT
from stretched import layouts, told, trials

from snapcheck.board import Cube, load_design
from snapcheck.check import Verdict, compare
from snapcheck.findings import Severity


@pytest.mark.parametrize("file", DESIGNS, ids=lambda f: f.stem)
def test_one_fault_is_one_finding_and_no_danger_is_lost(file: Path) -> None:
    """One layout of each way with every sort of fault; ``python tests/stretched.py`` tries all layouts."""
    plan = load_design(file, KIT).board
    tried = list(trials(file.stem, plan, random.Random(7), 1, some=1))
    assert len(tried) >= 10
    answers = [(t, told(t)) for t in tried]
    assert [t.name for t, a in answers if t.danger and not a.danger] == []
    assert [t.name for t, a in answers if a.count != 1] == []


@pytest.mark.parametrize("file", DESIGNS, ids=lambda f: f.stem)
def test_layouts_without_a_fault_pass(file: Path) -> None:
    plan = load_design(file, KIT).board
    for layout in list(layouts(plan))[::4]:
        found = compare(plan, layout.board, KIT).findings
        assert [f.title for f in found if f.severity < Severity.NOTE] == []


def test_a_reversed_electrolytic_in_a_stretched_build_is_a_danger() -> None:
    plan = load_design(next(f for f in DESIGNS if f.stem == "two-stage-amplifier"), KIT).board
    stretched = next(x.board for x in layouts(plan) if x.name == "stretched, rows 5")
    cell = next(c for c, q in stretched.cubes.items() if q.printed == "100u")
    cubes = dict(stretched.cubes)
    cubes[cell] = replace(cubes[cell], turn=(cubes[cell].turn + 180) % 360)
    result = compare(plan, replace(stretched, cubes=cubes), KIT)
    (finding,) = [f for f in result.findings if f.severity < Severity.NOTE]
    assert (finding.rule, finding.cells, finding.severity) == ("reversed", (cell,), Severity.DANGER)
    assert result.verdict is Verdict.DO_NOT_POWER and finding.mend.startswith("Do not power.")


def test_a_missing_ground_in_a_stretched_build_is_named_by_its_cell() -> None:
    plan = load_design(next(f for f in DESIGNS if f.stem == "call-lamp"), KIT).board
    stretched = next(x.board for x in layouts(plan) if x.name == "stretched, rows 2")
    grounds = [c for c, q in stretched.cubes.items() if q.kind == "ground"]
    rest = {c: q for c, q in stretched.cubes.items() if c != grounds[-1]}
    result = compare(plan, replace(stretched, cubes=rest), KIT)
    (finding,) = [f for f in result.findings if f.severity < Severity.NOTE]
    assert (finding.rule, finding.cells) == ("cube-missing", (grounds[-1],))
    assert "laid out like this" in finding.title and "ground" in finding.mend


def test_a_missing_socket_is_never_a_pass() -> None:
    """Its absence leaves no part without a partner and no net apart."""
    plan = load_design(next(f for f in DESIGNS if f.stem == "two-stage-amplifier"), KIT).board
    for layout in layouts(plan):
        (cell,) = [c for c, q in layout.board.cubes.items() if q.kind == "socket"]
        built = replace(layout.board, cubes={**layout.board.cubes, cell: Cube("cross")})
        assert compare(plan, built, KIT).verdict is Verdict.DOES_NOT_WORK, layout.name
