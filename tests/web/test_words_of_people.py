"""What people say of a build instead of what was read: at the phone by a tap, at the desk cell by cell."""

from __future__ import annotations

import json
import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from benchmaker import JPEG, OTHER_VALUE, PHOTOS, Instant, Room, Somebody, told

from snapcheck import api
from snapcheck.simulate import is_available
from snapcheck.web._job import job_of, work
from snapcheck.words import use_language

READ, SAID = told(OTHER_VALUE), told()
LARGE, SMALL = (
    {"line": "E2 resistor 22k", "probability": 0.6},
    {"line": "E2 resistor 2k2", "probability": 0.3},
)
GONE = {"line": "remove E2", "probability": None}
QUESTION = {
    "place": "E2",
    "cells": ["E2"],
    "reason": "the print is rubbed off",
    "options": [LARGE, SMALL, GONE],
}
CELLS = {
    "E2": {"line": "E2 resistor 22k", "sure": False, "others": [SMALL, GONE]},
    "A9": {"line": "", "sure": True, "others": []},
}


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    first = {**READ, "questions": [QUESTION], "cells": CELLS, "links": ["tap C4|D4"]}
    worker = Instant({"told": first, "reading": {"form": "for tests"}}, {"told": {**SAID, "cells": CELLS}})
    room = Room(tmp_path, worker)
    yield room
    room.close()


def sent(room: Room) -> Somebody:
    student = room.somebody()
    student.join(room.site)
    student.send(JPEG)
    student.answered(room.site)
    return student


def shot_of(room: Room) -> Any:
    (shot,) = room.site.keep.shots(4)
    return shot


def settled(room: Room) -> None:
    for _ in range(500):
        if not shot_of(room).open:
            return
        time.sleep(0.01)
    raise AssertionError("it is still being worked out")


def test_a_question_is_answered_by_a_tap_and_marked_as_the_students_word(room: Room) -> None:
    student = sent(room)
    page = student.page
    assert "What is it?" in page and "the print is rubbed off" in page and "resistor 2k2" in page
    assert page.count('class="cube"') == 2 and 'class="closeup"' in page
    shot = shot_of(room)
    student.post("/bench/say", {"shot": shot.id, "question": "0", "option": "1"})
    page = student.answered(room.site).text
    assert room.worker.jobs[-1]["words"] == ["E2 resistor 2k2"]
    assert json.loads(room.worker.jobs[-1]["reading"]) == {"form": "for tests"}  # not read again
    assert SAID["sentence"] in page and "not read in the photo" in page and "said at the bench" in page
    assert shot_of(room).words == (("student", "E2 resistor 2k2"),)
    teacher = room.somebody()
    teacher.enter()
    assert "said at the bench" in teacher.get("/desk/bench/4").text
    student.post("/bench/say", {"shot": shot.id, "back": "yes"})
    student.answered(room.site)
    assert shot_of(room).words == () and room.worker.jobs[-1]["words"] == []


def test_a_student_may_say_what_was_asked_and_nothing_else(room: Room) -> None:
    student = sent(room)
    other = room.somebody()
    other.join(room.site, 5)
    shot = shot_of(room)
    for form in ({"question": "1", "option": "0"}, {"question": "0", "option": "3"}, {"question": "0"},
                 {"question": "0", "option": "-1"}, {"line": "E2 resistor 2k2"}):  # fmt: skip
        student.get("/bench")
        assert student.post("/bench/say", {"shot": shot.id, **form}).status_code == 422, form
    other.get("/bench")
    assert other.post("/bench/say", {"shot": shot.id, "question": "0", "option": "1"}).status_code == 409
    assert shot_of(room).words == ()


def test_at_the_desk_cells_are_put_right_undone_and_redone(room: Room) -> None:
    sent(room)
    teacher = room.somebody()
    teacher.enter()
    here = "/desk/bench/4/reading"
    page = teacher.get(f"{here}?cell=E2").text
    assert 'class="cell unsure here"' in page and "Yes, that is it" in page
    # the likeliest comes first
    assert page.index("resistor 2k2, lying across</span>") < page.index("nothing stands there")

    def say(**form: str) -> Any:
        teacher.get(here)
        return teacher.post(here, {"cell": "E2", **form})

    def words() -> list[str]:
        settled(room)
        return room.worker.jobs[-1]["words"]

    say(line="E2 resistor 2k2")
    assert words() == ["E2 resistor 2k2"]
    say(kind="capacitor", value="10u", turn="90")
    assert words() == ["E2 resistor 2k2", "E2 capacitor 10u turn=90"]
    say(line="remove tap C4|D4")
    assert words()[-1] == "remove tap C4|D4"
    say(step="undo")
    assert words() == ["E2 resistor 2k2", "E2 capacitor 10u turn=90"]
    say(step="redo")
    assert words()[-1] == "remove tap C4|D4"
    say(step="undo")
    words()
    say(line="looked")  # something new: what was undone cannot come back
    words()
    say(step="redo")
    assert words()[-1] == "looked" and shot_of(room).undone == ()
    assert say().status_code == 422
    assert "said at the desk" in teacher.get(here).text


def test_what_cannot_be_followed_is_said_and_the_answer_before_holds(room: Room) -> None:
    sent(room)
    teacher = room.somebody()
    teacher.enter()
    room.worker.answers = [{"refused": "'E2 nonsense': there is no such cube."}]
    teacher.get("/desk/bench/4/reading")
    teacher.post("/desk/bench/4/reading", {"cell": "E2", "line": "E2 nonsense"})
    settled(room)
    page = teacher.get("/desk/bench/4/reading").text
    assert "there is no such cube" in page and READ["sentence"] in page
    assert shot_of(room).words == () and shot_of(room).state == "done"


@pytest.mark.parametrize(("line", "told", "with_place"), [
    ("D3 ground stem=left", "Masse, Stamm nach links", "D3: Masse, Stamm nach links"),
    ("D3 straight turn=270", "gerade Leitung, aufrecht", "D3: gerade Leitung, aufrecht"),
    ("E2 resistor 2k2 ends=left+right", "Widerstand 2k2, quer liegend", "E2: Widerstand 2k2, quer liegend"),
    ("remove E2", "dort steht nichts", "E2: dort steht nichts"),
    ("tap C4|D4", "es ist da", "tap C4|D4"),
    ("remove tap C4|D4", "es ist nicht da", "remove tap C4|D4"),
    ("E2 nonsense", "nonsense", "E2 nonsense"),
])  # fmt: skip
def test_a_decision_is_told_in_the_language_of_the_phone(line: str, told: str, with_place: str) -> None:
    use_language("de")
    assert api.decision_words(line) == told
    assert api.decision_words(line, place=True) == with_place


@pytest.mark.skipif(not is_available(), reason="ngspice is not installed")
def test_a_job_follows_words_without_reading_again(tmp_path: Path) -> None:
    (exercise,) = (e for e in api.sample_exercises() if e.name == "speech-stage")
    photo, flat = tmp_path / "photo.jpg", tmp_path / "flat.jpg"
    shutil.copy(PHOTOS / "speech-stage-reversed.jpg", photo)
    first = work(job_of(exercise, [photo], flat, "en"))
    assert first["told"]["verdict"] == "do-not-power"
    cell = first["told"]["cells"]["F6"]
    assert cell["line"].startswith("F6 electrolytic 100u") and cell["sure"]
    mended = next(o["line"] for o in cell["others"] if o["line"].startswith("F6 electrolytic 100u plus=up"))
    reading = json.dumps(first["reading"])
    changed = photo.stat().st_mtime_ns
    after = work(job_of(exercise, [photo], flat, "en", reading=reading, words=[mended]))
    assert after["told"]["verdict"] == "ready" and photo.stat().st_mtime_ns == changed
    there = after["told"]["cells"]["F6"]
    assert there["line"] == mended and cell["line"] in [o["line"] for o in there["others"]]
    again = work(job_of(exercise, [photo], flat, "en", reading=reading))
    assert again["told"]["verdict"] == "do-not-power"
    refused = work(job_of(exercise, [photo], flat, "en", reading=reading, words=["F6 nonsense"]))
    assert set(refused) == {"refused"}
    assert re.match(r"<svg", api.decision_drawing(mended)) and api.decision_drawing("remove F6") == ""
