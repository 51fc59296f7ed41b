"""Before and after the lesson: what lies in the box and what a design needs of it, stand-ins, counting what
came back, things to print and cut out, and a plan made of a reference build."""

from snapcheck.box._adopt import SAMPLES, Promised, promise
from snapcheck.box._count import Count, Counted, count
from snapcheck.box._inventory import Box, load_box, parse_box
from snapcheck.box._lists import PartsList, parts_csv, parts_page
from snapcheck.box._needs import Loose, Need, Needs, needs, plates_for, stock_for
from snapcheck.box._paper import PAPERS, Page, Paper, fitted_page, pages_html, paper_of
from snapcheck.box._pieces import Piece, cube_of, order, piece_of, piece_words, pieces_of, print_of
from snapcheck.box._plate import extras_page, plate_pages, plate_size, plate_svg
from snapcheck.box._primer import likeness, primer
from snapcheck.box._primer_page import primer_pages
from snapcheck.box._standins import Standin, standins
from snapcheck.box._swaps import Proof, Prove, Swap, Swaps, find_swaps
from snapcheck.box._tiles import Tile, place_tiles, tile_pages, top_of

__all__ = [
    "PAPERS",
    "SAMPLES",
    "Box",
    "Count",
    "Counted",
    "Loose",
    "Need",
    "Needs",
    "Page",
    "Paper",
    "PartsList",
    "Piece",
    "Promised",
    "Proof",
    "Prove",
    "Standin",
    "Swap",
    "Swaps",
    "Tile",
    "count",
    "cube_of",
    "extras_page",
    "find_swaps",
    "fitted_page",
    "likeness",
    "load_box",
    "needs",
    "order",
    "pages_html",
    "paper_of",
    "parse_box",
    "parts_csv",
    "parts_page",
    "piece_of",
    "piece_words",
    "pieces_of",
    "place_tiles",
    "plate_pages",
    "plate_size",
    "plate_svg",
    "plates_for",
    "primer",
    "primer_pages",
    "print_of",
    "promise",
    "standins",
    "stock_for",
    "tile_pages",
    "top_of",
]
