"""The electrical side of a board: contacts to nets. Pure: values in, values out."""

from snapcheck.circuit._afterwards import with_dangers_ahead
from snapcheck.circuit._book import RuleBook, RuleSetting, bundled_rules, load_rules, parse_rules
from snapcheck.circuit._build import build_circuit, is_part, require_kinds
from snapcheck.circuit._circuit import (
    Circuit,
    Gap,
    HalfMade,
    Metal,
    Net,
    NetContact,
    Part,
    PartNames,
    Terminal,
)
from snapcheck.circuit._context import WordsLater
from snapcheck.circuit._difference import (
    Difference,
    Pairing,
    What,
    differences,
    same_circuit_in_place,
)
from snapcheck.circuit._direct import PartSpec, circuit_of, circuit_of_parts
from snapcheck.circuit._edits import single_difference
from snapcheck.circuit._equivalence import Equivalence, Sameness, equivalence, same_number
from snapcheck.circuit._netlist_text import parse_netlist
from snapcheck.circuit._normal import NormalForm, normal_form
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.circuit._pairing import pair_parts, same_value
from snapcheck.circuit._path import MetalPath, metal_path
from snapcheck.circuit._positions import is_closed, switch_positions
from snapcheck.circuit._rules import RULES, check_rules, is_shorted, rules_for_danger
from snapcheck.circuit._say import (
    amperes,
    capital,
    cube_words,
    end_words,
    lead_words,
    listing,
    net_words,
    ohms,
    part_words,
    place_words,
    probe_words,
    side_word,
    terminal_word,
    terminal_words,
    value_words,
    volts,
    watts,
)
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
    "PartNames",
    "PartSpec",
    "RuleBook",
    "RuleSetting",
    "Sameness",
    "Terminal",
    "Topology",
    "What",
    "WordsLater",
    "amperes",
    "build_circuit",
    "bundled_rules",
    "capital",
    "check_rules",
    "circuit_of",
    "circuit_of_parts",
    "cube_words",
    "differences",
    "end_words",
    "equivalence",
    "is_closed",
    "is_part",
    "is_shorted",
    "lead_words",
    "listing",
    "load_rules",
    "metal_path",
    "net_words",
    "normal_form",
    "ohms",
    "pair_parts",
    "parse_netlist",
    "parse_rules",
    "part_words",
    "place_words",
    "probe_words",
    "require_kinds",
    "rules_for_danger",
    "same_circuit_in_place",
    "same_number",
    "same_value",
    "side_word",
    "single_difference",
    "switch_positions",
    "terminal_word",
    "terminal_words",
    "value_words",
    "volts",
    "watts",
    "with_dangers_ahead",
]
