"""From a list of parts and nets to a board: places, wires, and the proof that it is the same circuit."""

from snapcheck.place._lay import DoesNotFitError, LaidBoard, lay
from snapcheck.place._list import PLATE_NET, Item, PartLike, PartsList, list_from, list_of
from snapcheck.place._text import Box, parse_box, parse_parts
from snapcheck.place._wanted import Proof, circuit_of, prove

__all__ = [
    "PLATE_NET",
    "Box",
    "DoesNotFitError",
    "Item",
    "LaidBoard",
    "PartLike",
    "PartsList",
    "Proof",
    "circuit_of",
    "lay",
    "list_from",
    "list_of",
    "parse_box",
    "parse_parts",
    "prove",
]
