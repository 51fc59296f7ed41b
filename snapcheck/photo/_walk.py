"""Walking along leads: from a plug on, step by step, to where its lead ends.

The network of `_wires` sees a whole board at once, and loses its way where leads of one colour cross.
Walking is blind to all but the next step, and sees that step large: a view of the place, turned so that the
way goes up, with the way come and all sockets marked. Where there may be several ways, all are gone (a beam
search).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from snapcheck.photo._cells import sigmoid, softmax
from snapcheck.photo._nets import run_walk

# as in training (models/train/walk.py)
VIEW, SPAN = 56, 1.4  # pixels and cells of a view's side
STEP = 0.22  # cells
ANGLES = 36  # bins of a step's angle
TAIL, APART = 20, 0.06  # so many points of the way come are marked, cells apart
MARK = 0.05  # cells: width of the marks
REMEMBER = math.ceil((TAIL - 1) * APART / STEP) + 1  # points of a way that its marks need

STEPS = 70
BEAMS, LEAST = 8, 0.01  # ways a plug at a time, and how likely a way must be to be gone on
FORKS, FORK = 3, 0.05  # so many ways a step, and how likely each must be
LATE = 0.04  # ways are not gone on that are less likely than this share of what has arrived
SAME_PLACE, SAME_WAY = 0.07, 0.5  # cells, radians: two ways closer than this are one
SURE = 0.97  # from a plug that is as surely none no way is gone on
NEAR = 0.12  # cells: how far from a socket a lead that ends there is seen to end
#: Off its lead, a way is less likely by this power of the network's word, which is said at every step.
DOUBT = 0.25


@dataclass
class Ways:
    """n ways: row of the plug each is from, how likely, heading (radians clockwise from up) (n,); where they
    were at the last steps, head first (n, steps, 2), cells."""

    row: np.ndarray
    likely: np.ndarray
    heading: np.ndarray
    points: np.ndarray


def arrivals(
    board: np.ndarray, per_cell: int, sockets: np.ndarray, plugs: np.ndarray, ask: list[int]
) -> tuple[np.ndarray, np.ndarray]:
    """Where the leads of some plugs end.

    Args:
        board: (h, w, 3) the board from straight above, `per_cell` pixels a cell.
        sockets: (m, 2) all places where leads may end, in cells from the picture's corner.
        plugs: (n, 2) those that may hold a plug.
        ask: numbers of the plugs to start from.

    Returns:
        (len(ask), n): how likely each plug is where the walk ends. Rows add up to less than 1: ways get lost.
        (len(ask),): how likely no lead starts there.
    """
    bare, size = np.zeros(len(ask)), np.array(board.shape[1::-1]) / per_cell
    out = np.zeros((len(ask), len(plugs)))
    own = np.ones(out.shape)  # no lead ends where it starts
    own[np.arange(len(ask)), ask] = 0
    ways = Ways(np.arange(len(ask)), np.ones(len(ask)), bare, plugs[ask][:, None])
    for step in range(STEPS):
        if not len(ways.row):
            break
        angle, end, lost = _look(board, per_cell, sockets, ways)
        if step == 0:
            bare = lost.copy()
            end[:], lost[:] = 0, 0  # from here on as if a lead started
        turn, share = _forks(angle)
        heads = ways.heading[:, None] + turn
        at = np.exp(-_gap2(plugs, ways.points[:, 0], heads[:, 0]) / (2 * NEAR**2)) * own[ways.row]
        near = at.sum(1)
        # a way that is lost beside a plug ended there: plugs hide where leads go in
        ended = ways.likely * (end / (near + 1e-3) + (1 - end) * lost / (near + 0.3))
        np.add.at(out, ways.row, ended[:, None] * at)
        on = (ways.likely * (1 - end) * (1 - lost) ** DOUBT)[:, None] * share
        i, f = np.nonzero(on >= np.maximum(LEAST, LATE * out.sum(1)[ways.row])[:, None])
        there = ways.points[i, 0] + STEP * np.stack([np.sin(heads), -np.cos(heads)], -1)[i, f]
        # beyond the picture its rim repeats, and looks like leads that never end
        seen = ((there > 0) & (there < size)).all(1) & (bare[ways.row[i]] < SURE)
        i, f, there = i[seen], f[seen], there[seen]
        points = np.concatenate([there[:, None], ways.points[i, : REMEMBER - 1]], 1)
        ways = _likeliest(Ways(ways.row[i], on[i, f], heads[i, f], points))
    return out, bare


def _likeliest(ways: Ways) -> Ways:
    """The likeliest few of every plug; ways that meet go on as one."""
    kept: dict[int, list[int]] = {}
    likely, heading = ways.likely.copy(), ways.heading.tolist()
    row, here = ways.row.tolist(), ways.points[:, 0].tolist()
    for k in np.argsort(-likely, kind="stable").tolist():
        others = kept.setdefault(row[k], [])
        for o in others:
            if math.dist(here[k], here[o]) < SAME_PLACE and abs(_turned(heading[k] - heading[o])) < SAME_WAY:
                likely[o] += likely[k]
                break
        else:
            if len(others) < BEAMS:
                others.append(k)
    some = [k for others in kept.values() for k in others]
    return Ways(ways.row[some], likely[some], ways.heading[some], ways.points[some])


def _turned(angle: Any) -> Any:
    """An angle, or many, as -pi to pi."""
    return (angle + math.pi) % (2 * math.pi) - math.pi


def _gap2(places: np.ndarray, here: np.ndarray, heading: np.ndarray) -> np.ndarray:
    """(n, m) squared distances of places (m, 2) from the steps ahead of n ways."""
    x, y = (places[:, c] - here[:, c, None] for c in (0, 1))
    ahead_x, ahead_y = np.sin(heading)[:, None], -np.cos(heading)[:, None]
    along = np.clip(x * ahead_x + y * ahead_y, 0, STEP)
    return np.asarray((x - along * ahead_x) ** 2 + (y - along * ahead_y) ** 2)


def _forks(angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ways ahead of n ways, likeliest first: (n, FORKS) angles (radians from the heading), and shares."""
    left, each = angle.astype(float), np.arange(len(angle))[:, None]
    turn, share = np.empty((len(angle), FORKS)), np.empty((len(angle), FORKS))
    side, ring = np.arange(-2, 3), np.arange(-1, ANGLES + 1) % ANGLES
    for f in range(FORKS):
        round_ = left[:, ring]
        best = (left + 0.7 * (round_[:, :-2] + round_[:, 2:])).argmax(1)
        bins = (best[:, None] + side) % ANGLES
        some = left[each, bins]
        mass = some.sum(1)
        turn[:, f] = best + some @ side / np.maximum(mass, 1e-9)
        share[:, f] = np.where(mass < FORK, 0, mass) if f else mass
        left[each, bins] = 0
    return _turned(turn * 2 * math.pi / ANGLES), share / share.sum(1, keepdims=True)


def _look(
    board: np.ndarray, per_cell: int, sockets: np.ndarray, ways: Ways
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What the network says at the heads of n ways.

    Returns:
        (n, ANGLES) shares of angles; probabilities (n,) that the lead ends within a step, and that
        the way is not on a lead.
    """
    at, c, s = ways.points[:, :1], np.cos(ways.heading), np.sin(ways.heading)
    into = np.stack([c, -s, s, c], -1).reshape(-1, 2, 2)
    marks = np.stack([_marks((_tail(ways.points) - at) @ into), _marks((sockets - at) @ into)], 1)
    out = run_walk(_views(board, per_cell, at[:, 0], into), marks)
    return softmax(out[:, :ANGLES]), sigmoid(out[:, ANGLES]), sigmoid(out[:, ANGLES + 1])


def _views(board: np.ndarray, per_cell: int, at: np.ndarray, into: np.ndarray) -> np.ndarray:
    """(n, VIEW, VIEW, 3) views round n places, turned by `into` (n, 2, 2)."""
    turn = SPAN * per_cell / VIEW * into
    move = at * per_cell - 0.5 - turn @ np.array([(VIEW - 1) / 2] * 2)
    views = np.empty((len(at), VIEW, VIEW, 3), np.uint8)
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    for view, matrix in zip(views, np.concatenate([turn, move[..., None]], -1), strict=True):
        cv2.warpAffine(board, matrix, (VIEW, VIEW), view, how, cv2.BORDER_REPLICATE)
    return views


def _tail(points: np.ndarray) -> np.ndarray:
    """(n, TAIL or fewer, 2): places on the ways come (n, k, 2), from their heads back to their starts.

    Steps are all of one length, so that every place is the same mean of the same two points on all ways.
    """
    steps = points.shape[1] - 1
    back = np.minimum(np.arange(min(TAIL, math.ceil(steps * STEP / APART - 1e-6) + 1)) * APART / STEP, steps)
    return np.asarray(np.maximum(1 - np.abs(back[:, None] - np.arange(steps + 1)), 0) @ points)


def _marks(places: np.ndarray) -> np.ndarray:
    """(n, k, 2) places in views, cells from their middles, to (n, VIEW, VIEW) maps: of all marks the highest.

    The eighth root of the sum of eighth powers stands for the greatest: it is a product of matrices. They are
    scaled up and kept from below so that no product is denormal, which would take ten times as long.
    """
    u = (np.arange(VIEW, dtype=np.float32) + 0.5) / VIEW * SPAN - SPAN / 2
    powers = (u - places.astype(np.float32).transpose(2, 0, 1)[..., None]) ** 2
    powers *= -8
    powers /= 2 * MARK**2
    x, y = np.exp(np.maximum(powers, -71, out=powers), out=powers) * 2**40
    out = np.matmul(y.transpose(0, 2, 1), x)
    for _ in range(3):
        np.sqrt(out, out=out)
    out /= 2**10  # the eighth root of 2**80
    return np.asarray(np.minimum(out, 1, out=out))
