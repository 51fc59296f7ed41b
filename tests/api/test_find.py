"""The door to fault finding."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import snapcheck
from snapcheck.simulate import is_available

FIXTURES = Path(__file__).parents[2] / "fixtures"
PLAN = FIXTURES / "designs" / "first-light.board"
pytestmark = pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")


def test_readings_in_suspects_and_steps_out(tmp_path: Path) -> None:
    found = snapcheck.find(PLAN, symptoms=["never-on"], cache=tmp_path / "kept")
    assert found.outcome == "open" and found.steps and not found.dangers
    found = found.with_reading("A2 plus 9.05 V", "D2 anode 0.0V", "C1|B1 9.0V", "C1|D1 8.9V", "D1|C1 0.0V")
    first = found.suspects[0]
    assert {"seam-open C1|D1"} <= {fault.key for fault in first.faults} and first.probability > 0.8
    told = json.loads(json.dumps(found.to_json()))
    again = snapcheck.find(PLAN, resume=told)
    assert again.to_json() == told and again.search is not None
    assert "seam C1|D1" in found._repr_html_() and "<img" in found._repr_html_()
    assert isinstance(found.drawing(found.steps[0] if found.steps else None), str)
    with pytest.raises(snapcheck.InputError):
        found.with_reading("C1 nose 3V")


def test_nothing_is_measured_on_a_board_with_a_danger() -> None:
    text = PLAN.read_text(encoding="utf-8").replace("D2 led red anode=up", "D2 straight ends=up+down")
    text = text.replace("C1 resistor 470 ends=left+right", "C1 straight ends=left+right")
    lines = [line for line in text.splitlines() if not line.startswith(("expect", "output"))]
    found = snapcheck.find("\n".join(lines) + "\n")
    assert found.dangers and found.search is None and not found.steps and not found.suspects
    assert "mend this first" in found.sentence and found.with_reading("A2 plus 9V") is found
    assert found.to_json()["dangers"] and found.to_json()["outcome"] is None
    with snapcheck.Simulator() as simulator, pytest.raises(snapcheck.InputError, match="must not be powered"):
        snapcheck.practice("\n".join(lines) + "\n", simulator=simulator)


def test_a_photo_of_the_build_and_what_it_leaves_unsure() -> None:
    reading = json.loads((FIXTURES / "photos" / "first-light-good.json").read_text(encoding="utf-8"))
    found = snapcheck.find(PLAN, FIXTURES / "photos" / "first-light-good.jpg", readings=["A2 plus 9.0V"])
    assert found.seen is not None and reading["columns"] == found.seen.board.columns
    picture = found.drawing(found.steps[0])
    assert isinstance(picture, bytes) and picture[:2] == b"\xff\xd8"
    doubtful = snapcheck.read(FIXTURES / "photos" / "glue-pot-alarm-worn.jpg")
    plan = FIXTURES / "designs" / "glue-pot-alarm.board"
    unsure = snapcheck.find(plan, doubtful)
    assert unsure.search is not None
    others = [f for f in unsure.search.dictionary.faults if f.mode.startswith("other")]
    assert len(others) > 0


def test_the_table_for_a_build_sheet_and_practice() -> None:
    rows = {row.at: row for row in snapcheck.expected_readings(PLAN)}
    assert rows["A2 plus"].low < 8.9 < rows["A2 plus"].high
    assert any(row.setting for row in rows.values())  # with the switch open, too
    with snapcheck.Simulator() as simulator:
        exercise = snapcheck.practice(PLAN, 4, simulator=simulator)
        assert exercise.ask("A2 plus") == snapcheck.practice(PLAN, 4, simulator=simulator).ask("A2 plus")
        key = exercise.exercise.hidden.key
        score = exercise.answer(key)
        assert score["right"] and score["readings"] == 1 and score["fault"]["key"] == key
        with pytest.raises(snapcheck.InputError, match="no fault of this board"):
            exercise.answer("Z9")
