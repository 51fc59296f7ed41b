"""Paths, bytes, arrays, text and objects: whatever is given, the same comes out, and nothing is written."""

from __future__ import annotations

import io
import json
import tempfile
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import snapcheck
from snapcheck.board import Board, board_to_json, design_to_json, load_design
from snapcheck.errors import DataError, InputError, PhotoError
from snapcheck.kit import bundled_kit

ROOT = Path(__file__).parents[2]
PHOTO = ROOT / "fixtures" / "photos" / "first-light-good.jpg"
PLAN = ROOT / "fixtures" / "designs" / "first-light.board"
KIT = bundled_kit()
TEXT = PLAN.read_text(encoding="utf-8")
DESIGN = load_design(PLAN, KIT)


@pytest.fixture(scope="module")
def seen() -> snapcheck.PhotoReading:
    return snapcheck.read(PHOTO)


def png(colours: str) -> np.ndarray:
    pixels = cv2.imread(str(PHOTO))
    assert pixels is not None
    return pixels if colours == "bgr" else pixels[:, :, ::-1]


@pytest.mark.parametrize(
    ("given", "more"),
    [
        (str(PHOTO), {}),
        (PHOTO.read_bytes(), {}),
        (memoryview(PHOTO.read_bytes()), {}),
        (io.BytesIO(PHOTO.read_bytes()), {}),
        (png("rgb"), {}),
        (png("rgb").copy(), {"colours": "rgb"}),
        (png("bgr"), {"colours": "bgr"}),
        (np.dstack([png("rgb"), np.full(png("rgb").shape[:2], 255, np.uint8)]), {}),
    ],
    ids=["path", "bytes", "view", "stream", "rgb", "rgb copy", "bgr", "alpha"],
)
def test_a_picture_in_any_form_is_read_alike(given, more, seen, monkeypatch: pytest.MonkeyPatch) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("a temporary file")

    monkeypatch.setattr(tempfile, "mkstemp", never)
    monkeypatch.setattr(tempfile, "mkdtemp", never)
    again = snapcheck.read(given, **more)
    assert again.board == seen.board == DESIGN.board
    assert again.photo == (PHOTO.name if isinstance(given, str) else "picture")
    assert again.picture is not None and again.picture.pixels.dtype == np.uint8


def test_colours_in_the_wrong_order_are_another_picture() -> None:
    right, wrong = snapcheck.read(png("rgb")), snapcheck.read(png("bgr"))
    assert np.array_equal(right.picture.pixels, png("bgr"))  # type: ignore[union-attr]
    assert not np.array_equal(right.picture.pixels, wrong.picture.pixels)  # type: ignore[union-attr]


def test_a_large_array_is_made_smaller_and_its_frame_is_its_own(seen: snapcheck.PhotoReading) -> None:
    large = cv2.resize(png("rgb"), None, fx=2.5, fy=2.5)
    before = large.copy()
    again = snapcheck.read(large)
    assert again.picture is not None and again.picture.scale == 0.5
    assert again.board == seen.board and again.frame.size[0] == pytest.approx(large.shape[1], abs=2)
    assert np.array_equal(large, before)


def test_grey_and_transparent_arrays() -> None:
    from snapcheck.photo import picture_of_array

    grey = np.asarray(Image.open(PHOTO).convert("L"))
    assert picture_of_array(grey, "grey").pixels.shape == (*grey.shape, 3)
    clear = np.zeros((300, 300, 4), np.uint8)
    clear[:, 150:, 3] = 255  # black where it is not transparent
    pixels = picture_of_array(clear, "clear").pixels
    assert pixels[0, 0].tolist() == [255, 255, 255] and pixels[0, 299].tolist() == [0, 0, 0]


@pytest.mark.parametrize(
    ("given", "error", "words"),
    [
        (np.zeros((300, 300, 3)), InputError, "float64"),
        (np.zeros((300, 300, 2), np.uint8), InputError, "no picture"),
        (np.zeros((30, 30, 3), np.uint8), PhotoError, "only 30 by 30"),
        (np.zeros((300, 300, 3), np.uint8), PhotoError, "shows nothing"),
        (np.broadcast_to(np.uint8(0), (9000, 9000, 3)), PhotoError, "81 megapixels"),
        (b"", PhotoError, "empty"),
        (b"nonsense", PhotoError, "no picture"),
        ("not-there.jpg", InputError, "not-there.jpg"),
        (7, InputError, "'int'"),
        (None, InputError, "'NoneType'"),
    ],
)
def test_what_is_no_picture_is_told(given, error, words: str) -> None:
    with pytest.raises(error, match=words):
        snapcheck.read(given)


def test_no_order_of_colours() -> None:
    with pytest.raises(InputError, match="Accepted: rgb, bgr"):
        snapcheck.read(png("rgb"), colours="hsv")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "plan",
    [PLAN, str(PLAN), TEXT, DESIGN, design_to_json(DESIGN), json.dumps(design_to_json(DESIGN))],
    ids=["path", "name", "text", "object", "json", "json text"],
)
def test_a_plan_in_any_form_is_the_same_plan(plan, seen: snapcheck.PhotoReading) -> None:
    result = snapcheck.check(seen, plan, calculate=False)
    assert result.verdict is snapcheck.Verdict.READY and result.design == DESIGN


@pytest.mark.parametrize("form", ["object", "text", "json", "path"])
def test_a_build_in_any_form(form: str) -> None:
    board = DESIGN.board
    lesser = Board(board.columns, board.rows, dict(list(board.cubes.items())[1:]), board.taps, board.leads)
    forms = {"object": lesser, "text": snapcheck.layout(lesser), "json": board_to_json(lesser), "path": PLAN}
    given = forms[form]
    found = snapcheck.compare(DESIGN, given, calculate=False)
    assert (found.verdict is snapcheck.Verdict.READY) == (form == "path")
    same = snapcheck.check(given, DESIGN, calculate=False)
    assert same.verdict == found.verdict and same.picture is None and same.questions == ()


def test_a_reading_as_json_stays_doubtful() -> None:
    doubtful = snapcheck.read(ROOT / "fixtures" / "photos" / "glue-pot-alarm-worn.jpg")
    assert [q.place for q in doubtful.questions] == ["C2", "C3"]
    plan = ROOT / "fixtures" / "designs" / "glue-pot-alarm.board"
    verdicts = {snapcheck.check(given, plan, calculate=False, strict=True).verdict
                for given in (doubtful, doubtful.to_json(), json.dumps(doubtful.to_json()))}  # fmt: skip
    assert verdicts == {snapcheck.Verdict.CANT_TELL}
    with pytest.raises(InputError, match="leaves something open: C2, C3"):
        snapcheck.check(plan, doubtful)


@pytest.mark.parametrize("key", ["empty", "edge"])
def test_a_cell_that_may_be_empty_and_a_doubtful_edge_leave_a_written_reading_open(key: str, seen) -> None:
    """Compared from a file, such a reading passed as sure of everything."""
    data = seen.to_json()
    if key == "edge":
        data["edge"] = "the edge is doubtful"
    else:
        data["empty"][0]["state"] = "unsure"
    assert snapcheck.compare(DESIGN, seen.to_json(), calculate=False).verdict is snapcheck.Verdict.READY
    assert snapcheck.compare(DESIGN, data, calculate=False).verdict is snapcheck.Verdict.CANT_TELL


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: snapcheck.check(PHOTO, "not-there.board"), InputError, "not-there.board"),
        (lambda: snapcheck.check(PHOTO, "plate 2 x 2\nA1 nonsense\n"), InputError, "line 2"),
        (lambda: snapcheck.check(PHOTO, PHOTO), InputError, "picture or a PDF"),
        (lambda: snapcheck.check(PLAN, PLAN, reading={}), InputError, "at once"),
        (lambda: snapcheck.check(PHOTO, PLAN, reading="{}"), InputError, "reading"),
        (lambda: snapcheck.compare(PLAN, "{"), InputError, "JSON"),
        (lambda: snapcheck.compare(PLAN, {"columns": 2}), InputError, "rows"),
        (lambda: snapcheck.rules(PLAN, without=["nonsense"]), InputError, "no rule"),
        (lambda: snapcheck.rules(PLAN, kit="[kit]\nname = 3\n"), DataError, "kit"),
        (lambda: snapcheck.simulate(PLAN, tolerance=3), InputError, "3 samples"),
        (lambda: snapcheck.draw(7), InputError, "'int'"),  # type: ignore[arg-type]
        (lambda: snapcheck.grade_class("not-there"), InputError, "not-there"),
    ],
)
def test_mistakes_are_the_documented_errors(call, error, words: str) -> None:
    with pytest.raises(error, match=words):
        call()
