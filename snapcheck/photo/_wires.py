"""Leads: which two sockets each one joins.

The lead network marks every lead and the direction it runs in. From each plug a path is sought that stays on
leads, keeps its direction (so that it goes straight over a crossing) and keeps the lead's colour; the plugs
are then paired so that all paths together cost least. The search runs on pixels lifted by heading, after the
sub-Riemannian shortest paths of Bekkers et al. 2015 (SIAM J. Imaging Sci. 8, 2740), here as a plain graph.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import networkx as nx  # type: ignore[import-untyped]
import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from snapcheck.photo._cells import flatten
from snapcheck.photo._lattice import peaks
from snapcheck.photo._nets import calibration, run
from snapcheck.photo._reading import Frame

PER_CELL = 28
RIM = 1.6
#: headings every fifteen degrees, clockwise from east, as steps of about three pixels
HEADINGS = np.array([(round(3 * np.cos(a)), round(3 * np.sin(a))) for a in np.arange(24) * np.pi / 12])
#: what a pixel of way costs: for itself, off any lead, across a lead's direction, along another colour
STEP, OFF, ACROSS, COLOUR = 0.005, 1.0, 0.3, 0.1
#: what turning by 0, 15 and 30 degrees in one step costs
TURN = {0: 0.0, 1: 0.1, 2: 0.4}


def sigmoid(x: np.ndarray) -> np.ndarray:
    return np.asarray(1 / (1 + np.exp(-np.clip(x, -30, 30))))


@dataclass(frozen=True)
class Pair:
    """Two ends (numbers) joined by a lead, its probability, and other partners of either end."""

    ends: tuple[int, int]
    confidence: float
    rivals: tuple[tuple[tuple[int, int], float], ...]


def follow(
    pixels: np.ndarray, frame: Frame, columns: int, rows: int, ends: np.ndarray
) -> tuple[list[Pair], list[int]]:
    """Join sockets at `ends` ((n, 2) cells on the plane of the tops) by leads.

    Returns:
        The pairs, and the numbers of plugged ends whose other end was not found.
    """
    if len(ends) == 0:
        return [], []
    fine = flatten(pixels, frame, columns, rows, 2 * PER_CELL, RIM)
    h, w = (fine.shape[0] // 2 + 31) // 32 * 32, (fine.shape[1] // 2 + 31) // 32 * 32
    board = cv2.resize(fine, (fine.shape[1] // 2, fine.shape[0] // 2), interpolation=cv2.INTER_AREA)
    board = cv2.copyMakeBorder(board, 0, h - board.shape[0], 0, w - board.shape[1], cv2.BORDER_REPLICATE)
    out = run("wires", board[None])[0]
    lead, plug = sigmoid(out[0]), sigmoid(out[3])
    at = (ends + RIM) * PER_CELL / 2 - 0.5
    plugged, at = _plugs(plug, at)
    if len(plugged) < 2:
        return [], plugged
    small = cv2.resize(board, (w // 2, h // 2), interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(small, cv2.COLOR_BGR2LAB).astype(np.float32)
    cost = _costs(lead, out[1:3], lab, np.round(at).astype(int))
    close = np.hypot(*(ends[plugged][:, None] - ends[plugged][None]).transpose(2, 0, 1)) < 0.5
    return _pair(cost + 12.0 * close, plugged)  # hardly anybody joins the two sockets of one cube


def _plugs(plug: np.ndarray, at: np.ndarray) -> tuple[list[int], np.ndarray]:
    """Which sockets (half-size positions) hold a plug, and where it was seen: each peak to its nearest."""
    found = peaks(plug, 1.0, calibration()["plug_threshold"], 1)
    taken: dict[int, tuple[float, np.ndarray]] = {}
    for place, height in zip(found.at, found.height, strict=True):
        gap = np.hypot(*(at - place).T)
        i = int(gap.argmin())
        score = float(height) - 0.05 * float(gap[i])
        if gap[i] < 0.36 * PER_CELL / 2 and (i not in taken or score > taken[i][0]):
            taken[i] = (score, place)
    plugged = sorted(taken)
    return plugged, np.array([taken[i][1] for i in plugged]).reshape(-1, 2)


def _costs(lead: np.ndarray, way: np.ndarray, lab: np.ndarray, at: np.ndarray) -> np.ndarray:
    """(n, n) cost of the cheapest path between every two plugs at pixels `at`."""
    h, w = lead.shape
    ground = lead > 0.12
    for x, y in at:
        cv2.circle(view := ground.astype(np.uint8), (int(x), int(y)), 4, 1, -1)
        ground |= view.astype(bool)
    ground = cv2.dilate(ground.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    number = -np.ones((h, w), np.int64)
    ys, xs = np.nonzero(ground)
    number[ys, xs] = np.arange(len(xs))
    norm = np.hypot(way[0], way[1]) + 1e-6
    c2, s2 = way[0] / norm, way[1] / norm
    k_all = len(HEADINGS)
    miss = np.clip(0.5 - lead, 0, 0.5) * 2
    rows, cols, base, pixel = [], [], [], []
    for k, (sx, sy) in enumerate(HEADINGS):
        tx, ty = xs + sx, ys + sy
        ok = (tx >= 0) & (ty >= 0) & (tx < w) & (ty < h)
        ok[ok] = number[ty[ok], tx[ok]] >= 0
        src, x, y = np.nonzero(ok)[0], tx[ok], ty[ok]
        mx, my = (xs[ok] + x) // 2, (ys[ok] + y) // 2
        angle = k * np.pi / 12
        across = (1 - (np.cos(2 * angle) * c2[y, x] + np.sin(2 * angle) * s2[y, x])) / 2
        price = 3 * (STEP + OFF * (miss[y, x] + miss[my, mx]) / 2 + ACROSS * lead[y, x] * across)
        dst = number[y, x]
        for turn in (-2, -1, 0, 1, 2):
            rows.append(src * k_all + k)
            cols.append(dst * k_all + (k + turn) % k_all)
            base.append(price + TURN[abs(turn)])
            pixel.append(dst)
    r, c, b, px = (np.concatenate(a) for a in (rows, cols, base, pixel))
    nodes = len(xs) * k_all
    colour = lab[ys, xs]
    strength = lead[ys, xs]
    result = np.full((len(at), len(at)), np.inf)
    ids = [number[y, x] if 0 <= y < h and 0 <= x < w else -1 for x, y in at]
    for i, (x, y) in enumerate(at):
        if ids[i] < 0:
            continue
        d = np.hypot(xs - x, ys - y)
        ring = (d < 9) & (d > 2) & (strength > 0.5)
        own = np.median(colour[ring], 0) if ring.sum() > 5 else np.median(colour[d < 6], 0)
        off = np.minimum(
            np.hypot(colour[:, 1] - own[1], colour[:, 2] - own[2]) / 30 + np.abs(colour[:, 0] - own[0]) / 120,
            1.0,
        )
        graph = csr_matrix((b + 3 * COLOUR * off[px], (r, c)), shape=(nodes, nodes))
        dist = (
            dijkstra(graph, indices=[ids[i] * k_all + k for k in range(k_all)], min_only=True)
            .reshape(-1, k_all)
            .min(1)
        )
        for j, (u, v) in enumerate(at):
            if j != i:
                close = np.hypot(xs - u, ys - v) < 2.5
                if close.any():
                    result[i, j] = dist[close].min()
    return np.asarray(np.minimum((result + result.T) / 2, 1e3))


def _pair(cost: np.ndarray, plugged: list[int]) -> tuple[list[Pair], list[int]]:
    """The cheapest pairing, each pair with its share against other partners."""
    limits = calibration()
    n = len(plugged)
    graph = nx.Graph()
    for a in range(n):
        for b in range(a + 1, n):
            if cost[a, b] < limits["lead_cost_limit"]:
                graph.add_edge(a, b, weight=float(limits["lead_cost_limit"] * 1.2 - cost[a, b]))
    chosen = [tuple(sorted(p)) for p in nx.max_weight_matching(graph)]
    soft = np.exp(-cost / limits["lead_temperature"])
    np.fill_diagonal(soft, 0)
    pairs, used = [], set()
    for a, b in chosen:
        used |= {a, b}
        share = [soft[x, y] / max(float(soft[x].sum()), 1e-12) for x, y in ((a, b), (b, a))]
        rivals = [
            ((plugged[x], plugged[z]), float(soft[x, z] / soft[x].sum()))
            for x, y in ((a, b), (b, a))
            for z in range(n)
            if z not in (x, y) and soft[x, z] / max(float(soft[x].sum()), 1e-12) > 0.02
        ]
        pairs.append(
            Pair((plugged[a], plugged[b]), float(min(share)), tuple(sorted(rivals, key=lambda r: -r[1])[:4]))
        )
    return pairs, [plugged[i] for i in range(n) if i not in used]
