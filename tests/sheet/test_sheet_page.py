"""The build sheet on paper and as HTML."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from samples import KIT, designs

from snapcheck.board import parse_layout
from snapcheck.errors import MissingLibraryError
from snapcheck.report import html_to_pdf
from snapcheck.sheet import make_sheet, needed_of, sheet_html, stages_text
from snapcheck.simulate import Simulator
from snapcheck.words import use_language

DESIGNS = {file.stem: design for file, design in designs()}


@pytest.fixture(scope="module")
def pages(simulator: Simulator) -> dict[str, str]:
    names = ("first-light", "speech-stage", "loudspeaker-amplifier")
    return {n: sheet_html(make_sheet(DESIGNS[n], KIT, simulator), for_pdf=True) for n in names}


def words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.partition("<body>")[2]))


def test_it_says_everything(simulator: Simulator) -> None:
    design = DESIGNS["loudspeaker-amplifier"]
    page = sheet_html(make_sheet(design, KIT, simulator))
    told = words(page)
    assert design.title in told and design.purpose in told
    assert len(re.findall(r"</h4>\s*<svg", page)) == 16 and told.count("Step ") >= 16
    assert "Never mains" in told and "power last" in told and "Before the power" in told
    assert "5.73 V (4.71 V to" in told and "Then take the power out again" in told
    assert "11 tee wire" in told and "2 resistor 4k7" in told and "1 lead" in told and "1 tap" in told
    assert "gain at 1 kHz" in told and "plus to the left" in told
    assert page.count('r="13" fill="#fff"') == 6  # test points in the circuit, too
    assert "<script" not in page and not re.search(r'(?:src|href)="(?!data:|#)', page)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_have_their_size_foot_and_are_used(pages: dict[str, str], paper: str) -> None:
    try:
        html_to_pdf("<p>x</p>")  # imports it with Pillow left as it was
    except MissingLibraryError:
        pytest.skip("WeasyPrint or Pango is not installed")
    import weasyprint

    for name, page in pages.items():
        text = page if paper == "a4" else page.replace("{size:A4}", "{size:letter}")
        assert (text != page) == (paper == "letter")
        made = weasyprint.HTML(string=text).render().pages
        for number, sheet in enumerate(made, 1):
            # ISO 216: A4 is 210 x 297 mm; ANSI Y14.1 size A (letter) is 8.5 x 11 in; 96 pixels an inch
            size = (210 / 25.4 * 96, 297 / 25.4 * 96) if paper == "a4" else (8.5 * 96, 11 * 96)
            assert (sheet.width, sheet.height) == pytest.approx(size, abs=1)
            foot = " ".join(b.text for b in _in_margins(sheet) if type(b).__name__ == "TextBox")
            assert date.today().isoformat() in foot and f"{number} / {len(made)}" in foot
            assert DESIGNS[name].title in foot
            boxes = [b for b in _inside(sheet) if type(b).__name__ in ("TextBox", "BlockReplacedBox")]
            used = max(b.position_y + b.height for b in boxes) / sheet.height
            assert used > 0.6 or number == len(made), f"{name}: page {number} ends at {used:.0%}"
            assert max(b.position_x + b.width for b in boxes) < sheet.width - 30  # nothing runs off the paper


def _in_margins(sheet: Any) -> list[Any]:
    boxes = [b for b in sheet._page_box.children if type(b).__name__ == "MarginBox"]
    return [d for b in boxes for d in b.descendants()]


def _inside(sheet: Any) -> list[Any]:
    root = next(b for b in sheet._page_box.children if type(b).__name__ != "MarginBox")
    return list(root.descendants())


def test_new_cubes_stand_out_and_old_ones_stand_back() -> None:
    sheet = make_sheet(DESIGNS["first-light"], KIT)
    page = sheet_html(sheet)
    pictures = re.findall(r"</h4>\s*(<svg.*?</svg>)", page, flags=re.S)
    assert len(pictures) == len(sheet.course.steps)
    for step, picture in zip(sheet.course.steps, pictures, strict=True):
        assert picture.count('stroke-width="7"/>') == len(step.cells)
        before = sum(len(s.cells) for s in sheet.course.steps[: step.number - 1])
        assert picture.count('opacity="0.38"') <= before


def test_hostile_words_of_a_design_are_shown_not_obeyed() -> None:
    text = (
        "plate 2 x 1\ntitle <script>alert(1)</script>\nnote <b>x</b>\nA1 resistor 470\nB1 ground stem=left\n"
        "stage <i>one</i>: A1\nnote </style><img src=http://x>\n"
    )
    page = sheet_html(make_sheet(parse_layout(text, "plan", KIT), KIT))
    assert "<script>" not in page and "<b>x" not in page and "<i>one" not in page and "<img" not in page


def test_the_parts_list_counts_by_value() -> None:
    rows = {(n.kind, n.printed): n for n in needed_of(DESIGNS["speech-stage"].board, KIT)}
    assert rows["resistor", "10k"].count == 2 and rows["electrolytic", "4u7"].value == "4.7 µF"
    assert rows["resistor", "10k"].value == "" and rows["ground", ""].wire
    assert sum(n.count for n in rows.values()) == len(DESIGNS["speech-stage"].board.cubes)


def test_the_stages_that_it_prints_are_read_back() -> None:
    design = DESIGNS["two-stage-amplifier"]
    sheet = make_sheet(design, KIT)
    text = "\n".join(f"{c} {q.kind} {q.value or ''} turn={q.turn}" for c, q in design.board.cubes.items())
    text = f"plate {design.board.columns} x {design.board.rows}\n" + re.sub(r"(\d)\.0 ", r"\1 ", text)
    text = re.sub(r"(electrolytic|capacitor) \S+", r"\1 10u", text)
    again = make_sheet(parse_layout(f"{text}\n{stages_text(sheet)}", "plan", KIT), KIT)
    assert [s.name for s in again.course.stages] == [s.name for s in sheet.course.stages]
    assert [set(s.cells) for s in again.course.stages] == [set(s.cells) for s in sheet.course.stages]


def test_it_speaks_german() -> None:
    use_language("de")
    try:
        told = words(sheet_html(make_sheet(DESIGNS["first-light"], KIT)))
    finally:
        use_language("en")
    assert "Bauzettel" in told and "Strom zuletzt" in told and "Step" not in told
