"""What the extraction tool (Babel) must be told about this program; never used while it runs."""

from __future__ import annotations

import ast
import io
import tomllib
from collections.abc import Collection, Iterator, Mapping
from typing import IO, Any, cast

_Found = tuple[int, str | None, Any, list[str]]


def verbs(
    file: IO[bytes], keywords: Mapping[str, Any], comments: Collection[str], options: Mapping[str, Any]
) -> Iterator[_Found]:
    """Sentences of ``tr`` in a Python file, help of options and verbs, exit codes, argparse's own words."""
    from babel.messages.extract import extract_python

    source = file.read()
    for found in extract_python(io.BytesIO(source), keywords, comments, options):  # type: ignore[arg-type]
        yield cast(_Found, found)
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.keyword(arg="help", value=value):
                yield from _constant(value)
            case ast.Assign(targets=[ast.Name(id="_EXIT_CODES" | "FORMS")], value=value):
                yield from _constant(value)
            case ast.Assign(targets=[ast.Name(id="ARGPARSE_WORDS")], value=ast.Tuple(elts=words)):
                for word in words:
                    yield from _constant(word)
            case ast.AnnAssign(target=ast.Name(id="VERBS"), value=ast.Dict(values=values)):
                for entry in values:
                    if isinstance(entry, ast.Tuple):
                        yield from _constant(entry.elts[1])


def _constant(node: ast.expr) -> Iterator[_Found]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.lineno, None, node.value, []


def titles(
    file: IO[bytes], keywords: Mapping[str, Any], comments: Collection[str], options: Mapping[str, Any]
) -> Iterator[_Found]:
    """Titles of the kinds in a kit; titles and reasons in a rubric."""
    data = tomllib.loads(file.read().decode("utf-8"))
    tables = [*data.get("kind", {}).values()]
    if "item" in data:
        tables += [data, *(t for name in ("item", "cap", "bonus") for t in data.get(name, []))]
    for table in tables:
        for key in ("title", "reason"):
            if key in table:
                yield 1, None, table[key], []
