"""A reading made from a written one: from the truth beside a picture, or from what ``read`` wrote."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from snapcheck.board import Cell, Cube, Seam, board_from_json, cube_from_json, parse_end
from snapcheck.board import Lead as BoardLead
from snapcheck.datafiles import finite
from snapcheck.errors import InputError
from snapcheck.kit import Kit
from snapcheck.photo._reading import BlankReading, CubeReading, Frame, LeadReading, Reading, State, TapReading
from snapcheck.words import brief, tr


def reading_from_truth(data: Mapping[str, Any], photo: str | Path = "", kit: Kit | None = None) -> Reading:
    """A reading that says exactly what the truth says, every cell sure.

    Args:
        data: the truth format with ``size`` and ``cube_tops_px`` (pixel centre of each cube's top, in the
            order of ``cubes`` or by address); without the latter ``plate_corners_px`` serve, less exactly.
        photo: name of the picture, for messages.
        kit: where given, kinds are checked against it.

    Raises:
        InputError: a key is missing or wrong.
    """
    return reading_from_json({**data, "photo": Path(photo).name or data.get("photo", "")}, kit)


def reading_from_json(data: Mapping[str, Any], kit: Kit | None = None) -> Reading:
    """A reading from the JSON of `reading_to_json`, or from the truth format (then everything is sure).

    Raises:
        InputError: a key is missing or wrong.
    """
    board = board_from_json(data, kit)
    entries = {Cell.parse(str(entry["at"])): entry for entry in data["cubes"]}
    cubes = {cell: _cube_reading(cube, entries[cell], kit) for cell, cube in board.cubes.items()}
    tap_state = {_seam(entry): entry for entry in data.get("taps", [])}
    taps = tuple(
        TapReading(seam, _state(tap_state[seam]), _confidence(tap_state[seam])) for seam in sorted(board.taps)
    )
    leads = tuple(
        LeadReading(lead, _state(entry), _confidence(entry), _rival_leads(entry))
        for lead, entry in zip(board.leads, data.get("leads", []), strict=True)
    )
    notes = tuple(str(note) for note in data.get("notes", []))
    frame = _frame(data, board.columns, board.rows)
    blanks = {}
    for entry in _others(data, "empty"):
        others, chances = (_listed(entry, key, kit) for key in ("alternatives", "chances"))
        cell = Cell.parse(str(entry.get("at")))
        blanks[cell] = BlankReading(_state(entry), _confidence(entry), others, chances)
    loose = tuple(Cell.parse(str(at)) for at in data.get("loose", []))
    photo, edge = (str(data.get(key, "")) for key in ("photo", "edge"))
    columns, rows = board.columns, board.rows
    return Reading(photo, columns, rows, cubes, taps, leads, frame, notes, blanks, loose, edge)


def _seam(entry: Mapping[str, Any]) -> Seam:
    first, second = entry["between"]
    return Seam.between(Cell.parse(first), Cell.parse(second))


def _state(entry: Mapping[str, Any]) -> State:
    try:
        return State(entry.get("state", "read"))
    except ValueError:
        raise InputError(
            tr("'{get}' is no state of a reading.", get=entry.get("state")),
            place="state",
            way_out=tr("Accepted: {names}.", names=", ".join(State)),
        ) from None


def _share(entry: Mapping[str, Any], key: str, missing: float) -> float:
    """A probability."""
    value = finite(entry.get(key, missing))
    if value is None or not 0 <= value <= 1:
        raise InputError(tr("{value} is no number from 0 to 1.", value=brief(entry.get(key))), place=key)
    return value


def _confidence(entry: Mapping[str, Any]) -> float:
    """What is sure is so wholly where nothing else is said; what is not sure may be anything."""
    return _share(entry, "confidence", 1.0 if _state(entry) is State.READ else 0.5)


def _others(entry: Mapping[str, Any], key: str = "alternatives") -> list[Mapping[str, Any]]:
    others = entry.get(key, [])
    if not isinstance(others, list) or not all(isinstance(other, Mapping) for other in others):
        raise InputError(tr("is no JSON list ([…])."), place=key)
    return others


def _cube_reading(cube: Cube, entry: Mapping[str, Any], kit: Kit | None) -> CubeReading:
    others, chances = (_listed(entry, key, kit) for key in ("alternatives", "chances"))
    reason = str(entry.get("reason", ""))
    return CubeReading(cube, _state(entry), _confidence(entry), others, reason, chances=chances)


def _listed(entry: Mapping[str, Any], key: str, kit: Kit | None) -> tuple[tuple[Cube | None, float], ...]:
    """What may stand in a cell; an entry whose kind is null: nothing."""
    return tuple(
        (
            None if other.get("kind", "") is None else cube_from_json(other, key, kit),
            _share(other, "probability", 0.0),
        )
        for other in _others(entry, key)
    )


def _rival_leads(entry: Mapping[str, Any]) -> tuple[tuple[BoardLead, float], ...]:
    return tuple(
        (
            BoardLead(parse_end(str(other.get("from"))), parse_end(str(other.get("to")))),
            _share(other, "probability", 0.0),
        )
        for other in _others(entry)
    )


def _points(value: object, count: int, key: str) -> np.ndarray:
    """(count, 2) pixels from a list of pairs."""
    pairs = value if isinstance(value, list) else []
    numbers = [[finite(v) for v in pair] if isinstance(pair, list | tuple) else [] for pair in pairs]
    if len(pairs) != count or any(len(n) != 2 or None in n for n in numbers):
        raise InputError(
            tr("places in the picture are missing or no numbers."), place=key,
            way_out=tr("Read the photo again."),
        )  # fmt: skip
    return np.array(numbers, np.float64)


def _frame(data: Mapping[str, Any], columns: int, rows: int) -> Frame:
    """A homography through the tops of the cubes (without lens distortion, k1 = 0)."""
    size = data.get("size")
    if not (isinstance(size, list | tuple) and len(size) == 2):
        raise InputError(
            tr("the size of the picture is missing."),
            place="size",
            way_out=tr("Give width and height of the upright picture in pixels."),
        )
    width, height = (int(v) for v in _points([[size[0], size[1]]], 1, "size")[0])
    if not (0 < width <= 100_000 and 0 < height <= 100_000):
        raise InputError(tr("{value} is out of range.", value=brief(size)), place="size")
    whole = [[0, 0], [width, 0], [width, height], [0, height]]
    corners = _points(data.get("plate_corners_px") or whole, 4, "plate_corners_px")
    plate_cells = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], np.float64)
    tops = data.get("cube_tops_px")
    cells, pixels = plate_cells, corners
    if isinstance(tops, Mapping):
        tops = [tops.get(str(entry["at"])) for entry in data["cubes"]]
    if tops and len(data["cubes"]) >= 4:
        at = [Cell.parse(entry["at"]) for entry in data["cubes"]]
        centres = np.array([(c.column + 0.5, c.row + 0.5) for c in at])
        if np.linalg.matrix_rank(centres - centres.mean(0)) == 2:  # cubes in one row say too little
            cells, pixels = centres, _points(tops, len(centres), "cube_tops_px")
    try:
        matrix, _ = cv2.findHomography(cells, pixels)
    except cv2.error:
        matrix = None
    if matrix is None or not np.isfinite(matrix).all() or abs(matrix[2, 2]) < 1e-12:
        raise InputError(
            tr("the places of the cubes in the picture make no sense."),
            place="cube_tops_px",
            way_out=tr("Read the photo again."),
        )
    frame = Frame(
        (width, height), matrix, (width / 2, height / 2), float(max(width, height)), 0.0, 0.0, corners
    )
    off = frame.to_photo(cells) - pixels
    scale = np.sqrt(abs(np.linalg.det(matrix[:2, :2] / matrix[2, 2])))
    residual = float(np.sqrt((off**2).sum(1).mean()) / max(scale, 1e-9))
    return Frame(frame.size, matrix, frame.centre, frame.focal, 0.0, residual, corners)
