"""Leads: which two sockets each one joins.

The lead network sees the board from straight above, and marks every lead and every plug. Each socket that may
hold a plug is then asked about: a second, small network is shown where that plug stands and how much every
other place looks like it, and says at which place the lead's other end is plugged in. Where that leaves
doubt, the lead is walked along step by step (`_walk`). All sockets together then have that set of leads for
which the most speaks (a matching of greatest weight, Edmonds 1965), and each lead is as sure as all sets of
leads that have it are, among all sets.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from snapcheck.photo._cells import flatten, sigmoid
from snapcheck.photo._lattice import peaks
from snapcheck.photo._nets import calibration, run, run_follow
from snapcheck.photo._reading import Frame
from snapcheck.photo._walk import arrivals

PER_CELL = 28
RIM = 1.5  # cells: leads arch over the table, and towards the camera
#: a socket may hold a plug where the map says so at least this much
PLUG = 0.06
REACH = 0.36  # cells from where a socket should be to where its plug may be seen
BLOB = 0.1 * PER_CELL / 2  # width of the mark at the plug that is asked about: as in training
MAPS = 4  # what the lead network says of every place; its features follow
MANY = 14  # plugs for which all sets of leads can be gone through
#: a plug without a partner is told of where "no lead" is less likely than this: of such on boards drawn by
#: models/train 17 of 40 did hold a lead, of the 90 up to 0.5 only 14
LOOSE = 0.1
OWN = 2.5  # how much (logarithm of odds) speaks against a lead from a cube's socket to its other one
NEVER = -1e4  # logarithm of a probability of nought
RIVAL = 0.02  # partners less likely than this are not worth telling
SETTLED = 0.97  # a lead as sure as this is not walked along
#: What a walk says counts by this power beside the lead network's word; no plug is less likely by it than
#: ASTRAY, and that there is no lead not less than NOWHERE. Set on boards drawn for it (models/README.md).
WALK, ASTRAY, NOWHERE, BARE = 0.5, 0.01, 0.05, 2.0


@dataclass(frozen=True)
class LeadFound:
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


def follow(
    pixels: np.ndarray, frame: Frame, columns: int, rows: int, ends: np.ndarray, owner: Sequence[int]
) -> tuple[list[LeadFound], list[int]]:
    """Join sockets at `ends` ((n, 2) cells on the plane of the tops) by leads.

    Args:
        owner: (n,) which cube or tap each socket is on: leads from one to its own other socket are rare.

    Returns:
        The pairs, and the numbers of plugged ends whose other end was not found.
    """
    if len(ends) < 2:
        return [], []
    # leads lie where sockets are: the rest of the plate need not be looked at
    first = np.maximum(np.floor(ends.min(0)).astype(int), 0)
    last = np.minimum(np.ceil(ends.max(0)).astype(int), [columns, rows])
    across, down = (int(n) for n in np.maximum(last - first, 1))
    fine = flatten(pixels, frame, across, down, 2 * PER_CELL, RIM, first=(int(first[0]), int(first[1])))
    said = seen(fine, ends - first, owner)
    if said is None:
        return [], []
    found, table = said
    pairs, loose = choose(table)

    def told(pair: tuple[int, int]) -> tuple[int, int]:
        return found.ends[pair[0]], found.ends[pair[1]]

    named = [LeadFound(told(p.ends), p.confidence, tuple((told(q), v) for q, v in p.rivals)) for p in pairs]
    return named, [found.ends[k] for k in loose]


def seen(
    fine: np.ndarray, ends: np.ndarray, owner: Sequence[int] | None = None
) -> tuple[Candidates, np.ndarray] | None:
    """Sockets that may hold a plug, and what each says of its lead's other end (see `weigh`).

    Args:
        fine: the board from straight above, 2 * PER_CELL pixels a cell, with RIM cells of surroundings.
        ends: (n, 2) cells.
        owner: see `follow`; None: every socket by itself.
    """
    h, w = (fine.shape[0] // 2 + 31) // 32 * 32, (fine.shape[1] // 2 + 31) // 32 * 32
    board = cv2.resize(fine, (fine.shape[1] // 2, fine.shape[0] // 2), interpolation=cv2.INTER_AREA)
    board = cv2.copyMakeBorder(board, 0, h - board.shape[0], 0, w - board.shape[1], cv2.BORDER_REPLICATE)
    out = run("wires", board[None])[0]
    found = candidates(sigmoid(out[3]), (ends + RIM) * PER_CELL / 2 - 0.5)
    if len(found.ends) < 2:
        return None
    table = weigh(at_places(run_follow(out[None, MAPS:], blobs(out.shape[1:], found.at)), found.at))
    if owner is not None:
        mine = np.asarray(owner)[found.ends]
        table[:, :-1][mine[:, None] == mine] -= OWN
        table = _shares(table)
    return found, walked(fine, ends + RIM, (found.at + 0.5) / (PER_CELL / 2), found.ends, table)


def walked(
    fine: np.ndarray, sockets: np.ndarray, plugs: np.ndarray, ends: list[int], table: np.ndarray
) -> np.ndarray:
    """`table` (see `weigh`) after walks along the leads of plugs that leave doubt.

    Args:
        fine: the board, 2 * PER_CELL pixels a cell.
        sockets: (m, 2) and plugs (n, 2) in cells from its corner; ends: the plugs' numbers among the sockets.
    """
    n = len(table)
    settled = {k for p in choose(table)[0] if p.confidence >= SETTLED for k in p.ends}
    ask = [k for k in range(n) if k not in settled and table[k, -1] < np.log(0.95)]
    if not ask:
        return table
    places = sockets.astype(float).copy()
    places[ends] = plugs
    came, bare = arrivals(fine, 2 * PER_CELL, places, plugs, ask)
    out = table.copy()
    out[ask, :n] += WALK * np.log(came / (came.sum(1, keepdims=True) + 0.02) + ASTRAY)
    out[ask, n] += WALK * np.log(NOWHERE + BARE * bare)
    return _shares(out)


def blobs(shape: tuple[int, ...], at: np.ndarray) -> np.ndarray:
    """(n, h, w): a mark at each of `at`, by which a plug is asked about."""
    x, y = (
        np.exp(-((np.arange(n) - at[:, k, None]) ** 2) / (2 * BLOB**2))
        for k, n in ((0, shape[1]), (1, shape[0]))
    )
    return np.asarray(y[:, :, None] * x[:, None], np.float32)


def at_places(maps: np.ndarray, at: np.ndarray) -> np.ndarray:
    """(n, h, w) maps at places (m, 2) in pixels, between pixels linearly: (n, m)."""
    x, y = (np.ascontiguousarray(at[:, k], np.float32)[None] for k in (0, 1))
    return np.concatenate(
        [cv2.remap(m, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) for m in maps]
    )


def candidates(plug: np.ndarray, at: np.ndarray) -> Candidates:
    """Which sockets (half-size positions (n, 2)) may hold a plug: peaks go to the nearest; without one, the
    place itself counts."""
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


def weigh(said: np.ndarray) -> np.ndarray:
    """What plugs say to log probabilities: (n, n) to (n, n + 1).

    Each row is one plug's: logits of the others (of itself: that it has no lead) become log probabilities of
    every candidate's being its other end, last of there being none.
    """
    table = np.concatenate([said, np.diag(said)[:, None]], 1) / calibration()["lead_temperature"]
    return _shares(table)


def _shares(table: np.ndarray) -> np.ndarray:
    """Rows of `table` (n, n + 1) made to log probabilities; no plug is its own other end."""
    table[np.arange(len(table)), np.arange(len(table))] = NEVER
    table -= table.max(1, keepdims=True)
    return np.asarray(table - np.log(np.exp(table).sum(1, keepdims=True)))


def choose(said: np.ndarray) -> tuple[list[LeadFound], list[int]]:
    """The leads that all candidates together call likeliest, and plugs whose other end is not found."""
    import networkx as nx  # type: ignore[import-untyped]  # heavy: loaded when needed

    n = len(said)
    # a lead is spoken for by both its ends, whose votes are not independent: their geometric mean counts
    gain = (said[:, :n] + said[:, :n].T - said[:, -1:] - said[:, -1]) / 2
    graph = nx.Graph()
    graph.add_weighted_edges_from(
        (a, b, float(gain[a, b])) for a in range(n) for b in range(a + 1, n) if gain[a, b] > 0
    )
    prob = np.exp(said)
    sure = _together(gain) if n <= MANY else np.minimum(prob[:, :n], prob[:, :n].T)
    pairs = []
    for a, b in sorted((min(p), max(p)) for p in nx.max_weight_matching(graph)):
        rivals = [((e, k), float(sure[e, k])) for e in (a, b) for k in range(n) if k not in (a, b)]
        rivals = sorted((r for r in rivals if r[1] > RIVAL), key=lambda r: -r[1])
        pairs.append(LeadFound((a, b), float(sure[a, b]), tuple(rivals[:4])))
    used = {k for p in pairs for k in p.ends}
    return pairs, [k for k in range(n) if k not in used and prob[k, -1] < LOOSE]


def _together(gain: np.ndarray) -> np.ndarray:
    """(n, n) probabilities of pairs, over all sets of leads.

    No plug has two leads. A set is as likely as the product of exp(gain) over its pairs. Sums over all sets
    (the partition function of monomer-dimer systems, Heilmann and Lieb 1972) are made plug by plug.
    """
    n = len(gain)
    weight = np.exp(np.minimum(gain, 40.0))
    partners = [[b for b in range(n) if b != a and weight[a, b] > 1e-7] for a in range(n)]
    sums = {0: 1.0}

    def total(left: int) -> float:
        if left not in sums:
            a = left.bit_length() - 1
            rest = left & ~(1 << a)
            sums[left] = total(rest) + sum(
                weight[a, b] * total(rest & ~(1 << b)) for b in partners[a] if rest >> b & 1
            )
        return sums[left]

    every = (1 << n) - 1
    out = np.zeros((n, n))
    for a in range(n):
        for b in partners[a]:
            if a < b:
                out[a, b] = out[b, a] = weight[a, b] * total(every & ~(1 << a) & ~(1 << b)) / total(every)
    return out
