"""The style sheet of snapcheck's pages."""

from __future__ import annotations

from functools import cache
from importlib import resources


@cache
def style() -> str:
    """CSS of the report, for other pages that shall look like it."""
    return resources.files("snapcheck.report").joinpath("data/report.css").read_text(encoding="utf-8")
