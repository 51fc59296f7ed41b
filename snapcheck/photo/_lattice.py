"""The lattice of cube tops: from peaks of the locating network to a camera and cell coordinates."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from snapcheck.photo._camera import Camera, first_camera, fit_camera


@dataclass(frozen=True)
class Peaks:
    """Local maxima of a map: positions (n, 2) in pixels, heights (n,)."""

    at: np.ndarray
    height: np.ndarray


def peaks(prob: np.ndarray, stride: float, low: float, reach: int = 1) -> Peaks:
    """Maxima of a probability map with sub-cell position by a parabola through the logarithm.

    Args:
        prob: (h, w) map in 0..1.
        stride: pixels of the picture a map cell stands for.
        low: maxima lower than this are left out.
        reach: half width of the neighbourhood in which a maximum must be the highest.
    """
    top = cv2.dilate(prob, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
    ys, xs = np.nonzero((prob >= top) & (prob > low))
    h, w = prob.shape
    logp = np.log(np.clip(prob, 1e-4, 1))
    xi, yi = np.clip(xs, 1, w - 2), np.clip(ys, 1, h - 2)

    def offset(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
        bend = a - 2 * b + c
        return np.where(
            bend < -1e-4, np.clip(0.5 * (a - c) / np.where(bend < -1e-4, bend, -1), -0.7, 0.7), 0.0
        )

    dx = offset(logp[yi, xi - 1], logp[yi, xi], logp[yi, xi + 1])
    dy = offset(logp[yi - 1, xi], logp[yi, xi], logp[yi + 1, xi])
    at = np.stack([(xs + dx + 0.5) * stride - 0.5, (ys + dy + 0.5) * stride - 0.5], -1)
    return Peaks(at, prob[ys, xs])


def homography(cells: np.ndarray, pixels: np.ndarray, weight: np.ndarray | None = None) -> np.ndarray | None:
    """3x3 map from cells to pixels by least squares on normalised points (direct linear transform), or None."""  # noqa: E501
    if len(cells) < 4:
        return None

    def norm(p: np.ndarray) -> np.ndarray:
        c = p.mean(0)
        s = np.sqrt(2) / max(float(np.hypot(*(p - c).T).mean()), 1e-9)
        return np.array([[s, 0, -s * c[0]], [0, s, -s * c[1]], [0, 0, 1]])

    ta, tb = norm(cells), norm(pixels)
    a = cells @ ta[:2, :2].T + ta[:2, 2]
    b = pixels @ tb[:2, :2].T + tb[:2, 2]
    zero, one = np.zeros(len(a)), np.ones(len(a))
    rows = np.concatenate(
        [
            np.stack(
                [a[:, 0], a[:, 1], one, zero, zero, zero, -b[:, 0] * a[:, 0], -b[:, 0] * a[:, 1], -b[:, 0]],
                -1,
            ),
            np.stack(
                [zero, zero, zero, a[:, 0], a[:, 1], one, -b[:, 1] * a[:, 0], -b[:, 1] * a[:, 1], -b[:, 1]],
                -1,
            ),
        ]
    )
    if weight is not None:
        rows = rows * np.concatenate([weight, weight])[:, None]
    _, s, v = np.linalg.svd(rows, full_matrices=False) if len(rows) > 8 else np.linalg.svd(rows)
    if s[7] < 1e-7:
        return None
    h = np.linalg.inv(tb) @ v[-1].reshape(3, 3) @ ta
    return h / h[2, 2] if abs(h[2, 2]) > 1e-12 else None


@dataclass(frozen=True)
class Lattice:
    """Peaks with cell coordinates (column, row; origin arbitrary) and the camera that explains them.

    Attributes:
        index: (n,) numbers of the peaks that belong to the lattice.
        cells: (n, 2) integer column and row of each.
        camera: over the plane of the tops, in cells (centres at +0.5).
        residual: root mean square error in cells, of those that are not far off.
        trust: how much of the peaks (by their heights) speaks for it less what speaks against it, -1..1.
    """

    index: np.ndarray
    cells: np.ndarray
    camera: Camera
    residual: float
    trust: float


def walk(
    at: np.ndarray, height: np.ndarray, right: np.ndarray, down: np.ndarray
) -> list[dict[int, tuple[int, int]]]:
    """Chains of neighbours: each peak's steps say where its neighbours should be. Largest group first."""
    n = len(at)
    size = np.sqrt(np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0]))
    links: list[list[tuple[int, int, int]]] = [[] for _ in range(n)]
    for i in range(n):
        for step, (dx, dy) in ((right, (1, 0)), (down, (0, 1))):
            want = at[i] + step[i]
            gap = np.hypot(*(at - want).T)
            gap[i] = np.inf
            j = int(gap.argmin())
            if gap[j] < 0.25 * size[i] and 0.7 < size[j] / size[i] < 1.4:
                links[i].append((j, dx, dy))
                links[j].append((i, -dx, -dy))
    groups: list[dict[int, tuple[int, int]]] = []
    seen: set[int] = set()
    for start in np.argsort(-height):
        s = int(start)
        if s in seen:
            continue
        group = {s: (0, 0)}
        stack = [s]
        while stack:
            i = stack.pop()
            for j, dx, dy in links[i]:
                if j not in group and j not in seen:
                    group[j] = (group[i][0] + dx, group[i][1] + dy)
                    stack.append(j)
        seen.update(group)
        groups.append(group)
    return sorted(groups, key=len, reverse=True)


def fit(
    at: np.ndarray,
    height: np.ndarray,
    right: np.ndarray,
    down: np.ndarray,
    centre: np.ndarray,
    focal: float,
    told: bool = False,
    corners: np.ndarray | None = None,
) -> Lattice | None:
    """Robust lattice through the peaks, or None when no group of cubes makes one.

    Args:
        at, height: the peaks. right, down: (n, 2) steps to each one's neighbours.
        centre, focal: main point and focal length that the camera should have, in pixels.
        told: whether the file tells the focal length.
        corners: (4, 2) of the plate, clockwise from the top left, where they are known already.
    """
    groups = walk(at, height, right, down)
    best: Lattice | None = None
    for group in [g for g in groups[:3] if 3 * len(g) >= len(groups[0])]:
        found = _grow(group, at, height, right, down, centre, focal, told, corners)
        if found and (best is None or found.trust * len(found.index) > best.trust * len(best.index)):
            best = found
    return best


FAR_OFF = 0.12  # cells; a peak as far from its place as this is none of the lattice's
#: how much further off than its place a cube's step to its neighbour may be, and the most, in cells
STEP_LOOSE, STEP_WRONG = 5.0, 0.4


def _grow(
    group: dict[int, tuple[int, int]],
    at: np.ndarray,
    height: np.ndarray,
    right: np.ndarray,
    down: np.ndarray,
    centre: np.ndarray,
    focal: float,
    told: bool,
    corners: np.ndarray | None,
) -> Lattice | None:
    members = dict(group)
    camera: Camera | None = None
    expected = Camera(np.zeros(3), np.zeros(3), focal, centre, 0.0)
    size = np.sqrt(np.abs(right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0])) + 1e-6
    for turn in range(6):
        index = np.array(list(members))
        cells = np.array([members[int(i)] for i in index], float) + 0.5
        # each peak speaks with its steps too, so that even one row of cubes spans a plane
        spread = [(cells, at[index], 1.0)]
        for step, (dx, dy) in ((right, (0.5, 0.0)), (down, (0.0, 0.5))):
            for sign in (1, -1):
                spread.append(
                    (cells + sign * np.array([dx, dy]), at[index] + sign * step[index] / 2, STEP_LOOSE)
                )
        a, b = (np.concatenate([s[k] for s in spread]) for k in (0, 1))
        loose = np.concatenate([s[2] / np.sqrt(np.clip(height[index], 0.1, 1)) for s in spread])
        sizes = np.tile(np.full(len(index), np.median(size[index])), len(spread))
        if camera is None:
            h = homography(a, b, 1 / loose)
            if h is None:
                return None
            camera = first_camera(h, centre, focal)
        camera = fit_camera(camera, expected, a, b, sizes, loose, float(2 * centre.max()), told, corners)
        # take in every peak that lands on a free lattice point
        place = camera.to_cells(at) - 0.5
        near = np.round(place)
        off = np.abs(place - near).max(1)
        new: dict[tuple[int, int], tuple[float, int]] = {}
        across, along = camera.to_cells(at + right) - 0.5 - place, camera.to_cells(at + down) - 0.5 - place
        wrong = np.maximum(np.abs(across[:, 0] - 1), np.abs(along[:, 1] - 1))
        fits = (off < (0.3 if turn < 2 else 0.2)) & (np.abs(place).max(1) < 30) & (wrong < STEP_WRONG)
        for i in np.flatnonzero(fits):
            key = (int(near[i, 0]), int(near[i, 1]))
            score = float(height[i]) - float(off[i])
            if key not in new or score > new[key][0]:
                new[key] = (score, int(i))
        now = {i: key for key, (_, i) in new.items()}
        if len(now) < 3:
            return None
        if now == members and turn >= 2:
            break
        members = now
    assert camera is not None
    index = np.array(list(members))
    cells = np.array([members[int(i)] for i in index], float) + 0.5
    err = np.hypot(*(camera.to_cells(at[index]) - cells).T)
    good = err < FAR_OFF
    if good.sum() < 3:
        return None
    # a place with two peaks is one cube seen twice: only the stray ones speak against the lattice
    place = camera.to_cells(at) - 0.5
    stray = np.abs(place - np.round(place)).max(1) > FAR_OFF
    speaks = float(height[index[good]].sum())
    against = float(height[stray].sum())
    trust = (speaks - against) / max(speaks + against, 1e-6)
    index, cells, err = index[good], cells[good], err[good]
    return Lattice(index, (cells - 0.5).astype(int), camera, float(np.sqrt((err**2).mean())), trust)
