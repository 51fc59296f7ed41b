"""A reading for somebody who looks at it: what stands in every cell, what else it may be, as plain values."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from snapcheck.api._given import kit_of
from snapcheck.board import Board, Cell, Cube, draw_svg, parse_layout
from snapcheck.circuit import cube_words
from snapcheck.decisions import cube_line, lead_line
from snapcheck.errors import SnapcheckError
from snapcheck.photo import BlankReading, State, reading_to_json
from snapcheck.sheet import facing_words
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import KitLike
    from snapcheck.api._seen import BuildCheck
    from snapcheck.kit import Kit

_PITCH, _MARGIN = 108, 44  # of a cell and of the rim, in units of a drawing
_TURNS = (0, 90, 180, 270)


def questions_told(result: BuildCheck) -> list[dict[str, Any]]:
    """What the picture leaves open: place, cells, why, and the decisions to choose from, the likeliest
    first."""
    return [
        {
            "place": q.place,
            "cells": list(q.cells),
            "reason": tr(q.reason),
            "options": [{"line": o.line, "probability": o.probability} for o in q.options],
        }
        for q in result.questions
    ]


def cells_told(result: BuildCheck) -> dict[str, dict[str, Any]]:
    """By cell: the line of what stands there ("" for nothing), whether that is sure, and lines of what it may
    be instead, the likeliest first. Nothing where there is no picture."""
    reading = result.reading
    if reading is None:
        return {}
    board, told = reading.board, dict[str, dict[str, Any]]()
    for row in range(board.rows):
        for column in range(board.columns):
            cell = Cell(column, row)
            seen = reading.cubes.get(cell) or reading.blanks.get(cell)
            if seen is None and board.anchor_at(cell) is not None:
                continue  # covered by a cube that stands elsewhere
            cube = None if seen is None or isinstance(seen, BlankReading) else seen.cube
            lines: dict[str, float | None] = {}
            for other, share in () if seen is None else seen.alternatives:
                lines.setdefault(_line(cell, other, board, result), share)
            if cube is not None:
                for turn in _TURNS:
                    lines.setdefault(_line(cell, replace(cube, turn=turn), board, result), None)
                lines.setdefault(f"remove {cell}", None)
            now = "" if cube is None else cube_line(cell, cube, board, result.kit)
            told[str(cell)] = {
                "line": now,
                "sure": seen is None or seen.state is State.READ,
                "others": [{"line": k, "probability": v} for k, v in lines.items() if k and k != now],
            }
    return told


def _line(cell: Cell, cube: Cube | None, board: Board, result: BuildCheck) -> str:
    try:
        return cube_line(cell, cube, board, result.kit)
    except (SnapcheckError, StopIteration):
        return ""


def links_told(result: BuildCheck) -> list[str]:
    """Taps and leads, each as the line that puts it there."""
    board = result.built
    return [f"tap {seam}" for seam in sorted(board.taps)] + [
        lead_line(lead, board, result.kit) for lead in board.leads
    ]


def reading_told(result: BuildCheck) -> dict[str, Any]:
    """The reading as plain values, as `snapcheck.check` takes it again; empty where there is no picture."""
    return {} if result.reading is None else reading_to_json(result.reading)


def kinds_told(kit: KitLike = None) -> list[tuple[str, str]]:
    """Names and titles of all kinds of cubes, by title."""
    named = ((name, tr(kind.title)) for name, kind in kit_of(kit).kinds.items())
    return sorted(named, key=lambda pair: pair[1].casefold())


def _lone(line: str, cubes: Kit) -> Board | None:
    """A plate with the cube alone that a decision puts into a cell; None where it is none of one cell."""
    word, _, rest = line.partition(" ")
    if word in ("remove", "tap", "lead", "looked") or not rest:
        return None
    try:
        return parse_layout(f"plate 1 x 1\nA1 {rest}\n", line, cubes).board
    except SnapcheckError:  # it covers several cells
        return None


def decision_drawing(line: str, kit: KitLike = None) -> str:
    """The cube that a decision puts into a cell, drawn by itself (SVG text); "" where it is none of one
    cell."""
    cubes = kit_of(kit)
    board = _lone(line, cubes)
    if board is None:
        return ""
    close = f"{_MARGIN - 4} {_MARGIN - 4} {_PITCH + 8} {_PITCH + 8}"  # without letters and numbers
    return re.sub(r'viewBox="[^"]*"', f'viewBox="{close}"', draw_svg(board, cubes), count=1)


def decision_words(line: str, kit: KitLike = None, *, place: bool = False) -> str:
    """A decision as a person at the bench reads it: ``ground, stem to the left``.

    Args:
        place: with the cell before it (``D3: ground, stem to the left``); what is said of taps and leads
            stays as it is then.
    """
    word, _, rest = line.partition(" ")
    if word == "looked":
        return tr("I have looked: it hides nothing")
    if word == "remove":
        link = rest.startswith(("tap", "lead"))
        if place:
            return line if link else f"{rest}: {tr('nothing stands there')}"
        return tr("it is not there") if link else tr("nothing stands there")
    if word in ("tap", "lead"):
        return line if place else tr("it is there")
    cubes = kit_of(kit)
    board = _lone(line, cubes)
    if board is None:
        return line if place else rest
    (cube,) = board.cubes.values()
    facing = facing_words(cube, cubes[cube.kind])
    told = ", ".join(filter(None, (cube_words(cube, cubes), facing)))
    return f"{word}: {told}" if place else told
