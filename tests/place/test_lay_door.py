"""`snapcheck.lay` and the verb: what may be given, what is written, how mistakes are told."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import pytest

import snapcheck
from snapcheck.board import load_board, load_design
from snapcheck.circuit import build_circuit, equivalence
from snapcheck.cli import main
from snapcheck.cli._guide import chapters
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit
from snapcheck.place import circuit_of, list_from, parse_parts

KIT = bundled_kit()
DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
LIST = """\
title  Light for the stairs
output D1 anode
B1 battery 9V  plus=supply minus=0
R1 resistor 470  a=supply b=light  # limits the current
D1 led green  anode=light cathode=0
"""


def test_a_list_as_text_becomes_a_board_with_its_title_and_output() -> None:
    laid = snapcheck.lay(LIST, (5, 4), effort=0.1)
    assert laid.design.title == "Light for the stairs"
    assert laid.design.output is not None and laid.design.output.cell == laid.cells["D1"]
    assert equivalence(circuit_of(parse_parts(LIST, "list", KIT), KIT), build_circuit(laid.board, KIT))
    # a battery, a resistor, a diode, two grounds, and two corners to come back to the plate
    assert laid.occupied <= 7


def test_the_list_of_the_guide_is_laid() -> None:
    (text,) = re.findall(r"```text\n(.*?)```", chapters()["from parts to a board"], re.DOTALL)
    assert snapcheck.lay(text, (5, 4), effort=0.1).leads == 0


def test_what_a_plan_promises_follows_its_parts() -> None:
    plan = load_design(DESIGNS / "night-lamp.board", KIT)
    laid = snapcheck.lay(DESIGNS / "night-lamp.board", effort=0.1)
    assert len(laid.design.expectations) == len(plan.expectations)
    assert laid.design.title == plan.title
    kinds = [laid.board.cubes[e.place.cell].kind for e in laid.design.expectations if e.place is not None]
    assert kinds == [plan.board.cubes[e.place.cell].kind for e in plan.expectations if e.place is not None]
    assert laid.design.output is not None and laid.design.output.terminal == "collector"


def test_a_text_file_is_a_list_or_a_board_by_what_it_says(tmp_path: Path) -> None:
    file = tmp_path / "light.txt"
    file.write_text(LIST, encoding="utf-8")
    assert set(snapcheck.lay(file, (5, 4), effort=0.1).cells) == {"B1", "R1", "D1"}
    text = (DESIGNS / "first-light.board").read_text(encoding="utf-8")
    file.write_text(text, encoding="utf-8")
    assert len(snapcheck.lay(file, effort=0.1).cells) == len(snapcheck.lay(text, effort=0.1).cells) == 4


def test_a_list_needs_a_plate() -> None:
    with pytest.raises(InputError, match="how large the plate is"):
        snapcheck.lay(LIST)


@dataclass(frozen=True)
class _Read:
    name: str
    kind: str
    value: float | str | None
    nets: dict[str, str]


def test_parts_that_were_read_elsewhere() -> None:
    parts = [
        _Read("J1", "audio-in", None, {"signal": "in", "plate": "0"}),
        _Read("R1", "resistor", 4700.0, {"a": "in", "b": "out"}),
        _Read("C1", "capacitor", 1e-7, {"a": "out", "b": "0"}),
    ]
    wanted = list_from(parts, KIT, title="low-pass")
    assert [item.printed for item in wanted.items] == [None, "4k7", "100n"]
    assert snapcheck.lay(wanted, (5, 4), effort=0.1).leads == 0
    with pytest.raises(InputError, match="J1: its terminal 'plate' lies on the plate"):
        list_from([_Read("J1", "audio-in", None, {"signal": "in", "plate": "out"})], KIT)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("R1 resistor 470 a=x\n", "line 1, column 17: it is not said what is joined to b"),
        ("R1 resistor 470 a=x b=y\nR1 resistor 1k a=x b=y\n", "line 2, column 1: 'R1' stands"),
        ("R1 resistr 470 a=x b=y\n", "line 1, column 4: the kit has no kind 'resistr'. Did you"),
        ("R1 resistor 4700z a=x b=y\n", "line 1, column 13"),
        ("R1 resistor 470 a=x c=y\n", "line 1, column 21: 'c=y' says no net of a terminal"),
        ("R1 resistor 470 a=x b=y\noutput R2\n", "line 2, column 8: this names no part of the list"),
        ("title nothing else\n", "there is no part in the list"),
        ("W1 straight wire=x\n", "W1: a straight wire has the terminals"),
    ],
)  # fmt: skip
def test_mistakes_in_a_list_are_told_with_their_place(text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        snapcheck.lay(text, (5, 4))
    assert said in str(caught.value)


def test_a_box_of_too_little_and_a_netlist(tmp_path: Path) -> None:
    """The box is the one that the other verbs know; its prints of one value count together."""
    box = 'title = "ours"\n[cubes]\nbattery = {"9V" = 1}\nled = {green = 1}\nground = 2\n'
    box += "straight = 4\ncorner = 4\n"
    net = tmp_path / "light.cir"
    net.write_text(
        "light\nV1 supply 0 9\nR1 supply light 470\nD1 light 0 green led\n.end\n", encoding="utf-8"
    )
    with pytest.raises(InputError, match="resistor 470"):
        snapcheck.lay(net, (5, 4), box=box + 'resistor = {"1k" = 3}\n')
    laid = snapcheck.lay(net, (5, 4), box=box + 'resistor = {"470" = 1}\n', effort=0.2)
    kinds = Counter(q.kind for q in laid.board.cubes.values())
    assert kinds["resistor"] == kinds["led"] == kinds["battery"] == 1 and kinds["tee"] == 0


def test_the_verb_writes_a_layout_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    parts, out = tmp_path / "light.parts", tmp_path / "light.board"
    parts.write_text(LIST, encoding="utf-8")
    assert main(["lay", str(parts), "--plate", "5x4", "--out", str(out)]) == 0
    assert "3 parts are laid in" in capsys.readouterr().out
    wanted = circuit_of(parse_parts(LIST, "list", KIT), KIT)
    assert equivalence(wanted, build_circuit(load_board(out, KIT), KIT))
    assert main(["lay", str(parts), "--plate", "5 x 4", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["layout"] == out.read_text(encoding="utf-8") and told["sameness"] == "same"


def test_the_verb_says_why_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    parts = tmp_path / "light.parts"
    parts.write_text(LIST, encoding="utf-8")
    assert main(["lay", str(parts), "--plate", "2x2"]) == 21
    assert re.search(r"3 parts were not laid on 2 x 2: .* It fits on \d x \d", capsys.readouterr().err)
    assert main(["lay", str(parts), "--plate", "large"]) == 21
    assert "--plate: 'large' is no size of a plate" in capsys.readouterr().err
    assert main(["lay", str(parts), "--plate", "5x4", "--box", str(parts)]) == 22
    assert "is no box file" in capsys.readouterr().err
    assert main(["lay", str(tmp_path / "none.parts"), "--plate", "5x4"]) == 21
