"""The board and its written forms. Knows the kit's kinds, nothing electrical."""

from snapcheck.board._board import TURNS, Board, Cube, Lead, LeadEnd, SocketEnd, TapEnd, Value, parse_end
from snapcheck.board._design import OF_A_PART, QUANTITIES, Conditions, Design, Expectation, Probe, Stage
from snapcheck.board._draw import MARGIN, draw_png, draw_svg, label_of, svg_to_png, symbol_svg
from snapcheck.board._edit import Edited, board_of_line, design_after, edited
from snapcheck.board._ends import places_of_ends
from snapcheck.board._figures import parse_probe, parse_settings, settings_text, settings_words
from snapcheck.board._files import design_from_text, load_board, load_design, read_text, text_of
from snapcheck.board._json import (
    board_from_json,
    board_to_json,
    cube_from_json,
    design_from_json,
    design_to_json,
)
from snapcheck.board._layout import parse_layout
from snapcheck.board._layout_keep import rewritten
from snapcheck.board._layout_write import facing, write_layout
from snapcheck.board._legs import Leg, leg_at, legs, legs_at_seam, legs_of
from snapcheck.board._look import LOOKS, Look, Theme, family
from snapcheck.board._oddities import Oddity, oddities
from snapcheck.board._place import STEP, Cell, Seam, Spot, cell_of, column_letters
from snapcheck.board._shapes import PITCH, Stroke, extent
from snapcheck.board._stages import stage_lines
from snapcheck.board._symbols import symbol_strokes
from snapcheck.board._words import Line, Word, did_you_mean, kind_meant, split_lines
from snapcheck.kit import Side

__all__ = [
    "LOOKS",
    "MARGIN",
    "OF_A_PART",
    "PITCH",
    "QUANTITIES",
    "STEP",
    "TURNS",
    "Board",
    "Cell",
    "Conditions",
    "Cube",
    "Design",
    "Edited",
    "Expectation",
    "Lead",
    "LeadEnd",
    "Leg",
    "Line",
    "Look",
    "Oddity",
    "Probe",
    "Seam",
    "Side",
    "SocketEnd",
    "Spot",
    "Stage",
    "Stroke",
    "TapEnd",
    "Theme",
    "Value",
    "Word",
    "board_from_json",
    "board_of_line",
    "board_to_json",
    "cell_of",
    "column_letters",
    "cube_from_json",
    "design_after",
    "design_from_json",
    "design_from_text",
    "design_to_json",
    "did_you_mean",
    "draw_png",
    "draw_svg",
    "edited",
    "extent",
    "facing",
    "family",
    "kind_meant",
    "label_of",
    "leg_at",
    "legs",
    "legs_at_seam",
    "legs_of",
    "load_board",
    "load_design",
    "oddities",
    "parse_end",
    "parse_layout",
    "parse_probe",
    "parse_settings",
    "places_of_ends",
    "read_text",
    "rewritten",
    "settings_text",
    "settings_words",
    "split_lines",
    "stage_lines",
    "svg_to_png",
    "symbol_strokes",
    "symbol_svg",
    "text_of",
    "write_layout",
]
