"""Designs at the desk: the shelf, the plate on which one is worked at, and the folder where they are kept."""

from __future__ import annotations

import errno
import json
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from benchmaker import DESIGNS, JPEG, Instant, Room, Somebody

from snapcheck import api
from snapcheck.web import _design_job, _plate
from snapcheck.web._drafts import MOST_STEPS, Draft, Drafts
from snapcheck.web._shelf import OWN, PUT_AWAY, Shelves, TakenError, name_of

SCRIPT = "<script>alert(1)</script>'><img src=x onerror=alert(1)>"
LAMP = (DESIGNS / "first-light.board").read_text(encoding="utf-8")


class Inline:
    """A worker without a process."""

    def __init__(self, work: Any, limit_s: float) -> None:
        self.do = work

    def start(self) -> None:
        pass

    stop = start


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    """One for all: what tests save goes by names of their own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(_plate, "Worker", Inline)
        room = Room(tmp_path_factory.mktemp("designs") / "kept", Instant({}))
    yield room
    room.close()


@pytest.fixture(scope="module")
def teacher(room: Room) -> Somebody:
    teacher = room.somebody()
    teacher.enter()
    teacher.get("/desk/designs")
    return teacher


@pytest.fixture
def folder(room: Room) -> Path:
    return room.site.settings.designs_folder


def at_work(teacher: Somebody, shelf: str = "samples", name: str = "first-light") -> str:
    """The address of a design of the shelf that is being worked at."""
    teacher.get("/desk/designs")
    return str(teacher.post("/desk/designs/begin", {"shelf": shelf, "name": name}).url.path)


def layout(page: str) -> str:
    found = re.search(r"<textarea[^>]*>(.*?)</textarea>", page, re.S)
    assert found is not None
    return found[1]


# ---------------------------------------------------------------------- the shelf


def test_the_shelf_shows_what_there_is(teacher: Somebody) -> None:
    page = teacher.get("/desk/designs").text
    assert 'id="chips-dusk-light"' in page
    assert "8 cubes · first-light" in page and "First light" in page
    drawn = teacher.client.get("/desk/designs/samples/first-light/top.svg")
    assert drawn.headers["content-type"] == "image/svg+xml" and "<svg" in drawn.text
    for path in (
        "samples/..%2fclass%2fcourse",
        "own/first-light",
        "elsewhere/first-light",
        "samples/First-Light",
    ):
        assert teacher.client.get(f"/desk/designs/{path}/top.svg").status_code == 404, path


def test_a_copy_takes_a_free_name_and_may_be_given_to_the_lesson(
    room: Room, teacher: Somebody, folder: Path
) -> None:
    for _ in range(2):
        teacher.post("/desk/designs/copy", {"shelf": "samples", "name": "first-light"})
    assert (folder / "first-light.board").read_text() == (folder / "first-light-2.board").read_text() == LAMP
    teacher.post("/desk/designs/lesson", {"name": "first-light-2"})
    assert room.site.plans.given == ["first-light-2"]
    assert "first-light-2" in room.somebody().get("/join").text
    assert room.site.keep.setting("given") == "first-light-2"
    refused = teacher.post("/desk/designs/lesson", {"name": "first-light"})  # a sample's name
    assert refused.status_code == 409 and "already" in refused.text
    here = at_work(teacher, "own", "first-light-2")
    teacher.post(here, {"step": "title", "title": "Another light"})
    teacher.post(f"{here}/save", {"name": "first-light-2"})
    assert room.site.plans.exercise("first-light-2").title == "Another light"
    teacher.get("/desk/designs")
    teacher.post("/desk/designs/lesson", {"name": "first-light-2"})
    assert room.site.plans.given == [] and "first-light-2" not in room.site.plans.exercises


def test_a_design_is_put_away_and_brought_back(room: Room, teacher: Somebody, folder: Path) -> None:
    for _ in range(2):
        teacher.post("/desk/designs/copy", {"shelf": "samples", "name": "first-light"})
    teacher.post("/desk/designs/lesson", {"name": "first-light-2"})
    refused = teacher.post("/desk/designs/put-away", {"name": "first-light-2"})
    assert refused.status_code == 409 and "take it out" in refused.text
    teacher.post("/desk/designs/put-away", {"name": "first-light"})
    assert not (folder / "first-light.board").exists() and (folder / "first-light-2.board").exists()
    assert (folder / PUT_AWAY / "first-light.board").read_text() == LAMP
    page = teacher.get("/desk/designs").text
    assert "Put away: 1" in page and f"{folder.name}/{PUT_AWAY}" in page
    for name in ("../first-light-2", "first-light", "none", ""):  # no other file is moved
        assert teacher.post("/desk/designs/put-away", {"name": name}).status_code == 404
        if name != "first-light":
            assert teacher.post("/desk/designs/bring-back", {"name": name}).status_code == 404
    teacher.post("/desk/designs/bring-back", {"name": "first-light"})
    assert (folder / "first-light.board").read_text() == LAMP and "Put away: " not in teacher.get(
        "/desk/designs"
    ).text


def test_names_that_are_taken_make_way_when_designs_move(tmp_path: Path) -> None:
    shelves = Shelves(tmp_path)
    for text in (LAMP, LAMP + "# again\n"):
        shelves.put("lamp", text)
        shelves.put_away("lamp")
    assert shelves.away() == ["lamp", "lamp-2"] and shelves.all()[OWN] == []
    shelves.put("lamp", LAMP)
    assert shelves.bring_back("lamp-2") == "lamp-2" and shelves.bring_back("lamp") == "lamp-3"
    assert {k.name for k in shelves.all()[OWN]} == {"lamp", "lamp-2", "lamp-3"} and shelves.away() == []


def test_a_build_sheet_brings_its_own_style_and_no_more(teacher: Somebody) -> None:
    sheet = teacher.client.get("/desk/designs/samples/first-light/sheet.html")
    policy = sheet.headers["content-security-policy"]
    assert "default-src 'none'; style-src 'sha256-" in policy and "script" not in policy
    assert "<style>" in sheet.text and "First light" in sheet.text


# ---------------------------------------------------------------------- the plate


def test_from_an_empty_plate_to_a_saved_design(teacher: Somebody, folder: Path) -> None:
    teacher.get("/desk/designs")
    teacher.post("/desk/designs/begin", {"title": "Glow <worm>", "columns": "4", "rows": "3"})
    here = str(teacher.client.get(re.search(r'data-plate="([^"]+)"', teacher.page)[1]).url.path)  # type: ignore[index]
    assert "Glow &lt;worm&gt;" in teacher.page and "power" not in teacher.page.lower()  # nothing is there yet
    teacher.post(here, {"cell": "A2", "kind": "battery", "value": "9V", "turn": ""})
    teacher.post(here, {"cell": "A2", "line": "turn A2 90"})
    assert "A2 battery 9V plus=up" in layout(teacher.page)
    teacher.post(here, {"cell": "A3", "line": "A3 ground"})
    teacher.post(here, {"cell": "A2", "line": "move A2 to A1"})
    assert "A1 battery 9V plus=up" in layout(teacher.page) and 'data-cell="A1"' in teacher.page
    teacher.post(here, {"step": "undo"})
    assert "A2 battery" in layout(teacher.page)
    teacher.post(here, {"step": "redo"})
    assert "A1 battery" in layout(teacher.page)
    teacher.post(here, {"line": "move A1 to F9"})
    assert "outside the plate" in teacher.page and "A1 battery" in layout(teacher.page)
    assert "is not connected" in teacher.page  # the rules have looked
    teacher.post(f"{here}/save", {"name": "Glow worm"})
    kept = folder / "glow-worm.board"
    assert "A1 battery 9V plus=up" in kept.read_text() and "Saved as glow-worm.board" in teacher.page


def test_text_and_plate_go_both_ways_and_what_is_wrong_is_kept_as_typed(teacher: Somebody) -> None:
    here = at_work(teacher)
    text = "# mine\n" + LAMP
    teacher.post(here, {"step": "text", "text": text.replace("\n", "\r\n")})
    assert layout(teacher.page).startswith("# mine\n")
    teacher.post(here, {"step": "text", "text": text.replace("plate", "plaet", 1)})
    assert "line " in teacher.page and "plaet" in layout(teacher.page)
    assert teacher.page.count('class="cell full') == 8  # the board before stands
    cube = re.search(r'data-cell="([^"]+)" href="[^"]+" aria-label="[^"]+resistor', teacher.page)
    assert cube is not None
    teacher.post(here, {"cell": cube[1], "line": f"value {cube[1]} 1k2"})
    assert layout(teacher.page).startswith("# mine\n") and f"{cube[1]} resistor 1k2" in layout(teacher.page)


def test_text_of_a_design_stays_text(teacher: Somebody) -> None:
    here = at_work(teacher)
    text = f"plate 3 x 2\ntitle {SCRIPT}\npurpose {SCRIPT}\nA1 resistor 1k printed={json.dumps(SCRIPT)}\n"
    teacher.post(here, {"step": "text", "text": text, "cell": "A1"})
    assert "Undo" in teacher.page and "&lt;script&gt;" in layout(teacher.page)
    for page in (teacher.page, teacher.get("/desk/designs").text, teacher.get(f"{here}?cell={SCRIPT}").text,
                 teacher.get(f"{here}?ends=1&from={SCRIPT}&to={SCRIPT}&over={SCRIPT}").text):  # fmt: skip
        assert "<script>alert" not in page and "<img src=x" not in page
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=\"|javascript:|<script>", page)
        assert not re.search(r"(?:href|src|action)=\"(?:https?:|//|data:)", page)
    teacher.post(f"{here}/drop")


def test_danger_is_told_first_and_what_is_calculated_follows(teacher: Somebody) -> None:
    here = at_work(teacher)
    assert re.search(r"<td class=\"n\">[✓✗] ", teacher.page)  # figures that need no run in time
    late = teacher.client.get(f"{here}/late").text
    assert "Ready to power." in late and "is being calculated" not in late
    battery = re.search(r"^(\w+) battery", LAMP, re.M)
    assert battery is not None
    column, row = battery[1][0], int(battery[1][1:])
    shorted = re.sub(rf"^{column}{row - 1} .*$", f"{column}{row - 1} ground stem=down", LAMP, flags=re.M)
    teacher.post(here, {"step": "text", "text": shorted})
    page = teacher.page
    assert "Do not power." in page and page.index("Do not power.") < page.index('id="plate"')
    assert page.index('class="finding sev-danger') < page.index("Promised figures")


def test_what_light_and_knobs_do_comes_later_and_no_verdict_before(teacher: Somebody) -> None:
    here = at_work(teacher, "samples", "night-lamp")
    assert "Nothing against it so far" in teacher.page and "Ready to power." not in teacher.page
    assert f'data-late="{here}/late"' in teacher.page
    late = teacher.client.get(f"{here}/late").text
    assert "Ready to power." in late and "data-late" not in late


def test_a_promise_that_is_not_kept_is_no_pass(teacher: Somebody) -> None:
    here = at_work(teacher)
    assert "Ready to power." in teacher.client.get(f"{here}/late").text
    other = re.sub(r"(?m)^(\w+ resistor) \S+", r"\1 100k", LAMP)
    teacher.post(here, {"step": "text", "text": other})
    late = teacher.client.get(f"{here}/late").text
    assert "does not do what it promises" in late and "Ready to power." not in late


def test_without_a_simulator_it_is_said() -> None:
    told = api.design_told(LAMP)
    assert told["notes"] == ["Nothing is calculated: the simulator ngspice is not installed."]
    assert {f["value"] for f in told["figures"]} == {"–"} and not any(f["met"] for f in told["figures"])


def test_a_lead_is_laid_between_two_places_with_the_tap_that_it_needs(teacher: Somebody) -> None:
    here = at_work(teacher, "samples", "speech-stage")
    page = teacher.get(f"{here}?ends=1").text
    assert 'data-end="H3"' in page and 'data-end="E4|E5"' in page
    page = teacher.get(f"{here}?ends=1&from=H3&to=E4|E5").text
    assert '<option value="H3" selected>' in page and '<option value="E4|E5" selected>' in page
    teacher.post(here, {"from": "H3", "to": "E4|E5", "ends": "1"})
    assert "tap E4|E5\nlead H3 to E4|E5" in layout(teacher.page)
    teacher.post(here, {"line": "remove tap E4|E5"})
    assert "This went with it: lead H3 to E4|E5." in teacher.page


def test_it_promises_what_it_does_and_shows_plots(teacher: Somebody, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(_design_job._JOBS, "plots", lambda job: [("Gain <b>", b"\x89PNG")])
    here = at_work(teacher)
    teacher.post(here, {"step": "text", "text": re.sub(r"(?m)^expect.*\n", "", LAMP)})
    assert "It promises nothing yet." in teacher.page
    teacher.post(f"{here}/promise")
    assert "expect current at" in layout(teacher.page)
    assert "Gain &lt;b&gt;" in teacher.get(f"{here}/plots").text
    assert teacher.client.get(f"{here}/plots/0.png").content == b"\x89PNG"
    assert teacher.client.get(f"{here}/plots/1.png").status_code == 404


def test_what_a_photo_leaves_open_is_asked_before_it_is_saved(
    room: Room, teacher: Somebody, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[bytes] = []
    teacher.get("/desk/designs")
    cell = next(line.split()[0] for line in LAMP.splitlines() if re.match(r"\w+ resistor", line))
    asked = {"place": cell, "cells": [cell], "reason": "rubbed off",
             "options": [{"line": f"{cell} resistor 2k2 turn=90"}, {"line": f"remove {cell}"}]}  # fmt: skip
    tap = {"place": "tap A1|A2", "cells": [], "reason": "not sure", "options": [{"line": "tap A1|A2"}]}
    whole = {"place": "", "cells": [], "reason": "a hand lies over it", "options": [{"line": "looked"}]}
    photo = JPEG + bytes(200_000)

    def adopt(job: dict[str, Any]) -> dict[str, Any]:
        seen.append(Path(job["photo"]).read_bytes())
        return {"text": LAMP + "tap A1|A2\n", "questions": [asked, tap, whole], "notes": []}

    monkeypatch.setitem(_design_job._JOBS, "adopt", adopt)
    made = teacher.client.post(
        "/desk/designs/photo",
        data={"token": teacher.token()},
        files={"photo": ("a.jpg", photo, "image/jpeg")},
    )
    teacher.page, here = made.text, made.url.path
    assert seen == [photo] and list((room.site.settings.folder / "incoming").iterdir()) == []
    assert "rubbed off" in teacher.page
    teacher.post(f"{here}/save", {"name": "mine"})
    assert "leaves something open" in teacher.page and not (folder / "mine.board").exists()
    teacher.post(here, {"asked": cell, "line": f"{cell} resistor 2k2 turn=90"})
    assert "rubbed off" not in teacher.page and f"{cell} resistor 2k2" in layout(teacher.page)
    teacher.post(here, {"asked": "tap A1|A2", "line": "tap A1|A2"})  # it stands there as it was read
    assert "not sure" not in teacher.page and "a hand lies over it" in teacher.page
    teacher.post(here, {"step": "seen", "place": ""})
    assert "a hand lies over it" not in teacher.page
    teacher.post(f"{here}/save", {"name": "mine"})
    assert (folder / "mine.board").exists()


# ---------------------------------------------------------------------- the folder


def test_nothing_is_saved_over_what_somebody_else_wrote(teacher: Somebody, folder: Path) -> None:
    here = at_work(teacher)
    teacher.post(f"{here}/save", {"name": "lamp"})
    kept = folder / "lamp.board"
    teacher.post(here, {"step": "title", "title": "Second"})
    teacher.post(f"{here}/save", {"name": "lamp"})  # its own: nobody has changed it
    assert "title Second" in kept.read_text()
    kept.write_text(LAMP + "# by hand\n")
    teacher.post(here, {"step": "title", "title": "Third"})
    teacher.post(f"{here}/save", {"name": "lamp"})
    assert "is there already" in teacher.page and "# by hand" in kept.read_text()
    teacher.post(f"{here}/save", {"name": "lamp", "over": "lamp"})
    assert "title Third" in kept.read_text()


@pytest.mark.parametrize("name", ["../out", "a/b", "", ".hidden", "con\x00", "A", "x" * 61, "-a", "ä"])
def test_no_name_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    shelves = Shelves(tmp_path / "designs")
    with pytest.raises(Exception, match="is no name"):
        shelves.put(name, LAMP)
    with pytest.raises(KeyError):
        shelves.get(OWN, name)
    assert list(tmp_path.iterdir()) == []


def test_a_link_in_the_folder_is_no_design(tmp_path: Path) -> None:
    shelves = Shelves(tmp_path / "designs")
    shelves.put("lamp", LAMP)
    (tmp_path / "secret.board").write_text(LAMP)
    (tmp_path / "designs" / "leak.board").symlink_to(tmp_path / "secret.board")
    assert [k.name for k in shelves.all()[OWN]] == ["lamp"]
    with pytest.raises(TakenError):
        shelves.put("leak", "plate 1 x 1\n")
    assert (tmp_path / "secret.board").read_text() == LAMP


@pytest.mark.parametrize(("title", "name"), [
    ("Lampe für die Küche!", "lampe-fuer-die-kueche"), ("  --  ", ""), ("Größe 2", "groesse-2"),
    ("a" * 80, "a" * 60), ("../../etc", "etc"), ("Égal", "egal"),
])  # fmt: skip
def test_a_title_becomes_a_name(title: str, name: str) -> None:
    assert name_of(title) == name


def test_drafts_outlive_the_server(tmp_path: Path) -> None:
    drafts = Drafts(tmp_path)
    draft = drafts.begin("one\n", kit="chips")
    draft.step("two\n")
    draft.back(-1)
    drafts.keep(draft)
    (tmp_path / "broken.json").write_text("{")
    again = Drafts(tmp_path).get(draft.id)
    assert (again.text, again.kit, again.texts) == ("one\n", "chips", ["one\n", "two\n"])
    again.step("three\n")
    assert again.texts == ["one\n", "three\n"]
    again.back(1)
    assert again.text == "three\n"
    drafts.drop(draft)
    assert Drafts(tmp_path).all() == []


def test_the_newest_drafts_come_first_and_the_oldest_makes_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = iter(range(1, 100))
    monkeypatch.setattr("snapcheck.web._drafts.time.time", lambda: float(next(clock)))
    monkeypatch.setattr("snapcheck.web._drafts.MOST_DRAFTS", 3)
    drafts = Drafts(tmp_path)
    first, second, third = (drafts.begin(f"{n}\n") for n in range(3))
    drafts.keep(first)  # worked at again
    assert drafts.all() == [first, third, second]
    fourth = drafts.begin("3\n")
    assert drafts.all() == [fourth, first, third] and len(list(tmp_path.iterdir())) == 3


def test_a_draft_that_two_threads_keep_is_whole_and_the_newest(tmp_path: Path) -> None:
    drafts = Drafts(tmp_path)
    draft = drafts.begin("plate 2 x 1\n")

    def one(n: int) -> None:
        draft.step(f"step {n}\n" * 2000)
        drafts.keep(draft)

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(one, range(60)))  # raises what a thread raised
    assert Drafts(tmp_path).get(draft.id).text == draft.text
    assert [p.name for p in tmp_path.iterdir()] == [f"{draft.id}.json"]
    drafts.drop(draft)
    drafts.keep_behind(draft)  # the answer before has gone out; nothing comes back
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_takes_no_step_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drafts = Drafts(tmp_path)
    draft = drafts.begin("one\n")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("snapcheck.web._drafts.write_whole", full)
        draft.step("two\n")
        drafts.keep_behind(draft)
    assert "No space left" in draft.unkept
    draft.step("three\n")
    drafts.keep_behind(draft)
    assert draft.unkept == "" and Drafts(tmp_path).get(draft.id).text == "three\n"


def test_steps_are_bounded() -> None:
    draft = Draft("x", ["0"])
    for n in range(MOST_STEPS + 5):
        draft.step(f"{n + 1}")
    assert len(draft.texts) == MOST_STEPS and draft.text == str(MOST_STEPS + 5)


def test_proposals_join_what_stands_around() -> None:
    text = "plate 3 x 3\nA2 resistor 1k\nC2 resistor 1k\nB1 resistor 1k turn=90\n"
    assert api.fitting_told(text, "B2")[0] == "B2 tee stem=up"
    assert "B2 resistor 1k" in api.fitting_told(text, "B2")
