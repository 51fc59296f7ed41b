"""The bench page in a real browser (Chromium): a phone at the bench, the desk, keyboard alone, no script."""

from __future__ import annotations

import json
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from benchmaker import OTHER_VALUE, PHOTOS, PHRASE, REVERSED, Instant, told
from wanting import found_wanting

from snapcheck.web import Settings, make_app, make_site
from snapcheck.web._serve import ending_well
from snapcheck.web._site import Site
from snapcheck.web._workers import Worker

PHONE, DESK = {"width": 390, "height": 844}, {"width": 1280, "height": 800}
PHOTO = str(PHOTOS / "speech-stage-reversed.jpg")
#: bytes of a page with everything that it loads, before photos
MOST_BYTES = 200_000


ASKED = {
    "questions": [{
        "place": "E2", "cells": ["E2"], "reason": "the print is rubbed off",
        "options": [{"line": "E2 resistor 22k", "probability": 0.6},
                    {"line": "remove E2", "probability": None}],
    }],
    "cells": {"E2": {"line": "E2 resistor 22k", "sure": False,
                     "others": [{"line": "E2 resistor 2k2", "probability": 0.3}]}},
    "links": ["tap C4|D4"],
}  # fmt: skip
STEP = {"at": "C4 base", "words": "Red probe on C4.", "expected": "1 V", "powered": True, "kind": "volts"}
SEARCH = {
    "sentence": "Not found yet.", "tone": "question", "dangers": [], "contradictions": ["These two."],
    "suspects": [{"percent": 60, "faults": ["The battery.", "A contact."], "more": 2}], "photo": False,
    "steps": [
        {**STEP, "choices": []},
        {**STEP, "at": "contact C3|D3", "kind": "contact", "choices": [["good", "yes"]]},
    ],
}  # fmt: skip
ANSWERS = (
    {"told": told(REVERSED, OTHER_VALUE), "reading": {"for": "tests"}},
    {"told": {**told(OTHER_VALUE), **ASKED}, "reading": {"for": "tests"}},
)


class Pictured(Instant):
    """Answers at once with a real picture from above."""

    def do(self, job: dict[str, Any]) -> dict[str, Any]:
        answer = super().do(job)
        if "flat" in job:
            shutil.copy(PHOTO, job["flat"])
        return answer


class Served:
    """A bench page that a browser can reach."""

    def __init__(self, folder: Path, worker: Any) -> None:
        self.worker = worker
        self.site: Site = make_site(Settings(folder=folder), None if worker is None else [worker])
        self.site.access.set_phrase(PHRASE)
        self.site.access.new_code()
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        config = uvicorn.Config(
            make_app(self.site, self.address), log_level="error", timeout_graceful_shutdown=1, ws="none"
        )
        self._server = ending_well(config, self.site)
        self._thread = threading.Thread(target=self._server.run, args=([self._socket],), daemon=True)
        self._thread.start()
        for _ in range(500):
            if self._server.started:
                break
            time.sleep(0.01)

    def close(self) -> None:
        self._server.should_exit = True
        self._thread.join(20)
        self._socket.close()


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    served = Served(tmp_path, Pictured(*ANSWERS))
    yield served
    served.close()


def joined(browser: Any, served: Served, bench: int = 4, **options: Any) -> Any:
    context = browser.new_context(**{"viewport": PHONE, **options})
    page = context.new_page()
    complaints: list[str] = []
    page.complaints = complaints
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{served.address}/join?code={served.site.access.code()}")
    page.fill("#bench", str(bench))
    page.select_option("#task", "speech-stage")
    page.click("button.main")
    page.wait_for_url("**/bench")
    return page


def at_desk(browser: Any, served: Served, **options: Any) -> Any:
    page = browser.new_context(**{"viewport": DESK, **options}).new_page()
    page.goto(f"{served.address}/desk")
    page.fill("#phrase", PHRASE)
    page.click("button.main")
    page.wait_for_selector("h2")
    return page


def test_a_phone_from_photo_to_verdict_and_again(browser: Any, served: Served) -> None:
    page = joined(browser, served)
    desk = at_desk(browser, served)
    desk.wait_for_selector("text=no photo yet")
    page.set_input_files("#camera", PHOTO)
    page.wait_for_selector(".verdict")
    # verdict and the first thing to do are on the first screen, above the buttons
    first = page.locator(".finding .mend").first.bounding_box()
    bar = page.locator(".shoot").bounding_box()
    assert page.evaluate("scrollY") == 0 and first["y"] + first["height"] <= bar["y"]
    assert bar["y"] + bar["height"] <= PHONE["height"] + 1
    # told to a screen reader, as soon as the answer stands
    page.locator(":focus", has_text="Do not power.").wait_for(timeout=60_000)
    assert page.evaluate("document.activeElement.textContent") == "Do not power."
    assert page.locator(".take label").text_content() == "Photograph again"
    # the desk has heard of it by itself
    desk.wait_for_selector("text=must not power", timeout=5000)
    # a callout leads to its finding, a finding to its callout, and the picture can be enlarged
    page.locator("#mark-2 .badge text").click()
    assert page.url.endswith("#finding-2")
    page.locator("#picture .larger").click()
    assert page.locator("#picture svg").bounding_box()["width"] >= 900
    page.locator("#picture .back").click()
    assert page.locator("#picture svg").bounding_box()["width"] < 390
    page.set_input_files("#album", [PHOTO, PHOTO])
    page.wait_for_selector(".twice")
    left, right = (page.locator(f"#{name} svg").bounding_box() for name in ("before", "after"))
    assert left["y"] == right["y"] and left["x"] + left["width"] <= right["x"]
    assert len(served.worker.jobs[1]["photos"]) == 2
    # hints that the teacher holds back go from the phone by themselves
    mend = page.locator(".mend").first.text_content()
    desk.check("input[name=step][value='1']")
    desk.locator("form[action='/desk/hints'] button").click()
    page.wait_for_selector(".mend", state="detached", timeout=5000)
    assert mend not in page.content()
    assert page.complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_photos_are_made_smaller_before_they_are_sent(browser: Any, served: Served, tmp_path: Path) -> None:
    from PIL import Image

    large = tmp_path / "large.jpg"
    with Image.open(PHOTO) as picture:
        exif = Image.Exif()
        exif[0x0110], exif[0x0112] = "Pocket Camera 7", 6
        picture.resize((4000, 3000)).save(large, quality=95, exif=exif)
    page = joined(browser, served)
    page.set_input_files("#camera", str(large))
    page.wait_for_selector(".verdict")
    (shot,) = served.site.keep.shots(4)
    with Image.open(served.site.keep.photo(shot.id, 0)) as sent:
        assert 4.0e6 < sent.width * sent.height < 4.3e6
        assert sent.height > sent.width  # upright, as the camera was held
    assert b"Pocket Camera" not in served.site.keep.photo(shot.id, 0).read_bytes()


def test_without_script_it_works_all_the_same(browser: Any, served: Served) -> None:
    page = joined(browser, served, java_script_enabled=False)
    assert page.locator("#camera").is_visible()
    page.set_input_files("#album", PHOTO)
    page.click(".shoot button")
    page.wait_for_selector(".verdict", timeout=60_000)  # the page opens itself again while it waits
    assert page.locator(".finding .mend").first.is_visible()
    desk = at_desk(browser, served, java_script_enabled=False)
    assert desk.locator("text=must not power").is_visible()
    desk.click(".board a")
    assert desk.locator(".finding").first.is_visible()


def test_by_keyboard_alone(browser: Any, served: Served) -> None:
    page = joined(browser, served)
    page.set_input_files("#camera", PHOTO)
    page.wait_for_selector(".verdict")
    page.reload()
    reached = []
    for _ in range(40):
        page.keyboard.press("Tab")
        name = "e.id || e.getAttribute('href') || e.getAttribute('name') || e.tagName"
        reached.append(page.evaluate(f"(e => {name})(document.activeElement)"))
        outline = page.evaluate(
            "(e => { const s = getComputedStyle(e.id === 'camera' || e.id === 'album' ? "
            "e.parentElement.querySelector('label') : e); return s.outlineStyle + (e.closest('.callout') ? "
            "getComputedStyle(e.firstElementChild).filter : ''); })(document.activeElement)"
        )
        assert outline != "none" or reached[-1] == "BODY", reached[-1]
        if reached[-1] == "album":
            break
    for wanted in ("#main", "#mark-1", "mark-1", "#picture", "camera", "album"):
        assert wanted in reached, (wanted, reached)
    desk = browser.new_context(viewport=DESK).new_page()
    desk.goto(f"{served.address}/desk")
    desk.focus("#phrase")
    desk.keyboard.type(PHRASE)
    desk.keyboard.press("Enter")
    desk.wait_for_selector(".board")
    desk.focus(".board a")
    desk.keyboard.press("Enter")
    desk.wait_for_selector(".finding")
    desk.focus("input[name=step][value='2']")
    desk.keyboard.press("Space")
    with desk.expect_navigation():
        desk.keyboard.press("Enter")
    assert served.site.keep.bench(4).step == 2


def test_a_question_is_answered_by_a_tap_and_the_desk_puts_right(browser: Any, served: Served) -> None:
    served.worker.answers = [ANSWERS[1]]
    page = joined(browser, served)
    page.set_input_files("#camera", PHOTO)
    page.wait_for_selector(".asked")
    box = page.locator(".asked button").first.bounding_box()
    assert box["height"] >= 44  # for a thumb
    page.locator(".asked button").first.click()
    page.wait_for_selector(".words")
    assert page.locator(".words li").text_content() == "E2: resistor 22k, lying across (said at the bench)"
    desk = at_desk(browser, served)
    desk.goto(f"{served.address}/desk/bench/4/reading")
    desk.locator("a.cell.unsure").focus()
    desk.keyboard.press("Enter")
    desk.wait_for_selector("a.cell.here")
    desk.locator("button[name=line]").nth(1).click()
    desk.wait_for_selector(".words li:nth-child(2)")
    assert "E2: resistor 2k2, lying across (said at the desk)" in desk.locator(".words").text_content()
    desk.click("button[value=undo]")
    desk.wait_for_selector(".words li:nth-child(2)", state="detached")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(browser: Any, served: Served, scheme: str) -> None:
    page = joined(browser, served, color_scheme=scheme)
    wanting = found_wanting(page)
    page.set_input_files("#camera", PHOTO)
    page.wait_for_selector(".verdict")
    wanting += found_wanting(page)
    page.set_input_files("#camera", PHOTO)
    page.wait_for_selector(".twice")
    page.locator(".cautions summary").click()
    wanting += found_wanting(page)
    desk = at_desk(browser, served, color_scheme=scheme)
    wanting += found_wanting(desk)
    reading = "/desk/bench/4/reading?cell=E2"
    served.site.keep.keep("find", "yes")
    page.goto(f"{served.address}/bench/find")
    wanting += found_wanting(page)
    kept = {"task": "speech-stage", "entries": [["symptom", "silent"]], "told": SEARCH, "svg": "<svg/>"}
    served.site.keep.keep("search 4", json.dumps(kept))
    page.reload()
    page.locator(".others summary").click()
    assert page.locator(".measure .main").bounding_box()["height"] >= 44  # for a thumb
    wanting += found_wanting(page)
    more = ("/desk/programs", "/desk/bench/4/find")
    served.site.tokens.new("platform", "hand-in")
    for path in ("/desk/bench/4", reading, "/desk/end", "/desk/audit", "/nothing", *more):
        desk.goto(served.address + path)
        wanting += found_wanting(desk)
    stranger = browser.new_context(viewport=PHONE, color_scheme=scheme).new_page()
    for path in ("/join", "/desk"):
        stranger.goto(served.address + path)
        wanting += found_wanting(stranger)
    assert wanting == []


def test_pages_are_light(browser: Any, served: Served) -> None:
    for page, path in ((joined(browser, served), "/bench"), (at_desk(browser, served), "/desk")):
        weights: list[tuple[str, int]] = []
        page.on("response", lambda r, w=weights: "news" in r.url or w.append((r.url, len(r.body()))))
        page.goto(served.address + path)
        page.reload()
        page.wait_for_load_state("load")
        assert {url.removeprefix(served.address) for url, _ in weights}
        assert 10_000 < sum(dict(weights).values()) <= MOST_BYTES, weights


def test_two_benches_at_once_keep_apart(browser: Any, served: Served) -> None:
    one, other = joined(browser, served, 1), joined(browser, served, 2)
    one.set_input_files("#camera", PHOTO)
    one.wait_for_selector(".verdict")
    assert other.locator(".verdict").count() == 0
    other.set_input_files("#camera", PHOTO)
    other.wait_for_selector(".verdict")
    assert one.locator(".verdict .word").text_content() == "Do not power."
    assert other.locator(".verdict .word").text_content() != "Do not power."


def test_a_photo_is_really_read(browser: Any, tmp_path: Path) -> None:
    from snapcheck.web._job import work

    served = Served(tmp_path, Worker(work, 60))
    page = joined(browser, served)
    page.set_input_files("#camera", PHOTO)
    page.wait_for_selector(".verdict", timeout=60_000)
    assert page.locator(".verdict .word").text_content() == "Do not power."
    assert "F6" in page.locator(".finding .mend").first.text_content()
    served.close()
