"""The teacher's desk, without JavaScript."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from benchmaker import JPEG, OTHER_VALUE, REVERSED, Instant, Room, Somebody, told

DANGER, GOOD, OTHER = told(REVERSED), told(), told(OTHER_VALUE)


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    room = Room(tmp_path, Instant({"told": DANGER}))
    yield room
    room.close()


@pytest.fixture
def desk(room: Room) -> Somebody:
    teacher = room.somebody()
    assert teacher.enter().url.path == "/desk"
    return teacher


def built(room: Room, bench: int, answer: dict[str, object]) -> Somebody:
    student = room.somebody()
    student.join(room.site, bench)
    room.worker.answers = [{"told": answer}]
    student.send(JPEG)
    student.answered(room.site, bench)
    return student


def test_the_board_shows_first_who_must_not_power(room: Room, desk: Somebody) -> None:
    for bench, answer in ((1, GOOD), (2, OTHER), (3, DANGER)):
        built(room, bench, answer)
    room.somebody().join(room.site, 5)
    page = desk.get("/desk").text
    places = [page.index(words) for words in ("must not power", "no photo yet", "may power</b>")]
    assert places == sorted(places)
    assert page.count('<li class="tone-') == 4
    # where the class goes wrong, on the plan: both mistakes at their cells
    assert "Where the class goes wrong" in page and "E2: 1" in page and "F6: 1" in page


def test_what_is_worth_knowing_is_no_mistake_of_the_class(room: Room, desk: Somebody) -> None:
    note = {**DANGER["findings"][0], "severity": "note"}
    built(room, 1, {**GOOD, "findings": [note]})
    assert "Where the class goes wrong" not in desk.get("/desk").text


def test_how_long_a_bench_is_stuck_is_said(room: Room, desk: Somebody) -> None:
    built(room, 3, DANGER)
    (shot,) = room.site.keep.shots(3)
    room.site.keep._do("update shot set at=? where id=?", time.time() - 7 * 60 - 5, shot.id)
    assert "stuck for 7 min" in desk.get("/desk").text
    built_again = room.site.keep.add_shot(3, "speech-stage", "en", [JPEG])
    room.site.keep.answer(built_again.id, GOOD)
    assert "stuck for" not in desk.get("/desk").text


def test_help_that_is_asked_for_stands_on_top_until_hints_are_released(room: Room, desk: Somebody) -> None:
    built(room, 1, DANGER)
    student = built(room, 2, OTHER)
    student.get("/bench")
    student.post("/bench/ask")
    assert "knows that you want help" in student.get("/bench").text
    page = desk.get("/desk").text
    assert "wants help" in page and page.index("/desk/bench/2") < page.index("/desk/bench/1")
    desk.post("/desk/bench/2/hints", {"step": "1"})
    assert "wants help" not in desk.get("/desk").text
    assert OTHER["findings"][0]["mend"] not in student.get("/bench").text
    desk.get("/desk")
    desk.post("/desk/hints", {"step": "2"})
    assert room.site.keep.setting("step") == "2"
    desk.get("/desk/bench/2")
    desk.post("/desk/bench/2/hints", {"step": ""})
    assert room.site.keep.bench(2).step is None
    assert OTHER["findings"][0]["hint"][1] in student.get("/bench").text


def test_the_teacher_sees_everything_of_a_bench(room: Room, desk: Somebody) -> None:
    built(room, 3, DANGER)
    page = desk.get("/desk/bench/3").text
    finding = DANGER["findings"][0]
    assert all(finding[key] in page for key in ("title", "mend", "why", "expected", "found"))
    assert desk.get("/desk/bench/9").status_code == 404


def test_a_build_is_let_through_with_a_reason_and_a_look(room: Room, desk: Somebody) -> None:
    student = built(room, 3, DANGER)
    (shot,) = room.site.keep.shots(3)
    desk.get("/desk/bench/3")
    wave = "/desk/bench/3/wave"
    assert desk.post(wave, {"shot": shot.id, "reason": ""}).status_code == 422
    assert desk.post(wave, {"shot": shot.id, "reason": "looks fine"}).status_code == 422
    assert desk.post(wave, {"shot": "no-such", "reason": "fine", "looked": "yes"}).status_code == 422
    assert room.site.keep.shot(shot.id).waved == ""
    desk.post(wave, {"shot": shot.id, "reason": "the print is rubbed off", "looked": "yes"})
    page = student.get("/bench").text
    assert "lets this build through" in page and "the print is rubbed off" in page
    assert DANGER["findings"][0]["title"] in page  # what the check found is told all the same
    assert "let through" in desk.get("/desk").text
    assert "the print is rubbed off" in desk.get("/desk/audit").text
    desk.client.cookies.set("snapcheck-language", "de")
    assert "durchgelassen" in desk.get("/desk/audit").text


def test_a_freed_bench_forgets_its_phones_and_photos(room: Room, desk: Somebody) -> None:
    student = built(room, 3, DANGER)
    assert list(room.site.keep.pictures.iterdir())
    desk.get("/desk/bench/3")
    desk.post("/desk/bench/3/free")
    assert list(room.site.keep.pictures.iterdir()) == [] and room.site.keep.bench(3) is None
    assert student.get("/bench").url.path == "/join"


def test_a_new_code_keeps_phones_in_and_a_closed_lesson_does_not(room: Room, desk: Somebody) -> None:
    student = built(room, 3, DANGER)
    old = room.site.access.code()
    desk.get("/desk")
    desk.post("/desk/code")
    assert room.site.access.code() not in ("", old)
    assert room.somebody().join(room.site, 7, code=old).status_code == 403
    assert student.get("/bench").url.path == "/bench"
    desk.get("/desk/end")
    desk.post("/desk/end/close")
    assert room.site.access.code() == "" and student.get("/bench").url.path == "/join"
    assert room.somebody().join(room.site, 7, code="").status_code in (403, 422)
    assert "No class code holds" in desk.get("/desk").text


def test_the_way_in_is_shown_as_a_picture(room: Room, desk: Somebody) -> None:
    import cv2
    import numpy as np
    import zxingcpp

    from snapcheck.board import svg_to_png

    svg = desk.get("/desk/qr.svg").text
    pixels = cv2.imdecode(np.frombuffer(svg_to_png(svg, width=400), np.uint8), cv2.IMREAD_COLOR)
    (code,) = zxingcpp.read_barcodes(pixels)
    assert code.text == f"http://testserver/join?code={room.site.access.code()}"


def test_the_qr_code_of_the_terminal_can_be_read() -> None:
    import numpy as np
    import zxingcpp

    from snapcheck.web import qr_lines

    lines = qr_lines("https://192.0.2.7:8420/join?code=K7M3Q9")
    halves = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0)}
    rows = [[halves[sign][half] for sign in line] for line in lines for half in (0, 1)]
    picture = np.kron(np.array(rows, np.uint8), np.ones((8, 8), np.uint8))
    picture = np.pad(picture, 32, constant_values=255)
    (code,) = zxingcpp.read_barcodes(picture)
    assert code.text == "https://192.0.2.7:8420/join?code=K7M3Q9"


def test_without_a_course_nothing_is_handed_in(room: Room, desk: Somebody) -> None:
    assert "open bench without a course" in desk.get("/desk/end").text
    assert desk.post("/desk/end/hand-in").status_code == 409
    desk.get("/desk")
    assert desk.post("/desk/end/grade").status_code == 409
