"""Colours of drawings: a light and a dark theme, told apart by colour-blind people.

Hues are from the palette of Okabe and Ito (2008), "Color Universal Design"; families of cubes also
differ in lightness, and nothing is said by colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from snapcheck.kit import Kind

Theme = Literal["light", "dark"]


@dataclass(frozen=True)
class Look:
    """Colours of one theme, as CSS colours.

    Attributes:
        page, plate, grid, rim: the ground, the plate, its cell marks and edge.
        ink, quiet: symbols and text; addresses and other secondary text.
        tiles: body of a cube by family (wire, passive, active, source, outside).
        edges: edge of a cube by family.
        brass: contacts and taps.
        plus: the sign at a positive terminal.
        leads: insulation of leads, in turn.
        alert: outlines and numbers that call for attention.
        alert_ink: text on `alert`.
    """

    page: str
    plate: str
    grid: str
    rim: str
    ink: str
    quiet: str
    tiles: dict[str, str]
    edges: dict[str, str]
    brass: str
    leads: tuple[str, ...]
    alert: str
    alert_ink: str


LOOKS: dict[Theme, Look] = {
    "light": Look(
        page="#faf7f0",
        plate="#e2d9c6",
        grid="#b8ab92",
        rim="#a3967c",
        ink="#10243a",
        quiet="#4a5560",
        tiles={"wire": "#b9cbd4", "passive": "#fbe3b5", "active": "#cfe3f5", "source": "#f9cfc0",
               "outside": "#c9ebdc"},
        edges={"wire": "#6f8b99", "passive": "#c98f1b", "active": "#3f86bd", "source": "#c2552a",
               "outside": "#2b8f6c"},
        brass="#a8761a",
        leads=("#0072b2", "#b0470a", "#00795a", "#a2477c", "#5b5fc7", "#6b5a00"),
        alert="#b3261e",
        alert_ink="#ffffff",
    ),
    "dark": Look(
        page="#0d151c",
        plate="#1b2830",
        grid="#3a4b55",
        rim="#4d616c",
        ink="#f2efe6",
        quiet="#a9b8c0",
        tiles={"wire": "#2b3a43", "passive": "#4a3a17", "active": "#1b3f5e", "source": "#57291a",
               "outside": "#174438"},
        edges={"wire": "#5d737f", "passive": "#d9a23a", "active": "#62aee6", "source": "#e8845c",
               "outside": "#3fbf95"},
        brass="#e0b04f",
        leads=("#56b4e9", "#f08a4b", "#2fc79b", "#e59cc4", "#a9abff", "#e8d44d"),
        alert="#ff7d6e",
        alert_ink="#200400",
    ),
}  # fmt: skip


def family(kind: Kind) -> str:
    """wire, passive, active, source or outside (what meets people and other gear)."""
    return kind.device.family
