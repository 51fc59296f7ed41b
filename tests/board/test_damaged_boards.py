"""Boards and designs with anything wrong in them, as text and as JSON: read, or refused with a sentence."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from damaged import damaged, damaged_text, json_bytes
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from snapcheck.board import design_to_json, draw_svg, load_design, oddities, write_layout
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit
from snapcheck.pipeline import check_build

KIT = bundled_kit()
FOLDER = Path(__file__).parents[2] / "fixtures" / "designs"
TEXTS = [f.read_text(encoding="utf-8") for f in (FOLDER / "night-lamp.board", FOLDER / "speech-stage.board")]
READING = Path(__file__).parents[2] / "fixtures" / "class" / "readings" / "T-104_2031-03-12T1650.json"
same_folder = settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], deadline=None
)


def as_json(text: str, folder: Path) -> dict[str, object]:
    file = folder / "whole.board"
    file.write_text(text, encoding="utf-8")
    return design_to_json(load_design(file, KIT))


def used(file: Path) -> None:
    """What every verb does with it; nothing but a sentence with the file's name may come of it."""
    try:
        design = load_design(file, KIT)
    except InputError as error:
        assert error.message and file.name in error.place and len(str(error)) < 3000
        return
    draw_svg(design.board, KIT, title=design.title)
    oddities(design.board, KIT)
    json.dumps(design_to_json(design), allow_nan=False)
    check_build(design.board, design, KIT, None)
    try:
        text = write_layout(design, KIT)
    except InputError as error:  # JSON holds what a layout file cannot
        assert error.message
        return
    file.write_text(text, encoding="utf-8")
    assert load_design(file, KIT).board == design.board


@pytest.mark.parametrize("text", TEXTS)
def test_damaged_layout_files(text: str, tmp_path: Path) -> None:
    @given(damaged_text(text))
    @settings(max_examples=150)
    def hold(changed: str) -> None:
        (tmp_path / "a.board").write_text(changed, encoding="utf-8")
        used(tmp_path / "a.board")

    hold()


@pytest.mark.parametrize("text", TEXTS)
def test_damaged_json(text: str, tmp_path: Path) -> None:
    whole = as_json(text, tmp_path)

    @given(damaged(whole).map(json_bytes) | damaged_text(json.dumps(whole)).map(str.encode))
    @settings(max_examples=250)
    def hold(changed: bytes) -> None:
        (tmp_path / "a.json").write_bytes(changed)
        used(tmp_path / "a.json")

    hold()


@given(st.binary(max_size=300))
@same_folder
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "a.board").write_bytes(data)
    used(tmp_path / "a.board")


def test_damaged_readings(tmp_path: Path) -> None:
    """JSON of a photo, as `check --from-reading` and `compare` take it."""
    from snapcheck.api import board_of, reading_of

    @given(damaged(json.loads(READING.read_text(encoding="utf-8"))).map(json_bytes))
    @settings(max_examples=250)
    def hold(changed: bytes) -> None:
        file = tmp_path / "a.json"
        file.write_bytes(changed)
        for read in (board_of, reading_of):
            try:
                read(file, KIT)
            except InputError as error:
                assert error.message and file.name in error.place and len(str(error)) < 3000

    hold()


@pytest.mark.parametrize("value", ["1" + "0" * 400, "1" * 5000, "1e999", "NaN", "-1", "true", "[]"])
def test_a_value_that_is_no_number(value: str, tmp_path: Path) -> None:
    file = tmp_path / "a.json"
    file.write_text(
        '{"columns": 2, "rows": 2, "cubes": [{"at": "A1", "kind": "resistor", "value": ' + value + "}]}"
    )
    with pytest.raises(InputError, match=r"value|JSON") as caught:
        load_design(file, KIT)
    assert len(str(caught.value)) < 400
