"""Checked builds for the tests of the report, small and fixed, so that only the report can change them."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import numpy as np

from snapcheck.board import load_design, parse_layout
from snapcheck.kit import bundled_kit
from snapcheck.photo import open_picture, reading_from_truth
from snapcheck.pipeline import CheckResult, check_build
from snapcheck.simulate import Simulator, is_available

KIT = bundled_kit()
FIXTURES = Path(__file__).parents[2] / "fixtures"

PLAN = """plate 7 x 5
title Reading lamp <for> the "night" shelf & more
input A5 signal
output D3 collector
A1 corner turn=0
B1 tee stem=down
C1 straight
D1 corner turn=90
A2 battery 9V plus=up
B2 resistor 100k ends=up+down
D2 resistor 1k ends=up+down
A3 ground stem=up
B3 tee stem=right
C3 straight
D3 npn BC547 base=left
E3 electrolytic 10u plus=up
F3 resistor 4k7 ends=up+down
E2 corner ends=down+right
F2 corner ends=down+left
B4 electrolytic 4u7 plus=up
D4 ground stem=up
E4 ground stem=up
F4 ground stem=up
A5 audio-in signal=right
B5 corner ends=left+up
tap C1|D1
tap E2|F2
lead C1|D1 to E2|F2
"""
#: reversed, wrong value, swapped, missing, turned, extra, missing lead: one of each mark
BUILD = (
    PLAN.replace("E3 electrolytic 10u plus=up", "E3 electrolytic 10u plus=down")
    .replace("F3 resistor 4k7", "F3 resistor 47k")
    .replace("B2 resistor 100k", "B2 resistor 1k")
    .replace("D2 resistor 1k ", "D2 resistor 100k ")
    .replace("D4 ground stem=up\n", "")
    .replace("B5 corner ends=left+up", "B5 corner ends=left+down")
    .replace("lead C1|D1 to E2|F2\n", "G5 lamp 6V/50mA\n")
)


@cache
def written() -> CheckResult:
    """A build with one of each mistake, from a layout file, judged by structure."""
    plan, build = (parse_layout(text, "test", KIT) for text in (PLAN, BUILD))
    return check_build(build.board, plan, KIT)


@cache
def photographed(name: str, plan: str) -> tuple[CheckResult, np.ndarray]:
    """A demo photo by its truth, simulated where ngspice is at hand."""
    photos = FIXTURES / "photos"
    truth = json.loads((photos / f"{name}.json").read_text(encoding="utf-8"))
    design = load_design(FIXTURES / plan, KIT)
    reading = reading_from_truth(truth, f"{name}.jpg", KIT)
    pixels = open_picture(photos / f"{name}.jpg").pixels
    if not is_available():
        return check_build(reading, design, KIT), pixels
    with Simulator() as simulator:
        return check_build(reading, design, KIT, simulator), pixels
