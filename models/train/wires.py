"""What the lead network is trained on: boards seen straight, with every lead's way, and questions about single plugs."""

from __future__ import annotations

import numpy as np
import scenes
import torch
import torch.nn.functional as F

P = 28  # pixels per cell of the rectified board that the lead network sees
ASK = 5  # questions a board
MOST = 48  # sockets a board that can be an answer
SOCKET_AT = 0.18  # cells from a cube's middle to where the reading takes its sockets to be


def make(mk, W, H):
    """A board with leads, seen straight, in the middle of the picture."""
    cols, rows = int(mk.rng.integers(4, 15)), int(mk.rng.integers(4, 10))
    mk.alike = float(mk.rng.choice([0.15, 0.4, 0.9]))
    leads = int(mk.rng.choice([1, 2, 3, 4, 5, 6, 7, 8], p=[0.08, 0.12, 0.16, 0.2, 0.16, 0.12, 0.1, 0.06]))
    return centred(mk, W, H, P, cols, rows, leads)


def centred(mk, W, H, P, cols, rows, leads):
    """A board seen straight, P pixels a cell, in the middle of a picture of W by H."""
    s = mk.make(W, H, cols=cols, rows=rows, rect=P, n_leads=leads, hands=0.0, trouble=False)
    mx, my = (W / P - cols) / 2, (H / P - rows) / 2
    s[0]["A"] = (1 / P, 0, -mx, 0, 1 / P, -my)
    return s


def nominal(T):
    """(n, 2) cells: where the reading takes the sockets to be."""
    at = []
    for e in T.ends:
        if e[3] in "EW":
            u, v = (SOCKET_AT if e[3] == "E" else -SOCKET_AT), 0.0
            for _ in range(T.turn[e[5], e[4]]):
                u, v = -v, u
            at.append((e[4] + 0.5 + u, e[5] + 0.5 + v))
        else:
            at.append((e[4] + 1, e[5] + 0.5) if e[6] == 0 else (e[4] + 0.5, e[5] + 1))
    return np.array(at, np.float32).reshape(-1, 2)


def gaussians(h, w, pts, sigma, dev):
    """(n,) lists of (x, y) points to (n, h, w) maps of peaks."""
    out = torch.zeros((len(pts), h, w), device=dev)
    yy = torch.arange(h, device=dev, dtype=torch.float32)[:, None]
    xx = torch.arange(w, device=dev, dtype=torch.float32)[None]
    for i, p in enumerate(pts):
        if len(p) == 0:
            continue
        t = torch.as_tensor(np.asarray(p), dtype=torch.float32, device=dev)
        s = sigma[i] if isinstance(sigma, (list, np.ndarray)) else sigma
        g = torch.exp(
            -((yy[None] - t[:, 1, None, None]) ** 2 + (xx[None] - t[:, 0, None, None]) ** 2)
            / (2 * float(s) ** 2)
        )
        out[i] = g.amax(0)
    return out


def focal(logit, target):
    """Quality focal loss on soft peaks (Li et al. 2020, Generalized Focal Loss), per peak; keeps sub-pixel shape."""
    logit = logit.float()
    p = torch.sigmoid(logit)
    w = (target - p).abs() ** 2
    peaks = target.sum() / 6.0
    return (w * F.binary_cross_entropy_with_logits(logit, target, reduction="none")).sum() / peaks.clamp(
        min=1
    )


def blobs(h, w, at):
    """(n, m, 2) places to (n, m, h, w): what a question is put as. The reading does the same."""
    yy = torch.arange(h, device=at.device, dtype=torch.float32)[:, None]
    xx = torch.arange(w, device=at.device, dtype=torch.float32)
    d = (xx - at[..., 0, None, None]) ** 2 + (yy - at[..., 1, None, None]) ** 2
    return torch.exp(-d / (2 * (0.1 * P / 2) ** 2))


def targets(items, W, H, dev):
    """Maps of every lead, its direction (nearest centre line) and every plugged socket, at half size; and the sockets.

    Returns:
        lead (n, h, w), direction (n, 2, h, w), plugs (n, h, w); for every board its leads' own maps (k, h, w), the
        sockets' true and nominal places (two (s, 2) arrays, half-size pixels) and each socket's lead and partner (-1).
    """
    h, w = H // 2, W // 2
    plugs, boards = [], []
    mask = torch.zeros((len(items), h, w), device=dev)
    way = torch.zeros((len(items), 2, h, w), device=dev)
    yy = torch.arange(h, device=dev, dtype=torch.float32)[:, None]
    xx = torch.arange(w, device=dev, dtype=torch.float32)[None]
    for i, (S, _, _, T, *_) in enumerate(items):
        rim = np.array([-S["A"][2], -S["A"][5]])
        px = lambda p: (scenes.to_tops(S, p) + rim) * P / 2 - 0.5  # noqa: B023
        E = np.array([e[:3] for e in T.ends]) if T.ends else np.zeros((0, 3))
        plugged = [j for pair in T.plugs for j in pair]
        plugs.append(px(E[plugged]) if plugged else [])
        near, dirs = [], []
        lead, partner = np.full(len(E), -1), np.full(len(E), -1)
        for k, ((a, b), path) in enumerate(zip(T.plugs, T.paths)):
            lead[[a, b]], partner[[a, b]] = k, (b, a)
            m = scenes.along(px(path), 130)
            d = np.gradient(m, axis=0)
            d /= np.maximum(np.hypot(*d.T)[:, None], 1e-6)
            t = torch.as_tensor(m, dtype=torch.float32, device=dev)
            q = torch.as_tensor(
                np.stack([d[:, 0] ** 2 - d[:, 1] ** 2, 2 * d[:, 0] * d[:, 1]], -1),
                dtype=torch.float32,
                device=dev,
            )
            best = ((yy[None] - t[:, 1, None, None]) ** 2 + (xx[None] - t[:, 0, None, None]) ** 2).min(0)
            near.append(best.values)
            dirs.append(q[best.indices])
        own = torch.zeros((0, h, w), device=dev)
        if near:
            dist = torch.stack(near)
            own = (dist < (0.05 * P / 2) ** 2 + 0.5).float()
            mask[i] = own.amax(0)
            which = dist.argmin(0)
            way[i] = (
                torch.stack(dirs).gather(0, which[None, ..., None].expand(1, h, w, 2))[0].permute(2, 0, 1)
            )
        where = px(E) if len(E) else np.zeros((0, 2))
        boards.append((own, where, (nominal(T) + rim) * P / 2 - 0.5, lead, partner))
    return mask, way, gaussians(h, w, plugs, 0.1 * P / 2, dev), boards


def questions(boards, h, w, rng, dev):
    """For each board ASK sockets, more of them plugged than not.

    Returns:
        places asked about (n, ASK, 2), places that may be the answer (n, MOST, 2), which of these are sockets, the
        answer's number (n, ASK), the lead's own map (n, ASK, h, w), and which questions count (n, ASK).
    """
    n = len(boards)
    at, ends = np.zeros((n, ASK, 2)), np.zeros((n, MOST, 2))
    known, answer, counts = np.zeros((n, MOST), bool), np.zeros((n, ASK), int), np.zeros((n, ASK), bool)
    way = torch.zeros((n, ASK, h, w), device=dev)
    known[:, 0] = True
    for i, (own, true, guess, lead, partner) in enumerate(boards):
        s = min(len(true), MOST)
        if s < 2:
            continue
        # a plug is found where it is seen, or else taken to be where its socket should be
        mix = rng.random((s, 1)) * (rng.random((s, 1)) < 0.5)
        ends[i, :s] = true[:s] * (1 - mix) + guess[:s] * mix + rng.normal(size=(s, 2)) * 0.5
        known[i, :s] = True
        weight = np.where(partner[:s] >= 0, 1.0, 0.12)
        weight[partner[:s] >= s] = 0
        ask = rng.choice(s, ASK, p=weight / weight.sum())
        at[i] = ends[i, ask]
        answer[i] = np.where(partner[ask] >= 0, partner[ask], ask)
        counts[i] = True
        for j, a in enumerate(ask):
            if lead[a] >= 0:
                way[i, j] = own[lead[a]]
    up = lambda a: torch.as_tensor(a, device=dev)
    return up(at).float(), up(ends).float(), up(known), up(answer), way, up(counts)


def at_ends(maps, ends):
    """Sample (n, m, h, w) at places (n, s, 2): (n, m, s)."""
    h, w = maps.shape[-2:]
    size = torch.tensor([w, h], device=maps.device)
    return F.grid_sample(
        maps,
        ((2 * ends + 1) / size - 1)[:, None],
        mode="bilinear",
        padding_mode="border",
        align_corners=False,
    )[:, :, 0]


def loss(net, x, t, rng):
    """Loss, and the share of questions about plugged sockets that are answered right."""
    f = net.features(x)
    out = net.head(f).float()
    mask, way, plug, boards = t
    lm = F.binary_cross_entropy_with_logits(out[:, 0], mask, pos_weight=torch.tensor(2.0, device=x.device))
    ld = ((out[:, 1:3] - way).abs().sum(1) * mask).sum() / mask.sum().clamp(min=1)
    h, w = mask.shape[-2:]
    at, ends, known, answer, own, counts = questions(boards, h, w, rng, x.device)
    said = net.asked(f, blobs(h, w, at)).float()
    flat = own.flatten(2)
    p = torch.sigmoid(said[:, :, 0]).flatten(2)
    dice = 1 - (2 * (p * flat).sum(2) + 1) / (p.sum(2) + flat.sum(2) + 1)
    bce = F.binary_cross_entropy_with_logits(said[:, :, 0], own, reduction="none").flatten(2).mean(2)
    row = at_ends(said[:, :, 1], ends).masked_fill(~known[:, None], -1e4)
    ce = F.cross_entropy(row.flatten(0, 1), answer.flatten(), reduction="none").view_as(answer)
    each = ce + 0.5 * dice * (flat.sum(2) > 0) + 6 * bce
    lq = (each * counts).sum() / counts.sum().clamp(min=1)
    plugged = counts & (flat.sum(2) > 0)
    right = ((row.argmax(2) == answer) & plugged).sum() / plugged.sum().clamp(min=1)
    return 3 * lm + 0.3 * ld + 0.3 * focal(out[:, 3], plug) + lq, right.float()
