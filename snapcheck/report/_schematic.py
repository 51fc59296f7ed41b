from __future__ import annotations
def schematic_svg(c, d, colours): return ""
