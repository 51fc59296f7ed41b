"""The verbs layout, draw, kit and value."""

import json
import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from snapcheck.board import load_board, load_design
from snapcheck.cli import main
from snapcheck.kit import bundled_kit

DESIGN = Path(__file__).parents[2] / "fixtures" / "designs" / "two-lamp-flasher.board"
Captured = pytest.CaptureFixture[str]


def out_json(capsys: Captured) -> dict:
    return json.loads(capsys.readouterr().out)


def test_layout_says_what_is_there(capsys: Captured) -> None:
    assert main(["layout", str(DESIGN)]) == 0
    said = capsys.readouterr()
    board = load_board(DESIGN, bundled_kit())
    assert f"{len(board.cubes)} cubes" in said.out and "2 taps, 2 leads" in said.out
    assert said.err == ""


def test_layout_and_json_carry_each_other(tmp_path: Path, capsys: Captured) -> None:
    kit, design = bundled_kit(), load_design(DESIGN, bundled_kit())
    assert main(["layout", str(DESIGN), "--json"]) == 0
    as_json = tmp_path / "flasher.json"
    as_json.write_text(capsys.readouterr().out)
    assert load_design(as_json, kit) == design
    again = tmp_path / "again.board"
    assert main(["layout", str(as_json), "--write", str(again)]) == 0
    assert load_design(again, kit) == design
    capsys.readouterr()
    assert main(["layout", str(as_json), "--write", "-"]) == 0
    assert capsys.readouterr().out == again.read_text()


def test_layout_points_at_slips(tmp_path: Path, capsys: Captured) -> None:
    file = tmp_path / "odd.board"
    file.write_text(
        "plate 3 x 3\nA1 npn BC574 base=left\nB2 resistor 4k6\ntap C2|C3\nlead A1 to C2|C3 loose\n"
    )
    assert main(["layout", str(file)]) == 0
    said = capsys.readouterr().err
    assert "BC574; is BC547 meant?" in said
    assert "4k6 is in no E series" in said and "4k3 and 4k7" in said
    assert "C2|C3" in said and "touches no contact" in said
    assert "A1: a lead ends here" in said
    assert main(["layout", str(file), "--json"]) == 0
    odd = [o for o in out_json(capsys)["oddities"] if "touches nothing" not in o["text"]]
    assert [o["place"] for o in odd] == ["A1", "B2", "C2|C3", "A1"]


@pytest.mark.parametrize("theme", [[], ["--dark"]])
def test_draw_png(tmp_path: Path, theme: list[str], capsys: Captured) -> None:
    picture = tmp_path / "x.png"
    assert main(["draw", str(DESIGN), "-o", str(picture), "--width", "700", *theme]) == 0
    pixels = cv2.imdecode(np.frombuffer(picture.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    assert pixels.shape[1] == 700
    corner = pixels[2, 2].mean()
    assert bool(corner < 60) is bool(theme) and pixels.std() > 20  # its ground, and something drawn on it


def test_draw_svg(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["draw", str(DESIGN), "--json"]) == 0
    told = out_json(capsys)
    assert told["files"] == ["two-lamp-flasher.svg"]
    assert (tmp_path / told["files"][0]).read_text().startswith("<svg")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["draw", str(DESIGN), "-o", "x.gif"], "Use .svg, .png or .pdf"),
        (["draw", str(DESIGN), "-o", "x.png", "--width", "5"], "100 to 10000"),
        (["draw", str(DESIGN), "-o", "no/such/folder/x.svg"], "cannot be written"),
        (["kit", "resitor"], "Did you mean 'resistor'?"),
        (["kit", "comparator"], "--kit chips"),
        (["value", "4E7"], "ambiguous"),
        (["value", "4k7", "--on", "brick"], "no kind"),
        (["layout", str(DESIGN), "--kit", "none.toml"], "none.toml"),
    ],
)
def test_mistakes(words: list[str], said: str, tmp_path: Path, monkeypatch, capsys: Captured) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(words) == 21
    assert said in capsys.readouterr().err
    assert main([*words, "--json"]) == 21
    assert said in json.dumps(out_json(capsys)["error"])


def test_kit(capsys: Captured) -> None:
    assert main(["kit"]) == 0
    listed = capsys.readouterr().out
    assert all(name in listed for name in bundled_kit().kinds)
    assert main(["kit", "npn"]) == 0
    assert "base W, collector N, emitter S" in capsys.readouterr().out
    assert main(["kit", "zener", "--json"]) == 0
    (kind,) = out_json(capsys)["kinds"]
    assert kind["contacts"] == {"W": "anode", "E": "cathode"} and "5V1" in kind["values"]


def test_value(capsys: Captured) -> None:
    assert main(["value", "100uF/16V", "--on", "electrolytic", "--json"]) == 0
    told = out_json(capsys)
    assert (told["value"], told["rated_V"], told["unit"], told["code"]) == (1e-4, 16.0, "F", "100µ")
    assert main(["value", "4k7"]) == 0
    told = capsys.readouterr().out
    assert "in E3" in told and "next to it" not in told  # it is its own neighbour
    assert main(["value", "5k"]) == 0
    said = capsys.readouterr().out
    assert "5 kΩ" in said and "4k7" in said and "5k6" in said
    assert main(["value", "100uF/6V3", "--on", "electrolytic", "--lang", "de"]) == 0
    assert "Nennspannung 6,3 V" in capsys.readouterr().out
    assert main(["value", "4k7J", "--lang", "de"]) == 0
    assert "4,7 kΩ" in capsys.readouterr().out


def test_a_kind_of_the_kit_with_chips_is_told_to_be_one(tmp_path: Path, capsys: Captured) -> None:
    for name, text in (("a.board", "plate 9 x 5\nA1 comparator\n"), ("a.list", "X1 comparator\n")):
        (tmp_path / name).write_text(text)
        verb = ["layout"] if name == "a.board" else ["lay", "--plate", "9x7"]
        assert main([*verb, str(tmp_path / name)]) == 21
        assert "It is a cube of the kit with chips: --kit chips." in capsys.readouterr().err


def test_an_option_that_a_verb_does_not_know_is_told_by_the_verb(capsys: Captured) -> None:
    for word in ("--whide", "--whide=7"):
        with pytest.raises(SystemExit) as left:
            main(["draw", "x.board", word])
        said = capsys.readouterr().err
        assert left.value.code == 2 and "Did you mean '--width'?" in said and "usage: snapcheck draw" in said
    with pytest.raises(SystemExit):
        main(["--verson"])
    assert "Did you mean '--version'?" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "code"),
    [(["guide"], 0), (["rules", "x.board", "--structure-only"], 13), (["nets", "x.board", "--json"], 0)],
)
def test_who_stops_reading_leaves_the_exit_code(words: list[str], code: int, tmp_path: Path) -> None:
    """As in `snapcheck rules x.board | head`."""
    (tmp_path / "x.board").write_text("plate 3 x 3\nA1 resistor 4k7\n")
    command = [sys.executable, "-m", "snapcheck", *words]
    env = {**os.environ, "PYTHONPATH": str(DESIGN.parents[2])}
    there, here = os.pipe()
    os.close(there)
    with os.fdopen(here, "wb") as closed:
        done = subprocess.run(
            command, stdout=closed, stderr=subprocess.PIPE, cwd=tmp_path, env=env, check=False, timeout=60
        )
    assert (done.returncode, done.stderr) == (code, b"")
