"""The door for programs: one function a job, over paths, bytes, arrays and text, with results that show
themselves in a notebook. ``import snapcheck`` has all of it; `TUTORIAL.md` above walks through it."""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from snapcheck.api._adopt import Adopted, adopt
    from snapcheck.api._bench import (
        Exercise,
        clean_picture,
        course_of,
        exercise_of,
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
    from snapcheck.api._class import (
        Place,
        decide,
        decided,
        decision_history,
        decision_said,
        take_back,
        waiting_places,
    )
    from snapcheck.api._design_desk import (
        card_told,
        checked_design_text,
        design_edited,
        design_text,
        design_told,
        design_told_late,
        empty_design,
        ends_told,
        fitting_told,
        samples_folder,
    )
    from snapcheck.api._design_later import adopted_told, design_promised, plots_told
    from snapcheck.api._diagnose import expected_readings, find, practice, symptoms
    from snapcheck.api._given import BOARD_ENDINGS, board_of, kit_of, plan_of, reading_of
    from snapcheck.api._grade import grade, grade_class
    from snapcheck.api._hunt import FaultPractice, FaultSearch
    from snapcheck.api._new import new
    from snapcheck.api._paper import SHEETS, PaperKit, paper_kit, primer_paper
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
    from snapcheck.api._seen import BuildCheck, Consequence, PhotoReading
    from snapcheck.api._sheet import BuildSheet, sheet
    from snapcheck.api._simulate import simulate
    from snapcheck.api._so_far import SoFar, as_another_task, on_the_way, so_far
    from snapcheck.api._solver import solver
    from snapcheck.api._teach import Slip, Teaching, primer, taught_again, teach, text_of_kit
    from snapcheck.api._teach_from import Corrections, corrections, teach_from, teachable

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
    "Corrections",
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
    "Slip",
    "SoFar",
    "Teaching",
    "adopt",
    "adopted_told",
    "as_another_task",
    "board_of",
    "card_told",
    "cells_told",
    "check",
    "checked_design_text",
    "clean_picture",
    "compare",
    "corrections",
    "count_cubes",
    "course_of",
    "decide",
    "decided",
    "decision_drawing",
    "decision_history",
    "decision_said",
    "decision_words",
    "design_edited",
    "design_promised",
    "design_text",
    "design_told",
    "design_told_late",
    "draw",
    "empty_design",
    "ends_told",
    "exercise_of",
    "exercises_of",
    "expected_readings",
    "find",
    "fits_box",
    "fitting_told",
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
    "plots_told",
    "practice",
    "primer",
    "primer_paper",
    "questions_told",
    "read",
    "reading_of",
    "reading_told",
    "rules",
    "sample_exercises",
    "samples_folder",
    "sheet",
    "simulate",
    "so_far",
    "solver",
    "symptoms",
    "take_back",
    "taught_again",
    "teach",
    "teach_from",
    "teachable",
    "text_of_kit",
    "waiting_places",
    "warm_up",
    "whole_box",
    "without_rules",
]

#: module -> names in it; imported when one is asked for, so that no job waits for the libraries of another
_DOOR = {
    "_adopt": "Adopted adopt",
    "_bench": "Exercise clean_picture course_of exercise_of exercises_of hand_in lasting_simulator "
    "page_style page_templates sample_exercises warm_up",
    "_box": "BoxCheck CubeCount count_cubes fits_box parts_list whole_box",
    "_check": "check compare",
    "_class": "Place decide decided decision_history decision_said take_back waiting_places",
    "_design_desk": "card_told checked_design_text design_edited design_text design_told "
    "design_told_late empty_design ends_told fitting_told samples_folder",
    "_design_later": "adopted_told design_promised plots_told",
    "_diagnose": "expected_readings find practice symptoms",
    "_given": "BOARD_ENDINGS board_of kit_of plan_of reading_of",
    "_grade": "grade grade_class",
    "_hunt": "FaultPractice FaultSearch",
    "_new": "new",
    "_paper": "SHEETS PaperKit paper_kit primer_paper",
    "_place": "lay",
    "_read": "draw layout read",
    "_reading_desk": "cells_told decision_drawing decision_words kinds_told links_told questions_told "
    "reading_told",
    "_results": "BuildComparison ClassGrades Drawing RuleCheck Simulation",
    "_rules": "rules without_rules",
    "_seen": "BuildCheck Consequence PhotoReading",
    "_sheet": "BuildSheet sheet",
    "_simulate": "simulate",
    "_so_far": "SoFar as_another_task on_the_way so_far",
    "_solver": "solver",
    "_teach": "Slip Teaching primer taught_again teach text_of_kit",
    "_teach_from": "Corrections corrections teach_from teachable",
}
_MODULE = {name: module for module, names in _DOOR.items() for name in names.split()}


def __getattr__(name: str) -> Any:
    if name not in _MODULE:
        raise AttributeError(f"module 'snapcheck.api' has no attribute '{name}'")
    value = globals()[name] = getattr(import_module(f"snapcheck.api.{_MODULE[name]}"), name)
    return value
