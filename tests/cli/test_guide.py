"""The guide says what is true: its plan can be read, its quantities, verbs and options exist."""

from __future__ import annotations

import re

import pytest

from snapcheck import errors
from snapcheck.board import QUANTITIES, parse_layout
from snapcheck.circuit import build_circuit, check_rules
from snapcheck.cli import UNEXPECTED, VERBS, main
from snapcheck.cli._guide import chapters
from snapcheck.kit import bundled_kit

KIT = bundled_kit()


def test_the_plan_in_it_is_a_good_one() -> None:
    (text,) = re.findall(r"```text\n(.*?)```", chapters()["plans"], re.DOTALL)
    design = parse_layout(text, "guide", KIT)
    assert design.expectations and design.output is not None
    assert check_rules(build_circuit(design.board, KIT)) == []


def test_every_line_that_it_speaks_of_can_be_read() -> None:
    text = """
plate 9 x 6
A1 socket signal=right
B1 npn base=left
C1 switch turn=0
D1 potentiometer 10k turn=0
A3 battery 9V plus=up
set C1 closed, D1 30 %, light 5 lux, temperature 30 C, A3 15 V
input A1 signal 10 mV
output B1 collector
expect voltage at B1 collector 1.9 V ± 10 % with C1 open
expect gain at 100 Hz over 10 dB
"""
    design = parse_layout(text, "guide", KIT)
    assert design.input_V == pytest.approx(0.01) and len(design.expectations) == 2


def test_all_quantities_stand_in_the_table() -> None:
    rows = re.findall(r"^\| ([a-z, -]+) \|", chapters()["plans"], re.MULTILINE)
    named = {name for row in rows for name in row.split(", ")} - {"quantities"}
    assert named == set(QUANTITIES)


def test_the_verbs_it_names_exist(capsys: pytest.CaptureFixture[str]) -> None:
    text = " ".join("\n".join(chapters().values()).split())
    calls = re.findall(r"`snapcheck ([a-z-]+)([^`]*)`", text)
    assert {verb for verb, _ in calls} <= set(VERBS) and len(calls) > 15
    for verb, rest in calls:
        for option in re.findall(r"--[a-z-]+", rest):
            with pytest.raises(SystemExit):
                main([verb, "--help"])
            assert option in capsys.readouterr().out, (verb, option)


def test_the_exit_codes_are_those_of_the_errors() -> None:
    told = set(map(int, re.findall(r"^\| (\d+) \|", chapters()["exit codes"], re.MULTILINE)))
    classes = [
        c for c in vars(errors).values() if isinstance(c, type) and issubclass(c, errors.SnapcheckError)
    ]
    assert len(classes) > 6 and {c.exit_code for c in classes} | {UNEXPECTED} <= told


@pytest.mark.parametrize("words", [["plans"], ["plan"], ["a", "class"], ["class"]])
def test_a_chapter_is_told_by_name(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guide", *words]) == 0
    out = capsys.readouterr().out
    assert ("roster.csv" in out) == ("class" in words) and ("plate 5 x 4" in out) == ("class" not in words)


def test_what_is_no_chapter_is_told_with_those_that_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["guide", "xyzzy"]) == 21
    listed = "photos, plans, a build sheet, from parts to a board, a kit of your own, teach a kit"
    assert listed in capsys.readouterr().err
