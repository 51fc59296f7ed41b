"""The electrical side of a board: contacts to nets. Pure: values in, values out."""

from snapcheck.circuit._book import RuleBook, RuleSetting, bundled_rules, load_rules, parse_rules
from snapcheck.circuit._build import build_circuit, is_part
from snapcheck.circuit._circuit import Circuit, Gap, HalfMade, Metal, Net, NetContact, Part, Terminal
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.circuit._path import MetalPath, metal_path
from snapcheck.circuit._rules import RULES, check_rules
from snapcheck.circuit._topology import Topology

__all__ = [
    "RULES",
    "Circuit",
    "Gap",
    "HalfMade",
    "Metal",
    "MetalPath",
    "Net",
    "NetContact",
    "OperatingPointLike",
    "Part",
    "RuleBook",
    "RuleSetting",
    "Terminal",
    "Topology",
    "build_circuit",
    "bundled_rules",
    "check_rules",
    "is_part",
    "load_rules",
    "metal_path",
    "parse_rules",
]
