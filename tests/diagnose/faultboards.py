"""Dictionaries of sample designs for the tests of this room, made once."""

from __future__ import annotations

from pathlib import Path

from snapcheck.board import Design, load_design, parse_layout
from snapcheck.diagnose import Dictionary, bundled_priors, kept_dictionary
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator

DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
KIT = bundled_kit()

#: two resistors on a battery, a wire between, and a tap whose lead holds a third resistor
DIVIDER = """
plate 6 x 4
title Divider
A1 corner ends=right+down
B1 resistor 1k
C1 straight ends=left+right
D1 corner ends=left+down
A2 battery 9V plus=up
D2 resistor 2k ends=up+down
A3 ground stem=up
D3 ground stem=up
E1 socket signal=right
F1 corner ends=left+down
F2 resistor 10k ends=up+down
F3 ground stem=up
tap C1|D1
lead E1 to C1|D1
"""


def design_named(name: str) -> Design:
    return load_design(str(DESIGNS / f"{name}.board"), KIT)


def dictionary_of(design: Design, simulator: Simulator) -> Dictionary:
    return kept_dictionary(design, KIT, simulator, bundled_priors())


def divider() -> Design:
    return parse_layout(DIVIDER, "divider", KIT)
