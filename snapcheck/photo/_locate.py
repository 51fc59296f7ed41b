"""The board in the picture: the lattice of its cubes, then the plate, its columns and rows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np

from snapcheck.board import Cell
from snapcheck.errors import PhotoError
from snapcheck.photo._cells import flatten, sigmoid
from snapcheck.photo._lattice import Lattice, Peaks, fit, peaks
from snapcheck.photo._nets import calibration, run
from snapcheck.photo._open import Picture
from snapcheck.photo._plate import edges, explain, see_markers
from snapcheck.photo._reading import Frame
from snapcheck.words import tr

USUAL_FOCAL_35MM = 27.0  # of a phone's main camera, where the file does not say (common practice, no source)
#: longer side, in pixels, of the picture that the locating network sees: first, and where that fails
SIDES = (448, 640, 320)
#: the network is at its best where a cell takes this many pixels; between these it may stay
EASY, SMALLEST, LARGEST = 37.0, 26.0, 48.0
#: a lattice with a residual as small as this, and with so little against it, needs no other look
GOOD, TRUSTED = 0.03, 0.8
#: so often a doubtful lattice is looked at again straight; cells around it, and the most that are shown
LOOKS, AROUND, MOST_CELLS = 2, 2, 34
FEW = 16  # cubes; so few alone do not fix the camera well, the corners of the plate must help
#: a cell is seen where this share of its top lies in the picture, counted on a grid
SEEN_ENOUGH, GRID_CUT = 0.65, 8
MOST_NAMED = 6  # cells
#: an explanation of the plate's edges that costs more, or is hardly cheaper than the next, may be wrong: of
#: 130 boards drawn by models/train seven were, six of them beyond these, and one in twelve of the right ones
COST_DOUBTFUL, GAP_DOUBTFUL = 13.0, 7.0
CORNER_NEAR = 0.9  # how far from where it is expected, in cells, such a corner may lie


#: of cube tops: places, heights, steps to the right and lower neighbours
Tops = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True)
class _View:
    """What the locating network sees in the picture reduced to `side` pixels.

    Attributes:
        out: its maps; scale: (2,) pixels of the picture per pixel of the reduced one.
        tops: places of cube tops, their heights, steps to the right and lower neighbours, in picture pixels.
        cell: pixels that a cell takes in the reduced picture (0 when nothing is seen).
    """

    side: int
    out: np.ndarray
    scale: np.ndarray
    tops: Tops
    cell: float


@dataclass(frozen=True)
class Located:
    """Where the board lies.

    Attributes:
        frame: in pixels of `picture.pixels`; columns, rows: of the plate.
        tops: (rows, columns) how far the locating network sees the top of a cube in each cell, 0..1.
        notes: remarks for the person.
        edge: what is doubtful about the plate's edge, in words; "" where nothing is.
    """

    frame: Frame
    columns: int
    rows: int
    tops: np.ndarray
    notes: tuple[str, ...]
    edge: str


def locate(picture: Picture, name: str, off: float = 0.0) -> Located:
    """Find the cubes' lattice and the plate.

    Args:
        off: residual (cells) up to which a lattice is trusted, where that is more than usual: of artwork that
            stands off the middle of its cubes.

    Raises:
        PhotoError: there is no board, or its grid cannot be trusted.
    """
    pixels = picture.pixels
    height, width = pixels.shape[:2]
    again = tr("Take the photo from above, with the whole plate in view, in good light, and hold still.")
    marks = see_markers(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY))
    focal = (picture.focal_35mm or USUAL_FOCAL_35MM) / 36 * max(width, height)
    expected = (np.array([width / 2, height / 2]), focal, picture.focal_35mm is not None)
    found, widest, seen = _lattice(pixels, marks, expected)
    if not seen:
        raise PhotoError(tr("no board is found in this picture."), place=name, way_out=again)
    if found is None:
        raise PhotoError(tr("no grid of cubes is found in this picture."), place=name, way_out=again)
    lattice, view = found
    lattice, rects = _plate(lattice, view, widest, expected, list(marks.values()))
    if lattice.residual > max(off, calibration()["lattice_residual"]):
        raise PhotoError(
            tr("the cubes do not lie on one grid ({error} of a cell off).", error=f"{lattice.residual:.2f}"),
            place=name,
            way_out=again,
        )
    if not rects:
        raise PhotoError(tr("the plate's outline is not found."), place=name, way_out=again)
    camera = lattice.camera
    foot, high = camera.foot
    weight = view.tops[1][lattice.index]
    ranked = sorted(
        (answer[0] + 6 * rank, *answer[1:])
        for rank, rect in enumerate(rects)
        for answer in explain(rect, foot, high, lattice.cells, weight, len(marks) >= 1)
    )
    if not ranked:
        raise PhotoError(
            tr("the plate's outline does not agree with the cubes on it."), place=name, way_out=again
        )
    _, columns, rows, ox, oy, m, cube = ranked[0]
    shift = np.array([[1, 0, ox], [0, 1, oy], [0, 0, 1.0]])
    left, top, right, bottom = ox - m, oy - m, ox + columns + m, oy + rows + m
    outline = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
    on_tops = foot + (outline - foot) * high / (high + cube)
    frame = Frame(
        (width, height),
        camera.tops @ shift,
        (float(camera.centre[0]), float(camera.centre[1])),
        camera.focal,
        camera.k1,
        lattice.residual,
        camera.to_pixels(on_tops),
    )
    notes = _look(pixels, frame, columns, rows, name)
    others = [answer for answer in ranked if answer[1:5] != ranked[0][1:5]]
    edge = ""
    if ranked[0][0] > COST_DOUBTFUL or (others and others[0][0] - ranked[0][0] < GAP_DOUBTFUL):
        edge = tr(
            "The plate's edge is not clear: columns and rows, and so all places, may be counted wrongly."
        )
    return Located(frame, columns, rows, _tops(view, frame, columns, rows), notes, edge)


def _tops(view: _View, frame: Frame, columns: int, rows: int) -> np.ndarray:
    """(rows, columns) the highest value of the map of tops about the middle of each cell."""
    middles = [(x + 0.5, y + 0.5) for y in range(rows) for x in range(columns)]
    at = np.round(((frame.to_photo(middles) + 0.5) / view.scale + 0.5) / 4 - 0.5).astype(int)
    heat = cv2.dilate(sigmoid(view.out[0]), np.ones((3, 3), np.uint8))
    at = np.clip(at, 0, [heat.shape[1] - 1, heat.shape[0] - 1])
    return np.asarray(heat[at[:, 1], at[:, 0]]).reshape(rows, columns)


# --- cube tops and their lattice -------------------------------------------------------------------


def _lattice(
    pixels: np.ndarray, marks: dict[int, np.ndarray], expected: tuple[np.ndarray, float, bool]
) -> tuple[tuple[Lattice, _View] | None, _View, bool]:
    """The best lattice with its view, the widest view taken, and whether cube tops were seen at all."""
    first = widest = _look_for_tops(pixels, SIDES[0], marks)
    best: tuple[Lattice, _View] | None = None
    seen = False
    for side in _sides(first, max(pixels.shape)):
        view = first if side == first.side else _look_for_tops(pixels, side, marks)
        widest = max(widest, view, key=lambda v: v.side)
        if len(view.tops[0]) < 3:
            continue
        seen = True
        lattice = fit(*view.tops, *expected)
        if lattice is None:
            continue
        if best is None or _worth(lattice) > _worth(best[0]):
            best = lattice, view
        if lattice.residual < GOOD and lattice.trust > TRUSTED:
            break
    for _ in range(LOOKS):
        if best is None or (best[0].residual < GOOD and best[0].trust > TRUSTED):
            break
        tops = _look_straight(pixels, best[0], marks)
        better = fit(*tops, *expected) if len(tops[0]) >= 3 else None
        if better is None or _worth(better) <= _worth(best[0]):
            break
        best = better, replace(best[1], tops=tops)
    return best, widest, seen


def _look_straight(pixels: np.ndarray, lattice: Lattice, marks: dict[int, np.ndarray]) -> Tops:
    """Tops of cubes, in picture pixels, as the network sees them on the board laid straight by a lattice.

    In a picture from aside cells are of all sizes and their sides look like tops; straight, all are alike.
    """
    height, width = pixels.shape[:2]
    camera, (low, high) = lattice.camera, (lattice.cells.min(0), lattice.cells.max(0) + 1)
    columns, rows = (int(n) for n in np.minimum(high - low + 2 * AROUND, MOST_CELLS))
    first = (int(low[0]) - AROUND, int(low[1]) - AROUND)
    across = camera.to_pixels(np.stack([(low + high) / 2, (low + high) / 2 + (1, 0)]))
    k = min(1.0, 1.2 * EASY / max(float(np.hypot(*(across[1] - across[0]))), 1.0))
    small = cv2.resize(pixels, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
    frame = Frame(
        (width, height), camera.tops, (float(camera.centre[0]), float(camera.centre[1])),
        camera.focal, camera.k1, lattice.residual, np.zeros((4, 2)),
    )  # fmt: skip
    board = flatten(small, frame, columns, rows, EASY, 0.0, first=first, scale=k)
    pad = (-board.shape[0] % 32, -board.shape[1] % 32)
    board = cv2.copyMakeBorder(board, 0, pad[0], 0, pad[1], cv2.BORDER_REPLICATE)
    at, seen, right, down, _ = _peaks_of(run("locate", board[None])[0])
    places = [camera.to_pixels((p + 0.5) / EASY + first) for p in (at, at + right, at + down)]
    free = _free_of_marks(places[0], marks)
    here, rights, downs = (p[free] for p in places)
    return here, seen[free], rights - here, downs - here


def _worth(lattice: Lattice) -> float:
    return float(lattice.trust * np.sqrt(len(lattice.index)) - lattice.residual / GOOD * 0.3)


def _look_for_tops(pixels: np.ndarray, side: int, marks: dict[int, np.ndarray]) -> _View:
    height, width = pixels.shape[:2]
    k = side / max(width, height)
    w, h = max(64, round(width * k / 32) * 32), max(64, round(height * k / 32) * 32)
    out = run("locate", cv2.resize(pixels, (w, h), interpolation=cv2.INTER_AREA)[None])[0]
    scale = np.array([width / w, height / h])
    at, seen, right, down, cell = _peaks_of(out)
    at = (at + 0.5) * scale - 0.5
    free = _free_of_marks(at, marks)
    return _View(side, out, scale, (at[free], seen[free], right[free] * scale, down[free] * scale), cell)


def _peaks_of(out: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, float]:
    """Tops in the network's maps: places, heights, steps to the right and down, in pixels of what it saw, and
    how many of these a cell takes."""
    found = peaks(sigmoid(out[0]), 4.0, 0.3)
    ix = np.clip(np.round((found.at + 0.5) / 4 - 0.5).astype(int), 0, [out.shape[2] - 1, out.shape[1] - 1])
    steps = out[3:7, ix[:, 1], ix[:, 0]].T * 32
    cell = float(np.median(np.hypot(steps[:, 0], steps[:, 1]))) if len(ix) else 0.0
    # the network counts pixels from their corners (see locate_targets in models/train/fit.py)
    return found.at - 0.5, found.height, steps[:, :2], steps[:, 2:], cell


def _free_of_marks(at: np.ndarray, marks: dict[int, np.ndarray]) -> np.ndarray:
    """Which of these places are on no marker: a marker is no cube."""
    if not marks:
        return np.ones(len(at), bool)
    middles = np.array([m.mean(0) for m in marks.values()])
    reach = np.array([np.hypot(*(m[0] - m[2])) for m in marks.values()]) / 2
    away = np.hypot(at[:, None, 0] - middles[:, 0], at[:, None, 1] - middles[:, 1])
    return np.asarray((away > reach).all(1))


def _sides(first: _View, longest: int) -> Iterator[int]:
    """Sizes of the picture to look at: where the cells are of easy size, then the others."""
    easy = first.side
    if first.cell and not SMALLEST <= first.cell <= LARGEST:
        easy = int(
            np.clip(round(first.side * EASY / first.cell / 32) * 32, 224, min(1280, max(longest, 224)))
        )
    yield easy
    yield from (side for side in SIDES if side != easy)


# --- the plate ---------------------------------------------------------------------------------------


def _plate(
    lattice: Lattice,
    view: _View,
    widest: _View,
    expected: tuple[np.ndarray, float, bool],
    marks: list[np.ndarray],
) -> tuple[Lattice, list[np.ndarray]]:
    """The plate's likely edges; a lattice of few cubes is fitted once more with the plate's corners."""
    corner = peaks(sigmoid(widest.out[1]), 4.0, 0.08, 2)
    corner = Peaks(corner.at * widest.scale - 0.5, corner.height)
    mask = sigmoid(widest.out[2])
    rects = edges(mask, 4.0 * widest.scale, corner, lattice, marks)
    if rects and len(lattice.index) < FEW:
        found = _corners_near(rects[0], lattice, corner)
        better = None if found is None else fit(*view.tops, *expected, found)
        if better is not None and len(better.index) >= len(lattice.index):
            again = edges(mask, 4.0 * widest.scale, corner, better, marks)
            if again:
                return better, again
    return lattice, rects


def _corners_near(rect: np.ndarray, lattice: Lattice, corner: Peaks) -> np.ndarray | None:
    """The corners seen next to those of a rectangle on the plane of the tops, or None when one is missing."""
    left, top, right, bottom = rect
    want = lattice.camera.to_pixels(np.array([(left, top), (right, top), (right, bottom), (left, bottom)]))
    cell = np.hypot(*np.diff(lattice.camera.to_pixels(np.array([(0.0, 0.0), (1.0, 0.0)])), axis=0)[0])
    chosen = []
    for place in want:
        near = np.hypot(*(corner.at - place).T) < CORNER_NEAR * cell
        if not near.any():
            return None
        chosen.append(corner.at[near][corner.height[near].argmax()])
    return np.array(chosen)


def _look(pixels: np.ndarray, frame: Frame, columns: int, rows: int, name: str) -> tuple[str, ...]:
    """Refuse a picture in which cells are too small; remark on what hinders."""
    side = np.sqrt(
        cv2.contourArea(frame.to_photo([(0, 0), (columns, 0), (columns, rows), (0, rows)]).astype(np.float32))
        / (columns * rows)
    )
    if side < 26:
        raise PhotoError(
            tr("a cube is only {n} pixels wide in this picture.", n=round(float(side))),
            place=name,
            way_out=tr("Go closer, or send the original photo instead of a reduced one."),
        )
    cut = _cut_off(frame, columns, rows, pixels.shape[1], pixels.shape[0])
    if len(cut) > MOST_NAMED:
        return (tr("{n} cells of the plate lie outside the picture.", n=len(cut)),)
    if cut:
        return (tr("{cells} of the plate lies outside the picture.", cells=", ".join(map(str, cut))),)
    return ()


def _cut_off(frame: Frame, columns: int, rows: int, width: int, height: int) -> list[Cell]:
    """Cells of which too little lies in the picture to say what stands there."""
    corners = frame.to_photo([(x, y) for x in (0, columns) for y in (0, rows)])
    if (corners >= 0).all() and (corners < (width, height)).all():
        return []
    inside = (np.arange(GRID_CUT) + 0.5) / GRID_CUT
    x, y = np.arange(columns)[:, None] + inside, np.arange(rows)[:, None] + inside
    at = frame.to_photo(np.stack(np.meshgrid(x.ravel(), y.ravel()), -1).reshape(-1, 2))
    seen = ((at >= 0) & (at < (width, height))).all(-1)
    share = seen.reshape(rows, GRID_CUT, columns, GRID_CUT).mean((1, 3))
    return [Cell(int(row), int(column)) for row, column in np.argwhere(share < SEEN_ENOUGH)]
