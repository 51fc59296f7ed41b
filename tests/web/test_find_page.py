"""Finding a fault with a meter on the bench page, without JavaScript."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from benchmaker import JPEG, ROOT, Instant, Room, Somebody, told

from snapcheck.simulate import is_available
from snapcheck.web._find_job import search

SCRIPT = "<script>alert(1)</script>{{7*7}}"
BASE = "/bench/find"


class Here:
    """Works out searches in this process; `asked` are its jobs."""

    def __init__(self) -> None:
        self.asked: list[dict[str, Any]] = []

    def do(self, job: dict[str, Any]) -> dict[str, Any]:
        self.asked.append(job)
        return search(job)

    def stop(self) -> None:
        pass


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    room = Room(tmp_path / "kept", Instant({"told": told()}))
    room.site.finder = Here()
    yield room
    room.close()


def at_bench(room: Room, task: str = "first-light") -> Somebody:
    student = room.somebody()
    student.join(room.site, 4, task=task)
    return student


def said(somebody: Somebody, base: str = BASE, **form: str) -> str:
    """The page after something was entered and worked out."""
    somebody.get(base)
    somebody.post(base, form)
    for _ in range(1000):
        page: str = somebody.get(base).text
        if "<progress" not in page:
            return page
        time.sleep(0.02)
    raise AssertionError("no answer came")


def test_phones_search_only_where_the_teacher_has_released_it(room: Room) -> None:
    student, teacher = at_bench(room), room.somebody()
    assert student.client.get(BASE).status_code == 403
    student.get("/bench")
    assert f'href="{BASE}"' not in student.page
    assert student.post(BASE, {"do": "begin"}).status_code == 403
    teacher.enter()
    teacher.post("/desk/find", {"open": "yes"})
    assert f'href="{BASE}"' in student.get("/bench").text and student.get(BASE).status_code == 200
    teacher.get("/desk")
    teacher.post("/desk/find", {"open": "no"})
    assert student.client.get(BASE).status_code == 403
    assert room.site.finder.asked == []


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_a_fault_is_searched_taken_back_left_and_taken_up_again(room: Room) -> None:
    room.site.keep.keep("find", "yes")
    student, teacher = at_bench(room), room.somebody()
    page = said(student, do="symptom", symptom="never-on")
    assert "Measure next" in page and "Black probe on the plate" in page and "A good build shows" in page
    assert "never on" in page.partition("Entered so far")[2]
    picture = student.client.get(f"{BASE}/picture")
    assert picture.headers["content-type"].startswith("image/svg") and "<svg" in picture.text
    at = page.partition('name="at" value="')[2].partition('"')[0]
    page = said(student, at=at, value="0,01", unit="V")
    assert f"{at} 0,01V" in page and 'class="suspects"' in page
    # nonsense is said to be so, and not kept
    page = said(student, own=SCRIPT)
    assert "is no reading" in page and "&lt;script&gt;" in page and "<script>alert" not in page
    assert SCRIPT not in page.partition("Entered so far")[2]
    assert json.loads(room.site.keep.setting("search 4"))["entries"][1:] == [["reading", f"{at} 0,01V"]]
    # the desk sees the same search, and takes it up
    teacher.enter()
    page = teacher.get("/desk/bench/4/find").text
    assert f"{at} 0,01V" in page
    page = said(teacher, "/desk/bench/4/find", do="back")
    assert f"{at} 0,01V" not in page and "never on" in page.partition("Entered so far")[2]
    assert "never on" in student.get(BASE).text.partition("Entered so far")[2]
    assert "What is wrong with it?" in said(student, do="end")
    room.site.keep.free_bench(4)
    assert room.site.keep.setting("search 4") == ""


def test_what_was_read_and_said_is_what_is_searched_in(room: Room) -> None:
    room.site.keep.keep("find", "yes")
    student = at_bench(room, "speech-stage")
    student.send(JPEG)
    student.answered(room.site)
    (shot,) = room.site.keep.shots(4)
    asked: list[dict[str, Any]] = []
    # a server that was ended meanwhile
    room.site.keep.keep("search 4", json.dumps({"task": "speech-stage", "shot": shot.id, "entries": []}))
    assert "given up" in student.get(BASE).text and "Begin anew" in student.page
    room.site.finder.do = lambda job: [asked.append(job), {"error": SCRIPT}][1]  # type: ignore[method-assign]
    page = said(student, do="begin")
    assert "&lt;script&gt;" in page and "<script>alert" not in page
    assert asked[0]["photo"] == str(room.site.keep.photo(shot.id, 0)) and asked[0]["words"] == []
    room.site.keep.write(
        "update shot set reading='{}', words=? where id=?", '[["student", "E2 resistor 22k"]]', shot.id
    )
    said(student, do="begin")
    assert asked[1]["words"] == ["E2 resistor 22k"] and asked[1]["reading"] == "{}"


def test_readings_are_put_together_from_the_form(room: Room) -> None:
    from starlette.datastructures import FormData

    from snapcheck.web._find import reading_of

    def of(**form: str) -> str:
        return reading_of(FormData(form))

    assert of(at="C4 base", value="0,65", unit="V") == "C4 base 0,65V"
    assert of(at="C4 base", value="650", unit="mV", minus="yes") == "C4 base -650mV"
    assert of(at="C4 base", value="-1", unit="V", minus="yes") == "C4 base -1V"
    assert of(at="contact C3|D3", word="open") == "contact C3|D3 open"
    assert of(own="lifted C3 4k7", at="x", value="1") == "lifted C3 4k7"
    assert of(at="C4 base") == of(value="3") == ""


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_a_dangerous_build_is_not_measured(tmp_path: Path) -> None:
    text = (ROOT / "fixtures/designs/first-light.board").read_text(encoding="utf-8")
    text = text.replace("D2 led red anode=up", "D2 straight ends=up+down")
    text = text.replace("C1 resistor 470 ends=left+right", "C1 straight ends=left+right")
    lines = [line for line in text.splitlines() if not line.startswith(("expect", "output"))]
    plan = tmp_path / "plan.board"
    plan.write_text("\n".join(lines) + "\n", encoding="utf-8")
    answer = search({
        "design": str(plan), "kit": None, "photo": "", "reading": "", "words": [], "language": "en",
        "cache": str(tmp_path), "probes": "", "entries": [["symptom", "silent"]],
    })  # fmt: skip
    assert answer["told"]["dangers"] and answer["told"]["steps"] == [] and answer["told"]["tone"] == "danger"
