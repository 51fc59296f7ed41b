"""``snapcheck guide [CHAPTER]``: the guide, or one chapter of it, on the terminal."""

from __future__ import annotations

import argparse
import difflib
import re
from importlib.resources import files

from snapcheck.cli._common import print_json
from snapcheck.cli._output import console, document
from snapcheck.errors import InputError
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("chapter", metavar="CHAPTER", nargs="*", help="such as plans, or a class")


def chapters() -> dict[str, str]:
    """Title to text (Markdown), in their order."""
    text = files("snapcheck").joinpath("GUIDE.md").read_text(encoding="utf-8")
    parts = re.split(r"^## (.*)$", text, flags=re.MULTILINE)[1:]
    return {title: body.strip() for title, body in zip(parts[::2], parts[1::2], strict=True)}


def run(args: argparse.Namespace) -> int:
    found = chapters()
    wanted = " ".join(args.chapter).lower()
    if wanted:
        named = [t for t in found if wanted == t or wanted in t.split()]
        near = difflib.get_close_matches(wanted, list(found), 1)
        if not (named or near):
            raise InputError(
                tr("the guide has no chapter '{name}'.", name=wanted[:40]),
                way_out=tr("Accepted: {names}.", names=", ".join(found)),
            )
        found = {title: found[title] for title in (named or near)[:1]}
    if args.json:
        print_json(document("guide", {"chapters": [{"title": t, "text": text} for t, text in found.items()]}))
        return 0
    from rich.markdown import Markdown

    told = console()
    for title, text in found.items():
        told.print(Markdown(f"## {title}\n\n{text}"))
        told.print()
    return 0
