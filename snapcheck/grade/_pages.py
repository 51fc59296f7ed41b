"""Pages that look like the report: one HTML file each, no network, no script."""

from __future__ import annotations

import base64
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from snapcheck import __version__
from snapcheck.grade._course import Course
from snapcheck.grade._pictures import Pictures
from snapcheck.grade._review import Review
from snapcheck.report import foot_css, pages, style
from snapcheck.words import active_language, numeral, tr

if TYPE_CHECKING:
    import jinja2


def data(name: str) -> str:
    """Text of a file in ``data/``."""
    return resources.files("snapcheck.grade").joinpath(f"data/{name}").read_text(encoding="utf-8")


@cache
def _environment() -> jinja2.Environment:
    import jinja2

    return pages(jinja2.FunctionLoader(lambda name: data(f"{name}.html.j2")))


def part(name: str, **values: Any) -> str:
    """A piece of a page from the template ``data/NAME.html.j2``, with its own style."""
    text = _environment().get_template(name).render(tr=tr, numeral=numeral, **values)
    return f"<style>{data('page.css')}</style>{text}"


def page(name: str, title: str, kicker: str, foot: str = "", **values: Any) -> str:
    """A page from the template ``data/NAME.html.j2``; `foot` stands on paper ("": both titles)."""
    return _environment().get_template(name).render(
        tr=tr, numeral=numeral, lang=active_language(), title=title, kicker=kicker,
        program=f"snapcheck {__version__}",
        css=style() + foot_css(foot or f"{title} · {kicker}") + data("page.css"), **values,
    )  # fmt: skip


def review_page(course: Course, found: Review) -> str:
    """What waits for a person, with the part of the picture, the choices and what each would do."""
    pictures = Pictures(course)
    items = []
    for w in found.waiting:
        reading = found.readings.get(w.sha) if w.kind == "cell" else None
        crop = pictures.crop(w.path, reading, w.cells)
        items.append((w, base64.b64encode(crop).decode() if crop else ""))
    title = tr("Waiting for a person: {n}", n=len(items))
    return page("review", title, course.title, items=items, unmatched=found.unmatched)
