"""Leads: which two sockets each one joins.

The lead network marks every lead, the direction it runs in, and the plugs. From each plug the cheapest path
to every other is sought that stays on leads and bends gently (so that it goes straight over a crossing). Then
that set of leads is chosen that costs least: its paths, colours that change on the way, plugs left without a
lead, and marked lead that no path explains. The search for paths runs on pixels lifted by heading, after the
sub-Riemannian shortest paths of Bekkers et al. 2015 (SIAM J. Imaging Sci. 8, 2740), here as a plain graph.
The prices were tuned on boards drawn by models/train, never on labelled test pictures.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from snapcheck.photo._cells import flatten
from snapcheck.photo._lattice import peaks
from snapcheck.photo._nets import calibration, run
from snapcheck.photo._reading import Frame

PER_CELL = 28
RIM = 2.6  # leads arch over the table, and towards the camera
#: headings every fifteen degrees, clockwise from east, as steps of about three pixels
HEADINGS = np.array([(round(3 * np.cos(a)), round(3 * np.sin(a))) for a in np.arange(24) * np.pi / 12])
#: what a pixel of way costs: for itself, off any lead, across a lead's direction
STEP, OFF, ACROSS = 0.002, 0.35, 0.2
#: what turning by 0, 15, 30 and 45 degrees in one step costs
TURN = {0: 0.0, 1: 0.03, 2: 0.12, 3: 0.36}
#: pixels less likely than this belong to no lead, unless they close a gap of up to GAP pixels
FAINT, GAP = 0.12, 9
#: what a change of colour costs, once it is larger than that of light and shade (units of CIE L*a*b*)
COLOUR, SHADE, COLOUR_MOST = 1 / 8, 12.0, 30.0
#: what the two sockets of one cube cost when joined, a plug without a lead, a cell of lead unexplained
SAME_CUBE, LOOSE, UNEXPLAINED = 1.0, 3.0, 3.0
PATH = 1.5  # weight of a path's own cost
LEAD_WIDTH = 2.2  # pixels, of the marked lead
DEAREST = 15.0


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
    plugged, at, sure = _plugs(plug, at)
    if len(plugged) < 2:
        return [], plugged
    small = cv2.resize(board, (w // 2, h // 2), interpolation=cv2.INTER_AREA)
    close = np.hypot(*(ends[plugged][:, None] - ends[plugged][None]).transpose(2, 0, 1)) < 0.5
    puzzle = _puzzle(lead, out[1:3], small, np.round(at).astype(int), sure, SAME_CUBE * close)
    return _told(puzzle, puzzle.solve(), plugged)


def _plugs(plug: np.ndarray, at: np.ndarray) -> tuple[list[int], np.ndarray, np.ndarray]:
    """Which sockets (half-size positions) hold a plug, where it was seen and how surely: each peak to its
    nearest."""
    found = peaks(plug, 1.0, calibration()["plug_threshold"], 1)
    taken: dict[int, tuple[float, float, np.ndarray]] = {}
    for place, height in zip(found.at, found.height, strict=True):
        gap = np.hypot(*(at - place).T)
        i = int(gap.argmin())
        score = float(height) - 0.05 * float(gap[i])
        if gap[i] < 0.36 * PER_CELL / 2 and (i not in taken or score > taken[i][0]):
            taken[i] = (score, float(height), place)
    plugged = sorted(taken)
    return (
        plugged,
        np.array([taken[i][2] for i in plugged]).reshape(-1, 2),
        np.array([taken[i][1] for i in plugged]),
    )


@dataclass(frozen=True)
class Puzzle:
    """Which plugs belong together.

    Attributes:
        cost: (n, n) of a lead between two plugs, infinite where no path was found.
        loose: (n,) cost of a plug without a lead.
        covers: for two plugs (smaller number first) the marked pixels that their path explains.
        marked: how many pixels are to be explained.
    """

    cost: np.ndarray
    loose: np.ndarray
    covers: dict[tuple[int, int], np.ndarray]
    marked: int

    def total(self, pairs: Iterable[tuple[int, int]]) -> float:
        """Cost of a set of leads."""
        explained = np.zeros(self.marked, bool)
        price = float(self.loose.sum())
        for a, b in sorted(pairs):
            explained |= self.covers[a, b]
            price += float(self.cost[a, b] - self.loose[a] - self.loose[b])
        return price + UNEXPLAINED * float((~explained).sum()) / (LEAD_WIDTH * PER_CELL / 2)

    def without(self, pair: tuple[int, int]) -> Puzzle:
        """The same puzzle with one lead forbidden."""
        return Puzzle(self.cost, self.loose, {p: c for p, c in self.covers.items() if p != pair}, self.marked)

    def solve(self) -> frozenset[tuple[int, int]]:
        """The set found by taking the best change again and again: a lead more, fewer, or two instead of
        two."""
        candidates = [p for p in self.covers if self.cost[p] < DEAREST]
        best: frozenset[tuple[int, int]] = frozenset()
        least = self.total(best)
        while True:
            moves = [best - {p} for p in best]
            for p in candidates:
                if p in best:
                    continue
                base = frozenset(q for q in best if not set(q) & set(p))
                moves.append(base | {p})
                if len(base) < len(best):
                    used = {k for q in base for k in q} | set(p)
                    moves += [base | {p, q} for q in candidates if not used & set(q)]
            priced = [(self.total(m), i) for i, m in enumerate(moves)]
            if not priced or min(priced)[0] > least - 1e-6:
                return best
            least, i = min(priced)
            best = moves[i]


def _puzzle(
    lead: np.ndarray,
    way: np.ndarray,
    picture: np.ndarray,
    at: np.ndarray,
    sure: np.ndarray,
    extra: np.ndarray,
) -> Puzzle:
    """Paths between all plugs at pixels `at`, their prices, and what they explain."""
    n = len(at)
    paths = _paths(lead, way, at)
    lab = cv2.cvtColor(picture, cv2.COLOR_BGR2LAB).astype(np.float32) * np.array([0.4, 1, 1], np.float32)
    mask = lead > 0.5
    _, parts = cv2.connectedComponents(cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)))
    near = _discs(lead.shape, at, 5)
    # what hangs together with no plug is a shadow or a line on the plate
    marked = np.flatnonzero(mask & np.isin(parts, np.unique(parts[near & (parts > 0)])))
    cost = np.full((n, n), np.inf)
    covers = {}
    for a in range(n):
        for b in range(a + 1, n):
            price, path = min(paths[a, b], paths[b, a], key=lambda p: p[0])
            if not np.isfinite(price):
                continue
            change = min(max(_colour_change(path, lab, lead) - SHADE, 0.0), COLOUR_MOST)
            cost[a, b] = cost[b, a] = PATH * price + COLOUR * change + extra[a, b]
            drawn = np.zeros(lead.shape, np.uint8)
            cv2.polylines(drawn, [path.reshape(-1, 1, 2).astype(np.int32)], False, 1, 5)
            covers[a, b] = drawn.ravel()[marked] > 0
    return Puzzle(cost, LOOSE * np.clip(sure - 0.1, 0.05, 1), covers, len(marked))


def _discs(shape: tuple[int, ...], at: np.ndarray, radius: int) -> np.ndarray:
    discs = np.zeros(shape, np.uint8)
    for x, y in at:
        cv2.circle(discs, (int(x), int(y)), radius, 1, -1)
    return discs.astype(bool)


def _paths(
    lead: np.ndarray, way: np.ndarray, at: np.ndarray
) -> dict[tuple[int, int], tuple[float, np.ndarray]]:
    """Cheapest path from every plug to every other: (cost, (m, 2) pixels)."""
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


def _colour_change(path: np.ndarray, lab: np.ndarray, lead: np.ndarray) -> float:
    """The largest difference between the median colours before and after a point of the path."""
    on = []
    for x, y in path:  # the middle of the lead, beside the path
        x0, y0 = max(0, x - 1), max(0, y - 1)
        part = lead[y0 : y + 2, x0 : x + 2]
        j, i = np.unravel_index(int(part.argmax()), part.shape)
        if part[j, i] > 0.4:
            on.append(lab[y0 + j, x0 + i])
    colours, n = np.array(on), len(on)
    if n < 5:
        return 0.0
    rim = max(4, n // 8)
    return max(
        (
            float(np.linalg.norm(np.median(colours[:s], 0) - np.median(colours[s:], 0)))
            for s in range(rim, n - rim, 2)
        ),
        default=0.0,
    )


def _told(
    puzzle: Puzzle, chosen: frozenset[tuple[int, int]], plugged: list[int]
) -> tuple[list[Pair], list[int]]:
    """The chosen leads; how sure each is, is said by what the best solution without it costs more."""
    heat = calibration()["lead_temperature"]
    least = puzzle.total(chosen)
    pairs = []
    for pair in sorted(chosen):
        other = puzzle.without(pair).solve()
        gap = max(0.0, puzzle.total(other) - least)
        sure = float(1 / (1 + np.exp(-gap / heat)))
        rivals = [q for q in other - chosen if set(q) & set(pair)]
        pairs.append(
            Pair(
                (plugged[pair[0]], plugged[pair[1]]),
                2 * sure - 1,  # no dearer without it: no reason to believe in it
                tuple(((plugged[a], plugged[b]), 1 - sure) for a, b in rivals),
            )
        )
    used = {k for p in chosen for k in p}
    return pairs, [p for k, p in enumerate(plugged) if k not in used]
