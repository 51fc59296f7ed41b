"""Train one of the networks on freshly rendered pictures.

    python fit.py symbols --fonts DIR --out DIR --minutes 8 [--from DIR] [--presses 2400]

Pictures are rendered while training goes on; every rendered picture is used a few times with other light,
noise and cutting. `Fonts` keeps a share of the font families out of training.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import queue
import threading
import time
import zlib
from multiprocessing import Process, Queue
from pathlib import Path

import camera
import numpy as np
import scenes
import torch
import torch.nn.functional as F
import walk
import wires
from nets import LINE_H, LINE_W, N_KIND, NETS, encode_lines, keep_state
from world import Tracer, make_books

# print under leads: what is left of a value says which ones it can be
LEADS_OVER_TEXT = (0.2, 0.12, 0.14, 0.16, 0.16, 0.12, 0.1)
SAME = {}  # kinds drawn alike at other turns when nothing is printed on them: step of quarter turns
for k, s in {"straight": 2, "cross": 1, "crossover": 1}.items():
    SAME[scenes.KIND_NO[k]] = s
HALF = {
    scenes.KIND_NO[k]
    for k in ("resistor", "capacitor", "inductor", "photoresistor", "thermistor", "lamp", "fuse", "switch")
}


# --- scene makers, run in worker processes ----------------------------------------------------


def make_rect(mk, W, H, P, leads=(0.22, 0.26, 0.24, 0.18, 0.1)):
    """A small board seen straight, cells of P pixels; half a cell of surroundings; `leads`: how likely 0, 1, ... are."""
    cols, rows = 5, 4
    tilt = min(42, abs(mk.rng.normal()) * 16)
    s = mk.make(
        W,
        H,
        cols=cols,
        rows=rows,
        rect=P,
        tilt=tilt,
        n_leads=int(mk.rng.choice(len(leads), p=leads)),
        mixed=mk.rng.random() < 0.6,
        hands=0.05,
    )
    s[0]["A"] = (1 / P, 0, -0.5, 0, 1 / P, -0.5)
    s[0]["margin"] = mk.rng.uniform(0, 3)
    if s[0]["aperture"] > 0.04:
        s[0]["aperture"] *= 0.5
    return (*s, table(s[3], crossed(s[0], s[3])))


def worker(job, args, q, seed):
    np.random.seed(seed % (1 << 31))
    mk = scenes.Maker(*args, seed)
    while True:
        q.put(job(mk))


class Feeder:
    """Keeps a pool of rendered radiance pictures fresh."""

    def __init__(self, net, tracer, book, W, H, spp, batch, P=None, workers=5, seed=0):
        tex, kinds, press, texts, boxes, marks = book
        self.tr, self.tex, self.W, self.H, self.spp, self.batch, self.seed = (
            tracer,
            tex.to(tracer.dev),
            W,
            H,
            spp,
            batch,
            seed,
        )
        self.q = Queue(batch * 4)
        job = {
            "locate": lambda m: m.make(W, H),
            "wires": lambda m: wires.make(m, W, H),
            "walk": lambda m: walk.make(m, W, H),
            "text": lambda m: make_rect(m, W, H, P, LEADS_OVER_TEXT),
        }.get(net, lambda m: make_rect(m, W, H, P))
        self.ps = [
            Process(
                target=worker,
                args=(job, (kinds, press, texts, boxes, marks), self.q, seed * 1000 + i),
                daemon=True,
            )
            for i in range(workers)
        ]
        for p in self.ps:
            p.start()

    def next(self):
        items = [self.q.get() for _ in range(self.batch)]
        self.seed += 1
        rad = self.tr.render(
            [i[0] for i in items],
            [i[1] for i in items],
            [i[2] for i in items],
            self.tex,
            self.W,
            self.H,
            self.spp,
            self.seed,
        )
        return rad, items

    def stop(self):
        for p in self.ps:
            p.terminate()


# --- targets ----------------------------------------------------------------------------------


def locate_targets(items, W, H, dev):
    """Maps at a quarter of the size. `project` counts pixels from their corners, so that all places lie half a pixel
    right of and below what they are in OpenCV's count; photo/_read.py takes that back."""
    h, w = H // 4, W // 4
    centres, steps, corners, sig = [], [], [], []
    for S, _, _, T, *_ in items:
        ys, xs = np.where(T.kind >= 0)
        z = np.full(len(xs), S["h"])
        c = scenes.project(S, np.stack([xs + 0.5, ys + 0.5, z], -1))
        r = scenes.project(S, np.stack([xs + 1.5, ys + 0.5, z], -1))
        d = scenes.project(S, np.stack([xs + 0.5, ys + 1.5, z], -1))
        l2 = scenes.project(S, np.stack([xs - 0.5, ys + 0.5, z], -1))
        u2 = scenes.project(S, np.stack([xs + 0.5, ys - 0.5, z], -1))
        centres.append((c + 0.5) / 4 - 0.5)
        steps.append(np.concatenate([(r - l2) / 2, (d - u2) / 2], -1) / 32)
        m = S["margin"]
        q = scenes.project(
            S, [[-m, -m, 0], [T.cols + m, -m, 0], [T.cols + m, T.rows + m, 0], [-m, T.rows + m, 0]]
        )
        corners.append((q + 0.5) / 4 - 0.5)
        sig.append(max(1.0, float(np.hypot(*(steps[-1][:, :2].T * 32)).mean()) / 4 * 0.11))
    heat = wires.gaussians(h, w, centres, sig, dev)
    corner = wires.gaussians(h, w, corners, 1.5, dev)
    plate = torch.zeros((len(items), h, w), device=dev)
    yy, xx = torch.meshgrid(
        torch.arange(h, device=dev, dtype=torch.float32),
        torch.arange(w, device=dev, dtype=torch.float32),
        indexing="ij",
    )
    for i, q in enumerate(corners):
        inside = torch.ones((h, w), dtype=torch.bool, device=dev)
        for k in range(4):
            a, b = q[k], q[(k + 1) % 4]
            inside &= (b[0] - a[0]) * (yy - a[1]) - (b[1] - a[1]) * (xx - a[0]) > 0
        plate[i] = inside
    places = [(scenes.project(S, T.loose) + 0.5) / 4 - 0.5 if T.loose else [] for S, _, _, T, *_ in items]
    return centres, steps, heat, corner, plate, wires.gaussians(h, w, places, sig, dev)


def locate_loss(net, x, items, W, H):
    out = net(x)
    centres, steps, heat, corner, plate, loose = locate_targets(items, W, H, x.device)
    loss = (
        wires.focal(out[:, 0], heat)
        + wires.focal(out[:, 1], corner) * 0.7
        + F.binary_cross_entropy_with_logits(out[:, 2].float(), plate) * 2
        + wires.focal(out[:, 7], loose) * 0.3
    )
    h, w = heat.shape[-2:]
    total, n = 0.0, 0
    for i, (c, s) in enumerate(zip(centres, steps)):
        ix, iy = np.round(c[:, 0]).astype(int), np.round(c[:, 1]).astype(int)
        ok = (ix >= 1) & (iy >= 1) & (ix < w - 1) & (iy < h - 1)
        if not ok.any():
            continue
        t = torch.as_tensor(s[ok], dtype=torch.float32, device=x.device)
        for dx, dy in ((0, 0), (1, 0), (0, 1), (-1, 0), (0, -1)):
            p = (
                out[
                    i,
                    3:7,
                    torch.as_tensor(iy[ok] + dy, device=x.device),
                    torch.as_tensor(ix[ok] + dx, device=x.device),
                ]
                .float()
                .T
            )
            total = total + F.smooth_l1_loss(p, t, reduction="sum", beta=0.1)
            n += t.numel()
    loss = loss + 6 * total / max(n, 1)
    return loss


STREWN = 0.3  # a loose cube takes as much of a cell: it is told of there


def crossed(S, T):
    """Cells with something of a lead over them, as seen on the plane of the tops."""
    fine = [scenes.along(scenes.to_tops(S, path), 5 * len(path)) for path in T.paths]
    return {(int(x), int(y)) for x, y in np.floor(np.concatenate(fine))} if fine else set()


def table(T, under):
    """What can be cut from one scene, as arrays: cells (x, y, kind, turn), taps on N E S W, the numbers of
    two lines of text, text boxes, and how often each cell is to be cut: those `under` leads more often."""
    rows, taps, text, box, often, loose = [], [], [], [], [], []
    for y in range(-1, T.rows + 1):
        for x in range(-1, T.cols + 1):
            k = int(T.kind[y, x]) if 0 <= x < T.cols and 0 <= y < T.rows else -1
            rows.append((x, y, k if k >= 0 else scenes.EMPTY, int(T.turn[y, x]) if k >= 0 else 0))
            taps.append(
                [(x, y - 1, 1) in T.taps, (x, y, 0) in T.taps, (x, y, 1) in T.taps, (x - 1, y, 0) in T.taps]
            )
            text.append(encode_lines(T.text.get((x, y), "")))
            box.append(T.box.get((x, y), (0, 0, 0, 0)))
            often.append(2.5 if (x, y) in under else 1.0)
            loose.append(T.strewn.get((x, y), 0.0) > STREWN)
    return (
        np.array(rows),
        np.array(taps, np.float32),
        np.array(text),
        np.array(box, np.float32),
        np.array(often),
        np.array(loose),
    )


def turned(u, v, q):
    """(u, v) after q clockwise quarter turns, elementwise."""
    u, v = np.where(q % 2 == 1, -v, u), np.where(q % 2 == 1, u, v)
    return np.where(q >= 2, -u, u), np.where(q >= 2, -v, v)


def choose(items, rng, per, texts_only):
    """Picks cells: arrays of picture number, x, y, kind, turn, taps, text, box."""
    out = []
    for i, it in enumerate(items):
        cells, taps, text, box, often, loose = it[4]
        has = (text[:, 0, 0] > 0) if texts_only else cells[:, 2] != scenes.EMPTY
        pool, free = np.where(has)[0], np.where(cells[:, 2] == scenes.EMPTY)[0]
        if len(pool) == 0:
            continue
        j = rng.choice(pool, per, p=often[pool] / often[pool].sum())
        if not texts_only and len(free):
            m = rng.random(per) < 0.16
            lying = np.where(loose & (cells[:, 2] == scenes.EMPTY))[0]
            some = free if len(lying) == 0 else np.concatenate([free, *[lying] * 4])
            j = np.where(m, some[rng.integers(len(some), size=per)], j)
        out.append((np.full(per, i), *cells[j].T, taps[j], text[j], box[j], loose[j]))
    return [np.concatenate(c) for c in zip(*out)]


def affine(cx, cy, ax, ay, ang, W, H, dev):
    """Sampling matrices: crop (u, v) in -1..1 to picture coordinates; centre and half sizes in pixels, clockwise angle."""
    c, s = np.cos(ang), np.sin(ang)
    th = np.stack(
        [
            np.stack([c * ax * 2 / W, -s * ay * 2 / W, 2 * cx / W - 1], -1),
            np.stack([s * ax * 2 / H, c * ay * 2 / H, 2 * cy / H - 1], -1),
        ],
        1,
    )
    return torch.from_numpy(th.astype(np.float32)).to(dev)


def symbol_crops(items, rng, per, span, P, W, H, dev):
    i, x, y, k, turn, taps, text, box, loose = choose(items, rng, per, False)
    n = len(i)
    rot = rng.integers(4, size=n)  # a view turned by whole quarters is as good as another cube
    ang = rot * math.pi / 2 + rng.normal(size=n) * 0.03
    sc = span * np.exp(rng.normal(size=n) * 0.03)
    sx, sy = sc * np.exp(rng.normal(size=n) * 0.015), sc * np.exp(rng.normal(size=n) * 0.015)
    # grids are true to a fiftieth of a cell, but where tops are burnt out or dark to a tenth
    off = np.where(rng.random(n) < 0.22, 0.08, 0.022)
    jx, jy = rng.normal(size=n) * off, rng.normal(size=n) * off
    th = affine((x + 1 + jx) * P, (y + 1 + jy) * P, sx * P / 2, sy * P / 2, ang, W, H, dev)
    turn = (turn - rot) % 4
    taps = np.take_along_axis(taps, (np.arange(4)[None] + rot[:, None]) % 4, 1)
    # the box of the text in the crop's own frame
    cu, cv = (box[:, 0] + box[:, 2]) / 4, (box[:, 1] + box[:, 3]) / 4  # cells from the cube's centre, turn 0
    hw, hh = (box[:, 2] - box[:, 0]) / 2, (box[:, 3] - box[:, 1]) / 2  # full sizes in cells
    bu, bv = turned(cu, cv, turn)
    ju, jv = turned(jx, jy, (4 - rot) % 4)
    bu, bv = (bu - ju) / sx, (bv - jv) / sy
    bw, bh = np.where(turn % 2 == 1, hh, hw) / sx, np.where(turn % 2 == 1, hw, hh) / sy
    b = np.stack([bu, bv, bw, bh], -1).astype(np.float32)
    return th, {"i": i, "k": k, "turn": turn, "taps": taps, "text": text, "box": b, "loose": loose}


# two lines of print share their box: each one's height, and how far its middle is from that of the box
LINE_SHARE, LINE_OFF = 0.45, 0.275


def line_frame(cu, w, h):
    """What the line reader sees of print centred at cu, w wide and h high (arrays, any unit).

    Returns:
        Centre, width and height of the sampled frame, and how many of its LINE_W pixels show the line: the picture
        goes on to the right of them and is blanked out afterwards. A line too long is squeezed.
    """
    h = np.maximum(h, 0.04)
    tall = h * 1.5
    wide = np.maximum(w, h * 0.4) + h * 0.8
    valid = np.minimum(LINE_W, wide / tall * LINE_H)
    full = wide * LINE_W / valid
    return cu - wide / 2 + full / 2, full, tall, valid.astype(np.float32)


def text_crops(items, rng, per, P, W, H, dev):
    """Lines of print: the text's box with some error and a margin, scaled to the height of the line."""
    i, x, y, k, turn, taps, text, box, _ = choose(items, rng, per, True)
    n = len(i)
    w, h = (box[:, 2] - box[:, 0]) / 2, (box[:, 3] - box[:, 1]) / 2
    cu, cv = (box[:, 0] + box[:, 2]) / 4, (box[:, 1] + box[:, 3]) / 4
    two = text[:, 1, 0] > 0
    line = np.where(two, rng.integers(2, size=n), 0)
    text = text[np.arange(n), line]
    cv = np.where(two, cv + (2 * line - 1) * LINE_OFF * h, cv)
    h = np.where(two, h * LINE_SHARE, h)
    cu = cu + rng.normal(size=n) * 0.018
    cv = cv + rng.normal(size=n) * 0.014
    w = w * np.exp(rng.normal(size=n) * 0.05) + rng.normal(size=n) * 0.012
    h = h * np.exp(rng.normal(size=n) * 0.09) + rng.normal(size=n) * 0.006
    middle, full, tall, valid = line_frame(cu, w, h)
    u, v = turned(middle, cv, turn)
    th = affine(
        (x + 1 + u) * P,
        (y + 1 + v) * P,
        full * P / 2,
        tall * P / 2,
        turn * math.pi / 2 + rng.normal(size=n) * 0.025,
        W,
        H,
        dev,
    )
    return th, {"i": i, "text": text, "valid": valid}


def cut(x, th, i, h, w):
    """Sample crops from pictures (n, 3, H, W) with area smoothing (sampled at twice the size, then averaged)."""
    n = len(i)
    which, count = np.unique(i, return_counts=True)
    per = n // len(which)
    if not (count == per).all() or not (np.diff(i) >= 0).all():
        raise ValueError("every picture must give the same number of crops, in order")
    # one tall grid a picture: no copies of pictures are made
    g = F.affine_grid(th, (n, 3, h * 2, w * 2), align_corners=False).view(len(which), per * h * 2, w * 2, 2)
    c = F.grid_sample(
        x[torch.from_numpy(which).to(x.device)],
        g,
        mode="bilinear",
        padding_mode="border",
        align_corners=False,
    )
    c = c.view(len(which), 3, per, h * 2, w * 2).transpose(1, 2).reshape(n, 3, h * 2, w * 2)
    return F.avg_pool2d(c, 2)


def blank(c, valid):
    """Grey out what lies right of the line's end."""
    col = torch.arange(c.shape[-1], device=c.device)[None, None, None]
    keep = (col < torch.from_numpy(valid).to(c.device)[:, None, None, None]).float()
    return c * keep + 0.5 * (1 - keep)


def crop_jitter(c, g):
    """Small changes of colour and a few lost patches, per crop."""
    n = c.shape[0]
    u = lambda a, b: torch.rand(n, 1, 1, 1, generator=g, device=c.device) * (b - a) + a
    c = (c * u(0.8, 1.2) + u(-0.08, 0.08)).clamp(0, 1)
    grey = (torch.rand(n, 1, 1, 1, generator=g, device=c.device) < 0.1).float()
    inv = (torch.rand(n, 1, 1, 1, generator=g, device=c.device) < 0.03).float()
    c = c * (1 - grey) + c.mean(1, keepdim=True) * grey
    return c * (1 - inv) + (1 - c) * inv


def turn_loss(logit, d, dev):
    """Cross entropy where turns that look the same share their probability."""
    lp = F.log_softmax(logit.float(), 1)
    n = len(d["k"])
    has = d["text"][:, 0, 0] > 0
    step = np.array([SAME.get(int(k), 2 if (int(k) in HALF and not t) else 4) for k, t in zip(d["k"], has)])
    rel = (np.arange(4)[None] - d["turn"][:, None]) % 4
    mask = torch.from_numpy((rel % step[:, None] == 0).astype(np.float32)).to(dev)
    use = torch.from_numpy((d["k"] < scenes.OTHER).astype(np.float32)).to(dev)
    l = -torch.logsumexp(lp + torch.log(mask + 1e-9), 1)
    return (l * use).sum() / use.sum().clamp(min=1), n


def symbols_loss(net, c, d):
    out = net(c).float()
    dev = c.device
    k = torch.from_numpy(d["k"]).to(dev)
    taps = torch.from_numpy(d["taps"]).to(dev)
    occupied = (k < scenes.EMPTY).float()[:, None]
    lk = F.cross_entropy(out[:, :N_KIND], k, label_smoothing=0.0005)
    lt, _ = turn_loss(out[:, N_KIND : N_KIND + 4], d, dev)
    lp = F.binary_cross_entropy_with_logits(out[:, N_KIND + 4 : N_KIND + 8], taps, reduction="none")
    lp = (lp * occupied).sum() / (occupied.sum() * 4).clamp(min=1)
    has = torch.from_numpy((d["text"][:, 0, 0] > 0).astype(np.float32)).to(dev)
    lh = F.binary_cross_entropy_with_logits(out[:, N_KIND + 8], has)
    two = torch.from_numpy((d["text"][:, 1, 0] > 0).astype(np.float32)).to(dev)
    l2 = F.binary_cross_entropy_with_logits(out[:, N_KIND + 13], two, reduction="none")
    l2 = (l2 * has).sum() / has.sum().clamp(min=1)
    lb = F.smooth_l1_loss(
        out[:, N_KIND + 9 : N_KIND + 13], torch.from_numpy(d["box"]).to(dev), reduction="none", beta=0.02
    ).sum(1)
    lb = (lb * has).sum() / has.sum().clamp(min=1)
    acc = (out[:, :N_KIND].argmax(1) == k).float().mean()
    loose = torch.from_numpy(d["loose"].astype(np.float32)).to(dev)
    ll = F.binary_cross_entropy_with_logits(out[:, N_KIND + 14], loose)
    return lk + lt + lp * 2 + lh * 0.5 + l2 * 0.5 + ll * 0.5 + lb * 4, acc


def text_loss(net, c, d):
    out = net(c).float()
    # Beyond the line's end only the blank can stand. Left free, the last letter settles on the last frame, which the
    # padding makes easy to know, and is guessed there instead of read.
    frames = torch.from_numpy(np.ceil(d["valid"] / 4)).to(c.device)
    past = torch.arange(out.shape[1], device=c.device)[None] >= frames[:, None]
    nothing = torch.full_like(out, -30.0)
    nothing[..., 0] = 30.0
    out = torch.where(past[..., None], nothing, out)
    t = torch.from_numpy(d["text"]).to(c.device)
    lens = (t > 0).sum(1)
    lp = F.log_softmax(out, -1).transpose(0, 1)
    whole = torch.full_like(lens, len(lp))
    loss = F.ctc_loss(lp, t, whole, lens, reduction="none", zero_infinity=True).mean() / 5
    with torch.no_grad():
        best = out.argmax(-1)
        keep = (best > 0) & torch.cat(
            [torch.ones_like(best[:, :1], dtype=torch.bool), best[:, 1:] != best[:, :-1]], 1
        )
        order = torch.argsort((~keep).int(), dim=1, stable=True)
        got = torch.where(keep, best, 0).gather(1, order)[:, : t.shape[1]]
        acc = ((got == t).all(1) & (keep.sum(1) == lens)).float().mean()
    return loss, acc


# --- training ---------------------------------------------------------------------------------

SETUP = {  # W, H, samples a pixel, pictures a render, uses of each, uses of each developed picture
    "locate": {"W": 576, "H": 432, "spp": 6, "batch": 24, "reuse": 2, "lr": 2e-3},
    "wires": {"W": 480, "H": 352, "spp": 7, "batch": 24, "reuse": 5, "lr": 2e-3},
    "walk": {"W": 576, "H": 416, "spp": 6, "batch": 32, "reuse": 6, "crops": 2, "lr": 2e-3, "per": 48},
    "symbols": {"spp": 5, "batch": 32, "reuse": 6, "crops": 2, "lr": 2e-3, "per": 24},
    "text": {"spp": 5, "batch": 32, "reuse": 6, "crops": 2, "lr": 2e-3, "per": 24},
}


SETTLE = 24  # batches
KEEP = 150  # seconds between checkpoints
BURNT = 0.1  # of the pictures


class Norms:
    """Lets normalisations that change nothing (see revive.py) become what they would be, without changing the network."""

    def __init__(self, net) -> None:
        self.seen = {m: [] for m in net.modules() if isinstance(m, torch.nn.BatchNorm2d)}
        self.hooks = [m.register_forward_pre_hook(self._look) for m in self.seen]

    def _look(self, module, given) -> None:
        x = given[0].float()
        self.seen[module].append(torch.stack([x.mean((0, 2, 3)), (x**2).mean((0, 2, 3))]))

    def settle(self) -> None:
        for hook in self.hooks:
            hook.remove()
        with torch.no_grad():
            for m, seen in self.seen.items():
                mean, square = torch.stack(seen).mean(0)
                var = (square - mean**2).clamp(min=1e-6)
                m.running_mean.copy_(mean)
                m.running_var.copy_(var)
                m.bias.add_(mean * m.weight)
                m.weight.mul_(torch.sqrt(var + m.eps))


def save(a, state, step: int, rendered: int, hist: list) -> None:
    """Write the checkpoint, and how it came about, beside it."""
    out = Path(a.out)
    keep_state(state, out, a.net)
    last = torch.stack(hist[-300:]).mean(0).tolist() if hist else [None, None]
    told = {"net": a.net, "steps": step, "pictures": rendered, "minutes": a.minutes, "presses": a.presses}
    told |= {"seed": a.seed, "loss": last[0], "right": last[1]}
    (out / f"{a.net}.json").write_text(json.dumps(told))


def seed_of(seed: int, begins: float) -> int:
    """The seed of scenes and chance: of its own for each part of a plan, so that none sees another's scenes again."""
    return seed if begins == 0 else zlib.crc32(f"{seed} {begins}".encode()) % 100_000


def main() -> None:
    ap = argparse.ArgumentParser()
    ap.add_argument("net", choices=list(NETS))
    ap.add_argument("--fonts", required=True)
    ap.add_argument("--out", required=True)
    ap.add_argument("--minutes", type=float, default=8)
    ap.add_argument("--from", dest="start")
    ap.add_argument("--presses", type=int, default=2400)
    ap.add_argument("--per", type=int, default=44)
    ap.add_argument("--books", type=Path, help="folder with the labels, printed beforehand by world.py")
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    ap.add_argument("--lr", type=float)
    ap.add_argument(
        "--part",
        type=float,
        nargs=2,
        default=(0.0, 1.0),
        help="of the whole plan of learning rates: 0 0.5, then 0.5 1",
    )
    ap.add_argument("--steps", type=int, help="stop after so many, whatever the minutes")
    ap.add_argument("--scale", type=float, default=1.0, help="smaller batches for a rehearsal on a CPU")
    a = ap.parse_args()
    t_start = time.time()
    cfg = SETUP[a.net]
    seed = seed_of(a.seed, a.part[0])
    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    book = make_books(a.presses, a.per, a.fonts, False, a.seed, a.workers, a.books)
    print(f"{a.net}: {len(book[1])} labels in {time.time() - t_start:.0f} s", flush=True)
    tracer = Tracer()
    dev = tracer.dev
    book = (book[0].to(dev), *book[1:])
    torch.backends.cudnn.benchmark = True
    net, settling = NETS[a.net]().to(dev), 0
    if a.start and not (Path(a.start) / f"{a.net}.pt").exists():
        print(f"{a.net}: none in {a.start}, begun anew", flush=True)
    elif a.start:
        old = torch.load(Path(a.start) / f"{a.net}.pt", map_location=dev, weights_only=True)
        settling = SETTLE if "folded" in old else 0
        if a.net == "locate" and settling:  # what no loss has ever asked for begins as "nowhere"
            old["head.weight"][7], old["head.bias"][7] = 0, -6
        for k, v in net.state_dict().items():  # a head that has grown keeps what it knew
            if k in old and old[k].shape == v.shape:
                v.copy_(old[k])
            elif k in old and v.dim() == 4 and old[k].shape[0] == v.shape[0] and old[k].shape[1] > v.shape[1]:
                v.copy_(old[k][:, : v.shape[1]])
            elif k in old and old[k].dim() and len(old[k]) < len(v) and old[k].shape[1:] == v.shape[1:]:
                v[: len(old[k])] = old[k].to(v.dtype)
    net = net.to(memory_format=torch.channels_last)
    batch = max(2, int(cfg["batch"] * a.scale))
    feeders = []
    if a.net in ("symbols", "text"):
        sizes = (80, 100, 124, 156) if a.net == "text" else (48, 72, 96, 128)
        for i, P in enumerate(sizes):
            W, H = ((6 * P + 15) // 16) * 16, ((5 * P + 15) // 16) * 16
            feeders.append(
                (
                    Feeder(
                        a.net,
                        tracer,
                        book,
                        W,
                        H,
                        cfg["spp"],
                        batch,
                        P,
                        max(1, a.workers // len(sizes)),
                        seed * 10 + i,
                    ),
                    W,
                    H,
                    P,
                )
            )
    else:
        feeders.append(
            (
                Feeder(
                    a.net, tracer, book, cfg["W"], cfg["H"], cfg["spp"], batch, None, a.workers, seed * 10
                ),
                cfg["W"],
                cfg["H"],
                None,
            )
        )
    lr0 = a.lr or cfg["lr"]
    opt = torch.optim.AdamW(net.parameters(), lr=lr0, weight_decay=0.02)
    state = net.state_dict()
    names_f = [k for k, v in state.items() if v.dtype.is_floating_point]
    net_f = [state[k] for k in names_f]
    norms = Norms(net) if settling else None
    ema, ema_f = {}, []
    g = torch.Generator(device=dev)
    g.manual_seed(seed)
    budget = a.minutes * 60 - (time.time() - t_start)
    t0, step, shown, hist, rendered, kept, waited = time.time(), 0, 0.0, [], 0, time.time(), 0.0
    ready: queue.Queue = queue.Queue(3)
    stop = threading.Event()

    def produce():
        i = 0
        while not stop.is_set():
            f, W, H, P = feeders[i % len(feeders)]
            i += 1
            try:
                ready.put((*f.next(), W, H, P), timeout=30)
            except queue.Full:
                pass

    th = threading.Thread(target=produce, daemon=True)
    th.start()
    while time.time() - t0 < budget and (a.steps is None or step < a.steps):
        before = time.time()
        rad, items, W, H, P = ready.get()
        waited += time.time() - before
        rendered += len(items)
        for use in range(cfg["reuse"] if a.steps is None else min(cfg["reuse"], a.steps - step)):
            p = min(1.0, (time.time() - t0) / budget)
            for gr in opt.param_groups:
                whole = a.part[0] + (a.part[1] - a.part[0]) * p
                gr["lr"] = lr0 * min(1, (step + 1) / 200) * (0.5 + 0.5 * math.cos(math.pi * whole)) + 1e-6
            with torch.no_grad():
                px = {"locate": 38.0, "wires": float(wires.P), "walk": float(walk.P)}.get(a.net, P)
                if use % cfg.get("crops", 1) == 0:
                    x = camera.develop(rad, g, 0.2, px, BURNT)
            if settling == 0 and not ema:
                if norms:
                    norms.settle()
                ema = {k: v.detach().clone() for k, v in net.state_dict().items()}
                ema_f = [ema[k] for k in names_f]
            net.train(settling == 0)
            with (
                torch.autocast("cuda", torch.bfloat16, enabled=tracer.gpu),
                torch.set_grad_enabled(settling == 0),
            ):
                if a.net == "locate":
                    loss, acc = (
                        locate_loss(net, x.contiguous(memory_format=torch.channels_last), items, W, H),
                        torch.zeros(()),
                    )
                elif a.net == "wires":
                    if use == 0:
                        targets = wires.targets(items, W, H, dev)
                    loss, acc = wires.loss(net, x.contiguous(memory_format=torch.channels_last), targets, rng)
                elif a.net == "walk":
                    c, *d_ = walk.crops(x, items, cfg["per"], rng, cut, affine)
                    c = crop_jitter(c, g).contiguous(memory_format=torch.channels_last)
                    loss, acc = walk.loss(net, c, *d_)
                elif a.net == "text":
                    th_, d_ = text_crops(items, rng, cfg["per"], P, W, H, dev)
                    c = blank(crop_jitter(cut(x, th_, d_["i"], LINE_H, LINE_W), g), d_["valid"])
                    loss, acc = text_loss(net, c.contiguous(memory_format=torch.channels_last), d_)
                else:
                    th_, d_ = symbol_crops(items, rng, cfg["per"], 1.2, P, W, H, dev)
                    c = crop_jitter(cut(x, th_, d_["i"], 72, 72), g)
                    loss, acc = symbols_loss(net, c.contiguous(memory_format=torch.channels_last), d_)
            if settling:
                settling -= 1
                if settling % 4 == 0:
                    print(
                        f"{a.net}: before training loss {loss.item():.4f} right {acc.item():.4f}", flush=True
                    )
                break
            opt.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            opt.step()
            step += 1
            d = min(0.9985, (step + 1) / (step + 20))
            with torch.no_grad():
                torch._foreach_lerp_(ema_f, net_f, 1 - d)
            hist.append(
                torch.stack([loss.detach().float(), acc.detach().to(dev).float()])
            )  # no waiting for the GPU
        if ema and time.time() - kept > KEEP:
            kept = time.time()
            save(a, ema, step, rendered, hist)
        if hist and time.time() - shown > 20:
            shown = time.time()
            hist = hist[-300:]
            m = torch.stack(hist[-200:]).mean(0).tolist()
            print(
                f"{a.net} {shown - t0:5.0f} s step {step} pictures {rendered} loss {m[0]:.4f} right {m[1]:.4f} "
                f"waited {waited:.0f} s",
                flush=True,
            )
    stop.set()
    save(a, ema or state, step, rendered, hist)
    for f, *_ in feeders:
        f.stop()
    print(f"{a.net}: done, {step} steps, {rendered} pictures", flush=True)
    os._exit(0)


if __name__ == "__main__":
    main()
