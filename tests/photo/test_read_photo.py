"""The whole way from a picture file to a reading, on the demo picture (rendered, not photographed)."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from snapcheck.board import board_from_json, load_board
from snapcheck.cli import main
from snapcheck.errors import PhotoError
from snapcheck.kit import bundled_kit
from snapcheck.photo import State, read_photo, reading_to_json, score

PHOTOS = Path(__file__).parents[2] / "fixtures" / "photos"
PHOTO = PHOTOS / "level-meter-bench-4.jpg"


def test_demo_photo_is_read_without_a_silent_error() -> None:
    truth = board_from_json(json.loads(PHOTO.with_suffix(".json").read_text(encoding="utf-8")), bundled_kit())
    total = score.Score()
    score.add(total, truth, read_photo(PHOTO), bundled_kit())
    assert total.count["boards"] == 1 and total.count["kind_turn"] == total.count["cubes"] == len(truth.cubes)
    assert total.count["silent"] == 0 and total.count["read"] >= 9


def test_reading_tells_where_every_cube_lies() -> None:
    data = json.loads(PHOTO.with_suffix(".json").read_text(encoding="utf-8"))
    reading = read_photo(PHOTO)
    for cell, cube in reading.cubes.items():
        middle = reading.frame.to_photo([(cell.column + 0.5, cell.row + 0.5)])[0]
        side = np.hypot(*(reading.frame.outline(cell)[1] - reading.frame.outline(cell)[0]))
        assert np.hypot(*(middle - data["cube_tops_px"][str(cell)])) < 0.1 * side, (cell, cube)


def test_json_is_the_truth_format_and_reads_back() -> None:
    reading = read_photo(PHOTO)
    data = json.loads(json.dumps(reading_to_json(reading)))
    assert board_from_json(data, bundled_kit()) == reading.board
    assert {c["state"] for c in data["cubes"]} <= {str(s) for s in State}


def test_noise_and_plain_pictures_are_no_boards(tmp_path: Path) -> None:
    import cv2

    rng = np.random.default_rng(3)
    noise = rng.integers(0, 255, (600, 800, 3), dtype=np.uint8)
    cv2.imwrite(str(tmp_path / "noise.png"), noise)
    ramp = np.tile(np.linspace(0, 255, 800, dtype=np.uint8)[None, :, None], (600, 1, 3))
    cv2.imwrite(str(tmp_path / "ramp.png"), ramp)
    for name in ("noise.png", "ramp.png"):
        with pytest.raises(PhotoError) as caught:
            read_photo(tmp_path / name)
        assert caught.value.way_out


def test_read_goes_on_after_a_bad_photo(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"nothing")
    code = main(["read", "--json", "--out", str(tmp_path), str(bad), str(PHOTO)])
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert code == PhotoError.exit_code
    assert lines[0]["photo"] == "bad.jpg" and lines[0]["error"]["name"] == "PhotoError"
    assert lines[1]["photo"] == PHOTO.name and lines[1]["columns"] == 7
    written = tmp_path / f"{PHOTO.stem}-read.board"
    assert load_board(written, bundled_kit()).columns == 7
    assert (tmp_path / f"{PHOTO.stem}-read.jpg").read_bytes()[:2] == b"\xff\xd8"


def test_accuracy_measures_a_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    picture = tmp_path / "confusion.png"
    curve = tmp_path / "reliability.svg"
    options = ["--json", "--confusion", str(picture), "--reliability", str(curve)]
    assert main(["accuracy", *options, str(PHOTOS)]) == 0
    data = json.loads(capsys.readouterr().out)
    assert sum(row["cubes"] for row in data["reliability"]) >= data["counts"]["cubes"] - data["counts"].get(
        "missing", 0
    )
    assert data["risk_coverage"][-1][0] == 1.0 and b"<svg" in curve.read_bytes()
    assert data["figures"]["board_found"] == 1.0 and data["pictures"] >= 1
    assert picture.read_bytes()[:4] == b"\x89PNG"


def test_check_says_do_not_power(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code = main(["check", str(PHOTO), str(PHOTOS / "level-meter.board"), "--out", str(tmp_path)])
    said = capsys.readouterr().out
    assert code == 11 and "Do not power" in said and "E2" in said
    assert (tmp_path / "report.html").exists()
