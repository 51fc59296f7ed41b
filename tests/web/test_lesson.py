"""From the bench into the gradebook."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from benchmaker import CLASS, JPEG, PHOTOS, REVERSED, Instant, Room, told

from snapcheck import api
from snapcheck.errors import InputError
from snapcheck.grade import load_course
from snapcheck.grade._course import belongs_by_name
from snapcheck.simulate import is_available


@pytest.fixture
def course(tmp_path: Path) -> Path:
    """The sample class, before anybody has handed anything in."""
    folder = tmp_path / "class"
    shutil.copytree(CLASS, folder, ignore=shutil.ignore_patterns("submissions", "readings"))
    return folder


@pytest.fixture
def room(course: Path) -> Iterator[Room]:
    room = Room(course / "bench", Instant({"told": told(REVERSED)}), course=course)
    yield room
    room.close()


def test_a_course_asks_who_is_at_the_bench(room: Room) -> None:
    student = room.somebody()
    assert "class list" in student.get("/join").text
    refused = student.join(room.site, task="night-lamp", students="T-999")
    assert refused.status_code == 422 and "T-999" in refused.text
    student.join(room.site, task="night-lamp", students="T-101, T-102")
    assert room.site.keep.bench(4).students == "T-101,T-102"
    # nobody is told who else is in the class
    names = [s.name for s in room.site.plans.course.students]
    pages = student.get("/bench").text + room.somebody().get("/join").text
    assert not [name for name in names if name in pages]
    # hints are held until the teacher releases them
    room.worker.answers = [{"told": told(REVERSED)}]
    student.send(JPEG)
    page = student.answered(room.site).text
    assert told(REVERSED)["findings"][0]["mend"] not in page


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_what_was_built_is_handed_in_and_graded(room: Room, course: Path) -> None:
    photo = (PHOTOS / "first-light-good.jpg").read_bytes()
    pair, nameless = room.somebody(), room.somebody()
    pair.join(room.site, task="first-light", students="T-101,T-102")
    nameless.join(room.site, 9, task="first-light")
    for student, bench in ((pair, 4), (nameless, 9)):
        student.send(photo)
        student.answered(room.site, bench)
    teacher = room.somebody()
    teacher.enter()
    page = teacher.get("/desk/end").text
    assert "known at benches 9" in page and "T-101" in page
    page = teacher.post("/desk/end/hand-in").text
    assert "2 builds were handed in." in page
    assert "0 builds were handed in." in teacher.post("/desk/end/hand-in").text  # and not twice
    handed = sorted((course / "submissions").rglob("*.jpg"))
    assert [f.name[:5] for f in handed] == ["T-101", "T-102"] and handed[0].read_bytes() == photo
    teacher.post("/desk/end/grade")
    for _ in range(600):
        page = teacher.get("/desk/end").text
        if "Grading …" not in page:
            break
        time.sleep(0.1)
    assert page.count("<td>first-light</td>") >= 4 and "alert" not in page
    graded = api.grade_class(course, stored=True, workers=1)
    entry = graded.grades["T-101", "first-light"]
    assert entry.sha and entry.grade.verdict == "ready"
    assert f"{entry.grade.points} / {entry.grade.most}" in page


def test_a_hand_in_is_known_by_its_name(course: Path) -> None:
    opened = load_course(course)
    at = datetime(2031, 3, 5, 17, 4, 9, tzinfo=UTC)
    assert api.hand_in(opened, "T-101", "night-lamp", JPEG, at) == "night-lamp/T-101_2031-03-05T180409.jpg"
    for patterns in ("[]", '["{student} {task} at {time}"]', '["{any} {task}/{student}.jpg {time}"]'):
        text = (course / "course.toml").read_text(encoding="utf-8")
        there = next(line for line in text.splitlines() if line.startswith("patterns"))
        text = text.replace(there, f"patterns = {patterns}")
        (course / "course.toml").write_text(text, encoding="utf-8")
        path = api.hand_in(load_course(course), "T-102", "night-lamp", JPEG, at)
        assert (course / "submissions" / path).read_bytes() == JPEG


def test_nobodys_picture_takes_the_place_of_another(course: Path) -> None:
    """Two of one student in one second, as a program sends them; and in the hour that comes twice."""
    opened, folder = load_course(course), course / "submissions"
    at = datetime(2031, 10, 26, 0, 30, 9, tzinfo=UTC)  # 02:30 in Oslo for the first time
    paths = [
        api.hand_in(opened, "T-101", "night-lamp", picture, moment)
        for moment in (at, at + timedelta(hours=1))
        for picture in (JPEG, JPEG + b"2", JPEG)
    ]
    first = "night-lamp/T-101_2031-10-26T023009"
    assert paths == 2 * [f"{first}.jpg", f"{first} (2).jpg", f"{first}.jpg"]
    assert [(folder / path).read_bytes() for path in paths[:2]] == [JPEG, JPEG + b"2"]
    assert {belongs_by_name(opened, path).student for path in paths} == {"T-101"}


def test_what_cannot_be_handed_in_is_said(course: Path) -> None:
    at = datetime(2031, 3, 5, tzinfo=UTC)
    opened = load_course(course)
    for student, task in (("T-999", "night-lamp"), ("T-101", "no-task")):
        with pytest.raises(InputError):
            api.hand_in(opened, student, task, JPEG, at)
    text = (course / "course.toml").read_text(encoding="utf-8")
    text = text.replace('["{task}/{student}_{time}"]', "[]")
    text = text.replace("[task.first-light]", '[task.first-light]\naliases = ["night"]')
    (course / "course.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="no name fits"):  # it would be taken for either task
        api.hand_in(load_course(course), "T-101", "night-lamp", JPEG, at)
    (course / "submissions").write_bytes(b"PK")
    with pytest.raises(InputError, match="ZIP"):
        api.hand_in(opened, "T-101", "night-lamp", JPEG, at)
