"""Cubes laid out and photographed, counted against what was packed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from snapcheck import count_cubes, parts_list, whole_box
from snapcheck.board import Cell, Cube
from snapcheck.box import Count, Counted, Piece, count
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit
from snapcheck.photo import BlankReading, CubeReading, Reading, State, reading_from_json

KIT = bundled_kit()
PHOTO = Path(__file__).parents[2] / "fixtures" / "photos" / "first-light-good.jpg"
PLAN = Path(__file__).parents[2] / "fixtures" / "designs" / "first-light.board"


def shown(*cubes: Cube, unsure: int = 0, blanks: int = 0) -> Reading:
    """A reading of these cubes in a row, the last few not sure."""
    empty = reading_from_json({"size": [800, 200], "columns": 8, "rows": 2, "cubes": []}, KIT)
    states = [State.READ] * (len(cubes) - unsure) + [State.UNSURE] * unsure
    seen = {
        Cell(0, n): CubeReading(cube, state, 0.9)
        for n, (cube, state) in enumerate(zip(cubes, states, strict=True))
    }
    open_cells = {Cell(1, n): BlankReading(State.UNSURE, 0.6) for n in range(blanks)}
    return replace(empty, cubes=seen, blanks=open_cells)


RED, GREEN = Cube("led", 90, "red", "red"), Cube("led", 0, "green", "green")
WANTED = {Piece("led", "red"): 2, Piece("ground"): 1}


def lines(told: Count) -> dict[str, tuple[int, int, int, int, int]]:
    return {
        f"{n.piece.kind} {n.piece.value or ''}".strip(): (n.wanted, n.seen, n.perhaps, n.missing, n.extra)
        for n in told.lines
    }


def test_missing_and_extra_are_told_whichever_way_round_a_cube_lies() -> None:
    told = count([shown(RED, replace(RED, turn=180), GREEN)], WANTED, KIT)
    assert lines(told) == {
        "led red": (2, 2, 0, 0, 0),
        "led green": (0, 1, 0, 0, 1),
        "ground": (1, 0, 0, 1, 0),
    }
    assert not told.complete and told.sure and told.missing == 1


def test_what_is_not_sure_neither_counts_as_there_nor_as_missing() -> None:
    told = count([shown(Cube("ground"), RED, RED, unsure=1)], WANTED, KIT)
    assert lines(told)["led red"] == (2, 1, 1, 0, 0)
    assert not told.complete and not told.sure


def test_a_cell_that_may_hold_something_keeps_what_is_missing_open() -> None:
    told = count([shown(Cube("ground"), RED, blanks=1)], WANTED, KIT)
    assert told.missing == 1 and not told.sure
    assert count([shown(Cube("ground"), RED, RED, blanks=1)], WANTED, KIT).complete


def test_several_photos_add_up_and_rated_voltages_do_not_count() -> None:
    cap = Cube("electrolytic", 0, 100e-6, "100u/16V")
    told = count([shown(cap), shown(replace(cap, printed="100u"))], {Piece("electrolytic", 100e-6): 2}, KIT)
    assert told.lines == (Counted(Piece("electrolytic", 100e-6), 2, 2),) and told.complete


def test_a_photo_is_counted_against_what_was_packed() -> None:
    wanted = parts_list([PLAN])
    assert count_cubes([PHOTO], wanted=wanted).count.complete
    told = count_cubes([PHOTO], wanted=wanted, answers=["remove D2", "1: B2 led green anode=up"]).count
    assert {(n.piece.value, n.missing, n.extra) for n in told.lines if n.missing or n.extra} == {
        ("red", 1, 0),
        ("green", 0, 1),
    }


def test_an_answer_for_a_photo_that_is_not_there_is_refused() -> None:
    with pytest.raises(InputError, match="no photo 2"):
        count_cubes([PHOTO], answers=["2: remove D2"])


def test_a_whole_box_is_a_list_of_what_is_in_it() -> None:
    listed = whole_box("[cubes]\nground = 3\n")
    assert [(n.piece.kind, n.needed) for n in listed.cubes] == [("ground", 3)]


@pytest.mark.parametrize(
    ("wanted", "seen", "perhaps", "missing", "still_open", "extra"),
    [(4, 2, 0, 2, 0, 0), (4, 2, 1, 1, 1, 0), (4, 3, 2, 0, 1, 0), (4, 5, 2, 0, 0, 1), (4, 4, 0, 0, 0, 0)],
)
def test_what_is_missing_for_sure_and_what_may_be(
    wanted: int, seen: int, perhaps: int, missing: int, still_open: int, extra: int
) -> None:
    one = Counted(Piece("ground"), wanted, seen, perhaps)
    assert (one.missing, one.open, one.extra) == (missing, still_open, extra)
