"""The electrical side of a board: contacts to nets. Pure: values in, values out."""

from snapcheck.circuit._build import all_terminals, build_circuit, is_part
from snapcheck.circuit._circuit import Circuit, Gap, HalfMade, Metal, Net, NetContact, Part, Terminal

__all__ = [
    "Circuit",
    "Gap",
    "HalfMade",
    "Metal",
    "Net",
    "NetContact",
    "Part",
    "Terminal",
    "all_terminals",
    "build_circuit",
    "is_part",
]
