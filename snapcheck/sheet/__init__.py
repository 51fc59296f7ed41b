"""Build sheets: a design as steps that a person follows, with what is needed and what a meter should show; and
how far a build on the way has come."""

from snapcheck.sheet._page import Paper, sheet_html
from snapcheck.sheet._readings import Expected, Reading, StageCheck, TestPoint
from snapcheck.sheet._sheet import Needed, Sheet, make_sheet, sheet_json, stages_text
from snapcheck.sheet._steps import Course, Put, Step, course_of

__all__ = [
    "Course",
    "Expected",
    "Needed",
    "Paper",
    "Put",
    "Reading",
    "Sheet",
    "StageCheck",
    "Step",
    "TestPoint",
    "course_of",
    "make_sheet",
    "sheet_html",
    "sheet_json",
    "stages_text",
]
