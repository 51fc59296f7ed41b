"""Reading with what was taught, on made-up evidence: which artwork explains a cell, and what large cubes
are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from largekit import LARGE_KIT

from snapcheck.board import Cell
from snapcheck.errors import DataError, InputError, PhotoError
from snapcheck.kit import Kit, Taught, bundled_kit
from snapcheck.photo._cells import Symbols
from snapcheck.photo._large import large_cubes, piece_name, pieces_of
from snapcheck.photo._nets import names, run, run_symbols, symbols_digest
from snapcheck.photo._read import _of_a_known_kit
from snapcheck.photo._taught import Head, Scale, explained, head_of, packed, turned_back

KINDS = names()[0]
NOTHING = np.zeros((0,))


def seen(*kinds: str, sure: float = 0.99, turn: int = 0, all_kinds: tuple[str, ...] = KINDS) -> Symbols:
    """What the network may say of some cells."""
    n = len(kinds)
    kind = np.full((n, len(all_kinds)), (1 - sure) / (len(all_kinds) - 1))
    kind[np.arange(n), [all_kinds.index(k) for k in kinds]] = sure
    turns = np.full((n, 4), 0.001)
    turns[:, turn] = 0.997
    rest = np.zeros((n, 4)), np.zeros(n), np.zeros((n, 4)), np.zeros(n), np.full(n, -9.0)
    return Symbols(np.log(kind), np.log(turns), *rest, kinds=all_kinds)


def head(*pieces: str) -> Head:
    scale = Scale(*(np.zeros(1, np.float32) for _ in range(5)))
    return Head(pieces, scale, NOTHING, NOTHING, near=np.log(0.2), spread=0.5, sharpness=1.0, sure=0.99)


def said(n: int, column: int, columns: int, p: float = 0.9) -> np.ndarray:
    share = np.full((n, columns), (1 - p) / (columns - 1))
    share[:, column] = p
    return share


def test_more_outputs_change_nothing_of_what_the_network_says() -> None:
    crops = np.random.default_rng(0).integers(0, 255, (3, 72, 72, 3), np.uint8)
    out, last, placed = run_symbols(crops)
    assert np.array_equal(out, run("symbols", crops))
    assert last.ndim == 2 and placed.ndim == 4 and len(last) == len(placed) == 3
    assert placed.shape[2:] == (5, 5)  # what `pooled` takes means over


def test_what_is_near_is_explained_by_the_artwork_and_what_is_far_by_the_network() -> None:
    taught = head("npn", "led", "gadget")
    cells = seen(*["other"] * 6)
    near, far = np.full(6, 0.15), np.full(6, 6.0)
    of_it = explained(cells, [(taught, said(6, 9, 12), near)])  # the gadget, a quarter turn on
    assert of_it.kinds == (*KINDS[:-2], "gadget", "other", "empty")
    assert {of_it.kinds[k] for k in of_it.kind.argmax(1)} == {"gadget"} and set(of_it.turn.argmax(1)) == {1}
    assert of_it.surer is not None and (of_it.surer == 0.99).all()
    other = explained(cells, [(taught, said(6, 9, 12), far)])
    assert {other.kinds[k] for k in other.kind.argmax(1)} == {"other"}
    some = explained(cells, [(taught, said(6, 9, 12), np.array([0.15] * 3 + [6.0] * 3))])
    assert [some.kinds[k] for k in some.kind.argmax(1)] == ["gadget"] * 3 + ["other"] * 3


def test_of_two_artworks_the_nearer_explains_a_cell() -> None:
    a, b = head("npn", "led"), head("npn", "lamp")
    cells = seen(*["other"] * 4)
    near, far = np.array([0.15, 0.15, 5.0, 5.0]), np.array([5.0, 5.0, 0.15, 0.15])
    both = explained(cells, [(a, said(4, 4, 8), near), (b, said(4, 4, 8), far)])
    assert [both.kinds[k] for k in both.kind.argmax(1)] == ["led", "led", "lamp", "lamp"]
    swapped = explained(cells, [(b, said(4, 4, 8), far), (a, said(4, 4, 8), near)])
    assert np.allclose(both.kind, swapped.kind)


def test_teaching_takes_no_certainty_from_what_the_network_knows_by_itself() -> None:
    cells = seen("npn", sure=0.9995)
    told = explained(cells, [(head("npn", "led"), said(1, 0, 8, 0.6), np.array([0.15]))])
    assert np.exp(told.kind[0, KINDS.index("npn")]) > 0.999
    assert told.surer is not None and told.surer[0] == 0


def test_an_empty_cell_is_not_taken_for_a_cube_that_looks_a_little_like_it() -> None:
    taught, cells = head("npn", "straight"), seen(*["npn"] * 5, "empty", sure=0.999)
    far = np.array([0.15] * 5 + [1.2])
    told = explained(cells, [(taught, said(6, 4, 8), far)])
    assert told.kinds[int(told.kind[5].argmax())] == "empty"


def test_a_piece_that_looks_empty_by_itself_is_told_by_the_artwork() -> None:
    """A corner of a large cube may show an edge and nothing else."""
    taught = head("npn", "chip 0,0")
    cells, near = seen(*["npn"] * 2, "empty", sure=0.97), np.array([0.15, 6.0, 0.2])
    probability = np.concatenate([said(2, 0, 8, 0.99), said(1, 4, 8, 0.99)])
    kinds = {}
    for bare in ((), (0.0, 0.95)):
        told = explained(cells, [(replace(taught, bare=bare), probability, near)])
        kinds[bare] = told.kinds[int(told.kind[2].argmax())]
    assert kinds == {(): "empty", (0.0, 0.95): "chip 0,0"}


def test_views_are_turned_back() -> None:
    values = np.arange(8.0)[None]
    assert turned_back(values, 1).tolist() == [[3, 0, 1, 2, 7, 4, 5, 6]]
    assert np.array_equal(turned_back(turned_back(values, 3), 1), values)


def test_what_another_network_was_taught_is_refused_and_what_is_damaged() -> None:
    with pytest.raises(InputError, match="another release"):
        head_of(Taught("a", "another", b""))
    for data in (b"nothing", packed({"pieces": ["npn"]}, {}), packed({}, {"weights": np.zeros(3)})):
        with pytest.raises(DataError, match="cannot be understood"):
            head_of(Taught("a", symbols_digest(), data))


def test_parts_of_a_large_cube_turn_with_it() -> None:
    box = LARGE_KIT["battery-box"]  # one column, two rows
    upper, lower = piece_name(box, 0, 0), piece_name(box, 1, 0)
    assert list(pieces_of(box, 0)) == [(0, 0, upper), (1, 0, lower)]
    assert sorted(pieces_of(box, 90)) == [(0, 0, lower), (0, 1, upper)]
    assert sorted(pieces_of(box, 180)) == [(0, 0, lower), (1, 0, upper)]
    assert sorted(pieces_of(box, 270)) == [(0, 0, upper), (0, 1, lower)]
    assert list(pieces_of(bundled_kit()["npn"], 90)) == [(0, 0, "npn")]


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_large_cube_is_put_together_from_its_parts(turn: int) -> None:
    box = LARGE_KIT["battery-box"]
    own = {(r, c): piece for r, c, piece in pieces_of(box, turn)}
    kinds = (*KINDS[:-2], *sorted(own.values()), *KINDS[-2:])
    places = [(x, y) for y in range(3) for x in range(3)]
    shown = [own.get((y, x), "empty") for x, y in places]
    symbols = seen(*shown, turn=turn // 90, all_kinds=kinds)
    found = large_cubes(places, symbols, LARGE_KIT)
    assert list(found) == [Cell(0, 0)]
    assert (found[Cell(0, 0)].cube.kind, found[Cell(0, 0)].cube.turn) == ("battery-box", turn)
    alone = seen(*["empty"] * 8, shown[0], turn=turn // 90, all_kinds=kinds)
    assert large_cubes(places, alone, LARGE_KIT) == {}


def test_cubes_like_nothing_that_was_learnt_are_no_board_to_guess_at() -> None:
    kit = bundled_kit()
    _of_a_known_kit(seen(*["npn"] * 4, *["other"] * 3), "p", kit)
    _of_a_known_kit(seen(*["other"] * 3), "p", kit)
    strange = seen(*["npn"] * 3, *["other"] * 4, *["empty"] * 9)
    with pytest.raises(PhotoError, match="do not look like a kit") as error:
        _of_a_known_kit(strange, "p", kit)
    assert "teach" in str(error.value).lower()
    known: Kit = replace(kit, taught=(Taught("a", "b", b""),))
    with pytest.raises(PhotoError, match="more photos"):
        _of_a_known_kit(strange, "p", known)
