"""``snapcheck simulate`` and ``snapcheck spice``."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from snapcheck.cli import main

STAGE = """
plate 4 x 4
title  One stage
input  A3
output D3 collector
expect voltage at D3 collector 2 to 7 V
expect gain at 1 kHz 30 to 50 dB

A1 ground stem=right
B1 battery 9V plus=right
C1 tee stem=down
D1 corner ends=left+down
C2 resistor 1M ends=up+down
D2 resistor 2k2 ends=up+down
A3 audio-in signal=right
B3 electrolytic 10u plus=right
C3 tee stem=up
D3 npn BC547 base=left
D4 ground stem=up
"""


@pytest.fixture
def stage(tmp_path: Path) -> Path:
    path = tmp_path / "stage.board"
    path.write_text(STAGE)
    return path


def run(capsys, *words: str) -> tuple[int, str, str]:
    code = main([str(word) for word in words])
    out, err = capsys.readouterr()
    return code, out, err


def test_table(stage, capsys):
    code, out, _ = run(capsys, "simulate", stage)
    assert code == 0
    for text in ("One stage", "Nets", "Parts", "amplifying", "gain at 1 kHz", "clips above", "met"):
        assert text in out
    assert "NOT MET" not in out


def test_figure_that_is_not_met_is_exit_code_1(stage, capsys):
    stage.write_text(stage.read_text().replace("30 to 50 dB", "60 to 70 dB"))
    code, out, _ = run(capsys, "simulate", stage)
    assert code == 1 and "NOT MET" in out


def test_json_and_everything_at_once(stage, capsys, tmp_path):
    plots = tmp_path / "plots"
    code, out, _ = run(
        capsys,
        "simulate",
        stage,
        "--json",
        "--plots",
        plots,
        "--tolerance",
        "20",
        "--sweep",
        "supply",
        "--dark",
    )
    data = json.loads(out)
    assert code == 0
    assert {part["name"] for part in data["parts"]} == {"B101", "R101", "R102", "C101", "J101", "Q101"}
    assert data["figures"][1]["met"] and 30 < data["signal"]["gain_dB"] < 50
    assert len(data["sweep"]["values"]) == 41 and data["tolerance"]["samples"] == 20
    names = {Path(plot).name for plot in data["plots"]}
    expected = {"response", "sine", "clipping", "sweep", "tolerance"}
    assert names == {f"{name}.{form}" for name in expected for form in ("png", "svg")}
    assert all((plots / name).stat().st_size > 5000 for name in names)


def test_built_beside_its_design(stage, capsys, tmp_path):
    built = tmp_path / "built.board"
    built.write_text(stage.read_text().replace("2k2", "22k"))
    code, out, _ = run(capsys, "simulate", built, "--design", stage)
    assert code == 1
    assert "Beside the design" in out and "falls from" in out
    code, out, _ = run(capsys, "simulate", stage, "--design", stage)
    assert code == 0 and "It does what the design does." in out


def test_settings_and_places_from_the_command_line(stage, capsys):
    code, out, _ = run(capsys, "simulate", stage, "--set", "B1 6 V", "--output", "D3 base", "--json")
    data = json.loads(out)
    assert data["signal"]["gain_dB"] < 1
    assert max(net["voltage_V"] for net in data["nets"]) == pytest.approx(6, abs=0.05)
    assert code in (0, 1)


def test_settings_hold_for_figures_with_conditions_of_their_own_too(stage, capsys):
    stage.write_text(STAGE + "expect voltage at B1 plus 5 to 7 V with temperature 40 C\n")
    _, out, _ = run(capsys, "simulate", stage, "--set", "B1 6 V", "--json")
    assert json.loads(out)["figures"][-1]["met"]


def test_netlist_to_a_file_and_to_the_screen(stage, capsys, tmp_path):
    code, out, _ = run(capsys, "spice", stage)
    assert code == 0 and out.rstrip().endswith(".end") and "\n.op\n" in out
    path = tmp_path / "stage.cir"
    assert run(capsys, "spice", stage, "-o", path)[0] == 0
    assert path.read_text() == out
    assert json.loads(run(capsys, "spice", stage, "--json")[1])["netlist"] == out


@pytest.mark.parametrize(
    ("words", "code", "text"),
    [
        (["--tolerance", "3"], 21, "10 to 100000"),
        (["--sweep", "moon"], 21, "cannot be swept"),
        (["--sweep", "pot"], 21, "no pot on this board"),
        (["--set", "D3 closed"], 21, "cannot be set"),
        (["--output", "D3"], 21, "which terminal"),
        (["--plots", "/dev/null/plots"], 21, "cannot be made"),
        (["--sweep", "light", "--from", "0"], 21, "not possible"),
    ],
)
def test_slips_are_told(stage, capsys, words, code, text):
    got, out, err = run(capsys, "simulate", stage, *words)
    assert got == code and text in err and "Traceback" not in err + out


def test_unsolvable_board_is_exit_code_24(stage, capsys):
    stage.write_text("plate 3 x 1\nA1 ground stem=right\nB1 battery 9V plus=right\nC1 ground stem=left\n")
    code, _, err = run(capsys, "simulate", stage)
    assert code == 24 and "B1: the supply is shorted" in err and "Do not power" in err


def test_library_that_is_not_there_is_exit_code_25(stage, capsys, monkeypatch):
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", "/nowhere/libngspice.so")
    code, _, err = run(capsys, "simulate", stage)
    assert code == 25 and "Install it with" in err
    # a netlist needs no library
    assert run(capsys, "spice", stage)[0] == 0


def test_german_names_places_and_settings_in_german(capsys):
    designs = Path(__file__).parents[2] / "fixtures" / "designs"
    _, lamp, _ = run(capsys, "simulate", designs / "call-lamp.board", "--lang", "de")
    assert "C2 geschlossen" in lamp and "Strom an F2 mit" in lamp
    _, stage, _ = run(capsys, "simulate", designs / "speech-stage.board", "--lang", "de")
    assert "Spannung an E4 Kollektor" in stage
    assert not [word for word in ("closed", "collector", "emitter", " a mit") if word in lamp + stage]


def test_a_resistor_of_zero_ohms_is_a_link(stage, capsys):
    stage.write_text(
        stage.read_text().replace("C1 tee stem=down", "C1 tee stem=down\nC4 resistor 0R turn=90")
    )
    code, out, err = run(capsys, "simulate", stage)
    assert (code, err) == (0, "") and "resistor 0R" in out


def test_german_plots_have_decimal_commas_at_their_axes():
    from matplotlib.figure import Figure

    from snapcheck.plots import _speak
    from snapcheck.words import use_language

    said = {}
    for language in ("en", "de"):
        use_language(language)
        canvas = Figure()
        axes = canvas.subplots()
        axes.plot([0, 1], [0, 1])
        _speak(canvas)
        canvas.draw_without_rendering()
        said[language] = [label.get_text() for label in axes.get_xticklabels()]
    use_language("en")
    assert "0.4" in said["en"] and "0,4" in said["de"] and "0.4" not in said["de"]


def test_a_sweep_over_light_counts_without_exponents(capsys):
    lamp = Path(__file__).parents[2] / "fixtures" / "designs" / "night-lamp.board"
    _, out, _ = run(capsys, "simulate", lamp, "--sweep", "light", "--from", 1, "--to", 10000)
    assert "10000 lx" in out and "e+" not in out
    assert "Voltage at D3 collector over light / lx\n  1 lx " in out  # of what, over what
