"""The door for programs: one function a job, over paths, bytes, arrays and text, with results that show
themselves in a notebook. ``import snapcheck`` has all of it; `TUTORIAL.md` above walks through it."""

from typing import TYPE_CHECKING, Any

from snapcheck.api._adopt import Adopted, adopt
from snapcheck.api._bench import (
    Exercise,
    clean_picture,
    course_of,
    exercises_of,
    hand_in,
    lasting_simulator,
    page_style,
    page_templates,
    sample_exercises,
    warm_up,
)
from snapcheck.api._box import BoxCheck, CubeCount, count_cubes, fits_box, parts_list, whole_box
from snapcheck.api._check import check, compare
from snapcheck.api._class import Place, decide, decided, decision_history, take_back, waiting_places
from snapcheck.api._diagnose import expected_readings, find, practice
from snapcheck.api._given import BOARD_ENDINGS, board_of, kit_of, plan_of, reading_of
from snapcheck.api._grade import grade, grade_class
from snapcheck.api._hunt import FaultPractice, FaultSearch
from snapcheck.api._new import new
from snapcheck.api._paper import SHEETS, PaperKit, paper_kit
from snapcheck.api._place import lay
from snapcheck.api._read import draw, layout, read
from snapcheck.api._reading_desk import (
    cells_told,
    decision_drawing,
    decision_words,
    kinds_told,
    links_told,
    questions_told,
    reading_told,
)
from snapcheck.api._results import BuildComparison, ClassGrades, Drawing, RuleCheck, Simulation
from snapcheck.api._rules import rules, without_rules
from snapcheck.api._simulate import simulate
from snapcheck.api._solver import solver

if TYPE_CHECKING:
    from snapcheck.api._seen import BuildCheck, Consequence, PhotoReading
    from snapcheck.api._sheet import BuildSheet, sheet
    from snapcheck.api._so_far import SoFar, as_another_task, on_the_way, so_far

__all__ = [
    "BOARD_ENDINGS",
    "SHEETS",
    "Adopted",
    "BoxCheck",
    "BuildCheck",
    "BuildComparison",
    "BuildSheet",
    "ClassGrades",
    "Consequence",
    "CubeCount",
    "Drawing",
    "Exercise",
    "FaultPractice",
    "FaultSearch",
    "PaperKit",
    "PhotoReading",
    "Place",
    "RuleCheck",
    "Simulation",
    "SoFar",
    "adopt",
    "as_another_task",
    "board_of",
    "cells_told",
    "check",
    "clean_picture",
    "compare",
    "count_cubes",
    "course_of",
    "decide",
    "decided",
    "decision_drawing",
    "decision_history",
    "decision_words",
    "draw",
    "exercises_of",
    "expected_readings",
    "find",
    "fits_box",
    "grade",
    "grade_class",
    "hand_in",
    "kinds_told",
    "kit_of",
    "lasting_simulator",
    "lay",
    "layout",
    "links_told",
    "new",
    "on_the_way",
    "page_style",
    "page_templates",
    "paper_kit",
    "parts_list",
    "plan_of",
    "practice",
    "questions_told",
    "read",
    "reading_of",
    "reading_told",
    "rules",
    "sample_exercises",
    "sheet",
    "simulate",
    "so_far",
    "solver",
    "take_back",
    "waiting_places",
    "warm_up",
    "whole_box",
    "without_rules",
]


#: name -> module that needs libraries which the rest can do without; imported when it is asked for
_LATER = {
    "BuildCheck": "_seen", "Consequence": "_seen", "PhotoReading": "_seen",
    "BuildSheet": "_sheet", "sheet": "_sheet",
    "SoFar": "_so_far", "as_another_task": "_so_far", "on_the_way": "_so_far", "so_far": "_so_far",
}  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in _LATER:
        raise AttributeError(f"module 'snapcheck.api' has no attribute '{name}'")
    from importlib import import_module

    return getattr(import_module(f"snapcheck.api.{_LATER[name]}"), name)
