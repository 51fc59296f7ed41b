"""Leads: which two sockets each one joins.

The lead network marks every lead, the direction it runs in, and the plugs. From each socket that may hold a
plug the cheapest path to every other is sought (see `_paths.py`). Along each path a strip of the picture and
of the maps is cut out and straightened, and a small network says how far it looks like one lead from end to
end. All sockets together then have that set of leads for which the most speaks (a matching of greatest
weight, Edmonds 1965).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from snapcheck.photo._cells import flatten, sigmoid
from snapcheck.photo._lattice import peaks
from snapcheck.photo._nets import calibration, run, run_strips
from snapcheck.photo._paths import cheapest_paths
from snapcheck.photo._reading import Frame

PER_CELL = 28
RIM = 2.6  # leads arch over the table, and towards the camera
#: a socket may hold a plug where the map says so at least this much
PLUG = 0.06
REACH = 0.36  # cells from where a socket should be to where its plug may be seen
DEAREST = 60.0  # paths that cost more are no leads
#: a strip has so many places along the path, and so many across, a pixel apart
LONG, WIDE = 64, 9
PATCH = 11  # pixels of the picture around a socket
RIVAL = 0.02  # partners less likely than this are not worth telling


@dataclass(frozen=True)
class Pair:
    """Two ends (numbers) joined by a lead, its probability, and other partners of either end."""

    ends: tuple[int, int]
    confidence: float
    rivals: tuple[tuple[tuple[int, int], float], ...]


@dataclass(frozen=True)
class Candidates:
    """Sockets that may hold a plug: their numbers, where it is seen ((n, 2) pixels), how surely (n,)."""

    ends: list[int]
    at: np.ndarray
    sure: np.ndarray


@dataclass(frozen=True)
class Described:
    """What the strip network is shown.

    Attributes:
        pairs: (m, 2) numbers of candidates that a path joins.
        strips: (m, 8, WIDE, LONG): colours (L*, a*, b*), lead, plug, its direction against the path's as
            cosine and sine of twice the angle, way along the path; all in -1..1.
        facts: (m, 6): length, detour, price, plugs seen (2), both sockets of one cube.
        patches: (n, 7, PATCH, PATCH) of every candidate: colours, lead, direction (2), plug.
    """

    pairs: np.ndarray
    strips: np.ndarray
    facts: np.ndarray
    patches: np.ndarray


def follow(
    pixels: np.ndarray, frame: Frame, columns: int, rows: int, ends: np.ndarray
) -> tuple[list[Pair], list[int]]:
    """Join sockets at `ends` ((n, 2) cells on the plane of the tops) by leads.

    Returns:
        The pairs, and the numbers of plugged ends whose other end was not found.
    """
    if len(ends) < 2:
        return [], []
    fine = flatten(pixels, frame, columns, rows, 2 * PER_CELL, RIM)
    h, w = (fine.shape[0] // 2 + 31) // 32 * 32, (fine.shape[1] // 2 + 31) // 32 * 32
    board = cv2.resize(fine, (fine.shape[1] // 2, fine.shape[0] // 2), interpolation=cv2.INTER_AREA)
    board = cv2.copyMakeBorder(board, 0, h - board.shape[0], 0, w - board.shape[1], cv2.BORDER_REPLICATE)
    maps = see(board, run("wires", board[None])[0])
    found = candidates(maps, (ends + RIM) * PER_CELL / 2 - 0.5)
    if len(found.ends) < 2:
        return [], []
    said = answers(describe(maps, found, ends))
    pairs, loose = choose(said)

    def told(pair: tuple[int, int]) -> tuple[int, int]:
        return found.ends[pair[0]], found.ends[pair[1]]

    named = [Pair(told(p.ends), p.confidence, tuple((told(q), v) for q, v in p.rivals)) for p in pairs]
    return named, [found.ends[k] for k in loose]


def see(board: np.ndarray, out: np.ndarray) -> np.ndarray:
    """(h, w, 7) at half size, in -1..1: colours (L*, a*, b*), lead, its direction (cos 2a, sin 2a), plug."""
    h, w = out.shape[1:]
    small = cv2.resize(board, (w, h), interpolation=cv2.INTER_AREA)
    lab = cv2.cvtColor(small, cv2.COLOR_BGR2LAB).astype(np.float32) / 127.5 - 1
    norm = np.hypot(out[1], out[2]) + 1e-6
    way = out[1:3] / np.maximum(norm, 1)
    return np.concatenate([lab, np.stack([sigmoid(out[0]), *way, sigmoid(out[3])], -1)], -1).astype(
        np.float32
    )


def candidates(maps: np.ndarray, at: np.ndarray) -> Candidates:
    """Which sockets (half-size positions (n, 2)) may hold a plug: peaks go to the nearest; without one, the
    place itself counts."""
    plug = maps[..., 6]
    found = peaks(plug, 1.0, PLUG, 1)
    taken: dict[int, tuple[float, float, np.ndarray]] = {}
    for place, height in zip(found.at, found.height, strict=True) if len(at) else ():
        gap = np.hypot(*(at - place).T)
        i = int(gap.argmin())
        score = float(height) - 0.05 * float(gap[i])
        if gap[i] < REACH * PER_CELL / 2 and (i not in taken or score > taken[i][0]):
            taken[i] = (score, float(height), place)
    h, w = plug.shape
    for i, (x, y) in enumerate(at):
        if i not in taken:
            x0, y0 = int(np.clip(round(x), 1, w - 2)), int(np.clip(round(y), 1, h - 2))
            best = float(plug[y0 - 1 : y0 + 2, x0 - 1 : x0 + 2].max())
            if best > PLUG:
                taken[i] = (best, best, np.array([x, y]))
    ends = sorted(taken)
    return Candidates(
        ends, np.array([taken[i][2] for i in ends]).reshape(-1, 2), np.array([taken[i][1] for i in ends])
    )


def describe(maps: np.ndarray, found: Candidates, ends: np.ndarray) -> Described:
    """Cut out what there is to see along the paths between candidates; `ends` are all sockets in cells."""
    h, w = maps.shape[:2]
    at = np.clip(np.round(found.at).astype(int), 0, [w - 1, h - 1])
    paths = cheapest_paths(maps[..., 3], np.moveaxis(maps[..., 4:6], -1, 0), at)
    n = len(at)
    pairs, lines, facts = [], [], []
    places = ends[found.ends]
    for a in range(n):
        for b in range(a + 1, n):
            forth, back = paths[a, b], paths[b, a]
            price, path = forth if forth[0] <= back[0] else (back[0], back[1][::-1])
            if not price < DEAREST or len(path) < 2:
                continue
            pairs.append((a, b))
            line = path.astype(np.float64)
            line[0], line[-1] = found.at[a], found.at[b]
            way = np.r_[0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
            lines.append(
                np.stack([np.interp(np.linspace(0, way[-1], LONG), way, line[:, k]) for k in (0, 1)], -1)
            )
            straight = float(np.hypot(*(line[0] - line[-1]))) + 1.0
            close = float(np.hypot(*(places[a] - places[b])) < 0.5)
            facts.append(
                (
                    np.log(way[-1] / 14 + 0.1), np.log((way[-1] + 1) / straight), price / 5,
                    found.sure[a], found.sure[b], close,
                )
            )  # fmt: skip
    r = PATCH // 2
    around = np.pad(maps, ((r, r), (r, r), (0, 0)), mode="edge")
    patches = np.stack([around[y : y + PATCH, x : x + PATCH] for x, y in at])
    strips = _strips(maps, np.array(lines)) if lines else np.zeros((0, 8, WIDE, LONG), np.float32)
    return Described(
        np.array(pairs, int).reshape(-1, 2),
        strips,
        np.array(facts, np.float32).reshape(-1, 6),
        np.ascontiguousarray(np.moveaxis(patches, -1, 1)),
    )


def _strips(maps: np.ndarray, lines: np.ndarray) -> np.ndarray:
    """(m, LONG, 2) lines to (m, 8, WIDE, LONG) straightened strips."""
    kernel = np.ones(5) / 5
    soft = np.stack(
        [[np.convolve(np.pad(c, 2, mode="edge"), kernel, "valid") for c in line.T] for line in lines]
    )  # (m, 2, LONG)
    t = np.gradient(soft, axis=2)
    t /= np.maximum(np.hypot(t[:, 0], t[:, 1])[:, None], 1e-6)
    across = np.arange(WIDE) - WIDE // 2
    x = lines[:, None, :, 0] - across[None, :, None] * t[:, None, 1]
    y = lines[:, None, :, 1] + across[None, :, None] * t[:, None, 0]
    shape = x.shape
    grid = [v.reshape(-1, LONG).astype(np.float32) for v in (x, y)]
    # channels by fours, as remap takes them
    cut = [
        cv2.remap(
            np.ascontiguousarray(part), grid[0], grid[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        for part in (maps[..., :4], maps[..., 4:])
    ]
    all_ = np.concatenate(cut, -1).reshape(*shape, 7)
    c2, s2 = t[:, 0] ** 2 - t[:, 1] ** 2, 2 * t[:, 0] * t[:, 1]
    along = all_[..., 4] * c2[:, None] + all_[..., 5] * s2[:, None]
    beside = all_[..., 5] * c2[:, None] - all_[..., 4] * s2[:, None]
    way = np.broadcast_to(np.linspace(-1, 1, LONG, dtype=np.float32), shape)
    return np.stack([*(all_[..., k] for k in (0, 1, 2, 3, 6)), along, beside, way], 1).astype(np.float32)


def answers(d: Described) -> np.ndarray:
    """What every candidate says, see `weigh`."""
    return weigh(d.pairs, *run_strips(d.strips, d.facts, d.patches))


def weigh(pairs: np.ndarray, pair: np.ndarray, none: np.ndarray) -> np.ndarray:
    """(m,) logits of pairs and (n,) of having no lead to (n, n + 1) log probabilities: of every candidate's
    other end, last that there is none."""
    n = len(none)
    said = np.full((n, n + 1), -1e4)
    for (a, b), s in zip(pairs, pair, strict=True):
        said[a, b] = said[b, a] = s
    said[:, -1] = none
    said /= calibration()["lead_temperature"]
    said -= said.max(1, keepdims=True)
    return np.asarray(said - np.log(np.exp(said).sum(1, keepdims=True)))


def choose(said: np.ndarray) -> tuple[list[Pair], list[int]]:
    """The leads that all candidates together call likeliest."""
    import networkx as nx  # type: ignore[import-untyped]  # heavy: loaded when needed

    n = len(said)
    graph = nx.Graph()
    for a in range(n):
        for b in range(a + 1, n):
            gain = said[a, b] + said[b, a] - said[a, -1] - said[b, -1]
            if gain > 0:
                graph.add_edge(a, b, weight=float(gain))
    pairs = []
    prob = np.exp(said)
    for a, b in sorted((min(p), max(p)) for p in nx.max_weight_matching(graph)):
        rivals = [((a, k), float(prob[a, k])) for k in range(n) if k not in (a, b) and prob[a, k] > RIVAL]
        rivals += [((k, b), float(prob[b, k])) for k in range(n) if k not in (a, b) and prob[b, k] > RIVAL]
        rivals.sort(key=lambda r: -r[1])
        pairs.append(Pair((a, b), float(min(prob[a, b], prob[b, a])), tuple(rivals[:4])))
    used = {k for p in pairs for k in p.ends}
    return pairs, [k for k in range(n) if k not in used and prob[k, -1] < 0.5]
