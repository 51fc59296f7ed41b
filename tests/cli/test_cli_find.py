"""``snapcheck find`` at the terminal."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from snapcheck.cli import main
from snapcheck.simulate import is_available

PLAN = str(Path(__file__).parents[2] / "fixtures" / "designs" / "first-light.board")
pytestmark = pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")


def test_a_dialogue_is_left_and_taken_up_again(tmp_path, monkeypatch, capsys) -> None:
    kept = str(tmp_path / "search.json")
    monkeypatch.setattr("sys.stdin", io.StringIO("symptom never-on\nA2 plus 9.0V\nD2 anode nonsense\n"))
    assert main(["find", PLAN, "--save", kept]) == 12
    text = capsys.readouterr().out
    assert "Nothing was measured yet." in text and "Measure next:" in text and "is no reading" in text
    told = json.loads(Path(kept).read_text(encoding="utf-8"))
    assert told["symptoms"] == ["never-on"] and [r["at"] for r in told["readings"]] == ["A2 plus"]
    picture = tmp_path / "probes.svg"
    code = main(
        ["find", PLAN, "--save", kept, "--picture", str(picture), "--reading", "D2 anode 0V",
         "--reading", "C1|D1 9.0V", "--reading", "lifted C1 good"]
    )  # fmt: skip
    text = capsys.readouterr().out
    assert code in (1, 12) and "The contacts in the seam C1|D1 do not touch." in text
    assert len(json.loads(Path(kept).read_text(encoding="utf-8"))["readings"]) == 4
    assert picture.read_text(encoding="utf-8").startswith("<svg")


def test_a_value_alone_answers_the_first_step(monkeypatch, capsys) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("1.9\n\n"))
    main(["find", PLAN])
    assert capsys.readouterr().out.count("Measure next:") == 2


def test_practice_and_table(monkeypatch, capsys) -> None:
    assert main(["find", PLAN, "--table"]) == 0
    assert "D2 anode" in capsys.readouterr().out
    monkeypatch.setattr("sys.stdin", io.StringIO("A2 plus\nQ7 base\nanswer A2\n"))
    assert main(["find", PLAN, "--practice", "2"]) in (0, 1)
    text = capsys.readouterr().out
    assert "Points:" in text and "A2 plus:" in text


def test_errors_are_one_sentence(capsys, tmp_path) -> None:
    assert main(["find", PLAN, "--reading", "Z1 left 3V"]) == 21
    assert main(["find", PLAN, "--symptom", "smells"]) == 21
    weights = tmp_path / "weights.toml"
    weights.write_text("[contact]\nseam-open = -3\n", encoding="utf-8")
    assert main(["find", PLAN, "--weights", str(weights)]) == 22
    error = capsys.readouterr().err
    assert "Traceback" not in error and "silent, too-quiet" in error and "weights.toml" in error
