"""What the network that walks along a lead is trained on: small views along leads, and where the next step goes."""

from __future__ import annotations

import math

import numpy as np
import scenes
import torch
import torch.nn.functional as F
import wires

P = 48  # pixels per cell of the boards that views are cut from
VIEW, SPAN = 56, 1.4  # pixels and cells of a view's side
STEP = 0.22  # cells
ANGLES = 36
TAIL, DS = 20, 0.06  # so many points of the way come, cells apart
FINE = 0.02  # cells between points of a lead's way
WIDE = 0.05  # cells: width of the marks for the way come and for sockets
MANY = 160  # views a picture to choose from
SOCKETS = 24  # a view shows no more of them


def make(mk, W, H):
    """A board with leads, seen straight, in the middle of the picture."""
    cols, rows = int(mk.rng.integers(4, 10)), int(mk.rng.integers(3, 7))
    mk.alike = float(mk.rng.choice([0.15, 0.5, 0.95]))
    leads = int(mk.rng.choice([1, 2, 3, 4, 5, 6, 7, 8], p=[0.05, 0.12, 0.18, 0.2, 0.17, 0.13, 0.1, 0.05]))
    s = wires.centred(mk, W, H, P, cols, rows, leads)
    return (*s, samples(s, mk.rng))


def ways(S, T):
    """Every lead's way on the plane of the tops, both directions: list of (n, 2) cells, FINE apart; and sockets (s, 2)."""
    out = []
    for path in T.paths:
        m = scenes.along(scenes.to_tops(S, path), 60 * len(path))
        s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(m, axis=0).T))])
        u = np.arange(0, s[-1] + FINE, FINE)
        m = np.stack([np.interp(u, s, m[:, c]) for c in (0, 1)], -1)
        out += [m, m[::-1]]
    E = np.array([e[:3] for e in T.ends]).reshape(-1, 3)
    return out, scenes.to_tops(S, E) if len(E) else np.zeros((0, 2))


def samples(scene, rng):
    """MANY views to choose from, more of them where other leads are near; None where there is no lead.

    Returns:
        at (n, 2) and heading (n,) of each view's middle, in cells and radians; tail (n, TAIL, 2) and sockets
        (n, SOCKETS, 2) in the view's own frame, ahead up, cells (far away where there are none); ahead (n,): angle of
        the next step in that frame; ended (n,): whether the lead ends within a step; lost (n,): whether the way has left
        its lead, or begins where no lead is plugged in.
    """
    S, _, _, T = scene
    W, ends = ways(S, T)
    if not W:
        return None
    plugs = ends[[i for pair in T.plugs for i in pair]]
    step, back, d = round(STEP / FINE), round(0.2 / FINE), round(DS / FINE)
    k, j, weight = [], [], []
    for a, m in enumerate(W):
        others = [o[::6] for b, o in enumerate(W) if b // 2 != a // 2 and b % 2 == 0]
        near = np.full(len(m), 9.0)
        if others:
            gap = np.sqrt(((m[::6, None] - np.concatenate(others)[None]) ** 2).sum(-1).min(1))
            near = gap.repeat(6)[: len(m)]
        w = np.where(near < 0.35, 3.0, 1.0)
        # plugs hide what is under and beside them: most walks that get lost do so there
        strange = plugs[[i for i in range(len(plugs)) if i // 2 != a // 2]]
        if len(strange):
            gap = np.sqrt(((m[::6, None] - strange[None]) ** 2).sum(-1).min(1))
            w *= np.where(gap < 0.45, 2.5, 1.0).repeat(6)[: len(m)]
        w[: 2 * step] *= 2.5
        w[0] = 0.12 * len(m)  # starts have no way behind them
        w[-2 * step :] *= 2.5
        k.append(np.full(len(m), a)), j.append(np.arange(len(m))), weight.append(w)
    k, j, weight = (np.concatenate(a) for a in (k, j, weight))
    pick = rng.choice(len(k), MANY, p=weight / weight.sum())
    k, j, n = k[pick], j[pick], MANY
    first = np.cumsum([0] + [len(m) for m in W])
    way, last = np.concatenate(W), first[k + 1] - 1
    here = way[first[k] + j]
    tail = way[first[k, None] + np.maximum(j[:, None] - d * np.arange(TAIL), 0)]
    start = j < 2
    v = here - way[first[k] + np.maximum(j - back, 0)]
    heading = np.arctan2(v[:, 0], -v[:, 1]) + rng.normal(size=n) * 0.12  # clockwise from up
    heading = np.where(start, rng.uniform(-math.pi, math.pi, n), heading)
    side = np.stack([-v[:, 1], v[:, 0]], -1) / np.maximum(np.hypot(*v.T), 1e-6)[:, None]
    # the walk does not keep to the middle, and its way shows that
    off = np.where(
        start[:, None],
        rng.normal(size=(n, 2)) * rng.choice([0.03, 0.08], (n, 1)),
        side * rng.normal(size=(n, 1)) * 0.035,
    )
    fade = np.exp(-np.arange(TAIL) * DS / rng.uniform(0.15, 0.6, (n, 1)))[..., None]
    fade[start] = 1
    tail = tail + off[:, None] * fade + rng.normal(size=(n, 1, 2)) * np.where(start, 0, 0.01)[:, None, None]
    here = here + off
    here, heading, tail, lost = astray(here, heading, tail, start, way, ends, T, rng)
    c, s = np.cos(heading), np.sin(heading)
    R = np.stack([np.stack([c, -s], -1), np.stack([s, c], -1)], -2)  # right-multiplied: into the view's frame
    tail = (tail - here[:, None]) @ R
    e = ends[None] + rng.normal(size=(n, len(ends), 2)) * rng.choice([0.01, 0.04, 0.08], (n, 1, 1))
    e = (e - here[:, None]) @ R
    e[rng.random(e.shape[:2]) < 0.04] = 9.0
    dots = np.full((n, SOCKETS, 2), 9.0)
    order = np.argsort(np.abs(e).max(-1), 1)[:, :SOCKETS]
    dots[:, : order.shape[1]] = np.take_along_axis(e, order[..., None], 1)
    # the next step is where the lead leaves a circle of a step's radius, however it bends within
    on = way[np.minimum((first[k] + j)[:, None] + np.arange(5 * step), last[:, None])]
    out = np.hypot(*(on - here[:, None]).transpose(2, 0, 1)) > STEP
    ended = ~out.any(1) | (np.hypot(*(way[last] - here).T) < STEP) & (first[k] + j + 2 * step > last)
    g = (np.where(ended[:, None], way[last], on[np.arange(n), out.argmax(1)]) - here)[:, None] @ R
    ahead = np.arctan2(g[:, 0, 0], -g[:, 0, 1])
    return [np.asarray(a, np.float32) for a in (here, heading, tail, dots, ahead, ended, lost)]


def astray(here, heading, tail, start, way, ends, T, rng):
    """Let some walks leave their lead for where none is, and some begin at sockets without a lead.

    Returns:
        here, heading, tail with these, and which they are.
    """
    n = len(here)
    free = [i for i in range(len(ends)) if i not in {j for pair in T.plugs for j in pair}]
    chance = rng.random(n)
    bare = start & (chance < 0.25) if free else np.zeros(n, bool)
    if free:
        at = ends[rng.choice(free, n)] + rng.normal(size=(n, 2)) * 0.03
        here = np.where(bare[:, None], at, here)
        tail = np.where(bare[:, None, None], at[:, None], tail)
    # a bend and some steps straight on: the way come is what was, and these steps
    bend = heading + rng.uniform(0.5, 2.6, n) * rng.choice([-1, 1], n)
    bend = np.where(start, heading, bend)
    steps, turn = rng.integers(1, 6, n), rng.normal(size=n) * 0.15
    a = bend[:, None] + turn[:, None] * np.arange(5)
    moves = STEP * np.stack([np.sin(a), -np.cos(a)], -1) * (np.arange(5) < steps[:, None])[..., None]
    track = here[:, None] + np.concatenate([np.zeros((n, 1, 2)), np.cumsum(moves, 1)], 1)
    away = track[:, -1]
    gap = np.sqrt(((away[:, None] - way[None, ::8]) ** 2).sum(-1).min(1))
    off = (chance > 0.82) & (gap > 0.16) & ~bare
    for i in np.where(off)[0]:
        old = np.concatenate([track[i, steps[i] :: -1], tail[i, 1:]])
        s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(old, axis=0).T))])
        u = np.minimum(np.arange(TAIL) * DS, s[-1])
        tail[i] = np.stack([np.interp(u, s, old[:, c]) for c in (0, 1)], -1)
        here[i], heading[i] = away[i], a[i, steps[i] - 1] + rng.normal() * 0.05
    return here, heading, tail, (off | bare).astype(float)


def marks(points, dev):
    """(n, k, 2) places in views (cells) to (n, VIEW, VIEW) maps. The reading does the same."""
    q = torch.as_tensor(points, device=dev)
    u = (torch.arange(VIEW, device=dev) + 0.5) / VIEW * SPAN - SPAN / 2
    x = torch.exp(-((u - q[..., :1]) ** 2) / (2 * WIDE**2))
    y = torch.exp(-((u - q[..., 1:]) ** 2) / (2 * WIDE**2))
    return (y[..., :, None] * x[..., None, :]).amax(1)


def loss(net, c, tail, dots, ahead, ended, lost):
    """Loss of views c (n, 3, VIEW, VIEW), and the share whose next step is told to a bin (10 degrees) and a half."""
    dev = c.device
    out = net(
        torch.cat([c, marks(tail, dev)[:, None].to(c.dtype), marks(dots, dev)[:, None].to(c.dtype)], 1)
    ).float()
    a = torch.as_tensor(ahead, device=dev) / (2 * math.pi) * ANGLES
    lo = torch.floor(a)
    hi = a - lo
    lp = F.log_softmax(out[:, :ANGLES], 1)
    at = lambda k: lp.gather(1, (k.long() % ANGLES)[:, None])[:, 0]
    la = -(at(lo) * (1 - hi) + at(lo + 1) * hi)
    e, lost = torch.as_tensor(ended, device=dev), torch.as_tensor(lost, device=dev)
    on = 1 - lost
    le = F.binary_cross_entropy_with_logits(out[:, ANGLES], e, reduction="none")
    ll = F.binary_cross_entropy_with_logits(out[:, ANGLES + 1], lost)
    best = out[:, :ANGLES].argmax(1)
    gap = (best - a + ANGLES / 2) % ANGLES - ANGLES / 2
    right = (gap.abs() < 1.5) & ((out[:, ANGLES] > 0) == (e > 0))
    right = torch.where(lost > 0, out[:, ANGLES + 1] > 0, right & (out[:, ANGLES + 1] < 0)).float().mean()
    return ((la * (1 - 0.5 * e) + le) * on).sum() / on.sum().clamp(min=1) + ll, right


def crops(x, items, per, rng, cut, affine):
    """Views and what stands in them for developed pictures x (n, 3, H, W)."""
    some = [(i, rng.choice(MANY, per, replace=False)) for i, it in enumerate(items) if it[4] is not None]
    which = np.repeat([i for i, _ in some], per)
    at, heading, *told = (np.concatenate([items[i][4][c][pick] for i, pick in some]) for c in range(7))
    H, W = x.shape[-2:]
    A = np.array([[items[i][0]["A"][2], items[i][0]["A"][5]] for i in which])
    px, side = (at - A) * P, np.full(len(at), SPAN * P / 2)
    return cut(x, affine(px[:, 0], px[:, 1], side, side, heading, W, H, x.device), which, VIEW, VIEW), *told
