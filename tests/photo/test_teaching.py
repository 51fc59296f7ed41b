"""From photos of a primer to a kit that is read: small boards in made-up artwork, drawn as a camera sees
them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import strangekits as strange

from snapcheck import api
from snapcheck.board import Board, Cell, Cube
from snapcheck.errors import InputError, PhotoError
from snapcheck.kit import Kit, bundled_kit, load_kit, parse_kit
from snapcheck.photo import (
    Notebook,
    Picture,
    Worth,
    flatten,
    notebook_of,
    picture_of_array,
    read_picture,
    taught_by,
)
from snapcheck.photo._cells import FINE
from snapcheck.photo._learn import folds
from snapcheck.photo._locate import locate
from snapcheck.photo._taught import head_of, off_grid, packed, read_taught, unpacked
from snapcheck.photo._views import Examples

KIT = bundled_kit()
KINDS = ("led", "lamp", "npn", "buzzer", "fuse")
PLATE = (5, 4)
STYLE = strange.STYLES["signs-a"]


def photo(board: Board, seed: int, quarter: int = 0) -> Picture:
    pixels = strange.photo(board, KIT, STYLE, seed, 8.0, quarter)
    return picture_of_array(pixels, f"photo {seed}", colours="bgr")


@pytest.fixture(scope="module")
def taught() -> api.Teaching:
    """Two photos of the primer's board, the second from the other side."""
    (board,) = api.primer(plate=PLATE, kinds=KINDS)
    return api.teach(None, [photo(board, 1), photo(board, 2, 2)], plate=PLATE, kinds=KINDS, name="signs")


def test_cubes_laid_in_each_others_places_are_asked_about(taught: api.Teaching) -> None:
    """The lesson, with what the layout says of two cubes exchanged."""
    lesson = notebook_of(parse_kit(taught.text, "k").taught[0]).lessons[0]
    led, npn = (next(p for p, kind in zip(lesson.places, lesson.pieces, strict=True) if kind == k)
                for k in ("led", "npn"))  # fmt: skip
    other = {led: "npn", npn: "led"}
    pieces = tuple(other.get(p, kind) for p, kind in zip(lesson.places, lesson.pieces, strict=True))
    symmetry = {k: KIT[k].symmetry // 90 for k in KINDS}
    _, learnt = taught_by(Notebook("n", (replace(lesson, pieces=pieces),)), symmetry)
    told = {d.place: (d.piece, d.likely) for d in learnt.doubts}
    assert told[f"0 {led}"] == ("npn", "led") and told[f"0 {npn}"] == ("led", "npn")
    assert learnt.worth.silent == 0 and taught.slips == ()


def test_what_was_taught_is_read_and_other_artwork_as_before(taught: api.Teaching, tmp_path: Path) -> None:
    taught.save(tmp_path / "own.toml")
    kit = load_kit(tmp_path / "own.toml")
    assert (tmp_path / "own.toml").stat().st_size < 3e6 and [t.name for t in kit.taught] == ["signs"]
    rng = np.random.default_rng(3)
    some = rng.permutation(20)[:10]
    cubes = {Cell(i // 5, i % 5): Cube(KINDS[k % 5], 90 * (k % 4)) for k, i in enumerate(some.tolist())}
    board = Board(5, 4, dict(sorted(cubes.items())))
    shown = photo(board, 9)
    with pytest.raises(PhotoError, match="do not look like a kit that I know"):
        read_picture(shown, "p", KIT)
    reading = read_picture(shown, "p", kit)
    told = {c: (r.cube.kind, r.cube.turn % KIT[r.cube.kind].symmetry) for c, r in reading.cubes.items()}
    assert told == {c: (q.kind, q.turn % KIT[q.kind].symmetry) for c, q in board.cubes.items()}
    bench = Path(__file__).parents[2] / "fixtures" / "photos" / "first-light-good.jpg"
    assert api.read(bench, kit=kit).board == api.read(bench).board


def test_a_lesson_can_be_learnt_again_and_taken_back(taught: api.Teaching) -> None:
    assert taught.lessons == 1 and taught.worth is not None
    worth = taught.worth
    assert (worth.tested, worth.right, worth.untested) == (10, 10, ())  # cubes, whatever photos there are
    assert 0.985 <= worth.sure_from < 1 and worth.silent == 0
    assert worth.at_most == pytest.approx(1 - 0.05 ** (1 / worth.sure) if worth.sure else 1)
    assert head_of(parse_kit(taught.text, "k").taught[0]).sure == worth.sure_from
    assert "resistor" in taught.missing and "led" not in taught.missing
    again = api.taught_again(taught.text)
    assert (again.worth, again.lessons) == (taught.worth, 1)
    none = api.taught_again(taught.text, back=True)
    assert none.worth is None and parse_kit(none.text, "k").taught == ()
    with pytest.raises(InputError, match="not taught anything"):
        api.taught_again(none.text)
    with pytest.raises(InputError, match="not taught 'x'"):
        api.taught_again(taught.text, name="x")
    book = notebook_of(parse_kit(taught.text, "k").taught[0])
    more = book.and_lesson(book.lessons[0])
    assert len(more.lessons) == 2 and more.worth is None and more.taken_back().lessons == book.lessons
    for _ in range(10):
        more = more.and_lesson(book.lessons[0])
    with pytest.raises(InputError, match="12 lessons already"):
        more.and_lesson(book.lessons[0])


def test_no_kit_knows_what_another_was_taught(taught: api.Teaching) -> None:
    """One after the other in one process; two of one name, taught otherwise."""
    own = parse_kit(taught.text, "k")
    about, arrays = unpacked(own.taught[0])
    about["pieces"] = [{"led": "npn", "npn": "led"}.get(p, p) for p in about["pieces"]]
    other = replace(own, taught=(replace(own.taught[0], data=packed(about, arrays)),))
    (board,) = api.primer(plate=PLATE, kinds=KINDS)
    shown = photo(board, 1)
    at = locate(shown, "p")
    flat = flatten(shown.pixels, at.frame, 5, 4, FINE, 0.1)
    places = [(x, y) for y in range(2) for x in range(5)]

    def seen(kit: Kit) -> tuple[tuple[str, ...], bytes, bytes]:
        s = read_taught(flat, 0.1, places, kit)
        return s.kinds, s.kind.tobytes(), s.turn.tobytes()

    first = [seen(kit) for kit in (KIT, own, other)]
    assert len(set(first)) == 3
    assert [seen(kit) for kit in (other, KIT, own)] == [first[2], first[0], first[1]]


def test_a_kit_taught_by_an_earlier_release_is_still_read(taught: api.Teaching) -> None:
    (old,) = parse_kit(taught.text, "k").taught
    about, arrays = unpacked(old)
    assert (
        off_grid(parse_kit(taught.text, "k")) == pytest.approx(1.5 * about["residual"]) and off_grid(KIT) == 0
    )
    about.pop("bare")
    about.pop("residual")
    about["lessons"][0].pop("residual")
    about["worth"].pop("sure_from")
    earlier = replace(old, data=packed(about, arrays))
    assert (
        head_of(earlier).bare == ()
        and head_of(earlier).residual == 0
        and head_of(earlier).sure == head_of(old).sure
    )
    worth = notebook_of(earlier).worth
    assert worth is not None and worth.sure_from == 0 and worth.tested == 10


def test_a_photo_of_something_else_is_told() -> None:
    (board,) = api.primer(plate=PLATE, kinds=KINDS)
    other = Board(5, 4, {Cell(r, c): Cube("led") for r in range(2) for c in range(5)})
    with pytest.raises(PhotoError, match="not where the layout has them"):
        api.teach(None, [photo(other, 4)], plate=PLATE, kinds=KINDS)
    with pytest.raises(PhotoError, match="plate of 5 by 4"):
        api.teach(None, [photo(board, 4)], plate=(6, 5), kinds=KINDS)
    with pytest.raises(InputError, match="no photo"):
        api.teach(None, [])


def test_a_kind_is_left_out_by_cubes_or_else_by_photos() -> None:
    crops = np.zeros((6, 1, 1, 3), np.uint8)
    pieces, places = ("led", "led", "npn", "npn", "fuse", "chip 0,0"), ("a", "b", "c", "c", "d", "e")
    photos = np.array([0, 0, 0, 1, 0, 0])
    part = folds(Examples(crops, pieces, np.zeros(6, int), places, photos))
    assert part.tolist() == [0, 1, 0, 1, -1, -1]


def test_a_taught_kit_says_whether_it_is_good_enough() -> None:
    fine = Worth(100, 99, 90, 0, 0.1, 0.03, (), 50)
    for w, good in (
        (fine, True), (replace(fine, right=90), False), (replace(fine, sure=50), False),
        (replace(fine, silent=1), False), (replace(fine, tested=0, right=0, sure=0), False), (None, False),
    ):  # fmt: skip
        assert api.Teaching("", "n", 1, w).good_enough is good
