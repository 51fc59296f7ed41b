"""From a picture to a reading. Knows kit and board, nothing electrical, and never sees a design."""

from snapcheck.photo import _score as score
from snapcheck.photo._cells import flatten
from snapcheck.photo._learn import Doubt
from snapcheck.photo._lesson import cells_of, examples_of
from snapcheck.photo._notebook import Lesson, Notebook, notebook_of, taught_by
from snapcheck.photo._open import (
    MAX_BYTES,
    Picture,
    open_grey,
    open_picture,
    picture_of,
    picture_of_array,
    taken_at,
)
from snapcheck.photo._read import TRUE_GRID, read_photo, read_picture
from snapcheck.photo._reading import BlankReading, CubeReading, Frame, LeadReading, Reading, State, TapReading
from snapcheck.photo._taught import head_of, off_grid
from snapcheck.photo._truth import reading_from_json, reading_from_truth
from snapcheck.photo._views import Examples
from snapcheck.photo._worth import Gain, Worth
from snapcheck.photo._written import leaves_open, reading_to_json

__all__ = [
    "MAX_BYTES",
    "TRUE_GRID",
    "BlankReading",
    "CubeReading",
    "Doubt",
    "Examples",
    "Frame",
    "Gain",
    "LeadReading",
    "Lesson",
    "Notebook",
    "Picture",
    "Reading",
    "State",
    "TapReading",
    "Worth",
    "cells_of",
    "examples_of",
    "flatten",
    "head_of",
    "leaves_open",
    "notebook_of",
    "off_grid",
    "open_grey",
    "open_picture",
    "picture_of",
    "picture_of_array",
    "read_photo",
    "read_picture",
    "reading_from_json",
    "reading_from_truth",
    "reading_to_json",
    "score",
    "taken_at",
    "taught_by",
]
