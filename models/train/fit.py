"""Train one of the networks on freshly rendered pictures.

    python fit.py symbols --fonts DIR --out DIR --minutes 8 [--from DIR] [--presses 2400]

Pictures are rendered while training goes on; every rendered picture is used a few times with other light,
noise and cutting. Fonts and presses (whole label styles) held out here are what evaluate.py measures on.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import queue
import threading
import time
from multiprocessing import Process, Queue, shared_memory  # noqa: F401
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F

import camera
import scenes
from nets import N_KIND, NETS, encode
from world import Tracer, make_books

PX_WIRE = 28  # pixels per cell of the rectified board that the lead network sees
SAME = {}  # kinds drawn alike at other turns when nothing is printed on them: step of quarter turns
for k, s in {"straight": 2, "cross": 1, "crossover": 1}.items():
    SAME[scenes.KIND_NO[k]] = s
HALF = {scenes.KIND_NO[k] for k in ("resistor", "capacitor", "inductor", "photoresistor", "thermistor", "lamp", "fuse", "switch")}


# --- scene makers, run in worker processes ----------------------------------------------------

def make_photo(mk, W, H):
    return mk.make(W, H)


def make_rect(mk, W, H, P):
    """A small board seen straight, cells of P pixels; half a cell of surroundings."""
    cols, rows = 5, 4
    tilt = min(42, abs(mk.rng.normal()) * 16)
    s = mk.make(W, H, cols=cols, rows=rows, rect=P, tilt=tilt, n_leads=int(mk.rng.choice([0, 1, 2, 3], p=[0.45, 0.3, 0.15, 0.1])), mixed=mk.rng.random() < 0.6)
    s[0]["A"] = (1 / P, 0, -0.5, 0, 1 / P, -0.5)
    s[0]["margin"] = mk.rng.uniform(0, 3)
    if s[0]["aperture"] > 0.04:
        s[0]["aperture"] *= 0.5
    return s


def make_wires(mk, W, H):
    cols, rows = int(mk.rng.integers(4, 15)), int(mk.rng.integers(4, 10))
    s = mk.make(W, H, cols=cols, rows=rows, rect=PX_WIRE, n_leads=int(mk.rng.choice([1, 2, 3, 4, 5, 6], p=[0.2, 0.2, 0.2, 0.2, 0.1, 0.1])))
    P = PX_WIRE
    mx, my = (W / P - cols) / 2, (H / P - rows) / 2
    s[0]["A"] = (1 / P, 0, -mx, 0, 1 / P, -my)
    return s


def worker(job, args, q, seed):
    np.random.seed(seed % (1 << 31))
    mk = scenes.Maker(*args, seed)
    while True:
        q.put(job(mk))


class Feeder:
    """Keeps a pool of rendered radiance pictures fresh."""

    def __init__(self, net, tracer, book, W, H, spp, batch, P=None, workers=5, seed=0):
        tex, kinds, press, texts, marks = book
        self.tr, self.tex, self.W, self.H, self.spp, self.batch, self.seed = tracer, tex.to(tracer.dev), W, H, spp, batch, seed
        self.q = Queue(batch * 4)
        job = {"locate": lambda m: make_photo(m, W, H), "wires": lambda m: make_wires(m, W, H)}.get(net, lambda m: make_rect(m, W, H, P))
        self.ps = [Process(target=worker, args=(job, (kinds, press, texts, marks), self.q, seed * 1000 + i), daemon=True) for i in range(workers)]
        for p in self.ps:
            p.start()

    def next(self):
        items = [self.q.get() for _ in range(self.batch)]
        self.seed += 1
        rad = self.tr.render([i[0] for i in items], [i[1] for i in items], [i[2] for i in items], self.tex, self.W, self.H, self.spp, self.seed)
        return rad, items

    def stop(self):
        for p in self.ps:
            p.terminate()


# --- targets ----------------------------------------------------------------------------------

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
        g = torch.exp(-((yy[None] - t[:, 1, None, None]) ** 2 + (xx[None] - t[:, 0, None, None]) ** 2) / (2 * float(s) ** 2))
        out[i] = g.amax(0)
    return out


def focal(logit, target):
    """Quality focal loss on soft peaks (Li et al. 2020, Generalized Focal Loss), per peak; keeps sub-pixel shape."""
    logit = logit.float()
    p = torch.sigmoid(logit)
    w = (target - p).abs() ** 2
    peaks = target.sum() / 6.0
    return (w * F.binary_cross_entropy_with_logits(logit, target, reduction="none")).sum() / peaks.clamp(min=1)


def locate_targets(items, W, H, dev):
    h, w = H // 4, W // 4
    centres, steps, corners, sig = [], [], [], []
    for S, _, _, T in items:
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
        q = scenes.project(S, [[-m, -m, 0], [T.cols + m, -m, 0], [T.cols + m, T.rows + m, 0], [-m, T.rows + m, 0]])
        corners.append((q + 0.5) / 4 - 0.5)
        sig.append(max(1.0, float(np.hypot(*(steps[-1][:, :2].T * 32)).mean()) / 4 * 0.11))
    heat = gaussians(h, w, centres, sig, dev)
    corner = gaussians(h, w, corners, 1.5, dev)
    plate = torch.zeros((len(items), h, w), device=dev)
    yy, xx = torch.meshgrid(torch.arange(h, device=dev, dtype=torch.float32), torch.arange(w, device=dev, dtype=torch.float32), indexing="ij")
    for i, q in enumerate(corners):
        inside = torch.ones((h, w), dtype=torch.bool, device=dev)
        for k in range(4):
            a, b = q[k], q[(k + 1) % 4]
            inside &= (b[0] - a[0]) * (yy - a[1]) - (b[1] - a[1]) * (xx - a[0]) > 0
        plate[i] = inside
    return centres, steps, heat, corner, plate


def locate_loss(net, x, items, W, H):
    out = net(x)
    centres, steps, heat, corner, plate = locate_targets(items, W, H, x.device)
    loss = focal(out[:, 0], heat) + focal(out[:, 1], corner) * 0.7 + F.binary_cross_entropy_with_logits(out[:, 2].float(), plate) * 2
    h, w = heat.shape[-2:]
    total, n = 0.0, 0
    for i, (c, s) in enumerate(zip(centres, steps)):
        ix, iy = np.round(c[:, 0]).astype(int), np.round(c[:, 1]).astype(int)
        ok = (ix >= 1) & (iy >= 1) & (ix < w - 1) & (iy < h - 1)
        if not ok.any():
            continue
        t = torch.as_tensor(s[ok], dtype=torch.float32, device=x.device)
        for dx, dy in ((0, 0), (1, 0), (0, 1), (-1, 0), (0, -1)):
            p = out[i, 3:7, torch.as_tensor(iy[ok] + dy, device=x.device), torch.as_tensor(ix[ok] + dx, device=x.device)].float().T
            total = total + F.smooth_l1_loss(p, t, reduction="sum", beta=0.1)
            n += t.numel()
    loss = loss + 6 * total / max(n, 1)
    return loss


def crops_of(items, rng, per, size, span, upright, P, W, H, dev, empties=True):
    """Where to cut: (n_items * per) affine grids plus labels."""
    theta, info = [], []
    for i, (S, cells, _, T) in enumerate(items):
        for _ in range(per):
            if empties and rng.random() < 0.1:
                free = [(x, y) for y in range(-1, T.rows + 1) for x in range(-1, T.cols + 1) if not (0 <= x < T.cols and 0 <= y < T.rows and T.kind[y, x] >= 0)]
                free = free or [(0, 0)]
                x, y = free[rng.integers(len(free))]
            else:
                ys, xs = np.where(T.kind >= 0)
                j = rng.integers(len(xs))
                x, y = int(xs[j]), int(ys[j])
            inside = 0 <= x < T.cols and 0 <= y < T.rows
            k = int(T.kind[y, x]) if inside and T.kind[y, x] >= 0 else scenes.EMPTY
            turn = int(T.turn[y, x]) if inside else 0
            rot = turn if upright else int(rng.integers(4))  # a view turned by whole quarters is as good as another cube
            ang = rot * math.pi / 2 + rng.normal() * 0.03
            sc = span * math.exp(rng.normal() * 0.03)
            jx, jy = rng.normal() * 0.025, rng.normal() * 0.025
            cx, cy = (x + 0.5 + 0.5 + jx) * P, (y + 0.5 + 0.5 + jy) * P  # half a cell of surroundings
            sx, sy = sc * math.exp(rng.normal() * 0.015), sc * math.exp(rng.normal() * 0.015)
            a, b = sx * P * 0.5, sy * P * 0.5
            c, s = math.cos(ang), math.sin(ang)
            # crop (u, v) in -1..1 -> picture pixels, turned so that a cube of `rot` quarter turns stands upright
            px = [[c * a, -s * b, cx], [s * a, c * b, cy]]
            sh = rng.normal() * 0.01
            px[0][1] += sh * a
            theta.append([[px[0][0] * 2 / W, px[0][1] * 2 / W, 2 * px[0][2] / W - 1], [px[1][0] * 2 / H, px[1][1] * 2 / H, 2 * px[1][2] / H - 1]])
            taps = np.zeros(4, np.float32)
            for n, (ddx, ddy, ax) in enumerate(((0, -1, 1), (0, 0, 0), (0, 0, 1), (-1, 0, 0))):
                taps[n] = (x + ddx, y + ddy, ax) in T.taps
            taps = np.roll(taps, -rot)
            info.append((i, k, (turn - rot) % 4, taps, T.text.get((x, y), "") if inside else ""))
    th = torch.tensor(theta, dtype=torch.float32, device=dev)
    return th, info


def cut(x, th, info, size):
    """Sample crops from pictures (n, 3, H, W) with area smoothing (sampled at twice the size, then averaged)."""
    idx = torch.tensor([i[0] for i in info], device=x.device)
    out = []
    for k in range(0, len(info), 128):
        g = F.affine_grid(th[k: k + 128], (len(th[k: k + 128]), 3, size * 2, size * 2), align_corners=False)
        out.append(F.avg_pool2d(F.grid_sample(x[idx[k: k + 128]], g, mode="bilinear", padding_mode="border", align_corners=False), 2))
    return torch.cat(out)


def crop_jitter(c, g):
    """Small changes of colour and a few lost patches, per crop."""
    n = c.shape[0]
    u = lambda a, b: torch.rand(n, 1, 1, 1, generator=g, device=c.device) * (b - a) + a  # noqa: E731
    c = (c * u(0.8, 1.2) + u(-0.08, 0.08)).clamp(0, 1)
    grey = (torch.rand(n, 1, 1, 1, generator=g, device=c.device) < 0.1).float()
    inv = (torch.rand(n, 1, 1, 1, generator=g, device=c.device) < 0.03).float()
    c = c * (1 - grey) + c.mean(1, keepdim=True) * grey
    return c * (1 - inv) + (1 - c) * inv


def turn_loss(logit, info, dev):
    """Cross entropy where turns that look the same share their probability."""
    lp = F.log_softmax(logit.float(), 1)
    mask = torch.zeros((len(info), 4), device=dev)
    m = np.zeros((len(info), 4), np.float32)
    use = np.zeros(len(info), np.float32)
    for j, (_, k, t, _, text) in enumerate(info):
        if k >= scenes.OTHER:
            continue
        use[j] = 1
        step = SAME.get(k, 2 if (k in HALF and not text) else 4)
        for s in range(0, 4, step):
            m[j, (t + s) % 4] = 1
    mask = torch.from_numpy(m).to(dev)
    use = torch.from_numpy(use).to(dev)
    l = -torch.logsumexp(lp + torch.log(mask + 1e-9), 1)
    return (l * use).sum() / use.sum().clamp(min=1)


def symbols_loss(net, c, info):
    out = net(c)
    dev = c.device
    k = torch.tensor([i[1] for i in info], device=dev)
    taps = torch.from_numpy(np.stack([i[3] for i in info])).to(dev)
    occupied = (k < scenes.EMPTY).float()[:, None]
    lk = F.cross_entropy(out[:, :N_KIND].float(), k, label_smoothing=0.002)
    lt = turn_loss(out[:, N_KIND: N_KIND + 4], info, dev)
    lp = F.binary_cross_entropy_with_logits(out[:, N_KIND + 4:].float(), taps, reduction="none")
    lp = (lp * occupied).sum() / (occupied.sum() * 4).clamp(min=1)
    acc = (out[:, :N_KIND].argmax(1) == k).float().mean()
    return lk + lt + lp * 2, acc


def text_loss(net, c, info):
    out = net(c)
    t = torch.tensor([encode(i[4]) for i in info], device=c.device)
    # only the letters and the first end mark count
    first = (t == 0).float().cumsum(1)
    w = (first <= 1).float()
    l = F.cross_entropy(out.float().flatten(0, 1), t.flatten(), reduction="none").view_as(w)
    ok = ((out.argmax(-1) == t) | (w == 0)).all(1).float()
    has = torch.tensor([1.0 if i[4] else 0.0 for i in info], device=c.device)
    return (l * w).sum() / w.sum(), (ok * has).sum() / has.sum().clamp(min=1)


def wires_batch(x, items, rng, W, H):
    """Adds the question (one end) and makes the targets."""
    dev = x.device
    P = PX_WIRE
    ask, other, plugs, masks = [], [], [], []
    for S, _, _, T in items:
        mx, my = -S["A"][2], -S["A"][5]
        px = lambda p: (scenes.to_tops(S, p) + (mx, my)) * P  # noqa: E731, B023
        E = np.array([e[:3] for e in T.ends]) if T.ends else np.zeros((0, 3))
        plugged = [i for pair in T.plugs for i in pair]
        base = px(E) if len(E) else np.zeros((0, 2))
        plugs.append(base[plugged] if plugged else [])
        if T.plugs and rng.random() < 0.93:
            j = rng.integers(len(T.plugs))
            a, b = T.plugs[j] if rng.random() < 0.5 else T.plugs[j][::-1]
            ask.append([base[a] + rng.normal(size=2) * 0.035 * P])
            other.append([base[b]])
            masks.append(px(T.paths[j]))
        else:
            free = [i for i in range(len(E)) if i not in plugged]
            ask.append([base[free[rng.integers(len(free))]]] if free else [])
            other.append([])
            masks.append(None)
    h, w = H // 2, W // 2
    half = lambda L: [(np.asarray(p) + 0.5) / 2 - 0.5 if len(p) else p for p in L]  # noqa: E731
    q = gaussians(H, W, ask, 0.12 * P, dev)
    t_other = gaussians(h, w, half(other), 0.1 * P / 2, dev)
    t_plug = gaussians(h, w, half(plugs), 0.1 * P / 2, dev)
    t_mask = torch.zeros((len(items), h, w), device=dev)
    yy = torch.arange(h, device=dev, dtype=torch.float32)[:, None]
    xx = torch.arange(w, device=dev, dtype=torch.float32)[None]
    for i, m in enumerate(masks):
        if m is None:
            continue
        m = (np.asarray(m) + 0.5) / 2 - 0.5
        k = np.linspace(0, len(m) - 1, 90)
        m = np.stack([np.interp(k, np.arange(len(m)), m[:, 0]), np.interp(k, np.arange(len(m)), m[:, 1])], -1)
        t = torch.as_tensor(m, dtype=torch.float32, device=dev)
        t_mask[i] = (((yy[None] - t[:, 1, None, None]) ** 2 + (xx[None] - t[:, 0, None, None]) ** 2).amin(0) < (0.055 * P / 2) ** 2 + 0.6).float()
    return torch.cat([x, q[:, None]], 1), t_other, t_mask, t_plug


def wires_loss(net, x, t):
    out = net(x)
    pos = t[1].sum((1, 2)) > 0
    bce = F.binary_cross_entropy_with_logits(out[:, 1].float(), t[1], pos_weight=torch.tensor(3.0, device=x.device))
    return focal(out[:, 0], t[0]) + 4 * bce + 0.3 * focal(out[:, 2], t[2]), pos.float().mean()


# --- training ---------------------------------------------------------------------------------

SETUP = {  # W, H, samples a pixel, pictures a render, uses of each, px per cell in `develop`
    "locate": {"W": 576, "H": 432, "spp": 6, "batch": 24, "reuse": 2, "lr": 2e-3},
    "wires": {"W": 480, "H": 352, "spp": 8, "batch": 24, "reuse": 3, "lr": 2e-3},
    "symbols": {"spp": 8, "batch": 32, "reuse": 3, "lr": 2e-3, "per": 20, "size": 72, "span": 1.2},
    "text": {"spp": 8, "batch": 32, "reuse": 3, "lr": 1.5e-3, "per": 20, "size": 112, "span": 1.04},
}


def main() -> None:
    ap = argparse.ArgumentParser()
    ap.add_argument("net", choices=list(NETS))
    ap.add_argument("--fonts", required=True)
    ap.add_argument("--out", required=True)
    ap.add_argument("--minutes", type=float, default=8)
    ap.add_argument("--from", dest="start")
    ap.add_argument("--presses", type=int, default=2400)
    ap.add_argument("--per", type=int, default=44)
    ap.add_argument("--seed", type=int, default=1)
    ap.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 1))
    ap.add_argument("--lr", type=float)
    ap.add_argument("--scale", type=float, default=1.0, help="smaller batches for a rehearsal on a CPU")
    a = ap.parse_args()
    t_start = time.time()
    cfg = SETUP[a.net]
    torch.manual_seed(a.seed)
    rng = np.random.default_rng(a.seed)
    book = make_books(a.presses, a.per, a.fonts, False, a.seed, a.workers)
    print(f"{a.net}: {len(book[1])} labels in {time.time() - t_start:.0f} s", flush=True)
    tracer = Tracer()
    dev = tracer.dev
    torch.backends.cudnn.benchmark = True
    net = NETS[a.net]().to(dev)
    if a.start:
        net.load_state_dict(torch.load(Path(a.start) / f"{a.net}.pt", map_location=dev, weights_only=True))
    net = net.to(memory_format=torch.channels_last)
    batch = max(2, int(cfg["batch"] * a.scale))
    feeders = []
    if a.net in ("symbols", "text"):
        sizes = (56, 80, 112, 144) if a.net == "text" else (44, 64, 88, 120)
        for i, P in enumerate(sizes):
            W, H = ((6 * P + 15) // 16) * 16, ((5 * P + 15) // 16) * 16
            feeders.append((Feeder(a.net, tracer, book, W, H, cfg["spp"], batch, P, max(1, a.workers // len(sizes)), a.seed * 10 + i), W, H, P))
    else:
        feeders.append((Feeder(a.net, tracer, book, cfg["W"], cfg["H"], cfg["spp"], batch, None, a.workers, a.seed * 10), cfg["W"], cfg["H"], None))
    lr0 = a.lr or cfg["lr"]
    opt = torch.optim.AdamW(net.parameters(), lr=lr0, weight_decay=0.02)
    ema = {k: v.detach().clone() for k, v in net.state_dict().items()}
    g = torch.Generator(device=dev)
    g.manual_seed(a.seed)
    budget = a.minutes * 60 - (time.time() - t_start)
    t0, step, shown, hist, rendered = time.time(), 0, 0.0, [], 0
    ready: queue.Queue = queue.Queue(3)
    stop = threading.Event()

    def produce():
        i = 0
        while not stop.is_set():
            f, W, H, P = feeders[i % len(feeders)]
            i += 1
            if a.net == "text" and P == 56 and rng.random() < 0.3:
                continue
            try:
                ready.put((*f.next(), W, H, P), timeout=30)
            except queue.Full:
                pass

    th = threading.Thread(target=produce, daemon=True)
    th.start()
    while time.time() - t0 < budget:
        rad, items, W, H, P = ready.get()
        rendered += len(items)
        for _ in range(cfg["reuse"]):
            p = min(1.0, (time.time() - t0) / budget)
            for gr in opt.param_groups:
                gr["lr"] = lr0 * min(1, (step + 1) / 200) * (0.5 + 0.5 * math.cos(math.pi * p)) + 1e-6
            with torch.no_grad():
                px = {"locate": 38.0, "wires": 28.0}.get(a.net, P)
                x = camera.develop(rad, g, 0.2, px)
            with torch.autocast("cuda", torch.bfloat16, enabled=tracer.gpu):
                if a.net == "locate":
                    loss, acc = locate_loss(net, x.contiguous(memory_format=torch.channels_last), items, W, H), torch.zeros(())
                elif a.net == "wires":
                    xq, *t = wires_batch(x, items, rng, W, H)
                    loss, acc = wires_loss(net, xq.contiguous(memory_format=torch.channels_last), t)
                else:
                    th_, info = crops_of(items, rng, cfg["per"], cfg["size"], cfg["span"], a.net == "text", P, W, H, dev, a.net == "symbols")
                    if a.net == "text":
                        pass
                    c = crop_jitter(cut(x, th_, info, cfg["size"]), g).contiguous(memory_format=torch.channels_last)
                    loss, acc = (symbols_loss if a.net == "symbols" else text_loss)(net, c, info)
            opt.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
            opt.step()
            step += 1
            d = min(0.9985, (step + 1) / (step + 20))
            with torch.no_grad():
                for k, v in net.state_dict().items():
                    if v.dtype.is_floating_point:
                        ema[k].mul_(d).add_(v, alpha=1 - d)
                    else:
                        ema[k].copy_(v)
            hist.append((float(loss.detach()), float(acc)))
        if time.time() - shown > 20:
            shown = time.time()
            m = np.mean(hist[-200:], 0)
            print(f"{a.net} {shown - t0:5.0f} s step {step} pictures {rendered} loss {m[0]:.4f} right {m[1]:.4f}", flush=True)
    stop.set()
    out = Path(a.out)
    out.mkdir(parents=True, exist_ok=True)
    torch.save({k: (v.half() if v.dtype.is_floating_point else v) for k, v in ema.items()}, out / f"{a.net}.pt")
    (out / f"{a.net}.json").write_text(json.dumps({"net": a.net, "steps": step, "pictures": rendered, "minutes": a.minutes, "presses": a.presses,
                                                  "seed": a.seed, "loss": float(np.mean([x[0] for x in hist[-300:]])), "right": float(np.mean([x[1] for x in hist[-300:]]))}))
    for f, *_ in feeders:
        f.stop()
    print(f"{a.net}: done, {step} steps, {rendered} pictures", flush=True)
    os._exit(0)


if __name__ == "__main__":
    main()
