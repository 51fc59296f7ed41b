"""Ways that a lead may take: cheapest paths between plugs on a map of leads.

A path costs where it leaves the leads, where it runs across a lead's own direction, and where it bends, so
that it goes straight over a crossing. The search runs on pixels lifted by heading, after the sub-Riemannian
shortest paths of Bekkers et al. 2015 (SIAM J. Imaging Sci. 8, 2740), here as a plain graph.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

#: headings every fifteen degrees, clockwise from east, as steps of about three pixels
HEADINGS = np.array([(round(3 * np.cos(a)), round(3 * np.sin(a))) for a in np.arange(24) * np.pi / 12])
#: what a pixel of way costs: for itself, off any lead, across a lead's direction
STEP, OFF, ACROSS = 0.002, 0.35, 0.2
#: what turning by 0, 15, 30 and 45 degrees in one step costs
TURN = {0: 0.0, 1: 0.03, 2: 0.12, 3: 0.36}
#: pixels less likely than this belong to no lead, unless they close a gap of up to GAP pixels
FAINT, GAP = 0.12, 9


def _discs(shape: tuple[int, ...], at: np.ndarray, radius: int) -> np.ndarray:
    discs = np.zeros(shape, np.uint8)
    for x, y in at:
        cv2.circle(discs, (int(x), int(y)), radius, 1, -1)
    return discs.astype(bool)


def cheapest_paths(
    lead: np.ndarray, way: np.ndarray, at: np.ndarray
) -> dict[tuple[int, int], tuple[float, np.ndarray]]:
    """Cheapest path from every plug to every other: (cost, (m, 2) pixels).

    Args:
        lead: (h, w) map in 0..1. way: (2, h, w) its direction as cosine and sine of twice the angle.
        at: (n, 2) whole pixels of the plugs.
    """
    h, w = lead.shape
    ends = _discs(lead.shape, at, 4)
    faint = (lead > FAINT).astype(np.uint8)
    closed = cv2.morphologyEx(
        faint, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (GAP, GAP))
    )
    ground = cv2.dilate(np.maximum(closed, ends.astype(np.uint8)), np.ones((3, 3), np.uint8))
    ys, xs = np.nonzero(ground)
    number = -np.ones((h, w), np.int64)
    number[ys, xs] = np.arange(len(xs))
    norm = np.hypot(way[0], way[1]) + 1e-6
    c2, s2 = way[0] / norm, way[1] / norm
    off = np.minimum(-np.log(np.maximum(lead, 0.02)), 3.0) * OFF
    off = np.where(ends, np.minimum(off, 0.1), off)  # a plug hides the lead's beginning
    k_all = len(HEADINGS)
    rows, cols, base = [], [], []
    for k, (sx, sy) in enumerate(HEADINGS):
        tx, ty = xs + sx, ys + sy
        ok = (tx >= 0) & (ty >= 0) & (tx < w) & (ty < h)
        ok[ok] = number[ty[ok], tx[ok]] >= 0
        src, x, y = np.nonzero(ok)[0], tx[ok], ty[ok]
        between = [(xs[ok] + round(sx * t / 3), ys[ok] + round(sy * t / 3)) for t in (1, 2)]
        angle = np.arctan2(sy, sx)
        across = (1 - (np.cos(2 * angle) * c2[y, x] + np.sin(2 * angle) * s2[y, x])) / 2
        missing = (off[y, x] + sum(off[v, u] for u, v in between)) / 3
        price = np.hypot(sx, sy) * (STEP + missing + ACROSS * lead[y, x] * across)
        dst = number[y, x]
        for turn in range(-3, 4):
            rows.append(src * k_all + k)
            cols.append(dst * k_all + (k + turn) % k_all)
            base.append(price + TURN[abs(turn)])
    nodes = len(xs) * k_all
    graph = csr_matrix(
        (np.concatenate(base), (np.concatenate(rows), np.concatenate(cols))), shape=(nodes, nodes)
    )
    result = {}
    for i, (x, y) in enumerate(at):
        start = number[y, x] * k_all
        cost, before, _ = dijkstra(
            graph, indices=range(start, start + k_all), min_only=True, return_predecessors=True
        )
        for j, (u, v) in enumerate(at):
            if j == i:
                continue
            close = np.nonzero(np.hypot(xs - u, ys - v) < 2.5)[0]
            arrivals = (close[:, None] * k_all + np.arange(k_all)).ravel()
            last = int(arrivals[cost[arrivals].argmin()])
            price, back = float(cost[last]), []
            while np.isfinite(price) and last >= 0:
                back.append(last // k_all)
                last = int(before[last])
            result[i, j] = (price, np.stack([xs[back[::-1]], ys[back[::-1]]], -1))
    return result
