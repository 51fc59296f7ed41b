"""The report on paper: what stands at the foot of a page, and that pages are used."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from reportmaker import photographed, written

from snapcheck.report import foot_css, report_html

PLANS = {
    "written": "",
    "speech-stage-reversed": "designs/speech-stage.board",
    "hiss-filter-swapped": "designs/hiss-filter.board",
    "first-light-good": "designs/first-light.board",
    "flasher-crossing-leads": "designs/two-lamp-flasher.board",
}


def report(name: str) -> str:
    if name == "written":
        return report_html(written())
    result, pixels = photographed(name, PLANS[name])
    return report_html(result, pixels=pixels)


def sheets(page: str) -> list[Any]:
    weasyprint = pytest.importorskip("weasyprint", exc_type=(ImportError, OSError))
    return list(weasyprint.HTML(string=page).render().pages)


def words(boxes: Any) -> str:
    return " ".join(b.text for b in boxes if type(b).__name__ == "TextBox")


def margins(sheet: Any) -> str:
    """What stands in the margins of a page, not in the page itself."""
    told = [b for b in sheet._page_box.children if type(b).__name__ == "MarginBox"]
    return " ".join(words(b.descendants()) for b in told)


@pytest.mark.parametrize("name", PLANS)
def test_every_sheet_says_what_it_belongs_to_and_none_but_the_last_is_half_empty(name: str) -> None:
    made = sheets(report(name))
    for number, sheet in enumerate(made, start=1):
        foot = margins(sheet)
        assert date.today().isoformat() in foot and f"{number} / {len(made)}" in foot
        assert ("Reading lamp" if name == "written" else f"{name}.jpg") in foot
        root = next(b for b in sheet._page_box.children if type(b).__name__ != "MarginBox")
        drawn = [
            b
            for b in root.descendants()
            if type(b).__name__ in ("TextBox", "InlineReplacedBox", "BlockReplacedBox")
        ]
        used = max(b.position_y + b.height for b in drawn) / sheet.height
        assert used > 0.6 or number == len(made), f"page {number} of {len(made)} ends at {used:.0%}"


def test_a_name_cannot_leave_the_foot() -> None:
    hostile = 'A "}</style><b>x</b>\\ \n@import url(http://x) é'
    css = foot_css(hostile)
    inside = re.search(r'content:"([^"]*)"', css)
    assert inside and "<" not in css and "\n" not in css and css.count("{") == css.count("}")
    told = margins(sheets(f"<style>{css}</style><p>x</p>")[0])
    assert "</style>" in told.replace(" ", "") and "é" in told
