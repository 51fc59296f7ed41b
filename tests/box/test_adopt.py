"""A plan made of a photo: open places are asked, figures hold for the build, bands for its specimens."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from snapcheck import adopt
from snapcheck.board import load_design, parse_layout
from snapcheck.box import promise
from snapcheck.circuit import build_circuit
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit, chips_kit
from snapcheck.simulate import Simulator, is_available

KIT = bundled_kit()
ROOT = Path(__file__).parents[2] / "fixtures"
PHOTO = ROOT / "photos" / "first-light-good.jpg"
needs_ngspice = pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")


@needs_ngspice
def test_a_photo_becomes_a_plan_that_reads_back_and_is_met() -> None:
    made = adopt(PHOTO, also=[PHOTO], answers=["looked"], title="Our first\nlight", output="D2 anode")
    again = parse_layout(made.layout, "made", KIT)
    assert again.board.cubes == load_design(ROOT / "designs" / "first-light.board", KIT).board.cubes
    assert again == made.design and again.title == "Our first light"
    assert made.questions == () == made.dangers and made.samples == 300
    assert [f.quantity for f in again.expectations] == ["current", "voltage"]
    with Simulator() as simulator:
        circuit = build_circuit(again.board, KIT)
        assert all(f.met for f in simulator.evaluate(again, circuit))
        # the plan holds specimens that the bands were not made from
        assert simulator.tolerance(again, circuit, samples=200, seed=77).passed >= 0.97


def test_an_answer_changes_the_board_and_what_is_open_is_asked() -> None:
    made = adopt(PHOTO, answers=["D2 led green anode=up"], output="D2 anode")
    assert "D2 led green anode=up" in made.layout
    bare = adopt(PHOTO, answers=["remove C3"])
    assert any("--output" in note for note in bare.notes)
    with pytest.raises(InputError):
        adopt(PHOTO, answers=["D2 nonsense"])
    with pytest.raises(InputError):
        adopt(PHOTO, output="Q9 anode")


@needs_ngspice
def test_danger_is_told_and_nothing_is_promised_of_a_short() -> None:
    made = adopt(PHOTO, answers=["A3 ground stem=up", "B1 straight", "C1 straight", "D2 straight turn=90"])
    assert made.dangers and made.design.expectations == ()


@needs_ngspice
@pytest.mark.parametrize("name", ["speech-stage", "night-lamp", "call-lamp"])
def test_calculated_bands_agree_with_those_that_a_teacher_gave(name: str) -> None:
    """The sample designs' own figures were set by hand: where both promise a thing, the bands overlap."""
    design = load_design(ROOT / "designs" / f"{name}.board", KIT)
    circuit = build_circuit(design.board, KIT)
    with Simulator() as simulator:
        made = promise(replace(design, expectations=()), circuit, simulator, samples=60)
        assert made.design.expectations
        assert all(f.met for f in simulator.evaluate(made.design, circuit))
    both = 0
    for ours in made.design.expectations:
        for theirs in design.expectations:
            if (ours.quantity, ours.place or design.output, ours.conditions) == (
                theirs.quantity, theirs.place or design.output, theirs.conditions,
            ):  # fmt: skip
                both += 1
                assert ours.low <= theirs.high and theirs.low <= ours.high, (ours.text, theirs.text)
    assert both


@needs_ngspice
@pytest.mark.parametrize(
    ("name", "figures"),
    [
        ("gauge-amplifier", ["voltage D3 out1"]),  # not that of the half that nobody uses
        ("either-way-light", ["current E4 anode", "voltage C3 plus"]),
    ],
)
def test_a_chip_gets_figures_where_its_signal_comes_out(name: str, figures: list[str]) -> None:
    kit = chips_kit()
    design = load_design(ROOT / "designs" / "chips" / f"{name}.board", kit)
    with Simulator() as simulator:
        made = promise(design, build_circuit(design.board, kit), simulator, samples=6)
    assert [f"{e.quantity} {e.place}" for e in made.design.expectations] == figures
