"""A camera over the plane of the cubes' tops, fitted to points seen in the picture.

Few cubes pin a free homography down badly: its eight numbers take up every error of the points. A phone
camera has square pixels, its main point near the middle of the picture, and a focal length that the file
often tells: with these as soft knowledge, six numbers of pose are left (Hartley and Zisserman 2004, Multiple
View Geometry, chapters 6 to 8), and a handful of cubes is enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

#: how far off a point may usually be, in cells; one that is several times as far off hardly counts
POINT = 0.025
CORNER = 0.12  # the same for a corner of the plate
#: how far focal lengths (as a ratio), main points (in picture widths) and distortions usually are from what
#: is expected
FOCAL_TOLD, FOCAL_GUESSED, MIDDLE, LENS = 0.04, 0.2, 0.015, 0.05


def apply(h: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(n, 2) points through a homography."""
    q = np.c_[points, np.ones(len(points))] @ h.T
    return np.asarray(q[:, :2] / q[:, 2:])


def undistort(points: np.ndarray, centre: np.ndarray, focal: float, k1: float) -> np.ndarray:
    """Pixels without the lens's radial distortion (inverse of x·(1 + k1·r²), by iteration)."""
    d = (points - centre) / focal
    u = d
    for _ in range(8):
        u = d / (1 + k1 * (u**2).sum(-1, keepdims=True))
    return np.asarray(u * focal + centre)


def through_lens(
    tops: np.ndarray, centre: np.ndarray | tuple[float, float], focal: float, k1: float, points: np.ndarray
) -> np.ndarray:
    """(n, 2) points through a homography to undistorted pixels, and on through the lens; see `Camera`."""
    x = (apply(tops, points) - centre) / focal
    return np.asarray(x * (1 + k1 * (x**2).sum(-1, keepdims=True)) * focal + centre)


@dataclass(frozen=True)
class Camera:
    """Pinhole camera with one radial coefficient over the plane z = 0 of the tops, in cells.

    Attributes:
        turn: (3,) rotation vector; move: (3,) translation in cells.
        focal: in pixels; centre: (2,) main point in pixels; k1: radial distortion (OpenCV's forward model).
    """

    turn: np.ndarray
    move: np.ndarray
    focal: float
    centre: np.ndarray
    k1: float

    @property
    def tops(self) -> np.ndarray:
        """3x3 homography from cells on the plane of the tops to undistorted pixels."""
        r = cv2.Rodrigues(self.turn)[0]
        k = np.array([[self.focal, 0, self.centre[0]], [0, self.focal, self.centre[1]], [0, 0, 1]])
        h = k @ np.stack([r[:, 0], r[:, 1], self.move], -1)
        return np.asarray(h / h[2, 2])

    def to_cells(self, pixels: np.ndarray) -> np.ndarray:
        """(n, 2) pixels to cells on the plane of the tops."""
        return apply(np.linalg.inv(self.tops), undistort(pixels, self.centre, self.focal, self.k1))

    def to_pixels(self, cells: np.ndarray) -> np.ndarray:
        """(n, 2) cells on the plane of the tops to pixels."""
        return through_lens(self.tops, self.centre, self.focal, self.k1, cells)

    @property
    def foot(self) -> tuple[np.ndarray, float]:
        """Where it stands over the plane of the tops: (x, y) and height, in cells."""
        at = -cv2.Rodrigues(self.turn)[0].T @ self.move
        return np.asarray(at[:2]), abs(float(at[2]))


def first_camera(h: np.ndarray, centre: np.ndarray, focal: float) -> Camera:
    """The camera nearest to a homography from cells to pixels (pose from a plane, Zhang 2000)."""
    k = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1]])
    m = np.linalg.inv(k) @ h
    m = m / ((np.linalg.norm(m[:, 0]) + np.linalg.norm(m[:, 1])) / 2)
    if m[2, 2] < 0:
        m = -m
    u, _, v = np.linalg.svd(np.stack([m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])], -1))
    r = u @ np.diag([1, 1, np.linalg.det(u @ v)]) @ v
    return Camera(cv2.Rodrigues(r)[0].ravel(), m[:, 2], focal, np.asarray(centre, float), 0.0)


def _rotations(v: np.ndarray) -> np.ndarray:
    """(n, 3) rotation vectors to (n, 3, 3) matrices (Rodrigues)."""
    angle = np.linalg.norm(v, axis=1)[:, None, None]
    x, y, z = v.T
    zero = np.zeros_like(x)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], -1).reshape(-1, 3, 3)
    safe = np.maximum(angle, 1e-9)
    return np.asarray(
        np.eye(3) + np.sin(safe) / safe * cross + (1 - np.cos(safe)) / safe**2 * (cross @ cross)
    )


def _project(p: np.ndarray, cells: np.ndarray, focal: float, centre: np.ndarray, side: float) -> np.ndarray:
    """(k, 10) parameter sets and (n, 2) cells to (k, n, 2) pixels."""
    r = _rotations(p[:, :3])
    flat = cells[None, :, :1] * r[:, None, :, 0] + cells[None, :, 1:] * r[:, None, :, 1] + p[:, None, 3:6]
    x = flat[..., :2] / np.maximum(flat[..., 2:], 0.3)
    x = x * (1 + p[:, None, 7:8] * (x**2).sum(-1, keepdims=True))
    return np.asarray(x * (focal * np.exp(p[:, 6]))[:, None, None] + centre + p[:, None, 8:] * side)


def _sides(p: np.ndarray, corners: np.ndarray, focal: float, centre: np.ndarray, side: float) -> np.ndarray:
    """By how many cells the plate's corners miss being those of a rectangle along the cells: (k, 2, 2)."""
    r = _rotations(p[:, :3])
    d = (corners - centre - p[:, None, 8:] * side) / (focal * np.exp(p[:, 6]))[:, None, None]
    u = d
    for _ in range(3):
        u = d / (1 + p[:, None, 7:8] * (u**2).sum(-1, keepdims=True))
    ray = np.concatenate([u, np.ones_like(u[..., :1])], -1)
    back = np.linalg.inv(np.stack([r[..., 0], r[..., 1], p[:, 3:6]], -1))
    q = np.einsum("kij,knj->kni", back, ray)
    x, y = q[..., 0] / q[..., 2], q[..., 1] / q[..., 2]
    miss = [x[:, 0] - x[:, 3], x[:, 1] - x[:, 2], y[:, 0] - y[:, 1], y[:, 3] - y[:, 2]]
    return np.stack(miss, -1).reshape(-1, 2, 2)


def fit_camera(
    start: Camera,
    expected: Camera,
    cells: np.ndarray,
    pixels: np.ndarray,
    size: np.ndarray,
    loose: np.ndarray,
    side: float,
    told: bool,
    corners: np.ndarray | None = None,
    rounds: int = 12,
) -> Camera:
    """Levenberg-Marquardt from `start`, with robust weights (Cauchy's) renewed in every round.

    Args:
        start: where to begin. expected: its focal length and main point are what the camera should have.
        cells, pixels: (n, 2) points on the plane and where they are seen.
        size: (n,) pixels a cell takes there.
        loose: (n,) how many times as far off as a well seen point each may be.
        side: longer side of the picture in pixels.
        told: whether the file tells the focal length.
        corners: (4, 2) pixels of the plate's corners, clockwise from the top left. On every plane parallel to
            the tops they are seen as corners of a rectangle along the cells.
    """
    prior = np.array([FOCAL_TOLD if told else FOCAL_GUESSED, LENS, MIDDLE, MIDDLE])
    middle = (start.centre - expected.centre) / side
    p = np.concatenate([start.turn, start.move, [np.log(start.focal / expected.focal), start.k1], middle])
    tiny = np.array([1e-4] * 3 + [1e-3] * 3 + [1e-4, 1e-3, 1e-4, 1e-4])
    sharp = 1 / (size * POINT * loose)

    def parts(q: np.ndarray) -> np.ndarray:
        seen = _project(np.atleast_2d(q), cells, expected.focal, expected.centre, side)
        off = (seen - pixels) * sharp[:, None]
        if corners is None:
            return np.asarray(off)
        miss = _sides(np.atleast_2d(q), corners, expected.focal, expected.centre, side) / CORNER
        return np.concatenate([off, miss], 1)

    def cost(off: np.ndarray, q: np.ndarray) -> float:
        return float(np.log1p((off**2).sum(-1) / 4).sum() * 4 + ((q[6:] / prior) ** 2).sum())

    damp = 1e-3
    off = parts(p)[0]
    least = cost(off, p)
    for _ in range(rounds):
        moved = parts(p + np.diag(tiny))
        slope = (moved - off) / tiny[:, None, None]  # (10, n, 2)
        weight = 1 / (1 + (off**2).sum(-1) / 4)
        a = np.einsum("inc,jnc,n->ij", slope, slope, weight)
        b = np.einsum("inc,nc,n->i", slope, off, weight)
        a[6:, 6:] += np.diag(1 / prior**2)
        b[6:] += p[6:] / prior**2
        for _ in range(5):
            step = np.linalg.solve(a + damp * np.diag(np.diag(a)) + 1e-12 * np.eye(10), b)
            trial = p - step
            new = parts(trial)[0]
            price = cost(new, trial)
            if price < least:
                damp = max(damp / 5, 1e-7)
                break
            damp *= 6
        else:
            break
        done = least - price < 1e-3
        p, off, least = trial, new, price
        if done:
            break
    return Camera(
        p[:3], p[3:6], float(expected.focal * np.exp(p[6])), expected.centre + p[8:] * side, float(p[7])
    )
