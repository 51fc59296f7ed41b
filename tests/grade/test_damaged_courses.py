"""Courses, rosters and rubrics with anything wrong in them: taken, or refused with file and place."""

from __future__ import annotations

import shutil
import tomllib
from importlib import resources
from pathlib import Path

import pytest
from damaged import damaged, damaged_text, toml_text
from hypothesis import given, settings
from hypothesis import strategies as st

from snapcheck.errors import DataError, InputError
from snapcheck.grade import load_course, load_rubric
from snapcheck.grade._course import belongs_by_name, to_utc_text
from snapcheck.grade.out import cards_svg, preview, sheet_page
from snapcheck.kit import bundled_kit

CLASS = Path(__file__).parents[2] / "fixtures" / "class"
COURSE = {**tomllib.loads((CLASS / "course.toml").read_text(encoding="utf-8")), "contact": "X",
          "rubric": "rubric.toml", "gradebook": {"Who": "number", "Lamp": "first-light.points"},
          "store": "gradebook.db"}  # fmt: skip
ROSTER = (CLASS / "roster.csv").read_text(encoding="utf-8")
RUBRIC = (resources.files("snapcheck.grade") / "data" / "rubric.toml").read_text(encoding="utf-8")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A course whose files may be written anew."""
    made = tmp_path / "class"
    (made / "submissions").mkdir(parents=True)
    for plan in CLASS.glob("*.board"):
        shutil.copy(plan, made)
    (made / "course.toml").write_text(toml_text(COURSE), encoding="utf-8")
    (made / "roster.csv").write_text(ROSTER, encoding="utf-8")
    (made / "rubric.toml").write_text(RUBRIC, encoding="utf-8")
    return made


def used(folder: Path) -> None:
    """What the verbs for a class begin with."""
    try:
        course = load_course(folder)
    except (InputError, DataError) as error:
        assert error.message and (error.place or error.way_out) and len(str(error)) < 3000
        return
    belongs_by_name(course, "first-light/T-101_2031-03-05T1630.jpg")
    for task in course.tasks:
        if task.due is not None:
            to_utc_text(task.due)
    for sheet in cards_svg(course):
        assert sheet.startswith("<svg")


def test_damaged_courses(folder: Path) -> None:
    used(folder)

    @given(damaged(COURSE).map(toml_text) | damaged_text(toml_text(COURSE)))
    @settings(max_examples=150)
    def hold(text: str) -> None:
        (folder / "course.toml").write_text(text, encoding="utf-8")
        used(folder)

    hold()


def test_damaged_rosters(folder: Path) -> None:
    @given(damaged_text(ROSTER).map(str.encode) | st.binary(max_size=80) | damaged_text(ROSTER).map(
        lambda text: text.encode("utf-16")))  # fmt: skip
    @settings(max_examples=150)
    def hold(data: bytes) -> None:
        (folder / "roster.csv").write_bytes(data)
        used(folder)

    hold()


def test_damaged_rubrics(folder: Path) -> None:
    kit = bundled_kit()

    @given(damaged(tomllib.loads(RUBRIC)).map(toml_text) | damaged_text(RUBRIC))
    @settings(max_examples=150)
    def hold(text: str) -> None:
        file = folder / "rubric.toml"
        file.write_text(text, encoding="utf-8")
        try:
            rubric = load_rubric(file, kit)
        except DataError as error:
            assert error.message and "rubric.toml" in error.place and len(str(error)) < 3000
            return
        preview(rubric)
        sheet_page(rubric)

    hold()


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [("course.toml", 'title = "x"\n[task]\nfirst-light = 5\n', "not a table"),
     ("rubric.toml", 'title = "x"\n[[item]]\nname = "a"\ntitle = "A"\npoints = 3\nby = []\n', "one word"),
     ("roster.csv", "number,name\n1,\"" + "x" * 200_000 + '\n', "no readable CSV"),
     ("roster.csv", "number,name\n1,a\x00b\n" + "\0" * 5, "")],
)  # fmt: skip
def test_slips_that_once_ended_in_a_traceback(name: str, text: str, said: str, folder: Path) -> None:
    (folder / name).write_text(text, encoding="utf-8")
    if said:
        with pytest.raises((InputError, DataError), match=said):
            load_course(folder)
    else:
        used(folder)
