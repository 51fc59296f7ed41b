"""The plate at the desk in a real browser: mouse, keys, text; a phone, no script, and what axe-core says."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from test_bench_browser import ANSWERS, PHONE, PHOTO, Pictured, Served, at_desk, joined
from test_designs import Inline
from wanting import found_wanting

from snapcheck.web import _plate

LAMP = """\
plate 5 x 5
title Desk lamp
expect current at B3 5 to 12 mA
B1 ground stem=down
# the supply
B2 battery 9V plus=down
B3 resistor 680 turn=90
B4 led red anode=up
B5 ground stem=up
"""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    ends = [("C4|D4", 368, 422), ("H3", 850, 314), ("E4|E5", 530, 476)]
    told = {
        **ANSWERS[1]["told"],
        "ends": [{"end": end, "words": end, "x": x, "y": y} for end, x, y in ends],
    }
    answer = {"told": told, "reading": {"for": "tests"}}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(_plate, "Worker", Inline)
        served = Served(tmp_path_factory.mktemp("plate"), Pictured(answer))
    yield served
    served.close()


def begun(page: Any, served: Served, text: str = "") -> Any:
    """A page with an empty plate, or with this text on it."""
    page.goto(f"{served.address}/desk/designs")
    page.fill("#title", "Desk lamp")
    page.click("form:has(#columns) button")
    page.wait_for_selector("a.cell[tabindex='0']")  # the script is at work
    if text:
        page.fill("#text", text)
        page.wait_for_selector("a.cell.full")
        page.wait_for_selector("#told:not([data-late])")
    return page


def written(page: Any, line: str) -> None:
    """Waits until the layout file has this line."""
    page.wait_for_function(
        "line => document.getElementById('text').value.split('\\n').includes(line)", arg=line
    )


def test_from_an_empty_plate_to_a_saved_design(browser: Any, served: Served) -> None:
    page = at_desk(browser, served)
    complaints: list[str] = []
    page.on("console", lambda m: complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    begun(page, served)
    page.click("a.cell[data-cell=A1]")
    page.click("#beside .fitting button[value^='A1 ground']")
    written(page, "A1 ground stem=up")
    page.fill("#text", LAMP)  # typed text becomes the plate
    page.wait_for_selector("a.cell.full[aria-label^='B4:']")
    page.wait_for_selector("td:has-text('✓')")
    assert page.locator("#verdict .word").text_content() == "Ready to power."
    page.fill("#text", LAMP.replace("B4 led", "B4 lde"))  # and what is none yet is told, and not lost
    page.wait_for_selector("#written .wrong")
    assert "B4 lde red" in page.input_value("#text") and page.locator("a.cell.full").count() == 5
    page.fill("#text", LAMP)
    page.wait_for_selector("#written .wrong", state="detached")
    start, goal = (page.locator(f"a.cell[data-cell={c}]").bounding_box() for c in ("B5", "D5"))
    page.mouse.move(start["x"] + 20, start["y"] + 20)
    page.mouse.down()
    page.mouse.move(goal["x"] + 20, goal["y"] + 20, steps=4)
    page.mouse.up()
    written(page, "D5 ground stem=up")
    page.wait_for_selector("#told .sev-fault")  # the LED hangs loose
    page.click("button[value=undo]")
    written(page, "B5 ground stem=up")
    page.click("a.cell[data-cell=B3]")
    page.wait_for_selector("#beside h2:has-text('B3')")
    assert "B3 down" in page.locator(".volts").text_content()
    page.fill("#value", "1k2")
    page.click("form.put button")
    written(page, "B3 resistor 1k2 turn=90")
    assert "# the supply" in page.input_value("#text")
    page.fill("#name", "Desk lamp")
    page.click("form[action$='/save'] button")
    page.wait_for_selector("text=Saved as desk-lamp.board.")
    assert "B3 resistor 1k2" in (served.site.settings.designs_folder / "desk-lamp.board").read_text()
    assert complaints == []


def test_by_keyboard_alone(browser: Any, served: Served) -> None:
    page = begun(at_desk(browser, served), served, LAMP)
    page.keyboard.press("Escape")
    page.locator("a.skip").focus()
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.matches('a.cell')"):
            break
    page.keyboard.press("Enter")  # the first cell
    page.wait_for_selector("#beside h2:has-text('A1')")
    page.keyboard.press("Escape")
    for key, cell in (("Right", "B1"), ("Down", "B2"), ("Down", "B3"), ("Down", "B4"), ("Right", "C4")):
        page.keyboard.press(f"Arrow{key}")
        page.wait_for_selector(f"#beside h2:has-text('{cell}')")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Shift+ArrowRight")
    written(page, "C4 led red anode=up")
    page.keyboard.press("r")
    written(page, "C4 led red anode=right")
    page.keyboard.press("Shift+R")
    page.keyboard.press("Shift+ArrowLeft")
    written(page, "B4 led red anode=up")
    page.keyboard.press("Enter")
    page.wait_for_selector("#value:focus")
    page.keyboard.type("green")
    page.keyboard.press("Enter")
    written(page, "B4 led green anode=up")
    page.keyboard.press("Escape")
    page.wait_for_selector("a.cell:focus")
    page.keyboard.press("Delete")
    page.wait_for_selector("a.cell[data-cell=B4]:not(.full)")
    page.keyboard.press("Control+z")
    written(page, "B4 led green anode=up")
    told = page.locator("#heard").text_content()
    assert "B4: " in told and "power" in told


def test_a_finger_drags_the_chosen_cube_and_scrolls_elsewhere(browser: Any, served: Served) -> None:
    page = begun(at_desk(browser, served, viewport=PHONE, has_touch=True), served, LAMP)
    touch = page.context.new_cdp_session(page)

    def swipe(start: str, goal: str) -> None:
        boxes = [page.locator(f"a.cell[data-cell={c}]").bounding_box() for c in (start, goal)]
        (x, y), (u, v) = ((b["x"] + b["width"] / 2, b["y"] + b["height"] / 2) for b in boxes)
        for n in range(7):
            at = {"x": x + (u - x) * n / 6, "y": y + (v - y) * n / 6}
            touch.send(
                "Input.dispatchTouchEvent", {"type": "touchMove" if n else "touchStart", "touchPoints": [at]}
            )
        touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    page.locator("a.cell[data-cell=B4]").scroll_into_view_if_needed()
    swipe("B4", "C4")  # it is not chosen: the page, or the plate in it, is what moves
    assert "B4 led red anode=up" in page.input_value("#text")
    page.tap("a.cell[data-cell=B4]")
    page.wait_for_selector("#beside h2:has-text('B4')")
    page.locator("a.cell[data-cell=B4]").scroll_into_view_if_needed()
    swipe("B4", "C4")
    written(page, "C4 led red anode=up")


def test_without_script_it_works_all_the_same(browser: Any, served: Served) -> None:
    page = at_desk(browser, served, java_script_enabled=False)
    page.goto(f"{served.address}/desk/designs")
    page.click("form:has(#columns) button")
    page.fill("#text", LAMP)
    page.click("button[value=text]")
    page.click("a.cell[data-cell=B4]")
    page.click("button[aria-label='Turn it clockwise']")
    assert "B4 led red anode=right" in page.input_value("#text")
    page.click(".wires summary")
    page.click("text=Lay a lead on the plate")
    page.click("a.end[data-end='B1|B2']")
    page.click("a.end[data-end='B4|C4']")
    page.click("form.leads button.main")
    assert "lead B1|B2 to B4|C4" in page.input_value("#text")


def test_a_lead_is_laid_by_two_taps_on_a_phone(browser: Any, served: Served) -> None:
    page = begun(at_desk(browser, served, viewport=PHONE, has_touch=True), served, LAMP)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.tap(".wires summary")
    page.tap("text=Lay a lead on the plate")
    page.tap("a.end[data-end='B1|B2']")
    page.wait_for_selector("text=It begins at: B1|B2")
    page.tap("a.end[data-end='B4|C4']")
    written(page, "lead B1|B2 to B4|C4")
    # likewise in what was read from a photo
    phone = joined(browser, served)
    phone.set_input_files("#camera", PHOTO)
    phone.wait_for_selector(".asked, .verdict")
    page.goto(f"{served.address}/desk/bench/4/reading")
    page.tap("text=Lay a lead in the picture")
    page.tap("a.end[data-end='H3']")
    page.wait_for_selector("a.end.here")
    page.tap("a.end[data-end='E4|E5']")
    page.wait_for_selector(".words li:nth-child(2)")
    said = re.findall(r"(tap|lead) ([^(]+) \(", page.locator(".words ul").text_content())
    assert said == [("tap", "E4|E5"), ("lead", "H3 to E4|E5")]
    assert found_wanting(page) == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(browser: Any, served: Served, scheme: str) -> None:
    page = begun(at_desk(browser, served, color_scheme=scheme), served, LAMP)
    here = page.url.partition("?")[0]
    wanting = []
    more = ["?cell=C3", "/plots"] if scheme == "light" else []
    for path in ("?cell=B3", "?cell=B3&ends=1&from=B1|B2", *more):
        page.goto(here + path)
        for fold in page.locator("details > summary").all():
            fold.click()
        wanting += found_wanting(page)
    page.goto(here)
    page.fill("#text", LAMP.replace("B3 resistor", "B3 resistro"))
    page.wait_for_selector("#written .wrong")
    wanting += found_wanting(page)
    page.goto(f"{served.address}/desk/designs")
    assert wanting + found_wanting(page) == []
