"""Decisions about cubes of several cells: what they cover makes way, and any of their cells names them."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from class_reader import READINGS
from largekit import LARGE_KIT, large_cube

from snapcheck.board import Cell, Lead, Seam, parse_end
from snapcheck.decisions import cube_line, questions_of, with_edits
from snapcheck.errors import InputError
from snapcheck.findings import Finding, Severity
from snapcheck.grade._decide import _settled
from snapcheck.grade._facts import _asked
from snapcheck.photo import Reading, State, reading_from_json


def reading() -> Reading:
    text = (READINGS / "T-101_2031-03-05T1630.json").read_text(encoding="utf-8")
    return reading_from_json(json.loads(text), LARGE_KIT)


def test_what_a_large_cube_covers_makes_way() -> None:
    before = reading()
    line = cube_line(Cell.parse("A2"), large_cube("battery-box", 0), before.board, LARGE_KIT)
    assert line == "A2 battery-box 9V printed=none plus=up"
    after = with_edits(before, [line], LARGE_KIT)
    gone = {c for c in before.cubes if c not in after.cubes}
    assert gone == {Cell.parse("A3")} and Cell.parse("A3") in before.cubes
    assert after.board.cube_at(Cell.parse("A3")) == large_cube("battery-box", 0)
    assert after.cubes[Cell.parse("A2")].state is State.READ


def test_a_large_cube_gives_way_to_one_that_it_covers() -> None:
    large = with_edits(reading(), ["A2 battery-box 9V plus=up"], LARGE_KIT)
    after = with_edits(large, ["A3 ground stem=up"], LARGE_KIT)
    assert Cell.parse("A2") not in after.cubes and after.cubes[Cell.parse("A3")].cube.kind == "ground"


def test_any_of_its_cells_names_it() -> None:
    large = with_edits(reading(), ["A2 battery-box 9V plus=up"], LARGE_KIT)
    assert Cell.parse("A2") not in with_edits(large, ["remove A3"], LARGE_KIT).cubes


def test_a_large_cube_that_falls_off_the_plate_is_refused() -> None:
    last = reading().board.rows
    with pytest.raises(InputError, match="reaches beyond the plate"):
        with_edits(reading(), [f"A{last} battery-box 9V plus=up"], LARGE_KIT)


def test_taps_that_were_decided_stand_in_order() -> None:
    decided = with_edits(reading(), ["tap D4|E4", "tap A1|B1", "tap B1|C1"], LARGE_KIT).taps
    assert [(str(t.seam), t.state) for t in decided] == [
        ("A1|B1", State.READ), ("B1|C1", State.READ), ("D4|E4", State.READ),
    ]  # fmt: skip


def test_with_too_much_left_open_nothing_is_followed_up() -> None:
    """Six open places have their choices; with seven it is better to take the picture again."""
    sure = reading()
    for many, followed in ((6, True), (7, False)):
        cells = dict(list(sure.cubes.items())[:many])
        unsure = {c: replace(r, state=State.UNSURE, confidence=0.6) for c, r in cells.items()}
        open_ = questions_of(replace(sure, cubes={**sure.cubes, **unsure}), LARGE_KIT)
        assert len(open_) == many and [bool(q.options) for q in open_] == [followed] * many


def test_a_doubt_that_is_settled_changes_what_is_read() -> None:
    """A tap or a lead that was unsure and is confirmed: the board stays, and it is a decision too."""
    before = with_edits(reading(), ["tap A1|B1"], LARGE_KIT)
    unsure = replace(before, taps=tuple(replace(t, state=State.UNSURE) for t in before.taps))
    after = with_edits(unsure, ["tap A1|B1"], LARGE_KIT)
    assert after.board == unsure.board and _settled(after) == _settled(before) != _settled(unsure)


def test_an_open_tap_or_lead_is_asked_for_by_its_name() -> None:
    question = Finding("unsure", Severity.QUESTION, (Cell.parse("A1"), Cell.parse("B1")), "Is there a tap?")
    result: Any = None  # taps and leads ask nothing of it
    assert _asked(replace(question, seam=Seam.parse("A1|B1")), result).place == "tap A1|B1"
    lead = Lead(parse_end("socket A1 E"), parse_end("tap B1|C1"))
    assert _asked(replace(question, lead=lead), result).place == "lead socket A1 E to tap B1|C1"
    assert _asked(question, result).place == "A1"


def test_a_lead_that_was_decided_is_sure_and_takes_the_place_of_the_unsure_one() -> None:
    sockets = ["C4 socket signal=right", "E4 socket signal=left"]
    plain = with_edits(reading(), [*sockets, "tap A1|B1", "lead C4 to A1|B1"], LARGE_KIT)
    (sure,) = plain.leads
    assert sure.state is State.READ and sure.confidence == 1
    unsure = replace(plain, leads=(replace(sure, state=State.UNSURE, confidence=0.6),))
    (confirmed,) = with_edits(unsure, ["lead C4 to A1|B1"], LARGE_KIT).leads
    assert confirmed == sure
    (other,) = with_edits(unsure, ["lead C4 to E4"], LARGE_KIT).leads
    assert other.state is State.READ and other.lead.ends != sure.lead.ends
    assert len(with_edits(plain, ["lead C4 to E4"], LARGE_KIT).leads) == 2
