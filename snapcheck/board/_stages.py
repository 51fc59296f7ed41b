"""How a build sheet groups the cubes of a design: ``stage NAME: CELLS``, and ``note WORDS`` below it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from snapcheck.board._board import Board
from snapcheck.board._design import Stage
from snapcheck.board._place import Cell
from snapcheck.board._words import UNFIT, Line, Word
from snapcheck.errors import InputError
from snapcheck.words import tr

_FORM = "stage Microphone: B2 B3 B5"


def read_stages(lines: Iterable[Line], board: Board) -> tuple[str, tuple[Stage, ...]]:
    """The note for the whole build, and the stages, from ``stage`` and ``note`` lines in their order.

    Raises:
        InputError: names file, line and column.
    """
    general: list[str] = []
    stages: list[Stage] = []
    notes: list[list[str]] = []
    taken: dict[Cell, str] = {}
    for line in lines:
        if line.words[0].text.lower() == "note":
            words = " ".join(line.text[line.words[0].column + 3 :].split())
            if not words:
                line.fail(line.end(), tr("the note is empty."), tr("Write 'note' and the words of the note."))
            (notes[-1] if notes else general).append(words)
        else:
            stages.append(_stage(line, board, taken))
            notes.append([])
    noted = (Stage(s.name, s.cells, "\n".join(n)) for s, n in zip(stages, notes, strict=True))
    return "\n".join(general), tuple(noted)


def _stage(line: Line, board: Board, taken: dict[Cell, str]) -> Stage:
    words = list(line.words[1:])
    split = next((n for n in reversed(range(len(words))) if words[n].text.endswith(":")), None)
    form = tr("Write '{form}'.", form=_FORM)
    if split is None:
        line.fail(
            words[0] if words else line.end(), tr("the stage has no name with a colon behind it."), form
        )
    name = " ".join(word.text for word in words[: split + 1]).rstrip(":").strip()
    if not name:
        line.fail(words[split], tr("the stage has no name."), form)
    cells = [_cell(line, word, board) for word in words[split + 1 :]]
    if not cells:
        line.fail(line.end(), tr("the stage '{name}' has no cells.", name=name), form)
    for cell, word in zip(cells, words[split + 1 :], strict=True):
        if cell in taken:
            line.fail(
                word,
                tr("{cell} belongs to the stage '{name}' already.", cell=cell, name=taken[cell]),
                tr("Name each cube once."),
            )
        taken[cell] = name
    return Stage(name, tuple(cells))


def _cell(line: Line, word: Word, board: Board) -> Cell:
    try:
        cell = Cell.parse(word.text.rstrip(","))
    except InputError as error:
        line.fail(word, error.message, error.way_out)
    anchor = board.anchor_at(cell)
    if anchor is None:
        line.fail(word, tr("no cube stands in {cell}.", cell=cell), tr("Name cells in which a cube stands."))
    return anchor


def stage_lines(note: str, stages: Iterable[Stage]) -> list[str]:
    """The lines that `read_stages` reads back to the same."""
    lines = [f"note {_plain(words)}" for words in note.split("\n") if _plain(words)]
    for stage in stages:
        name = _plain(re.sub(r"(?:^|\s)#", " ", stage.name)).rstrip(": ") or "-"  # else it is a comment
        lines.append(f"stage {name}: {' '.join(map(str, stage.cells))}")
        lines += [f"note {_plain(words)}" for words in stage.note.split("\n") if _plain(words)]
    return lines


def _plain(text: str) -> str:
    return " ".join(UNFIT.sub(" ", text).split())


def stages_to_json(stages: Iterable[Stage]) -> list[dict[str, Any]]:
    """Stages as plain values for `json.dumps`."""
    return [{"name": s.name, "cells": [str(c) for c in s.cells], "note": s.note} for s in stages]


def stage_from_json(entry: Mapping[str, Any], board: Board) -> Stage:
    """One stage; raises InputError without a place."""
    name, cells, note = entry.get("name"), entry.get("cells"), entry.get("note", "")
    if not isinstance(name, str) or not name.strip() or not isinstance(note, str):
        raise InputError(tr("a stage needs a name, and its note is a text."))
    if not isinstance(cells, list) or not cells or not all(isinstance(c, str) for c in cells):
        raise InputError(tr("a stage needs a list of cells."))
    anchors = []
    for text in cells:
        anchor = board.anchor_at(Cell.parse(text))
        if anchor is None:
            raise InputError(tr("no cube stands in {cell}.", cell=text))
        anchors.append(anchor)
    return Stage(name, tuple(anchors), note)
