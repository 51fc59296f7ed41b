"""The page in a real browser (Chromium): on a phone and on a desk."""

from __future__ import annotations

import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from reportmaker import photographed, written

from snapcheck.report import report_html
from snapcheck.words import use_language

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
sync_api = pytest.importorskip(
    "playwright.sync_api", reason="playwright is not installed (pip install '.[test]')"
)
pytestmark = pytest.mark.skipif(BROWSER is None, reason="no Chromium here; .ci/run installs one")

#: relative luminance and contrast as in WCAG 2.2, 1.4.3; large text is 24 px, or 18.66 px bold
CONTRAST = """() => {
  const channel = c => { c /= 255; return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4; };
  const light = c => 0.2126 * channel(c[0]) + 0.7152 * channel(c[1]) + 0.0722 * channel(c[2]);
  const parse = s => { const n = s.match(/[\\d.]+/g).map(Number); return n.length < 4 ? [...n, 1] : n; };
  const ground = e => { for (; e; e = e.parentElement) {
    const c = parse(getComputedStyle(e).backgroundColor); if (c[3] > 0.99) return c; }
    return [255, 255, 255, 1]; };
  const poor = []; let looked = 0;
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const e = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || e.closest('svg') || e.closest('.vh')) continue;
    const style = getComputedStyle(e), a = light(parse(style.color)), b = light(ground(e));
    const size = parseFloat(style.fontSize), large = size >= 24 || (size >= 18.66 && style.fontWeight >= 700);
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05); looked += 1;
    if (ratio < (large ? 3 : 4.5)) poor.push([walker.currentNode.textContent.trim().slice(0, 40), ratio]);
  }
  return {looked, poor};
}"""


def pages() -> dict[str, str]:
    """The pages to look at, by name."""
    made = {"written": report_html(written()), "student": report_html(written(), student=3)}
    for name, plan in (
        ("speech-stage-reversed", "designs/speech-stage.board"),
        ("first-light-good", "designs/first-light.board"),
        ("flasher-crossing-leads", "designs/two-lamp-flasher.board"),
        ("mixed-cubes", "designs/speech-stage.board"),
    ):
        result, pixels = photographed(name, plan)
        made[name] = report_html(result, pixels=pixels)
    use_language("de")
    result, pixels = photographed("speech-stage-reversed", "designs/speech-stage.board")
    made["german"] = report_html(result, pixels=pixels, lang="de")
    use_language("en")
    return made


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("pages")
    for name, page in pages().items():
        (folder / f"{name}.html").write_text(page, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        yield running
        running.close()


NAMES = (
    "written", "student", "speech-stage-reversed", "first-light-good", "flasher-crossing-leads",
    "mixed-cubes", "german",
)  # fmt: skip


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", NAMES)
def test_page_fits_asks_nobody_and_can_be_read(browser: Any, folder: Path, name: str, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 800})
    asked: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    file = (folder / f"{name}.html").as_uri()
    page.goto(file)
    assert [url for url in asked if url != file and not url.startswith("data:")] == []
    assert complaints == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    wide = page.evaluate(
        "[...document.querySelectorAll('main *:not(svg *)')].filter(e => !e.closest('.scroll') && "
        f"e.getBoundingClientRect().right > {width} + 1).map(e => e.className || e.tagName)"
    )
    assert wide == []
    assert page.evaluate("[...document.images].filter(i => !i.alt).length") == 0
    nameless = page.evaluate(
        "[...document.querySelectorAll('svg')].filter(s => !s.closest('[aria-hidden]')"
        " && !s.parentElement.closest('svg') && !s.querySelector('title')?.textContent"
        " && !s.getAttribute('aria-label')).length"
    )
    assert nameless == 0
    contrast = page.evaluate(CONTRAST)
    assert contrast["looked"] > 15 and contrast["poor"] == []
    assert page.evaluate("document.documentElement.lang") == ("de" if name == "german" else "en")
    page.close()


@pytest.mark.parametrize("name", ["written", "student", "speech-stage-reversed"])
def test_a_browser_in_the_dark_gets_dark_pages_that_can_be_read(
    browser: Any, folder: Path, name: str
) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844}, color_scheme="dark")
    page.goto((folder / f"{name}.html").as_uri())
    contrast = page.evaluate(CONTRAST)
    assert contrast["looked"] > 15 and contrast["poor"] == []
    ground = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(ground) == "rgb(19, 30, 41)"
    # drawings are dark strokes: they keep their light ground
    drawn = page.evaluate("[...document.querySelectorAll('figure>svg, .enlarge>svg, .drawing')].map(e => "
                          "getComputedStyle(e).backgroundColor)")  # fmt: skip
    assert drawn and all(int(c[4:-1].split(",")[0]) > 240 for c in drawn)
    page.emulate_media(media="print")
    assert page.evaluate(ground) == "rgb(255, 255, 255)"
    page.close()


def test_headings_go_down_step_by_step(browser: Any, folder: Path) -> None:
    page = browser.new_page()
    page.goto((folder / "speech-stage-reversed.html").as_uri())
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3,h4')].map(h => +h.tagName[1])")
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    page.close()


@pytest.mark.parametrize("name", [n for n in NAMES if n != "first-light-good"])
def test_a_phone_shows_first_what_to_do_first(browser: Any, folder: Path, name: str) -> None:
    """Verdict and the first mend on the first screen; the usual cautions folded; pictures after them."""
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto((folder / f"{name}.html").as_uri())

    def box(what: str) -> Any:
        return page.locator(what).first.bounding_box()

    first = box(".finding .mend" if name != "student" else ".finding p")
    assert first["y"] + first["height"] <= 844
    places = [box(w)["y"] for w in (".verdict", ".finding", ".cautions", ".pictures")]
    assert places == sorted(places)
    assert box(".cautions")["height"] < 80 and not page.locator(".cautions li").first.is_visible()
    for danger in page.locator(".finding.sev-danger").all():  # its own caution is not folded
        assert danger.locator(".caution").is_visible()
    page.locator(".cautions summary").click()
    assert page.locator(".cautions li").first.is_visible()
    page.emulate_media(media="print")  # on paper nothing is folded
    page.locator(".cautions summary").evaluate("e => e.parentElement.open = false")
    assert box(".cautions li")["height"] > 0 and page.locator(".cautions li").first.is_visible()
    page.close()


def test_a_tap_enlarges_a_picture_without_script(browser: Any, folder: Path) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, java_script_enabled=False)
    page = context.new_page()
    page.goto((folder / "speech-stage-reversed.html").as_uri())
    assert page.locator(".picture").count() == 3
    for name in ("built", "planned", "nets"):
        drawing, back = page.locator(f"#{name} svg"), page.locator(f"#{name} .back")
        assert drawing.bounding_box()["width"] < 390 and not back.is_visible()
        drawing.click()
        large = drawing.bounding_box()
        assert large["width"] >= 900 and large["y"] < 200  # it fills the screen and can be moved
        back.click()
        assert drawing.bounding_box()["width"] < 390 and not back.is_visible()
    context.close()


def test_it_prints_on_few_pages_without_cutting(browser: Any, folder: Path) -> None:
    page = browser.new_page()
    page.goto((folder / "speech-stage-reversed.html").as_uri())
    pdf = page.pdf(format="A4", prefer_css_page_size=True)
    assert pdf.startswith(b"%PDF") and 2 <= pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page/") <= 9
    page.close()
