"""The report's drawings and data: well-formed, complete, and true to the circuit."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
import samples

from snapcheck.board import load_board, load_design
from snapcheck.circuit import build_circuit
from snapcheck.kit import bundled_kit
from snapcheck.pipeline import CheckResult, check_build
from snapcheck.report import Behaviour, report_html
from snapcheck.report._nets import net_colours
from snapcheck.report._schematic import schematic_svg
from snapcheck.report._schematic_layout import is_block, lay_out

KIT = bundled_kit()
FIXTURES = Path(__file__).parents[2] / "fixtures"
DESIGNS = sorted((FIXTURES / "designs").glob("*.board"))


@pytest.fixture(scope="module")
def speech() -> CheckResult:
    design = load_design(FIXTURES / "designs" / "speech-stage.board", KIT)
    built = load_board(FIXTURES / "builds" / "speech-stage-table-4.board", KIT)
    return check_build(built, design, KIT)


@pytest.mark.parametrize("path", DESIGNS, ids=lambda p: p.stem)
def test_circuit_drawing_is_complete(path: Path) -> None:
    design = load_design(path, KIT)
    circuit = build_circuit(design.board, KIT)
    svg = schematic_svg(circuit, design, net_colours(circuit))
    texts = {e.text for e in ET.fromstring(svg).iter() if e.tag.endswith("text")}
    assert {part.name for part in circuit.parts} <= texts


@pytest.mark.parametrize("path", DESIGNS, ids=lambda p: p.stem)
def test_no_two_nets_lie_over_each_other(path: Path) -> None:
    design = load_design(path, KIT)
    layout = lay_out(build_circuit(design.board, KIT), design)
    nets = [n for n in layout.reach if n]
    for i, a in enumerate(nets):
        for b in nets[i + 1 :]:
            if layout.level[a] == layout.level[b]:
                (a0, a1), (b0, b1) = layout.reach[a], layout.reach[b]
                assert a1 <= b0 + 0.01 or b1 <= a0 + 0.01, (a, b)


def test_page_is_self_contained_and_tells_danger_first(speech: CheckResult) -> None:
    page = report_html(speech, behaviour=Behaviour(None, None))
    for outside in ("<script", "<link", 'src="http', 'href="http', "url(http"):
        assert outside not in page
    assert page.index('id="finding-1"') < page.index('id="finding-2"')
    assert "sev-danger" in page[: page.index('id="finding-1"')]


def test_student_page_holds_no_circuit_drawing(speech: CheckResult) -> None:
    assert "Circuit drawing" in report_html(speech)
    assert "Circuit drawing" not in report_html(speech, student=True)


def _boxes(svg: str) -> list[tuple[float, float]]:
    """Middles of the symbols of a circuit drawing."""
    return [
        (float(x) + 52, float(y) + 52)
        for x, y in re.findall(r'<svg x="([-0-9.]+)" y="([-0-9.]+)" xmlns', svg)
    ]


@pytest.mark.parametrize("variant", samples.variants(), ids=lambda v: f"{v.design.stem}: {v.title}")
def test_ports_stand_clear_of_every_part(variant: samples.Variant) -> None:
    design = load_design(variant.design, samples.kit_for(variant.design))
    circuit = build_circuit(variant.board(), samples.kit_for(variant.design))
    svg = schematic_svg(circuit, design, net_colours(circuit))
    ports = [
        (float(x), float(y)) for x, y in re.findall(r'<circle cx="([-0-9.]+)" cy="([-0-9.]+)" r="7"', svg)
    ]
    parts = _boxes(svg)
    assert parts
    for x, y in ports:
        assert all(abs(x - px) > 40 or abs(y - py) > 35 for px, py in parts)


@pytest.mark.parametrize("path", samples.CHIP_DESIGNS, ids=lambda p: p.stem)
def test_test_points_and_what_joins_a_chip_are_told_apart(path: Path) -> None:
    """Test points are numbers in circles, nets that lead to the chip letters; no name hides another."""
    kit = samples.kit_for(path)
    design = load_design(path, kit)
    circuit = build_circuit(design.board, kit)
    joined = {net: [p for p, _ in circuit.parts_on(net)] for net in range(1, circuit.net_count)}
    nets = [net for net, parts in joined.items() if not all(map(is_block, parts))][:4]
    numbers = {net: 40 + place for place, net in enumerate(nets)}
    svg = schematic_svg(circuit, design, net_colours(circuit), points=numbers)
    circles = re.findall(r'<circle cx="([\d.-]+)" cy="([\d.-]+)" r="13"[^>]*/><text[^>]*>(\d+)<', svg)
    names = re.findall(
        r'<rect x="[\d.-]+" y="([\d.-]+)"[^>]*rx="10"[^>]*/><text x="([\d.-]+)"[^>]*>(\w+)<', svg
    )
    assert sorted(int(c[2]) for c in circles) == sorted(numbers.values()) and nets
    assert {n[2] for n in names} <= {"0", *"abcdefgh"} and len({n[2] for n in names}) > 2
    places = [(float(x), float(y)) for x, y, _ in circles] + [(float(x), float(y) + 10) for y, x, _ in names]
    assert all(math.dist(a, b) > 22 for a, b in itertools.combinations(places, 2))
