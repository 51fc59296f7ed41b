"""From a list of parts and nets to a board: places, wires, and the proof that it is the same circuit."""

from snapcheck.place._lay import DoesNotFitError, LaidBoard, lay
from snapcheck.place._list import PLATE_NET, Item, PartLike, PartsAndNets, list_from, list_of
from snapcheck.place._text import Stock, parse_parts
from snapcheck.place._wanted import Proof, circuit_of, prove

__all__ = [
    "PLATE_NET",
    "DoesNotFitError",
    "Item",
    "LaidBoard",
    "PartLike",
    "PartsAndNets",
    "Proof",
    "Stock",
    "circuit_of",
    "lay",
    "list_from",
    "list_of",
    "parse_parts",
    "prove",
]
