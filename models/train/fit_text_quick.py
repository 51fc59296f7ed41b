"""Teach the line reader on flat, unrendered labels: minutes on a CPU. Used to settle it after `fit.py text`.

python fit_text_quick.py --fonts DIR --from DIR --out DIR --minutes 7
"""

from __future__ import annotations

import argparse
import math
import time
from pathlib import Path

import camera
import numpy as np
import scenes
import torch
from fit import affine, blank, crop_jitter, cut, line_frame, text_loss
from nets import LINE_H, LINE_W, Text, encode
from world import make_books


def main() -> None:
    ap = argparse.ArgumentParser()
    ap.add_argument("--fonts", required=True)
    ap.add_argument("--from", dest="start", required=True)
    ap.add_argument("--out", required=True)
    ap.add_argument("--minutes", type=float, default=7)
    ap.add_argument("--presses", type=int, default=260)
    ap.add_argument("--seed", type=int, default=9)
    a = ap.parse_args()
    t0 = time.time()
    tex, _, _, texts, boxes, _ = make_books(a.presses, 44, a.fonts, False, a.seed, 2)
    keep = np.array([i for i, t in enumerate(texts) if t])
    codes = np.array([encode(texts[i]) for i in keep])
    net = Text()
    net.load_state_dict(
        {
            k: v.float() if v.is_floating_point() else v
            for k, v in torch.load(Path(a.start) / "text.pt", map_location="cpu", weights_only=True).items()
        }
    )
    net.train()
    opt = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=0.01)
    g = torch.Generator().manual_seed(a.seed)
    rng = np.random.default_rng(a.seed)
    print(len(keep), "texts", round(time.time() - t0), "s", flush=True)
    step, hist, tops, per = 0, [], 48, 3
    S = 160
    while time.time() - t0 < a.minutes * 60:
        p = (time.time() - t0) / (a.minutes * 60)
        for gr in opt.param_groups:
            gr["lr"] = 1.2e-3 * min(1, (step + 1) / 20) * (0.5 + 0.5 * math.cos(math.pi * p)) + 1e-6
        pick = rng.integers(len(keep), size=tops)
        t = tex[torch.from_numpy(keep[pick])].float() / 255
        col = [scenes.palette(rng) for _ in pick]
        c = [
            torch.tensor(np.array([x[k] for x in col]), dtype=torch.float32)[:, None, None] for k in range(5)
        ]
        top = c[0] * (1 - t[..., 2:3]) + c[4] * t[..., 2:3]
        top = top * (1 - t[..., 1:2]) + c[3] * t[..., 1:2]
        top = top * (1 - t[..., 0:1]) + c[2] * t[..., 0:1]
        ramp = (
            torch.rand(tops, 1, 1, 1, generator=g) * torch.linspace(-1, 1, S)[None, None, :, None]
            + torch.rand(tops, 1, 1, 1, generator=g) * torch.linspace(-1, 1, S)[None, :, None, None]
        )
        x = camera.develop(top * (1 + 0.35 * ramp), g, 0.15, 130.0 * float(rng.uniform(0.6, 1.1)))
        i = np.repeat(np.arange(tops), per)
        b = boxes[keep[pick]][i]
        n = len(i)
        w, h = (b[:, 2] - b[:, 0]) / 2, (b[:, 3] - b[:, 1]) / 2
        cu, cv = (
            (b[:, 0] + b[:, 2]) / 4 + rng.normal(size=n) * 0.016,
            (b[:, 1] + b[:, 3]) / 4 + rng.normal(size=n) * 0.012,
        )
        w = w * np.exp(rng.normal(size=n) * 0.05) + rng.normal(size=n) * 0.01
        h = h * np.exp(rng.normal(size=n) * 0.08)
        middle, full, tall, valid = line_frame(cu, w, h)
        th = affine(
            (middle + 0.5) * S,
            (cv + 0.5) * S,
            full * S / 2,
            tall * S / 2,
            rng.normal(size=n) * 0.025,
            S,
            S,
            "cpu",
        )
        line = blank(crop_jitter(cut(x, th, i, LINE_H, LINE_W), g), valid)
        loss, right = text_loss(net, line, {"text": codes[pick][i], "valid": valid})
        opt.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        opt.step()
        step += 1
        hist.append((float(loss.detach()), float(right)))
        if step % 25 == 0:
            print(step, round(time.time() - t0), np.round(np.mean(hist[-25:], 0), 3), flush=True)
            torch.save(
                {k: v.half() if v.is_floating_point() else v for k, v in net.state_dict().items()},
                Path(a.out) / "text.pt",
            )
    torch.save(
        {k: v.half() if v.is_floating_point() else v for k, v in net.state_dict().items()},
        Path(a.out) / "text.pt",
    )


if __name__ == "__main__":
    main()
