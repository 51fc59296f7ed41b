"""Findings gathered: what is one cause, what makes no difference, and circuits with little in common."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_compare import KIT, PLAN, board, changed, only, told

from snapcheck.board import Cell, load_design
from snapcheck.check import compare
from snapcheck.check._merge import absorb
from snapcheck.check._own_layout import own_layout_findings
from snapcheck.circuit import build_circuit, equivalence
from snapcheck.findings import Finding, Severity

DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"


def test_several_harmless_ways_are_one_finding_and_a_fault_beside_them_is_its_own() -> None:
    finding = only(compare(board(PLAN), changed("C3 cross", "tap A1|B1"), KIT))
    assert (finding.rule, finding.severity) == ("built-differently", Severity.NOTE)
    assert len(finding.data["each"]) == 2 and finding.data["harmless"] is True  # type: ignore[arg-type]
    assert finding.mend == "Nothing need be done." and "C3" in finding.title
    both = compare(board(PLAN), changed("C3 cross", "tap A1|B1", "D2 resistor 22k turn=90"), KIT)
    assert {r for r, _ in told(both)} == {"built-differently", "wrong-value"}
    assert [f.data["harmless"] for f in both.findings if f.rule == "wrong-value"] == [False]


def test_a_way_round_beside_a_fault_is_no_fault_itself() -> None:
    """The corner alone would take the ground away; with the ground beside it, it is another way to it."""
    way_round = ("J3 ground stem=up", "J2 corner turn=90")
    both = compare(board(PLAN), changed(*way_round, "D2 resistor 22k turn=90"), KIT)
    assert [(f.rule, f.data["harmless"]) for f in both.findings] == [
        ("wrong-value", False), ("built-differently", True),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("cube", "severity"),
    [("D2 electrolytic 10u plus=down", Severity.DANGER), ("C2 diode 1N4148 anode=down", Severity.FAULT)],
)
def test_what_may_burst_when_turned_is_a_danger_in_a_layout_of_its_own(cube: str, severity: Severity) -> None:
    loop = """plate 4 x 4
A1 corner turn=0
A2 battery 9V plus=up
A3 ground stem=up
B1 resistor 1k
C1 tee stem=down
C2 diode 1N4148 anode=up
C3 ground stem=up
D1 corner turn=90
D2 electrolytic 10u plus=up
D3 ground stem=up
"""
    plan, built = (build_circuit(b, KIT) for b in (board(loop), changed(cube, base=loop)))
    (finding,), *_ = own_layout_findings(plan, built, equivalence(plan, built))
    assert (finding.rule, finding.severity) == ("circuit-legs", severity)
    assert finding.mend.startswith("Do not power.") is (severity is Severity.DANGER)


def test_circuits_with_little_in_common_are_told_in_one_finding_and_dangers() -> None:
    plan, built = (
        build_circuit(load_design(DESIGNS / f"{name}.board", KIT).board, KIT)
        for name in ("speech-stage", "night-lamp")
    )
    findings, *_ = own_layout_findings(plan, built, equivalence(plan, built))
    assert findings[0].rule == "another-circuit"
    assert [f for f in findings[1:] if f.severity is not Severity.DANGER] == []


def test_what_a_fault_reverses_elsewhere_is_its_effect() -> None:
    cause = Finding(
        "wrong-kind", Severity.FAULT, (Cell.parse("C1"),), "A battery stands the wrong way round."
    )
    at = (Cell.parse("D2"),)
    reverses = absorb(cause, [Finding("electrolytic-reversed", Severity.DANGER, at, "Reversed.")])
    assert reverses.effect == "It puts a reversed voltage on D2." and reverses.severity is Severity.DANGER
    shorts = absorb(cause, [Finding("supply-shorted", Severity.DANGER, at, "The supply is shorted.")])
    assert shorts.effect == "The supply is shorted."


@pytest.mark.parametrize("turn", [90, 180, 270])
def test_a_build_turned_as_a_whole_says_by_how_much(turn: int) -> None:
    assert f"turned by {turn}° clockwise" in only(compare(board(PLAN), board(PLAN).turned(turn), KIT)).title
