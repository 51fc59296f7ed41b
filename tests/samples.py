"""Sample designs in ``fixtures/designs`` and their variants: what must be found in each.

``NAME.board`` is the design, ``NAME.variants.toml`` lists builds of it::

    [[fault]]
    title = "The diode the wrong way round"
    edits = ["D2 led red anode=down"]      # lines of a layout file; a cube line replaces the cube in its cell
    finds = ["reversed D2"]                # every finding above a note: its rule and its first cell
    verdict = "does-not-work"
    unmet = ["voltage", "current at D2"]   # expected figures that the build no longer meets (how they begin);
                                           # left out where the build must not be powered

    [[same]]                               # a build that is laid out differently and must pass
    title = "Resistor and switch exchanged"
    edits = ["B1 resistor 470", "C1 switch"]

``plate 6 x 6`` makes the plate larger; ``remove C5``, ``remove tap C4|D4`` and ``remove lead F8 to K4|L4``
take things away; ``turn = 90`` and ``shift = [1, 0]`` (columns, rows) move the whole build on its plate
afterwards; ``file = "…"`` names a layout file of its own instead of edits.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from snapcheck.board import Board, Conditions, Design, load_board, load_design, parse_layout
from snapcheck.check import Comparison, align, compare
from snapcheck.circuit import Circuit, build_circuit, check_rules
from snapcheck.errors import SimulationError
from snapcheck.kit import Kit, bundled_kit, chips_kit
from snapcheck.simulate import OperatingPoint, Simulator

KIT = bundled_kit()
FOLDER = Path(__file__).parents[1] / "fixtures" / "designs"
DESIGNS = sorted(FOLDER.glob("*.board"))
#: designs with cubes of the kit that has chips
CHIP_DESIGNS = sorted(FOLDER.glob("chips/*.board"))
_KEYS = {"title", "edits", "file", "turn", "shift", "finds", "verdict", "unmet"}


def kit_for(design: Path) -> Kit:
    """The kit of a sample design."""
    return chips_kit() if design.parent.name == "chips" else KIT


@dataclass(frozen=True)
class Variant:
    """A build of a sample design and what must be said of it."""

    design: Path
    sort: str  # fault or same
    data: dict[str, Any]

    @property
    def title(self) -> str:
        return str(self.data["title"])

    def board(self) -> Board:
        """The build."""
        if "file" in self.data:
            board = load_board(self.design.parent / self.data["file"], kit_for(self.design))
        else:
            text = edited(self.design.read_text(encoding="utf-8"), self.data.get("edits", []))
            board = parse_layout(text, f"{self.design.stem}: {self.title}", kit_for(self.design)).board
        return board.turned(self.data.get("turn", 0)).shifted(*self.data.get("shift", (0, 0)))


def variants() -> list[Variant]:
    """Every variant of every design; a misspelt key is an error."""
    found = []
    for file in sorted(FOLDER.glob("**/*.variants.toml")):
        design = file.with_name(file.name.replace(".variants.toml", ".board"))
        tables = tomllib.loads(file.read_text(encoding="utf-8"))
        assert set(tables) <= {"fault", "same"}, file
        for sort, entries in tables.items():
            for entry in entries:
                assert set(entry) <= _KEYS, (file, entry)
                found.append(Variant(design, sort, entry))
    return found


def edited(text: str, edits: list[str]) -> str:
    """The board of a layout file after edits (what it promises is left out)."""
    lines = [" ".join(line.split("#")[0].split()) for line in text.splitlines()]
    lines = [line for line in lines if re.match(r"plate |tap |lead |[A-Z]{1,2}\d+ ", line)]
    for edit in edits:
        gone = edit.removeprefix("remove ") if edit.startswith("remove ") else edit.split()[0]
        if re.fullmatch(r"[A-Z]{1,2}\d+|plate", gone):
            kept = [line for line in lines if line.split()[0] != gone]
        else:
            kept = [line for line in lines if line != gone]
        if edit.startswith("remove ") and len(kept) != len(lines) - 1:
            raise ValueError(f"'{edit}' removes nothing")
        lines = kept if edit.startswith("remove ") else [*kept, edit]
    return "\n".join(lines)


def placed(design: Design, built: Board, kit: Kit = KIT) -> Conditions:
    """The design's conditions in the cells of the build."""
    place, given = align(design.board, built, kit).to_built, design.conditions
    return Conditions(
        {place(c): v for c, v in given.supply_V.items() if place(c) in built.cubes},
        {place(c): v for c, v in given.switches.items() if place(c) in built.cubes},
        {place(c): v for c, v in given.pots.items() if place(c) in built.cubes},
        given.light_lux,
        given.temperature_C,
    )


def held(simulator: Simulator, design: Design, built: Board, kit: Kit = KIT) -> Comparison:
    """The build held against its design with simulated voltages, as the command line does it."""
    points: list[OperatingPoint | None] = []
    for circuit, conditions in (
        (build_circuit(built, kit), placed(design, built, kit)),
        (build_circuit(design.board, kit), design.conditions),
    ):
        shorted = check_rules(circuit, only=("supply-shorted", "supplies-fighting"))
        try:
            points.append(None if shorted else simulator.operating_point(circuit, conditions))
        except SimulationError:  # nothing drives it, or a part hangs loose: judged by structure
            points.append(None)
    return compare(design, built, kit, operating_point=points[0], plan_operating_point=points[1])


def unmet(simulator: Simulator, design: Design, circuit: Circuit) -> list[str]:
    """Expected figures that a circuit does not meet, in the words of the layout file."""
    return [f.expectation.text for f in simulator.evaluate(design, circuit) if not f.met]


def designs() -> list[tuple[Path, Design]]:
    """Every sample design."""
    return [(file, load_design(file, KIT)) for file in DESIGNS]
