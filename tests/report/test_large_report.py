"""Report pictures of cubes of several cells: marks as large as the cube, a circuit drawing with its legs."""

from __future__ import annotations

import re

from largekit import LARGE_KIT

from snapcheck.board import Board, parse_layout
from snapcheck.check import compare
from snapcheck.circuit import build_circuit
from snapcheck.report._callouts import callouts_svg, reference_svg
from snapcheck.report._look import numbered
from snapcheck.report._nets import net_colours
from snapcheck.report._picture import window_of
from snapcheck.report._schematic import schematic_svg

PLAN = """
plate 8 x 5
A1 corner ends=right+down
B1 corner ends=left+down
A2 battery-box 9V plus=up
B2 chip RN8 notch=up
E2 big-speaker 8 ends=left
A4 corner ends=up+right
B4 corner ends=up+left
C4 ground stem=up
D2 straight turn=0
"""


def board(*changes: tuple[str, str]) -> Board:
    text = PLAN
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return parse_layout(text, "plan", LARGE_KIT).board


def test_marks_are_as_large_as_the_cube() -> None:
    plan = board()
    built = board(
        ("notch=up", "notch=right"), ("E2 big-speaker 8 ends=left\n", ""), ("A2 battery", "G4 battery")
    )
    findings = numbered(compare(plan, built, LARGE_KIT).findings)
    rules = [f.rule for _, f in findings]
    assert {"turned", "cube-missing", "moved"} <= set(rules)
    marks, there = callouts_svg(findings, built, LARGE_KIT, plan), reference_svg(findings, plan)
    for svg in (marks, there):
        assert 'width="212" height="212" rx="13"' in svg  # round the chip and the loudspeaker
        assert 'width="104" height="212" rx="13"' in svg  # round the battery box
    assert 'width="204" height="204" rx="11"' in marks  # the loudspeaker that is missing
    window = window_of(built, plan)
    assert (window.columns, window.rows) == (7, 5)


def test_the_circuit_drawing_has_a_block_with_every_leg() -> None:
    circuit = build_circuit(board(), LARGE_KIT)
    svg = schematic_svg(circuit, None, net_colours(circuit))
    assert [f">p{n}<" in svg for n in range(1, 9)] == [True] * 8
    assert ">U101 RN8<" in svg and ">BT101<" in svg and ">LS101<" in svg
    chips = re.findall(r'text-anchor="middle" fill="#fff">(\d+)<', svg)
    for net in circuit.part_named["U101"].nets.values():  # the number of each leg's net stands at it
        assert str(net) in chips
