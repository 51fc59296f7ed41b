"""A build that is not finished: its photo is answered with the step it has reached, and what comes next."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from benchmaker import JPEG, ROOT, Instant, Room, told

from snapcheck import api
from snapcheck.web._answer import seen, state_of
from snapcheck.web._job import BUILDING, _on_the_way
from snapcheck.web._lesson import pieces

PLAN = (ROOT / "fixtures/designs/first-light.board").read_text(encoding="utf-8")


def answer_to(*missing: str, **swapped: str) -> dict[str, Any]:
    """The answer to a build of the first light without these cubes."""
    built = PLAN
    for old, new in swapped.values():
        built = built.replace(old, new)
    lines = [line for line in built.splitlines() if not line.startswith(missing)]
    lines = [line for line in lines if not line.startswith(("expect", "output"))]
    result, steps = api.on_the_way(api.check("\n".join(lines) + "\n", PLAN, calculate=False))
    answer = result.pieces().told | {"questions": []}
    return answer | _on_the_way(steps, answer)


def test_it_is_told_the_step_and_what_is_next_and_never_that_it_may_be_powered() -> None:
    answer = answer_to("A2", "A3")
    so_far = answer["so_far"]
    assert answer["verdict"] == BUILDING and not answer["powered"] and answer["findings"] == []
    assert 0 < so_far["done"] < so_far["steps"] and not so_far["complete"]
    assert so_far["next"]["number"] == so_far["done"] + 1
    assert any("A2" in words for words in so_far["next"]["words"])
    last = answer_to("D2 ")
    assert last["so_far"]["open"] == ["D2"] and "not complete" in last["sentence"] and not last["powered"]
    whole = answer_to("nothing")
    assert whole["so_far"]["complete"] and whole["so_far"]["next"] is None and not whole["powered"]
    assert whole["verdict"] == BUILDING and "once more" in whole["advice"]


def test_what_is_missing_is_no_mistake_and_what_is_wrong_is_one() -> None:
    wrong = answer_to("D2 ", value=("C1 resistor 470", "C1 resistor 47k"))
    (finding,) = wrong["findings"]
    assert finding["cells"] == ["C1"] and wrong["so_far"]["mend"] and wrong["tone"] == "fault"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    room = Room(tmp_path / "kept", Instant({"told": answer_to("A2", "A3")}))
    yield room
    room.close()


def test_the_phone_asks_for_it_when_it_sends(room: Room) -> None:
    student = room.somebody()
    student.join(room.site, 4, task="first-light")
    student.get("/bench")
    files = [("photo", ("photo.jpg", JPEG, "image/jpeg"))]
    student.client.post("/bench/photos", data={"token": student.token(), "building": "yes"}, files=files)
    page = student.answered(room.site).text
    (shot,) = room.site.keep.shots(4)
    assert room.worker.jobs[0]["manner"] == shot.manner == "so-far"
    assert "Next, step" in page and "A2" in page.partition("Next, step")[2].partition("</ul>")[0]
    assert 'value="yes" checked' in page  # the next one is asked the same
    assert seen(shot, 0)["so_far"]["next"] == shot.told["so_far"]["next"]  # a plan is no hint
    bench = room.site.keep.bench(4)
    assert bench is not None
    state = state_of(bench, [shot])
    assert "step" in state.word and state.tone == "none" and state.stuck_min is None
    # what is not finished is not handed in
    assert pieces(room.site.keep, room.site.plans)[0] == []
    room.worker.answers = [{"told": told()}]
    student.send(JPEG)
    assert "Next, step" not in student.answered(room.site).text and room.worker.jobs[1]["manner"] == ""


def test_a_question_is_answered_by_another_photo_of_the_same_build(room: Room) -> None:
    question = {"place": "C1", "cells": ["C1"], "reason": "glare", "options": []}
    room.worker.answers = [{"told": {**told(), "questions": [question]}}]
    student = room.somebody()
    student.join(room.site)
    student.send(JPEG + b" first")
    page = student.answered(room.site).text
    shot = page.partition('name="with" value="')[2].partition('"')[0]
    other = room.somebody()
    other.join(room.site, 5)

    def send(who: Any, more: bytes) -> Any:
        who.get("/bench")
        form = {"token": who.token(), "with": shot}
        return who.client.post("/bench/photos", data=form, files=[("photo", ("p.jpg", more, "image/jpeg"))])

    send(student, JPEG + b" second")
    student.answered(room.site)
    newest = room.site.keep.shots(4)[0]
    kept = [room.site.keep.photo(newest.id, n).read_bytes() for n in range(newest.photos)]
    assert kept == [JPEG + b" first", JPEG + b" second"]
    assert len(room.worker.jobs[-1]["photos"]) == 2
    send(other, JPEG)  # another bench's photo is not added to
    assert room.site.keep.shots(5)[0].photos == 1
    room.site.keep.write("update shot set photos=4 where id=?", shot)
    for n in (1, 2, 3):
        room.site.keep.photo(shot, n).write_bytes(JPEG)
    assert send(student, JPEG).status_code == 413
