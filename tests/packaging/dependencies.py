"""The installed distributions that snapcheck runs with, by their plain names."""

from __future__ import annotations

import re
from importlib import metadata

from packaging.requirements import Requirement


def plain(name: str) -> str:
    """A distribution's name as indexes compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def running_dependencies() -> dict[str, metadata.Distribution]:
    """Those that `pip install snapcheck` draws in here, without extras of ours; directly or not."""
    found: dict[str, metadata.Distribution] = {}
    done: set[tuple[str, str]] = set()
    todo = [("snapcheck", "")]
    while todo:
        name, extra = todo.pop()
        if (plain(name), extra) in done:
            continue
        done.add((plain(name), extra))
        here = metadata.distribution(name)
        found[plain(name)] = here
        for text in here.requires or ():
            asked = Requirement(text)
            if asked.marker is None or asked.marker.evaluate({"extra": extra}):
                todo += [(asked.name, more) for more in ("", *asked.extras)]
    del found["snapcheck"]
    return found
