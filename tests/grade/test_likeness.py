"""The same picture handed in twice: which changes it survives, and how far different pictures are apart."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import pytest
from class_reader import read_class
from here import HereCrew

from snapcheck.cli import main
from snapcheck.grade import Store, load_course, run_batch
from snapcheck.grade._likeness import ALIKE, differing, likeness
from snapcheck.simulate import is_available

ROOT = Path(__file__).parents[2]
CLASS = sorted((ROOT / "fixtures" / "class" / "submissions").glob("*/*.jpg"))
PHOTOS = sorted((ROOT / "fixtures" / "photos").glob("*.jpg"))
UNREADABLE = ("T-110_2031-03-05", "T-111_2031-03-12T1745")
SAME = {"T-109_2031-03-12T1720", "T-110_2031-03-12T1731"}


def encoded(picture: Any, quality: int) -> bytes:
    return bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1])


def changed(picture: Any) -> Iterator[tuple[str, bytes]]:
    """The same picture as it comes back from a chat program, a crop, another phone's gallery."""
    h, w = picture.shape[:2]
    yield "stored again", encoded(picture, 40)
    yield (
        "half the size",
        encoded(cv2.resize(picture, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), 70),
    )
    yield "brighter", encoded(cv2.convertScaleAbs(picture, alpha=1.15, beta=12), 80)
    yield "cut", encoded(picture[int(h * 0.01) : int(h * 0.995), int(w * 0.005) : int(w * 0.99)], 75)
    grey = cv2.cvtColor(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), cv2.COLOR_GRAY2BGR)
    yield "grey", encoded(grey, 80)
    turned = cv2.getRotationMatrix2D((w / 2, h / 2), 1, 1.02)
    yield "turned", encoded(cv2.warpAffine(picture, turned, (w, h)), 80)


def test_the_same_picture_is_found_in_other_clothes() -> None:
    worst = 0
    for path in (*CLASS, *PHOTOS):
        if path.stem.startswith(UNREADABLE):
            continue  # nothing is in them that could be alike
        own = likeness(path.read_bytes())
        for _, data in changed(cv2.imread(str(path))):
            worst = max(worst, differing(own, likeness(data)))
    assert worst <= ALIKE


def test_different_pictures_stay_well_apart() -> None:
    hashes = {p.stem: likeness(p.read_bytes()) for p in (*CLASS, *PHOTOS)}
    apart = [differing(hashes[a], hashes[b]) for a, b in itertools.combinations(hashes, 2) if {a, b} != SAME]
    assert min(apart) >= ALIKE + 8


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_the_pair_of_the_sample_class_is_listed_and_nobody_accused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(ROOT / "fixtures" / "class", tmp_path / "class")
    shutil.copytree(ROOT / "fixtures" / "designs", tmp_path / "designs")
    course, crew = load_course(tmp_path / "class"), HereCrew()
    with Store(course.store) as store:
        run_batch(course, store, crew, reader=read_class)
    crew.close()
    assert main(["alike", str(course.folder)]) == 1
    told = capsys.readouterr().out
    assert told.count("show nearly the same picture") == 1 and all(name in told for name in SAME)
    assert "not a judgement" in told
