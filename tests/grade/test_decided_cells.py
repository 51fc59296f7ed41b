"""Which cells that persons decided are examples of what cubes look like, and why others are none."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from snapcheck.board import Cell, Cube
from snapcheck.grade import DecidedCell, Left, _decided_cells, decided_cells
from snapcheck.grade._decided_cells import MOST_OF_KIND, SURE_OF_ANOTHER
from snapcheck.grade._records import Decision, StoredFile, StoredReading
from snapcheck.kit import bundled_kit
from snapcheck.photo import TRUE_GRID, BlankReading, CubeReading, Frame, Reading, State, reading_to_json

KIT = bundled_kit()
COURSE = SimpleNamespace(kit=KIT, kit_file=None)
PLATE = np.array([(0.0, 0.0), (600.0, 0.0), (600.0, 500.0), (0.0, 500.0)])
FRAME = Frame((800, 600), np.diag([100.0, 100, 1]), (400, 300), 600, 0.0, 0.01, PLATE)
NPN = Cube("npn", 90)


def body(symbol: float = 0.6, state: State = State.UNSURE, **more: Any) -> dict[str, Any]:
    """A reading of six by five cells: an unsure npn in B2, a sure cross in C1, E5 unsure whether free."""
    chances = ((NPN, symbol), (Cube("pnp", 90), 1 - symbol))
    unsure = CubeReading(NPN, state, symbol, chances=chances)
    cross = CubeReading(Cube("cross"), State.READ, 0.999)
    cubes = {Cell.parse("B2"): unsure, Cell.parse("C1"): cross}
    blanks = {Cell.parse("E5"): BlankReading(State.UNSURE, 0.6)}
    return {**reading_to_json(Reading("p", 6, 5, cubes, (), (), FRAME, blanks=blanks)), **more}


def found(*lines: str, by: tuple[str, ...] = (), photos: tuple[str, ...] = (), gone: bool = False,
          seen: dict[str, Any] | None = None, state: str = "read", **options: Any,
) -> list[DecidedCell]:  # fmt: skip
    """What becomes of decisions, on one photo where none is named, and by one person likewise."""
    names, photos = by or ("ann",) * len(lines), photos or ("sha",) * len(lines)
    decisions = [
        Decision(n, "", who, "cell", None, None, photo, line, "r")
        for n, (who, photo, line) in enumerate(zip(names, photos, lines, strict=True), 1)
    ]
    file = StoredFile("t/T-1.jpg", "sha", 1, "", "T-1", "t", "", "", gone)
    readings = {"sha": StoredReading("sha", state, body() if seen is None else seen)}
    store = SimpleNamespace(
        standing=lambda: [*decisions, Decision(99, "", "ann", "points", "T-1", "t", "total", "3", "r")],
        readings=lambda reader: readings,
        files=lambda: [file],
    )
    return decided_cells(COURSE, store, **options)  # type: ignore[arg-type]


def why(*lines: str, **more: Any) -> list[Left | None]:
    return [c.left for c in found(*lines, **more)]


def test_what_a_person_put_right_or_confirmed_is_an_example() -> None:
    other, same, turned = found("B2 pnp base=left"), found("B2 npn base=up"), found("B2 npn base=left")
    assert [c.confirmed for c in (*other, *same, *turned)] == [False, True, False]
    assert [c.left for c in (*other, *same, *turned)] == [None] * 3
    assert other[0].cube is not None and other[0].cube.kind == "pnp" and other[0].seen == NPN
    assert (other[0].cell, other[0].size, other[0].path) == (Cell.parse("B2"), (6, 5), "t/T-1.jpg")
    assert why("E5 led anode=up") == [None]


def test_of_one_persons_decisions_the_last_counts_and_two_must_agree() -> None:
    twice = found("B2 pnp base=left", "b2 npn base=up")
    assert [(c.number, c.left, c.cube and c.cube.kind) for c in twice] == [(2, None, "npn")]
    two = ("ann", "bo")
    assert why("B2 pnp base=left", "B2 npn base=up", by=two) == [Left.DISAGREED]
    assert why("remove B2", "B2 npn base=up", by=two) == [Left.DISAGREED]
    assert why("B2 resistor 10k", "B2 resistor 1k", by=two) == [None]  # prints are not learnt


def test_the_oldest_come_first_whichever_photo_they_mean() -> None:
    cells = found("B2 pnp base=left", "B2 pnp base=left", "E5 led anode=up", photos=("sha", "lost", "sha"))
    assert [(c.number, c.left) for c in cells] == [(1, None), (2, Left.GONE), (3, None)]


def test_what_shows_no_cube_or_no_sure_place_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    assert why("remove B2") == [Left.NOTHING]
    assert why("tap B2|C2", "looked") == [Left.NO_CUBE]
    assert why("B2 pnp base=left", gone=True) == [Left.GONE]
    assert why("B2 pnp base=left", state="retake") == [Left.NOT_READ]
    assert why("B2 pnp base=left", seen=body(edge="a row may be missing.")) == [Left.PLACE]
    for residual, left in ((TRUE_GRID, Left.PLACE), (TRUE_GRID - 0.001, None)):
        assert why("B2 pnp base=left", seen=body(lattice_residual=residual)) == [left]
    monkeypatch.setattr(_decided_cells, "off_grid", lambda kit: 0.06)
    for residual, left in ((0.06, None), (0.061, Left.PLACE)):  # artwork in a corner of the top
        assert why("B2 pnp base=left", seen=body(lattice_residual=residual)) == [left]


def test_what_the_photo_clearly_shows_otherwise_is_doubtful_unless_asked_for() -> None:
    assert why("C1 led anode=up") == [Left.DOUBTFUL]
    assert why("C1 led anode=up", also=[1]) == [None] and why("C1 led anode=up", also=[2]) == [Left.DOUBTFUL]
    for symbol, left in ((SURE_OF_ANOTHER, Left.DOUBTFUL), (SURE_OF_ANOTHER - 0.01, None)):
        assert why("B2 pnp base=left", seen=body(symbol)) == [left]
    assert why("B2 npn base=up", seen=body(0.999)) == [None]
    assert why("B2 pnp base=left", gone=True, also=[1]) == [Left.GONE]
    for line in ("B2 npn base=up", "B2 pnp base=left"):
        assert why(line, seen=body(state=State.HIDDEN)) == [Left.HIDDEN]
        assert why(line, seen=body(state=State.HIDDEN), also=[1]) == [None]


def test_what_was_learnt_is_not_learnt_again_and_says_nothing_of_whose_it_is() -> None:
    (cell,) = found("B2 pnp base=left")
    assert len(cell.mark) == 16 and "T-1" not in cell.mark
    assert why("B2 pnp base=left", known={cell.mark}) == [Left.KNOWN]
    assert why("B2 npn base=up", known={cell.mark}) == [None]


def test_of_a_kind_no_more_are_learnt_than_suffice_and_those_put_right_first() -> None:
    lines = ["B2 npn base=up"]
    lines += [f"{'ABCDEF'[n % 6]}{3 + n // 6} npn base=left" for n in range(MOST_OF_KIND)]
    assert why(*lines) == [Left.ENOUGH] + [None] * MOST_OF_KIND
