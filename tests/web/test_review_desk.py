"""Grading review at the desk: one place after the other."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from benchmaker import CLASS, Instant, Room, Somebody
from wanting import found_wanting

from snapcheck import api
from snapcheck.simulate import is_available

pytestmark = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


@pytest.fixture(scope="module")
def graded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[dict[str, Any]]]:
    """A course with two open places, and what waits in it."""
    from snapcheck.web._review import look

    folder = tmp_path_factory.mktemp("graded") / "class"
    shutil.copytree(CLASS, folder, ignore=shutil.ignore_patterns("readings", "submissions"))
    for photo in ("night-lamp/T-104_2031-03-12T1650.jpg", "first-light/T-110_2031-03-05T1755.jpg"):
        (folder / "submissions" / photo).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(CLASS / "submissions" / photo, folder / "submissions" / photo)
    api.grade_class(folder, workers=1)
    return folder, look(str(folder), 1)


@pytest.fixture
def room(graded: tuple[Path, list[dict[str, Any]]], tmp_path: Path) -> Iterator[Room]:
    folder, places = graded
    shutil.copytree(folder, tmp_path / "class")
    room = Room(tmp_path / "kept", Instant({}), course=tmp_path / "class")
    review = next(r.endpoint.__self__ for r in room.app._app.routes if r.path == "/desk/review")
    review.looking.state, review.looking.result = "done", [dict(p) for p in places]
    room.review = review
    yield room
    room.close()


@pytest.fixture
def desk(room: Room) -> Somebody:
    teacher = room.somebody()
    teacher.enter()
    return teacher


def points(room: Room, student: str, task: str) -> tuple[str, bool]:
    entry = api.grade_class(room.site.plans.course, stored=True, workers=1).grades[student, task]
    return entry.grade.points, entry.grade.final


def test_what_hangs_on_a_choice_comes_first_with_what_each_would_do(
    graded: tuple[Path, list[dict[str, Any]]], desk: Somebody
) -> None:
    _, places = graded
    assert [(p["told"]["student"], p["told"]["kind"]) for p in places] == [
        ("T-104", "cell"), ("T-110", "retake"),
    ]  # fmt: skip
    page = desk.get("/desk/review").text
    assert "2 of 2 left" in page and "T-104 · night-lamp · D3" in page
    told = places[0]["told"]
    for choice in told["choices"]:
        assert (
            api.decision_words(choice["decide"], place=True) in page
            and f"{choice['points']} of 20 points" in page
        )
    assert page.count('class="cube"') == len([d for d in places[0]["drawn"] if d]) >= 4
    assert 'stroke="#6a3a94"' in page  # the place, on the plan
    assert desk.get("/desk/review/0/crop.jpg").content.startswith(b"\xff\xd8")
    assert desk.get("/desk/review/7/crop.jpg").status_code == 404


def test_a_choice_is_kept_undone_and_chosen_otherwise(room: Room, desk: Somebody) -> None:
    told = room.review.places[0]["told"]
    planned = next(n for n, c in enumerate(told["choices"], 1) if c["planned"])
    desk.get("/desk/review")
    form = {"place": "0", "choice": str(planned), "reason": "base on the left", "by": "Tool counter"}
    page = desk.post("/desk/review/decide", form).text
    assert "1 of 2 left" in page and "T-110" in page
    assert points(room, "T-104", "night-lamp") == (told["choices"][planned - 1]["points"], True)
    history = desk.get("/desk/review/history").text
    assert "base on the left" in history and "Tool counter" in history
    assert f": {told['choices'][planned - 1]['decide']}</td>" in history and "+00:00" not in history
    page = desk.get("/desk/review").text
    assert 'value="base on the left"' in page  # one reason for all that follow
    page = desk.post("/desk/review/undo").text
    assert "2 of 2 left" in page and "T-104" in page
    assert points(room, "T-104", "night-lamp")[1] is False
    other = desk.post("/desk/review/decide", {**form, "choice": str(len(told["choices"]))})
    assert "1 of 2 left" in other.text
    assert points(room, "T-104", "night-lamp") == (told["choices"][-1]["points"], True)
    assert "(taken back)" in desk.get("/desk/review/history").text


def test_as_planned_at_all_places_of_a_student_and_undone_in_one(room: Room, desk: Somebody) -> None:
    (first, *_) = room.review.places
    twin = {**first, "told": {**first["told"], "place": "again"}}
    room.review.looking.result.append(twin)  # as if it were two places
    page = desk.get("/desk/review").text
    assert "As planned, at all 2 places of T-104" in page
    desk.post("/desk/review/decide", {"place": "0", "choice": "as-planned", "reason": "seen", "by": "me"})
    assert set(room.review.done) == {0, 2}
    desk.get("/desk/review")
    desk.post("/desk/review/undo")
    assert room.review.done == {} and points(room, "T-104", "night-lamp")[1] is False


def test_what_no_button_offers_can_be_typed(room: Room, desk: Somebody) -> None:
    desk.get("/desk/review?at=1")
    form = {"place": "1", "reason": "too dark", "by": "me"}
    assert desk.post("/desk/review/decide", form).status_code == 422
    refused = desk.post("/desk/review/decide", {**form, "own": "points nonsense 3"})
    assert refused.status_code == 422 and "no item of the rubric" in refused.text
    desk.get("/desk/review?at=1")
    desk.post("/desk/review/decide", {**form, "own": "unreadable"})
    assert points(room, "T-110", "first-light") == ("0", True)


def test_places_that_change_no_grade_are_left_out_unless_asked_for(room: Room, desk: Somebody) -> None:
    room.review.looking.result[0]["idle"] = True
    page = desk.get("/desk/review").text
    assert "1 of 1 left" in page and "T-110" in page and "same grade: 1" in page
    assert "2 of 2 left" in desk.get("/desk/review?all=1").text


def test_where_nothing_waits_decisions_are_offered_to_the_kit(
    room: Room, desk: Somebody, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    room.review.looking.result = []
    monkeypatch.setattr(api, "teachable", lambda folder: 7)
    assert "Nothing waits for a person." in (page := desk.get("/desk/review").text) and "teach" not in page
    kit = tmp_path / "own kit.toml"
    monkeypatch.setattr(room.site.plans, "course", replace(room.site.plans.course, kit_file=kit))
    page = desk.get("/desk/review").text
    assert "from which the kit could learn: 7. Nothing is learnt unless you say so" in page
    assert f"snapcheck teach &#39;{kit}&#39; --from" in page
    monkeypatch.setattr(api, "teachable", lambda folder: 0)
    assert "teach" not in desk.get("/desk/review").text


def test_looking_and_grading_go_on_beside_the_pages(room: Room, desk: Somebody) -> None:
    desk.get("/desk/review")
    desk.post("/desk/review/look")
    for _ in range(600):
        page = desk.get("/desk/review").text
        if "Looking what waits" not in page:
            break
        time.sleep(0.1)
    assert "2 of 2 left" in page and "D3: NPN transistor BC337, base to the left" in page
    desk.post("/desk/review/grade")
    for _ in range(600):
        page = desk.get("/desk/review").text
        if "Grading …" not in page:
            break
        time.sleep(0.1)
    assert "The grades are worked out." in page


@pytest.mark.parametrize(
    ("place", "choice", "reason", "by"),
    [("99", "1", "x", "x"), ("-1", "1", "x", "x"), ("0", "77", "x", "x"), ("0", "1", "", "x"),
     ("0", "1", "x", "")],
)  # fmt: skip
def test_what_is_no_choice_is_refused(
    room: Room, desk: Somebody, place: str, choice: str, reason: str, by: str
) -> None:
    desk.get("/desk/review")
    form = {"place": place, "choice": choice, "reason": reason, "by": by}
    assert desk.post("/desk/review/decide", form).status_code in (409, 422)
    assert room.review.done == {}


def test_by_keys_in_a_browser_and_axe_finds_nothing(browser: Any, room: Room) -> None:
    teacher = room.somebody()
    teacher.enter()
    page = browser.new_context(viewport={"width": 1280, "height": 860}).new_page()
    client = teacher.client

    def served(route: Any) -> None:  # the browser asks, the test's own client brings the answer
        asked = route.request
        answer = client.request(
            asked.method, asked.url, content=asked.post_data_buffer, follow_redirects=False,
            headers={"content-type": asked.headers.get("content-type", "text/plain")},
        )  # fmt: skip
        while answer.is_redirect:
            answer = client.get(answer.headers["location"], follow_redirects=False)
        route.fulfill(status=answer.status_code, headers=dict(answer.headers), body=answer.content)

    page.route("**/*", served)
    page.goto("http://testserver/desk/review")
    assert found_wanting(page) == []
    page.keyboard.press("2")
    page.wait_for_selector("text=1 of 2 left")
    page.keyboard.press("u")
    page.wait_for_selector("text=2 of 2 left")
    page.focus("#reason")
    page.keyboard.type("2")  # typed, not chosen
    assert page.locator("#reason").input_value().startswith("2") and room.review.done == {}
    page.close()
