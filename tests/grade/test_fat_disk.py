"""A course on a memory stick: what a FAT file system cannot do must not cost a grade."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from class_reader import READINGS, read_class
from fatdisk import fat_mounted

from snapcheck.cli import main

CLASS = READINGS.parent
DECISION = ["T-104", "night-lamp", "D3 pnp BC327 base=left", "--reason", "the arrow points in", "--by", "Pim"]


@pytest.fixture
def stick(tmp_path: Path) -> Iterator[Path]:
    with fat_mounted(tmp_path / "stick.img", tmp_path / "stick") as place:
        yield place


def course_in(folder: Path) -> Path:
    """The sample class with one picture, which waits for a decision."""
    folder.mkdir()
    for file in CLASS.iterdir():
        if file.suffix in (".toml", ".board", ".csv"):
            shutil.copyfile(file, folder / file.name)
    for picture in (CLASS / "submissions" / "night-lamp").glob("T-104_*"):
        (folder / "submissions" / "night-lamp").mkdir(parents=True, exist_ok=True)
        shutil.copyfile(picture, folder / "submissions" / "night-lamp" / picture.name)
    return folder


def test_a_course_on_a_stick(
    stick: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("snapcheck.photo.read_photo", read_class)
    folder = course_in(stick / "class")
    course, few = str(folder), ["--workers", "1"]
    assert main(["grade", course, *few]) == 1  # one place is open
    assert main(["decide", course, *DECISION, *few]) == 0
    assert "T-104 night-lamp: 19 → 17.5 / 20, final" in capsys.readouterr().out
    assert main(["export", course, "gradebook", "feedback", "audit", *few]) == 0
    assert main(["export", course, "gradebook", *few]) == 0  # over what is there
    assert "17.5" in (stick / "CLASS" / "Out" / "Gradebook.CSV").read_text(encoding="utf-8")  # in any case
    assert not [p.name for p in folder.rglob("*") if p.name.endswith((".new", "-journal"))]
    assert main(["decide", course, "t-104", *DECISION[1:]]) == 21  # students' names are told apart
