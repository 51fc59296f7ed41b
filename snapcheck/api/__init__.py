"""The door for programs: one function a job, over paths, bytes, arrays and text, with results that show
themselves in a notebook. ``import snapcheck`` has all of it; `TUTORIAL.md` above walks through it."""

from typing import TYPE_CHECKING, Any

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
from snapcheck.api._class import Place, decide, decided, decision_history, take_back, waiting_places
from snapcheck.api._given import BOARD_ENDINGS, board_of, kit_of, plan_of, reading_of
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
from snapcheck.api._solver import solver
from snapcheck.api._verbs import (
    check,
    compare,
    draw,
    grade,
    grade_class,
    layout,
    read,
    rules,
    simulate,
    without_rules,
)

if TYPE_CHECKING:
    from snapcheck.api._seen import BuildCheck, Consequence, PhotoReading

__all__ = [
    "BOARD_ENDINGS",
    "BuildCheck",
    "BuildComparison",
    "ClassGrades",
    "Consequence",
    "Drawing",
    "Exercise",
    "PhotoReading",
    "Place",
    "RuleCheck",
    "Simulation",
    "board_of",
    "cells_told",
    "check",
    "clean_picture",
    "compare",
    "course_of",
    "decide",
    "decided",
    "decision_drawing",
    "decision_history",
    "decision_words",
    "draw",
    "exercises_of",
    "grade",
    "grade_class",
    "hand_in",
    "kinds_told",
    "kit_of",
    "lasting_simulator",
    "layout",
    "links_told",
    "page_style",
    "page_templates",
    "plan_of",
    "questions_told",
    "read",
    "reading_of",
    "reading_told",
    "rules",
    "sample_exercises",
    "simulate",
    "solver",
    "take_back",
    "waiting_places",
    "warm_up",
    "without_rules",
]


def __getattr__(name: str) -> Any:
    """What comes from pictures needs libraries that the rest can do without."""
    if name not in ("BuildCheck", "Consequence", "PhotoReading"):
        raise AttributeError(f"module '{__name__}' has no attribute '{name}'")
    from snapcheck.api import _seen

    return getattr(_seen, name)
