"""What takes a while for a design that somebody works at: plots, figures to promise, a plan from a photo."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from snapcheck.api._design_desk import design_of_text
from snapcheck.api._given import kit_of
from snapcheck.api._solver import solver
from snapcheck.board import rewritten
from snapcheck.circuit import build_circuit
from snapcheck.words import tr

if TYPE_CHECKING:
    from pathlib import Path

    from snapcheck.api._given import KitLike
    from snapcheck.simulate import Simulator


def plots_told(text: str, kit: KitLike = None, simulator: Simulator | None = None) -> list[tuple[str, bytes]]:
    """Every plot there is to draw of a design: its title, and the PNG.

    Raises:
        InputError: the text is no layout file.
        SimulationError, MissingLibraryError: it cannot be calculated or drawn.
    """
    from snapcheck.api._simulate import simulate
    from snapcheck.simulate import plots_of

    done = simulate(design_of_text(text, kit_of(kit)), kit=kit, simulator=simulator)
    return [(plot.title, plot.render("png")) for plot in plots_of(done.survey)]


def design_promised(
    text: str, kit: KitLike = None, simulator: Simulator | None = None
) -> tuple[str, tuple[str, ...]]:
    """The text with the figures that its board has, in bands that hold for parts within tolerance, instead
    of those that it promised; and what could not be promised, in words.

    Raises:
        InputError: the text is no layout file.
        SimulationError, MissingLibraryError: it cannot be calculated; says why.
    """
    from snapcheck.box import promise

    cubes = kit_of(kit)
    design = design_of_text(text, cubes)
    with solver(simulator) as own:
        if own is None:
            return text, (tr("Nothing is calculated: the simulator ngspice is not installed."),)
        made = promise(design, build_circuit(design.board, cubes), own)
    return rewritten(text, made.design, cubes), made.notes


def adopted_told(picture: Path, kit: KitLike = None, simulator: Simulator | None = None) -> dict[str, Any]:
    """A plan of a photographed build: ``text`` of its layout file, ``questions`` that the photo leaves open
    (as `questions_told` has them) and ``notes``.

    Raises:
        PhotoError: the picture cannot be read.
    """
    from snapcheck.api._adopt import adopt

    made = adopt(picture, kit=kit, simulator=simulator)
    asked = [
        {"place": q.place, "cells": list(q.cells), "reason": q.reason,
         "options": [{"line": o.line} for o in q.options]}
        for q in made.questions
    ]  # fmt: skip
    notes = list(made.notes)
    if made.design.output is None:  # the first says by which option of the command line
        notes[0] = tr("It is not clear where the signal comes out: choose that cube, and say so there.")
    return {"text": made.layout, "questions": asked, "notes": notes}
