"""A cell that may be empty is a place to decide like any other."""

from __future__ import annotations

from dataclasses import replace

from snapcheck.board import Cell, Cube
from snapcheck.decisions import questions_of, with_edits
from snapcheck.kit import bundled_kit
from snapcheck.photo import BlankReading, CubeReading, State, reading_from_truth

KIT = bundled_kit()
AT = Cell.parse("B2")
WIRE = Cube("straight", 90)


def reading():
    data = {"columns": 4, "rows": 3, "size": [400, 300], "cubes": [], "taps": [], "leads": []}
    sure = reading_from_truth(data, "bench.jpg", KIT)
    cubes = {Cell.parse("A1"): CubeReading(Cube("ground", 0), State.READ, 1.0)}
    blank = BlankReading(State.UNSURE, 0.7, ((WIRE, 0.28),), ((None, 0.7), (WIRE, 0.28)))
    return replace(sure, cubes=cubes, blanks={AT: blank})


def test_what_may_stand_there_can_be_chosen_and_decided() -> None:
    (question,) = questions_of(reading(), KIT)
    assert question.place == "B2"
    lines = {option.line: option.probability for option in question.options}
    assert lines["remove B2"] == 0.7 and [p for line, p in lines.items() if "straight" in line] == [0.28]
    for line in lines:
        decided = with_edits(reading(), [line], KIT)
        assert not decided.unsure and (AT in decided.cubes) == ("straight" in line)
        assert questions_of(decided, KIT) == ()


def test_the_likeliest_comes_first() -> None:
    """A wire in two turns may be likelier than any other kind, and each of them less likely than a corner."""
    likely = ((Cube("corner", 0), 0.4), (WIRE, 0.25))
    unsure = CubeReading(Cube("straight", 0), State.UNSURE, 0.3, likely)
    (question,) = questions_of(replace(reading(), cubes={AT: unsure}, blanks={}), KIT)
    said = [(o.line.split()[1], o.probability) for o in question.options if o.probability is not None]
    assert said == [("corner", 0.4), ("straight", 0.3), ("straight", 0.25)]
    assert question.options[-1].line == "remove B2"
