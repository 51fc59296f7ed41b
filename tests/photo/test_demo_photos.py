"""The photos of the README: what a whole check says of each, by its truth and by reading the picture."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import cv2
import pytest

from snapcheck.board import load_design
from snapcheck.check import Verdict
from snapcheck.findings import Severity
from snapcheck.kit import bundled_kit
from snapcheck.photo import read_photo, reading_from_truth
from snapcheck.pipeline import CheckResult, check_build

KIT = bundled_kit()
PHOTOS = Path(__file__).parents[2] / "fixtures" / "photos"
TABLE: dict[str, dict[str, Any]] = tomllib.loads((PHOTOS / "photos.toml").read_text(encoding="utf-8"))[
    "photo"
]
CHECKED = {name: spec for name, spec in TABLE.items() if "verdict" in spec}
#: what must be found, by photo: rule and the first cell
FOUND = {
    "speech-stage-reversed": {("reversed", "F6")},
    "level-meter-bench-4": {("reversed", "E2"), ("cube-missing", "G3")},
    "call-lamp-no-ground": {("cube-missing", "F4")},
    "hiss-filter-swapped": {("swapped", "C3")},
    "flasher-crossing-leads": {("lead-wrong", "I4")},
}


def told(result: CheckResult) -> set[tuple[str, str]]:
    serious = [f for f in result.findings if f.severity <= Severity.DEVIATION]
    return {(f.rule, str(f.cells[0]) if f.cells else "") for f in serious}


def check_truth(name: str) -> CheckResult:
    truth = json.loads((PHOTOS / f"{name}.json").read_text(encoding="utf-8"))
    design = load_design(PHOTOS / CHECKED[name]["design"], KIT)
    return check_build(reading_from_truth(truth, f"{name}.jpg", KIT), design, KIT)


@pytest.mark.parametrize("name", TABLE)
def test_every_photo_is_small_and_its_truth_fits(name: str) -> None:
    file = PHOTOS / f"{name}.jpg"
    truth = json.loads((PHOTOS / f"{name}.json").read_text(encoding="utf-8"))
    assert file.stat().st_size <= 300_000
    height, width = cv2.imread(str(file)).shape[:2]
    assert truth["size"] == [width, height]
    assert {c["at"] for c in truth["cubes"]} == set(truth["cube_tops_px"])
    assert all(0 < x < width and 0 < y < height for x, y in truth["cube_tops_px"].values())


@pytest.mark.parametrize("name", CHECKED)
def test_the_truth_gives_the_verdict_and_exactly_these_findings(name: str) -> None:
    result = check_truth(name)
    assert result.verdict is Verdict(CHECKED[name]["verdict"])
    assert told(result) == FOUND.get(name, set())


@pytest.mark.parametrize("name", CHECKED)
def test_the_photo_never_passes_what_is_wrong_and_never_hides_danger(name: str) -> None:
    """Whatever networks read it: a build with a fault does not pass, danger is told, doubt is no pass."""
    truth = check_truth(name)
    design = load_design(PHOTOS / CHECKED[name]["design"], KIT)
    result = check_build(read_photo(PHOTOS / f"{name}.jpg", KIT), design, KIT)
    assert result.verdict.value in CHECKED[name]["photo"], [f.title for f in result.findings]
    passes = (Verdict.READY, Verdict.EQUIVALENT)
    assert truth.verdict in passes or result.verdict not in passes
    dangers = {(f.rule, str(f.cells[0])) for f in truth.findings if f.severity is Severity.DANGER}
    assert dangers <= told(result)
    if result.reading is not None and result.reading.unsure and result.verdict in passes:
        # an unsure cube may pass only where no choice makes a difference, and then it is not asked about
        assert not [f for f in result.findings if f.severity is Severity.QUESTION]


def test_there_is_a_photo_for_every_case_of_the_readme() -> None:
    """README names every demo photo, so that none is forgotten there."""
    readme = (PHOTOS.parents[1] / "README.md").read_text(encoding="utf-8")
    assert not [name for name in CHECKED if f"{name}.jpg" not in readme]
