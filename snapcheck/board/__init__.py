"""The board and its written forms. Knows the kit's kinds, nothing electrical."""

from snapcheck.board._board import TURNS, Board, Cube, Lead, LeadEnd, SocketEnd, TapEnd, Value, parse_end
from snapcheck.board._place import STEP, Cell, Seam, column_letters
from snapcheck.kit import Side

__all__ = [
    "STEP",
    "TURNS",
    "Board",
    "Cell",
    "Cube",
    "Lead",
    "LeadEnd",
    "Seam",
    "Side",
    "SocketEnd",
    "TapEnd",
    "Value",
    "column_letters",
    "parse_end",
]
