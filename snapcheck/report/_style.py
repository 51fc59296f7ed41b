"""The style sheet of snapcheck's pages, and how their templates are filled in."""

from __future__ import annotations

import re
from datetime import date
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from snapcheck.words import shown

if TYPE_CHECKING:
    import jinja2


@cache
def style() -> str:
    """CSS of the report, for other pages that shall look like it."""
    return resources.files("snapcheck.report").joinpath("data/report.css").read_text(encoding="utf-8")


def foot_css(words: str) -> str:
    """CSS for the foot of every printed page: words with today's date, and the page's number."""
    text = f"{shown(words, isolate=False)} · {date.today().isoformat()}"
    quoted = re.sub(
        r"[^\w .,:·()-]", lambda m: f"\\{ord(m[0]):x} ", text
    )  # cannot end the string or the sheet
    return (
        f'@page{{@bottom-left{{content:"{quoted}";width:90%}}'
        '@bottom-right{content:counter(page) " / " counter(pages)}}'
    )


def pages(loader: jinja2.BaseLoader | None = None) -> jinja2.Environment:
    """Templates for HTML: what is filled in is escaped and safe to show; an unknown name is an error."""
    import jinja2

    return jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, loader=loader, finalize=_filled_in
    )


def _filled_in(value: Any) -> Any:
    return shown(value, lines=True) if isinstance(value, str) and not hasattr(value, "__html__") else value
