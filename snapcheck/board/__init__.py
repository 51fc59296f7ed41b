"""The board and its written forms. Knows the kit's kinds, nothing electrical."""

from snapcheck.board._board import TURNS, Board, Cube, Lead, LeadEnd, SocketEnd, TapEnd, Value, parse_end
from snapcheck.board._design import QUANTITIES, Conditions, Design, Expectation, Probe
from snapcheck.board._files import load_board, load_design
from snapcheck.board._json import board_from_json, board_to_json, design_from_json, design_to_json
from snapcheck.board._layout import parse_layout
from snapcheck.board._layout_write import facing, write_layout
from snapcheck.board._place import STEP, Cell, Seam, column_letters
from snapcheck.kit import Side

__all__ = [
    "QUANTITIES",
    "STEP",
    "TURNS",
    "Board",
    "Cell",
    "Conditions",
    "Cube",
    "Design",
    "Expectation",
    "Lead",
    "LeadEnd",
    "Probe",
    "Seam",
    "Side",
    "SocketEnd",
    "TapEnd",
    "Value",
    "board_from_json",
    "board_to_json",
    "column_letters",
    "design_from_json",
    "design_to_json",
    "facing",
    "load_board",
    "load_design",
    "parse_end",
    "parse_layout",
    "write_layout",
]
