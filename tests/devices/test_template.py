"""Subcircuits are written out line by line, with names of our own."""

from __future__ import annotations

import pytest

from snapcheck.devices import DEVICES, template
from snapcheck.devices._template import calculated, parsed
from snapcheck.simulate._child import _LINE

TWO = """
* two dividers
.subckt divider top out params: upper_ohm=1e3 lower_ohm=2e3
r1 top out {upper_ohm}
r2 out 0 {2*lower_ohm}
b1 0 mid i=0.5*v(top,out)+v(0,out)
.model fast d(is={upper_ohm*1e-12})
d1 mid 0 fast
.ends
.subckt both a b params: upper_ohm=10
x1 a m divider
x2 m b divider
.ends
"""


def test_it_is_written_out_with_names_of_its_own() -> None:
    lines, inner = parsed(TWO).written(7, {"a": "n1", "b": "n2"}, {"lower_ohm": 5.0})
    assert lines[:5] == [
        "r7z1z1 n1 i7zm 10",
        "r7z1z2 i7zm 0 10",
        "b7z1z1 0 i7z1zmid i=0.5*v(n1,i7zm)+(0-v(i7zm))",
        ".model m7z1zfast d(is=1e-11)",
        "d7z1z1 i7z1zmid 0 m7z1zfast",
    ]
    assert lines[5] == "r7z2z1 i7zm n2 10" and len(lines) == 10
    assert inner == ["i7zm", "i7z1zmid", "i7z2zmid"]


@pytest.mark.parametrize("name", sorted(d.template for d in DEVICES.values() if d.template))
def test_every_line_of_every_template_may_reach_the_library(name: str) -> None:
    made = template(name)
    lines, _ = made.written(3, {port: f"n{i}" for i, port in enumerate(made.main.ports)}, {})
    assert lines and all(_LINE.fullmatch(line) for line in lines)


@pytest.mark.parametrize("device", [d for d in DEVICES.values() if d.template], ids=lambda d: d.name)
def test_ports_are_the_legs(device) -> None:
    assert template(device.template).main.ports == device.legs


@pytest.mark.parametrize(
    "text", ["", ".subckt a b\nr1 a b 1\n", ".subckt a b\n.control\n.ends\n", "r1 1 2 3\nquit"]
)
def test_what_is_no_template_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"no element|no subcircuit"):
        parsed(text)


@pytest.mark.parametrize("text", ["a**2", "f(2)", "b", "'x'", "a if a else 1"])
def test_only_sums_and_products_are_worked_out(text: str) -> None:
    assert calculated("-(a + 1) * 2 / 4", {"a": 3.0}) == -2.0
    with pytest.raises(ValueError, match="no sum or product"):
        calculated(text, {"a": 1.0})


@pytest.mark.parametrize(
    "line",
    ["b1 a b i=system(1)", "b1 a b i=v(a);quit", "b1 a b v=v(a)", "x1 a b c", ".control", "b1 a b i=1`ls`"],
)
def test_anything_else_in_an_expression_is_refused(line: str) -> None:
    assert not _LINE.fullmatch(line)
