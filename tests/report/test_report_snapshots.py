"""Drawings held against what they were when somebody last looked at them.

Where a drawing is meant to change: look at it, then write the new ones with
``SNAPSHOTS=write pytest tests/report/test_report_snapshots.py``.
"""

from __future__ import annotations

import os
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from reportmaker import KIT, written

from snapcheck.report._callouts import callouts_svg, reference_svg
from snapcheck.report._look import numbered
from snapcheck.report._nets import net_colours
from snapcheck.report._picture import document, moved, window_of
from snapcheck.report._schematic import schematic_svg

FOLDER = Path(__file__).with_name("snapshots")


def drawings() -> dict[str, str]:
    result = written()
    assert result.placed is not None
    told = numbered(result.findings)
    plan = result.placed.board
    window = window_of(result.built, plan)
    return {
        "callouts": document(window, moved(callouts_svg(told, result.built, KIT, plan)), "marks"),
        "reference": document(window, moved(reference_svg(told, plan)), "marks"),
        "circuit-built": schematic_svg(
            result.built_circuit, result.placed, net_colours(result.built_circuit), "as built"
        ),
        "circuit-planned": schematic_svg(
            result.plan_circuit, result.design, net_colours(result.plan_circuit), "as planned"
        ),
    }


def rounded(svg: str) -> str:
    """One element a line, numbers to whole units: what the eye would notice."""
    text = re.sub(r"-?\d+\.\d+", lambda m: f"{float(m[0]):.0f}".replace("-0", "0"), svg)
    return text.replace("><", ">\n<") + "\n"


@pytest.mark.parametrize("name", ["callouts", "reference", "circuit-built", "circuit-planned"])
def test_a_drawing_is_as_it_was_looked_at(name: str) -> None:
    svg = drawings()[name]
    ET.fromstring(svg)
    file = FOLDER / f"{name}.svg"
    if os.environ.get("SNAPSHOTS") == "write":
        file.write_text(rounded(svg), encoding="utf-8")
    assert rounded(svg) == file.read_text(encoding="utf-8"), __doc__


def test_every_kind_of_mark_is_among_them() -> None:
    rules = {f.rule for f in written().findings}
    assert {"reversed", "swapped", "cube-missing", "cube-extra", "lead-missing", "turned"} <= rules, rules
