"""A reading as JSON: the truth format, with how sure everything is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from snapcheck.board import Cell, Cube, board_to_json
from snapcheck.photo._reading import Reading


def reading_to_json(reading: Reading) -> dict[str, Any]:
    """The board in the truth format plus ``photo``, ``state``, ``confidence`` and ``alternatives`` for
    every cube, tap and lead, ``empty`` (the cells in which nothing seems to stand, in the same way),
    ``loose``, ``cube_tops_px``, ``plate_corners_px``, ``lattice_residual`` (cells), ``notes`` and ``edge``.

    An alternative without a kind says that nothing stands there. ``chances`` of an unsure cell is the same
    list down to improbable ones.
    """
    data = board_to_json(reading.board)
    by_place = {str(cell): r for cell, r in reading.cubes.items()}
    for entry in data["cubes"]:
        r = by_place[entry["at"]]
        entry.update(state=str(r.state), confidence=r.confidence, alternatives=_listed(r.alternatives))
        if r.chances:
            entry["chances"] = _listed(r.chances)
        if r.reason:
            entry["reason"] = r.reason
    data["empty"] = [
        {
            "at": str(cell), "state": str(b.state), "confidence": b.confidence,
            "alternatives": _listed(b.alternatives), **({"chances": _listed(b.chances)} if b.chances else {}),
        }
        for cell, b in reading.blanks.items()
    ]  # fmt: skip
    data["loose"] = [str(cell) for cell in reading.loose]
    seams = {str(t.seam): t for t in reading.taps}
    for entry in data["taps"]:
        tap = seams["|".join(entry["between"])]
        entry.update(state=str(tap.state), confidence=tap.confidence)
    for entry, lead in zip(data["leads"], reading.leads, strict=True):
        entry.update(state=str(lead.state), confidence=lead.confidence)
        entry["alternatives"] = [
            {"from": str(other.start), "to": str(other.end), "probability": p}
            for other, p in lead.alternatives
        ]
    return {
        "photo": reading.photo,
        **data,
        "size": list(reading.frame.size),
        "cube_tops_px": {
            str(cell): [round(float(v), 2) for v in reading.frame.to_photo(_middle(cell))[0]]
            for cell in reading.cubes
        },
        "plate_corners_px": [[round(float(v), 2) for v in p] for p in reading.frame.plate],
        "lattice_residual": round(reading.frame.residual, 4),
        "notes": list(reading.notes),
        "edge": reading.edge,
    }


def leaves_open(data: Mapping[str, Any]) -> bool:
    """Whether a written reading (unchecked JSON) is not sure of everything; any other board is sure."""
    if data.get("notes") or data.get("edge"):
        return True
    for entries in (data.get(key) or [] for key in ("cubes", "taps", "leads", "empty")):
        if not isinstance(entries, list):
            return True  # whoever reads it is told what is wrong
        if any(isinstance(e, Mapping) and e.get("state", "read") != "read" for e in entries):
            return True
    return False


def _listed(some: tuple[tuple[Cube | None, float], ...]) -> list[dict[str, Any]]:
    listed = []
    for cube, p in some:
        entry: dict[str, Any] = {"kind": None}
        if cube is not None:
            entry = {"kind": cube.kind, "turn": cube.turn, "value": cube.value, "printed": cube.printed}
            if cube.unit:
                entry["unit"] = cube.unit
        listed.append({**entry, "probability": round(p, 6)})
    return listed


def _middle(cell: Cell) -> tuple[float, float]:
    return cell.column + 0.5, cell.row + 0.5
