"""A student at the bench, without JavaScript."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from benchmaker import JPEG, OTHER_VALUE, REVERSED, Instant, Room, told

WRONG, BETTER = told(REVERSED, OTHER_VALUE), told(OTHER_VALUE)


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    room = Room(tmp_path / "kept", Instant({"told": WRONG}, {"told": BETTER}))
    yield room
    room.close()


def test_the_whole_way_from_code_to_verdict_and_the_next_photo(room: Room) -> None:
    student = room.somebody()
    assert student.get("/").url.path == "/join"
    assert student.join(room.site).url.path == "/bench"
    assert "whole edge" in student.page or "whole edge" in student.get("/bench").text
    assert student.send(JPEG).url.path == "/bench"
    page = student.answered(room.site).text
    first = WRONG["findings"][0]
    assert "Do not power." in page and first["title"] in page and first["mend"] in page
    assert first["caution"] in page and "First thing to do" in page
    # worst first, and before all that is merely different
    assert page.index(first["title"]) < page.index(WRONG["findings"][1]["title"])
    picture = re.search(r'href="(/shots/[^"]+/above.jpg)[?"]', page)
    assert picture is not None and student.get(picture[1]).content.startswith(b"\xff\xd8\xff")
    student.send(JPEG)
    page = student.answered(room.site).text
    assert "Before and after" in page and "Mended: 1. Still there: 1. New: 0." in page
    assert "Do not power." in page[page.index("Before and after") :]
    assert [job["language"] for job in room.worker.jobs] == ["en", "en"]


def test_hints_reach_the_phone_as_far_as_they_are_released(room: Room) -> None:
    student = room.somebody()
    student.join(room.site)
    student.send(JPEG)
    student.answered(room.site)
    danger, other = WRONG["findings"][:2]
    told = {
        0: ([danger["hint"][0]], [danger["hint"][1], danger["mend"], other["hint"][0], other["title"]]),
        1: ([danger["hint"][0], other["hint"][0]], [danger["hint"][1], other["hint"][1], other["mend"]]),
        2: ([danger["hint"][1], other["hint"][1]], [danger["mend"], other["mend"], other["title"]]),
        3: ([danger["mend"], other["mend"], other["title"]], []),
    }
    for step, (there, hidden) in told.items():
        room.site.keep.keep("step", str(step))
        for path in ("/bench", "/bench/part"):
            page = student.get(path).text
            assert all(words in page for words in there), step
            assert not [words for words in hidden if words in page], step
            assert "Do not power." in page
            opened = '<details class="cautions" open' in page
            assert opened == (step < 3)  # what a danger's own caution says is not hidden away
            callouts = len(re.findall(r'class="callout"', page))
            assert callouts == (1 if step == 0 else 2)
    # one bench may be told more than the class
    room.site.keep.keep("step", "0")
    room.site.keep.change_bench(4, step=3)
    assert other["mend"] in student.get("/bench").text


def test_a_photo_that_cannot_be_read_is_asked_for_again(tmp_path: Path) -> None:
    room = Room(tmp_path, Instant({"error": "No plate was found. Step back."}))
    student = room.somebody()
    student.join(room.site)
    student.send(JPEG)
    page = student.answered(room.site).text
    assert "Please take the photo again." in page and "No plate was found. Step back." in page
    room.close()


def test_several_photos_of_one_build_go_together(room: Room) -> None:
    student = room.somebody()
    student.join(room.site)
    student.send(JPEG, JPEG, JPEG)
    student.answered(room.site)
    assert len(room.worker.jobs) == 1 and len(room.worker.jobs[0]["photos"]) == 3


def test_what_is_sent_wrongly_is_said_and_not_kept(room: Room) -> None:
    student = room.somebody()
    student.join(room.site)
    assert student.send().status_code == 422
    assert student.send(b"").status_code == 422
    assert student.send(b"#!/bin/sh\n").status_code == 415
    assert student.send(JPEG, b"GIF89a").status_code == 415
    assert student.send(*[JPEG] * 5).status_code == 413
    assert "up to 4 photos" in student.send(*[JPEG] * 5).text
    assert room.site.keep.shots(4) == [] and list(room.site.keep.pictures.iterdir()) == []


def test_a_second_phone_needs_the_key_of_the_bench(room: Room) -> None:
    first, second = room.somebody(), room.somebody()
    first.join(room.site)
    key = room.site.keep.bench(4).key
    assert key in first.get("/bench").text
    refused = second.join(room.site)
    assert refused.status_code == 409 and key not in refused.text
    wrong = f"{(int(key) + 1) % 10_000:04}"
    assert second.join(room.site, key=wrong).status_code == 409
    assert second.join(room.site, key=key).url.path == "/bench"


def test_a_bench_speaks_the_language_that_is_asked_for(room: Room) -> None:
    student = room.somebody()
    student.client.headers["accept-language"] = "de-AT,de;q=0.9,en;q=0.5"
    page = student.get("/join").text
    assert '<html lang="de">' in page and "Kurscode" in page
    student.join(room.site)
    student.send(JPEG)
    student.answered(room.site)
    assert room.worker.jobs[0]["language"] == "de"
    student.post("/language", {"language": "en"})
    assert '<html lang="en">' in student.get("/bench").text


def test_who_leaves_is_out(room: Room) -> None:
    student = room.somebody()
    student.join(room.site)
    student.get("/bench")
    student.post("/bench/leave")
    assert student.get("/bench").url.path == "/join"


def test_while_it_waits_a_page_without_script_opens_itself_again(room: Room) -> None:
    student = room.somebody()
    student.join(room.site)
    room.site.keep.add_shot(4, "speech-stage", "en", [JPEG])  # nobody was told to work on it
    page = student.get("/bench").text
    assert '<noscript><meta http-equiv="refresh"' in page and "being read" in page
    assert '<noscript><meta http-equiv="refresh"' not in room.somebody().get("/join").text
