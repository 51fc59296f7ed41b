"""One change to a design: what refers to a cube goes with it, and the file keeps what it says otherwise."""

from __future__ import annotations

from pathlib import Path

import pytest

from snapcheck.board import Cell, edited, parse_layout, rewritten
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit

KIT = bundled_kit()
DESIGNS = sorted((Path(__file__).parents[2] / "fixtures" / "designs").glob("*.board"))
TEXT = """\
# to be built on the first evening
plate 6 x 4
title  Try it
input  A2  20 mV
output E2 signal
set C3 20 %, light 20 lux
expect voltage at C2 collector 4 to 6 V
expect gain 10 to 20 dB   # without load

A2 audio-in signal=right   # the tape
C2 npn BC547 base=left
E2 socket signal=left
C3 potentiometer 10k wiper=up

tap A1|B1
lead E2 to A1|B1   # red
stage Input: A2 C3
note Mind the base.
stage Amplifier: C2
"""


def changed(line: str, text: str = TEXT) -> tuple[str, tuple[str, ...]]:
    design = parse_layout(text, "", KIT)
    made = edited(design, line, KIT)
    new = rewritten(text, made.design, KIT)
    assert parse_layout(new, "", KIT) == made.design
    return new, made.lost


def lines_between(text: str, line: str) -> tuple[set[str], set[str]]:
    """Lines that went and lines that came."""
    old, new = set(text.split("\n")), set(changed(line, text)[0].split("\n"))
    return old - new, new - old


@pytest.mark.parametrize(("line", "went", "came"), [
    ("turn C2", {"C2 npn BC547 base=left"}, {"C2 npn BC547 base=up"}),
    ("turn C2 270", {"C2 npn BC547 base=left"}, {"C2 npn BC547 base=down"}),
    ("value C3 22k", {"C3 potentiometer 10k wiper=up"}, {"C3 potentiometer 22k wiper=up"}),
    ("D2 resistor 4k7", set(), {"D2 resistor 4k7"}),
    ("D4 resistor 4k7 turn=90", set(), {"D4 resistor 4k7 turn=90"}),
    ("tap C1|C2", set(), {"tap C1|C2"}),
    ("title Try it again", {"title  Try it"}, {"title Try it again"}),
    ("purpose To be heard.", set(), {"purpose To be heard."}),
    ("plate 7 x 4", {"plate 6 x 4"}, {"plate 7 x 4"}),
    ("lead E2 plate to C4|D4", set(), {"tap C4|D4", "lead E2 plate to C4|D4"}),
    ("remove lead E2 to A1|B1", {"lead E2 to A1|B1   # red"}, set()),
    ("move A2 to A3", {"A2 audio-in signal=right   # the tape", "input  A2  20 mV", "stage Input: A2 C3"},
     {"A3 audio-in signal=right   # the tape", "input A3 signal 0.02 V", "stage Input: A3 C3"}),
    ("move C3 to D3", {"C3 potentiometer 10k wiper=up", "set C3 20 %, light 20 lux", "stage Input: A2 C3"},
     {"D3 potentiometer 10k wiper=up", "set D3 20 %", "set light 20 lux", "stage Input: A2 D3"}),
    ("move E2 to E3", {"E2 socket signal=left", "output E2 signal", "lead E2 to A1|B1   # red"},
     {"E3 socket signal=left", "output E3 signal", "lead E3 to A1|B1   # red"}),
])  # fmt: skip
def test_a_change_touches_its_own_lines_alone(line: str, went: set[str], came: set[str]) -> None:
    assert lines_between(TEXT, line) == (went, came)


def test_what_is_moved_onto_another_changes_places_with_it() -> None:
    new, lost = changed("move C2 to A2")
    assert not lost and {"C2 audio-in signal=right   # the tape", "input C2 signal 0.02 V"} <= set(
        new.split("\n")
    )
    assert "expect voltage at A2 collector 4 to 6 V" in new


@pytest.mark.parametrize(("line", "lost"), [
    ("remove C2", ("expect voltage at C2 collector 4 to 6 V",)),
    ("remove A2", ("input A2 signal",)),
    ("remove E2", ("output E2 signal", "expect gain 10 to 20 dB", "lead E2 to A1|B1")),
    ("remove tap A1|B1", ("lead E2 to A1|B1",)),
    ("C2 resistor 1k", ("expect voltage at C2 collector 4 to 6 V",)),
    ("C2 npn BC549 base=up", ()),
    ("output", ("expect gain 10 to 20 dB",)),
    ("shift right", ()),
])  # fmt: skip
def test_what_goes_with_it_is_told(line: str, lost: tuple[str, ...]) -> None:
    assert changed(line)[1] == lost


@pytest.mark.parametrize(("line", "said"), [
    ("", "no change"), ("dance", "no change"), ("remove B2", "no cube stands in B2"), ("move C2", "where to"),
    ("move C2 to K9", "outside the plate"), ("turn C2 45", "no turn"), ("value C3 much", "no value in ohms"),
    ("remove tap B1|C1", "no tap sits"), ("lead E2 to A1|B1", "there already"), ("shift left", "outside"),
    ("shift north-west", "no direction"), ("plate 2 x 2", "outside the plate"), ("tap C1|C9", "share a side"),
])  # fmt: skip
def test_what_is_not_possible_is_said(line: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        edited(parse_layout(TEXT, "", KIT), line, KIT)


@pytest.mark.parametrize("file", DESIGNS, ids=lambda f: f.stem)
def test_every_cube_of_every_sample_can_be_moved_turned_and_taken_away(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    design = parse_layout(text, "", KIT)
    comments = [line for line in text.split("\n") if line.startswith("#")]
    grown = edited(design, f"plate {design.board.columns + 1} x {design.board.rows}", KIT).design
    for cell in list(design.board.cubes)[::7]:
        free = Cell(cell.row, grown.board.columns - 1)
        for line in (f"move {cell} to {free}", f"turn {cell}", f"remove {cell}"):
            made = edited(grown, line, KIT).design
            new = rewritten(text, made, KIT)
            assert parse_layout(new, "", KIT) == made
            assert [line for line in new.split("\n") if line.startswith("#")] == comments
    assert rewritten(text, design, KIT).strip() == text.strip()
