"""Build sheets: a design as steps that a person follows, with what is needed and what a meter should show;
and how far a build on the way has come."""

from snapcheck.sheet._likeness import Lookalike, as_another, likeness, looks_like, not_listed, worth_asking
from snapcheck.sheet._page import Paper, sheet_html
from snapcheck.sheet._progress import Progress, next_words, progress, progress_json
from snapcheck.sheet._readings import Expected, Reading, StageCheck, TestPoint
from snapcheck.sheet._sheet import Needed, Sheet, make_sheet, needed_of, sheet_json, stages_text
from snapcheck.sheet._steps import Course, Put, Step, course_of
from snapcheck.sheet._words import facing_words

__all__ = [
    "Course",
    "Expected",
    "Lookalike",
    "Needed",
    "Paper",
    "Progress",
    "Put",
    "Reading",
    "Sheet",
    "StageCheck",
    "Step",
    "TestPoint",
    "as_another",
    "course_of",
    "facing_words",
    "likeness",
    "looks_like",
    "make_sheet",
    "needed_of",
    "next_words",
    "not_listed",
    "progress",
    "progress_json",
    "sheet_html",
    "sheet_json",
    "stages_text",
    "worth_asking",
]
