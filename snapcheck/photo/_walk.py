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

STEPS = 70
BEAMS, LEAST = 8, 0.01  # ways a plug at a time, and how likely a way must be to be gone on
FORKS, FORK = 3, 0.05  # so many ways a step, and how likely each must be
LATE = 0.04  # ways are not gone on that are less likely than this share of what has arrived
SAME_PLACE, SAME_WAY = 0.07, 0.5  # cells, radians: two ways closer than this are one
NEAR = 0.12  # cells: how far from a socket a lead that ends there is seen to end
#: Off its lead, a way is less likely by this power of the network's word, which is said at every step.
DOUBT = 0.25


@dataclass
class Way:
    """A way from plug number `start`: how likely, heading (radians clockwise from up), points (cells)."""

    start: int
    likely: float
    heading: float
    points: list[np.ndarray]


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
    bare = np.zeros(len(ask))
    out = np.zeros((len(plugs), len(plugs)))
    ways = [Way(k, 1.0, 0.0, [plugs[k]]) for k in ask]
    for step in range(STEPS):
        if not ways:
            break
        angle, end, lost = _look(board, per_cell, sockets, ways)
        if step == 0:
            bare = lost.copy()
            end[:], lost[:] = 0, 0  # from here on as if a lead started
        turn, share = _forks(angle)
        start, p = np.array([w.start for w in ways]), np.array([w.likely for w in ways])
        here, heading = np.array([w.points[-1] for w in ways]), np.array([w.heading for w in ways])
        at = np.exp(-(_gap(plugs, here, heading + turn[:, 0]) ** 2) / (2 * NEAR**2))
        at[np.arange(len(ways)), start] = 0
        near = at.sum(1)
        # a way that is lost beside a plug ended there: plugs hide where leads go in
        ended = p * (end / (near + 1e-3) + (1 - end) * lost / (near + 0.3))
        np.add.at(out, start, ended[:, None] * at)
        on = (p * (1 - end) * (1 - lost) ** DOUBT)[:, None] * share
        heads = heading[:, None] + turn
        there = here[:, None] + STEP * np.stack([np.sin(heads), -np.cos(heads)], -1)
        ways = _likeliest(
            [
                Way(int(start[i]), float(on[i, f]), float(heads[i, f]), [*ways[i].points[-8:], there[i, f]])
                for i, f in np.argwhere(on >= np.maximum(LEAST, LATE * out.sum(1)[start])[:, None])
            ]
        )
    return out[ask], bare


def _likeliest(ways: list[Way]) -> list[Way]:
    """The likeliest few of every plug; ways that meet go on as one."""
    kept: dict[int, list[Way]] = {}
    for way in sorted(ways, key=lambda w: -w.likely):
        others = kept.setdefault(way.start, [])
        for other in others:
            apart = math.hypot(*(way.points[-1] - other.points[-1]))
            if apart < SAME_PLACE and abs(_turned(way.heading - other.heading)) < SAME_WAY:
                other.likely += way.likely
                break
        else:
            if len(others) < BEAMS:
                others.append(way)
    return [way for some in kept.values() for way in some]


def _turned(angle: Any) -> Any:
    """An angle, or many, as -pi to pi."""
    return (angle + math.pi) % (2 * math.pi) - math.pi


def _gap(places: np.ndarray, here: np.ndarray, heading: np.ndarray) -> np.ndarray:
    """(n, m) distances of places (m, 2) from the steps ahead of n ways."""
    ahead = np.stack([np.sin(heading), -np.cos(heading)], -1)[:, None]
    away = places[None] - here[:, None]
    along = np.clip((away * ahead).sum(-1), 0, STEP)
    return np.asarray(np.hypot(*np.moveaxis(away - along[..., None] * ahead, -1, 0)))


def _forks(angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ways ahead of n ways, likeliest first: (n, FORKS) angles (radians from the heading), and shares."""
    left = angle.astype(float)
    turn: list[np.ndarray] = []
    share: list[np.ndarray] = []
    side = np.arange(-2, 3)
    for _ in range(FORKS):
        best = (left + 0.7 * (np.roll(left, 1, 1) + np.roll(left, -1, 1))).argmax(1)
        bins = (best[:, None] + side) % ANGLES
        some = np.take_along_axis(left, bins, 1)
        mass = some.sum(1)
        turn.append(_turned((best + some @ side / np.maximum(mass, 1e-9)) * 2 * math.pi / ANGLES))
        share.append(np.where(mass < FORK, 0, mass) if share else mass)
        np.put_along_axis(left, bins, 0, 1)
    shares = np.stack(share, 1)
    return np.stack(turn, 1), shares / shares.sum(1, keepdims=True)


def _look(
    board: np.ndarray, per_cell: int, sockets: np.ndarray, ways: list[Way]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What the network says at the heads of n ways.

    Returns:
        (n, ANGLES) shares of angles; probabilities (n,) that the lead ends within a step, and that
        the way is not on a lead.
    """
    head, scale = np.array([w.heading for w in ways]), SPAN * per_cell / VIEW
    at = np.array([w.points[-1] for w in ways])
    views = np.empty((len(ways), VIEW, VIEW, 3), np.uint8)
    middle = np.array([(VIEW - 1) / 2] * 2)
    into = np.empty((len(ways), 2, 2))
    for k, (place, h) in enumerate(zip(at, head, strict=True)):
        c, s = math.cos(h), math.sin(h)
        turn = np.array([[c, -s], [s, c]])
        into[k] = turn
        move = place * per_cell - 0.5 - scale * turn @ middle
        views[k] = cv2.warpAffine(
            board,
            np.column_stack([scale * turn, move]),
            (VIEW, VIEW),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
    come = np.array([_tail(w.points) for w in ways])
    marks = np.stack([_marks((come - at[:, None]) @ into), _marks((sockets[None] - at[:, None]) @ into)], 1)
    out = run_walk(views, marks)
    return softmax(out[:, :ANGLES]), sigmoid(out[:, ANGLES]), sigmoid(out[:, ANGLES + 1])


def _tail(points: list[np.ndarray]) -> np.ndarray:
    """(TAIL, 2): places on the way come, from its head back; all there is of it where it is shorter."""
    back = np.array(points[::-1])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(back, axis=0).T))])
    where = np.minimum(np.arange(TAIL) * APART, run[-1])
    return np.stack([np.interp(where, run, back[:, c]) for c in (0, 1)], -1)


def _marks(places: np.ndarray) -> np.ndarray:
    """(n, k, 2) places in views, cells from their middles, to (n, VIEW, VIEW) maps: of all marks the highest.

    The eighth root of the sum of eighth powers stands for the greatest: it is a product of matrices. Places
    that repeat the one before would add up, and are left out.
    """
    u = (np.arange(VIEW, dtype=np.float32) + 0.5) / VIEW * SPAN - SPAN / 2
    places = places.astype(np.float32)
    x, y = (np.exp(-8 * (u - places[..., c, None]) ** 2 / (2 * MARK**2)) for c in (0, 1))
    again = np.zeros(places.shape[:2], bool)
    again[:, 1:] = np.abs(np.diff(places, axis=1)).max(-1) < 1e-6
    y[again] = 0
    out = np.matmul(y.transpose(0, 2, 1), x)
    return np.asarray(np.minimum(np.sqrt(np.sqrt(np.sqrt(out))), 1))
