"""The electrical side of a board: contacts to nets. Pure: values in, values out."""

from snapcheck.circuit._build import build_circuit, is_part
from snapcheck.circuit._circuit import Circuit, Gap, HalfMade, Metal, Net, NetContact, Part, Terminal
from snapcheck.circuit._operating import OperatingPointLike

__all__ = [
    "Circuit",
    "Gap",
    "HalfMade",
    "Metal",
    "Net",
    "NetContact",
    "OperatingPointLike",
    "Part",
    "Terminal",
    "build_circuit",
    "is_part",
]
