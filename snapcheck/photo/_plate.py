"""The plate under the cubes: its outline, its columns and rows, and which cell is A1."""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np

from snapcheck.photo._lattice import Lattice, Peaks

MARKER_SIDE = 1024  # longer side of the picture, in pixels, in which markers are sought
MARKER_MODULES = 8  # squares along a marker's side, its dark rim among them
CLEAR_CORNER, MERGED_BESIDE = 0.5, 0.08
MARKED = 1.5  # how much a marker says about the corner it stands in; a corner seen says up to 1
MARKER_RIM, MARKER_OFF = 0.12, 0.35  # cells from a marker to the plate's corner, and how far that may be off


def edges(  # noqa: PLR0912
    mask: np.ndarray,
    stride: np.ndarray,
    corner: Peaks,
    lattice: Lattice,
    marks: Iterable[np.ndarray] = (),
) -> list[np.ndarray]:
    """Left, top, right and bottom edge of the plate as seen on the plane of the tops, where it is a
    rectangle along the cells; the likeliest first. Corners seen, the plate's area and the markers in its
    corners ((4, 2) pixels each) propose edges; all vote on every combination."""
    cells, camera = lattice.cells, lattice.camera
    ys, xs = np.mgrid[0 : mask.shape[0] : 2, 0 : mask.shape[1] : 2]
    at = (np.stack([xs.ravel(), ys.ravel()], -1) + 0.375) * stride - 0.5  # counted from the pixels' corners
    p = camera.to_cells(at)
    prob = mask[::2, ::2].ravel()
    lo, hi = cells.min(0), cells.max(0) + 1.0
    near = (np.abs(p - (lo + hi) / 2) < (hi - lo) / 2 + 16).all(1)
    p, prob = p[near], prob[near]
    inner = prob > 0.5
    if inner.sum() < 30:
        return []
    box = _outline(p[inner])
    q = camera.to_cells(corner.at) if len(corner.at) else np.zeros((0, 2))
    outer = _outer_corners([camera.to_cells(m) for m in marks], (lo + hi) / 2)
    proposals = []
    for axis, first in ((0, True), (1, True), (0, False), (1, False)):
        values = [box[axis] if first else box[axis + 2]]
        weights = [0.3]
        for value, weight in zip(q[:, axis], corner.height, strict=True):
            if (value < lo[axis] + 0.6) if first else (value > hi[axis] - 0.6):
                values.append(float(value))
                weights.append(float(weight))
        for value in outer[:, axis]:
            if (value < lo[axis] + 0.6) if first else (value > hi[axis] - 0.6):
                values.append(float(value))
                weights.append(MARKED)
        merged: list[tuple[float, float]] = []  # corners on one edge agree: one proposal
        for value, weight in sorted(zip(values, weights, strict=True)):
            if merged and value - merged[-1][0] < 0.3:
                v, u = merged[-1]
                merged[-1] = ((v * u + value * weight) / (u + weight), u + weight)
            else:
                merged.append((value, weight))
        some = [v for v, _ in sorted(merged, key=lambda m: -m[1])[:4]]
        # what was merged may lie beside a corner that is seen well
        clear = [v for v, w in zip(values, weights, strict=True) if w > CLEAR_CORNER]
        proposals.append(some + [v for v in clear if min(abs(v - u) for u in some) > MERGED_BESIDE])
    ranked = []
    off = 1 - prob
    total = float(prob.sum())
    for left in proposals[0]:
        for top in proposals[1]:
            for right in proposals[2]:
                for bottom in proposals[3]:
                    inside = (p[:, 0] > left) & (p[:, 0] < right) & (p[:, 1] > top) & (p[:, 1] < bottom)
                    overlap = float(prob[inside].sum()) / (total + float(off[inside].sum()))
                    seen = 0.0
                    for x, y in ((left, top), (right, top), (right, bottom), (left, bottom)):
                        if len(q):
                            d = np.hypot(q[:, 0] - x, q[:, 1] - y)
                            seen += float((corner.height * np.exp(-((d / 0.25) ** 2))).max())
                        if len(outer):
                            d = np.hypot(outer[:, 0] - x, outer[:, 1] - y)
                            seen += MARKED * float(np.exp(-((d / MARKER_OFF) ** 2)).max())
                    ranked.append((overlap * 4 + seen, (left, top, right, bottom)))
    ranked.sort(reverse=True)
    return [np.array(r) for s, r in ranked[:6] if s > ranked[0][0] - 1.5]


def _outer_corners(marks: list[np.ndarray], middle: np.ndarray) -> np.ndarray:
    """(n, 2) where the plate's corners should be: a little outside the outermost corner of each marker."""
    if not marks:
        return np.zeros((0, 2))
    far = [m[np.abs(m - middle).sum(1).argmax()] for m in marks]
    return np.array([f + np.sign(f - m.mean(0)) * MARKER_RIM for f, m in zip(far, marks, strict=True)])


def _outline(p: np.ndarray) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of a cloud of points that fills a rectangle: medians over strips."""
    box = []
    for axis in (0, 1):
        other = p[:, 1 - axis]
        low, high = (float(v) for v in np.percentile(other, [15, 85]))
        which = np.digitize(other, np.linspace(low, high, 13))
        strips = [p[which == i, axis] for i in range(1, 13) if (which == i).sum() > 3] or [p[:, axis]]
        ends = np.median([np.percentile(s, [1, 99]) for s in strips], 0)
        box.append((float(ends[0]), float(ends[1])))
    return box[0][0], box[1][0], box[0][1], box[1][1]


def explain(
    rect: np.ndarray, foot: np.ndarray, height: float, cells: np.ndarray, weight: np.ndarray, markers: bool
) -> list[tuple[float, int, int, int, int, float, float]]:
    """Ranked explanations of the edges: (cost, columns, rows, origin x, origin y, margin, cube height).

    `cells` (n, 2) are the lattice places of the cubes seen, `weight` how sure each is: none should lie off
    the plate. The plate lies one cube height below the tops, so the camera sees it shrunk towards its foot
    by H / (H + h).
    """
    found: dict[tuple[int, int, int, int], tuple[float, float, float]] = {}
    for h in np.arange(0.4, 1.12, 0.04):
        s = height / (height + h)
        left, top = foot + (rect[:2] - foot) / s
        right, bottom = foot + (rect[2:] - foot) / s
        w, v = right - left, bottom - top
        for columns in range(max(1, int(w - 2.6)), int(w + 1.3)):
            m = (w - columns) / 2
            if not -0.12 < m < 1.35:
                continue
            rows = round(v - 2 * m)
            ox, oy = round(left + m), round(top + m)
            if rows < 1:
                continue
            outside = ((cells < (ox, oy)) | (cells >= (ox + columns, oy + rows))).any(1)
            m2 = (w - columns + v - rows) / 4
            off = np.array(
                [left + m2 - ox, right - m2 - ox - columns, top + m2 - oy, bottom - m2 - oy - rows]
            )
            cost = float((off**2).sum()) / 0.06**2 + 30 * float(weight[outside].sum())
            # plates without markers have a narrow rim, those with markers a wide one (common practice, no
            # source)
            low, high = (0.6, 1.15) if markers is True else (0.04, 0.7)
            cost += (max(0.0, low - m2, m2 - high) / 0.05) ** 2
            cost += (max(0.0, 0.5 - h, h - 1.0) / 0.05) ** 2
            key = (columns, rows, ox, oy)
            if key not in found or cost < found[key][0]:
                found[key] = (cost, m2, float(h))
    return sorted((c, *key, m, h) for key, (c, m, h) in found.items())


def see_markers(grey: np.ndarray) -> dict[int, np.ndarray]:
    """Corner markers (ArUco, dictionary MIP 36h12, ids 0 to 3) in a grey picture: id to (4, 2) pixels.

    A plate has four or none. Where a quick look (halved, which costs next to nothing, with one window of the
    threshold) sees not one of them, there are none.
    """
    small = grey
    while max(small.shape) > 1.5 * MARKER_SIDE:
        small = cv2.resize(small, (small.shape[1] // 2, small.shape[0] // 2), interpolation=cv2.INTER_AREA)
    how = cv2.aruco.DetectorParameters()
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    how.minMarkerPerimeterRate = 4 * MARKER_MODULES * 2 / MARKER_SIDE  # two pixels a square, at least
    marks = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    smallest = how.adaptiveThreshWinSizeMin
    how.adaptiveThreshWinSizeMin = how.adaptiveThreshWinSizeMax
    if cv2.aruco.ArucoDetector(marks, how).detectMarkers(small)[1] is None:
        return {}
    how.adaptiveThreshWinSizeMin = smallest
    k = min(1.0, MARKER_SIDE / max(grey.shape))
    if k < 1:  # a reduced picture is enough
        grey = cv2.resize(grey, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
    corners, ids, _ = cv2.aruco.ArucoDetector(marks, how).detectMarkers(grey)
    if ids is None:
        return {}
    return {
        int(i): (np.asarray(c).reshape(4, 2) + 0.5) / k - 0.5
        for i, c in zip(np.ravel(ids), corners, strict=True)
        if 0 <= int(i) <= 3
    }
