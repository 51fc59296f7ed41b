"""The electrical side of a board: contacts to nets. Pure: values in, values out."""

from snapcheck.circuit._book import RuleBook, RuleSetting, bundled_rules, load_rules, parse_rules
from snapcheck.circuit._build import build_circuit, is_part
from snapcheck.circuit._circuit import Circuit, Gap, HalfMade, Metal, Net, NetContact, Part, Terminal
from snapcheck.circuit._difference import Difference, Pairing, What, differences, pair_parts, same_value
from snapcheck.circuit._equivalence import Equivalence, Sameness, equivalence, same_number
from snapcheck.circuit._normal import NormalForm, normal_form
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.circuit._path import MetalPath, metal_path
from snapcheck.circuit._rules import RULES, check_rules
from snapcheck.circuit._topology import Topology

__all__ = [
    "RULES",
    "Circuit",
    "Difference",
    "Equivalence",
    "Gap",
    "HalfMade",
    "Metal",
    "MetalPath",
    "Net",
    "NetContact",
    "NormalForm",
    "OperatingPointLike",
    "Pairing",
    "Part",
    "RuleBook",
    "RuleSetting",
    "Sameness",
    "Terminal",
    "Topology",
    "What",
    "build_circuit",
    "bundled_rules",
    "check_rules",
    "differences",
    "equivalence",
    "is_part",
    "load_rules",
    "metal_path",
    "normal_form",
    "pair_parts",
    "parse_rules",
    "same_number",
    "same_value",
]
