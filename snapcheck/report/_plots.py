from __future__ import annotations
from dataclasses import dataclass
@dataclass(frozen=True)
class Behaviour:
    """x"""
def plots_svg(b, r): return []
def behaviour(r, s): return None
