"""Make boards with leads, and train the network that tells whether the path between two sockets is one lead.

    python leads.py make --fonts DIR --out SET.pkl --count 700 --seed 21 [--held-out]   # traced boards
    python leads.py draw SET.pkl --out MORE.pkl --times 4 --seed 5                     # more leads drawn on them
    python leads.py cut SET.pkl --out SET.strips                                       # what the network sees
    python leads.py train SET.strips MORE.strips --out strips.pt --minutes 25          # on a CPU or a GPU
    python leads.py measure SET.pkl --start strips.pt                                  # on boards held out

Sockets, paths and strips are found by snapcheck/photo/_wires.py itself, so that the network learns on what it will
be shown.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import pickle
import time
from pathlib import Path

import cv2
import numpy as np
import torch
import torch.nn.functional as F
from nets import Strips

from snapcheck.photo import _nets, _wires
from snapcheck.photo._read import SOCKET_AT

P, RIM = _wires.PER_CELL, _wires.RIM


# --- boards ---------------------------------------------------------------------------------------


def nominal_ends(T):
    """Where the reading takes the sockets to be: cells."""
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


def make(args):
    import camera
    import scenes
    import world

    book = world.make_books(24, 44, args.fonts, args.held_out, args.seed, 2)
    tracer, mk = world.Tracer(), scenes.Maker(*book[1:], args.seed)
    g = torch.Generator(tracer.dev).manual_seed(args.seed)
    tex = book[0].to(tracer.dev)
    boards, began = [], time.time()
    for n in range(args.count):
        cols, rows = int(mk.rng.integers(4, 13)), int(mk.rng.integers(4, 9))
        W, H = (math.ceil((k + 2 * RIM) * P / 32) * 32 for k in (cols, rows))
        leads = int(mk.rng.choice([1, 2, 3, 4, 5, 6, 7], p=[0.1, 0.15, 0.2, 0.2, 0.15, 0.12, 0.08]))
        S, C, Pr, T = mk.make(W, H, cols=cols, rows=rows, rect=P, n_leads=leads)
        S["A"] = (1 / P, 0, -RIM, 0, 1 / P, -RIM)
        x = camera.develop(tracer.render([S], [C], [Pr], tex, W, H, 7, n), g, 0.2, 28.0)
        picture = (x[0].permute(1, 2, 0).cpu().numpy()[..., ::-1] * 255).astype(np.uint8).copy()
        true = scenes.to_tops(S, np.array([e[:3] for e in T.ends])) if T.ends else np.zeros((0, 2))
        boards.append(
            {
                "png": cv2.imencode(".png", picture)[1].tobytes(),
                "plugs": list(T.plugs),
                "at": nominal_ends(T),
                "true": np.asarray(true, np.float32),
                "paths": [np.asarray(scenes.to_tops(S, p), np.float32) for p in T.paths],
            }
        )
        if n % 50 == 49:
            print(n + 1, f"{time.time() - began:.0f} s", flush=True)
    Path(args.out).write_bytes(pickle.dumps(boards))


def bezier(rng, a, b):
    """A lead's way from a to b, lying as they do: (40, 2)."""
    d = b - a
    far = max(float(np.hypot(*d)), 0.3)
    side = np.array([-d[1], d[0]]) / far
    along = math.atan2(d[1], d[0])
    ends = []
    for p, turn in ((a, 0.0), (b, math.pi)):
        w = along + turn + rng.normal() * 1.0
        ends.append(p + np.array([math.cos(w), math.sin(w)]) * rng.uniform(0.15, 0.6) * max(far, 0.8))
    s = rng.normal(size=2) * 0.25 * max(far, 1.0)
    c1, c2 = ends[0] + side * s[0], ends[1] + side * s[1]
    t = np.linspace(0, 1, 40)[:, None]
    q = (1 - t) ** 3 * a + 3 * (1 - t) ** 2 * t * c1 + 3 * (1 - t) * t**2 * c2 + t**3 * b
    wave = np.sin(t * math.pi) * np.sin(t * math.pi * rng.uniform(1.5, 3.5) + rng.normal() * 0.3)
    return (q + wave * rng.uniform(0, 0.3) * side).astype(np.float32)


def draw_lead(rng, picture, path, colour, lean):
    """Draw a lead with its plugs and its shadow onto a board seen straight."""
    big = 4
    pts = ((path + RIM) * P * big).astype(np.int32).reshape(-1, 1, 2)
    h, w = picture.shape[:2]
    r = rng.uniform(0.035, 0.065) * P * big
    mask = np.zeros((h * big, w * big), np.uint8)
    cv2.polylines(mask, [pts], False, 255, max(2, round(2 * r)), cv2.LINE_AA)
    light = np.zeros_like(mask)
    shift = np.array([rng.normal(), rng.normal()])
    shift = shift / np.hypot(*shift) * r * 0.4
    cv2.polylines(light, [pts + shift.astype(np.int32)], False, 255, max(1, round(r * 0.5)), cv2.LINE_AA)
    for end in (path[0], path[-1]):
        top = end + lean * rng.uniform(0.5, 1.3)
        a, b = (((end + RIM) * P * big).astype(int), ((top + RIM) * P * big).astype(int))
        cv2.line(
            mask,
            tuple(map(int, a)),
            tuple(map(int, b)),
            255,
            round(rng.uniform(0.13, 0.2) * P * big),
            cv2.LINE_AA,
        )
    small = lambda m: cv2.resize(m, (w, h), interpolation=cv2.INTER_AREA).astype(np.float32)[..., None] / 255
    mask, light = small(mask), small(light)
    off = rng.uniform(-0.25, 0.25, 2) * P
    shade = cv2.warpAffine(mask[..., 0], np.array([[1, 0, off[0]], [0, 1, off[1]]]), (w, h))
    shade = cv2.GaussianBlur(shade, (0, 0), rng.uniform(0.8, 4))[..., None] * rng.uniform(0, 0.6)
    out = picture.astype(np.float32) * (1 - shade)
    body = colour * rng.uniform(0.75, 1.1)
    out = out * (1 - mask) + mask * (body * (1 - light * 0.5) + light * 0.5 * rng.uniform(120, 255))
    return np.clip(out + rng.normal(size=out.shape) * rng.uniform(0, 4) * mask, 0, 255).astype(np.uint8)


def hsv_colour(rng):
    if rng.random() < 0.25:
        return np.full(3, rng.uniform(5, 240)) + rng.normal(size=3) * 8
    h = rng.choice([0, 13, 30, 60, 110, 120, 150, 175]) + rng.normal() * 4
    pixel = np.uint8([[[int(h) % 180, int(rng.uniform(120, 255)), int(rng.uniform(60, 245))]]])
    return cv2.cvtColor(pixel, cv2.COLOR_HSV2BGR)[0, 0].astype(np.float32)


def draw(args):
    """More leads between the free sockets of traced boards."""
    rng = np.random.default_rng(args.seed)
    out = []
    for board in pickle.loads(Path(args.set[0]).read_bytes()):
        for _ in range(args.times):
            used = {k for pair in board["plugs"] for k in pair}
            free = [k for k in range(len(board["at"])) if k not in used]
            rng.shuffle(free)
            many = min(len(free) // 2, int(rng.integers(1, 5)))
            if not many:
                continue
            picture = cv2.imdecode(np.frombuffer(board["png"], np.uint8), 1)
            plugs, paths = list(board["plugs"]), list(board["paths"])
            lean = rng.normal(size=2) * 0.22
            colour = hsv_colour(rng)
            for k in range(many):
                a, b = free[2 * k], free[2 * k + 1]
                path = bezier(
                    rng,
                    board["at"][a] + rng.normal(size=2) * 0.03,
                    board["at"][b] + rng.normal(size=2) * 0.03,
                )
                colour = colour if rng.random() < 0.35 else hsv_colour(rng)
                picture = draw_lead(rng, picture, path, colour, lean + rng.normal(size=2) * 0.06)
                plugs.append((a, b))
                paths.append(path)
            quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 96))]
            out.append(
                {
                    **board,
                    "png": cv2.imencode(".jpg", picture, quality)[1].tobytes(),
                    "plugs": plugs,
                    "paths": paths,
                }
            )
    Path(args.out).write_bytes(pickle.dumps(out))
    print(len(out), "boards,", sum(len(b["plugs"]) for b in out), "leads")


# --- strips -----------------------------------------------------------------------------------------


def described(board):
    """(candidates, what is seen of them) of one board, or None with fewer than two candidates."""
    if len(board["at"]) < 2:
        return None
    picture = cv2.imdecode(np.frombuffer(board["png"], np.uint8), 1)
    maps = _wires.see(picture, _nets.run("wires", picture[None])[0])
    found = _wires.candidates(maps, (board["at"] + RIM) * P / 2 - 0.5)
    return (found, _wires.describe(maps, found, board["at"])) if len(found.ends) > 1 else None


def cut(args):
    """Strips of every board, and for every candidate its partner: -1 none, -2 one that is no candidate."""
    out, missed, plugs = [], 0, 0
    for n, board in enumerate(pickle.loads(Path(args.set[0]).read_bytes())):
        seen = described(board)
        partner = {a: b for pair in board["plugs"] for a, b in (pair, pair[::-1])}
        plugs += len(partner)
        if seen is None:
            missed += len(partner)
            continue
        found, d = seen
        number = {end: k for k, end in enumerate(found.ends)}
        want = [number.get(partner[e], -2) if e in partner else -1 for e in found.ends]
        missed += sum(e not in number for e in partner)
        half = dataclasses.replace(
            d, strips=d.strips.astype(np.float16), patches=d.patches.astype(np.float16)
        )
        out.append((half, np.array(want)))
        if n % 200 == 199:
            print(n + 1, flush=True)
    Path(args.out).write_bytes(pickle.dumps(out))
    print(
        f"{len(out)} boards, {sum(len(d.pairs) for d, _ in out)} strips; {missed} of {plugs} plugs are no candidates"
    )


# --- training -------------------------------------------------------------------------------------


def table(pair, none, pairs, n):
    """(n, n + 1) logits: partners, and last that there is none."""
    grid = torch.full((n, n), -1e4, device=pair.device)
    i = torch.as_tensor(pairs, device=pair.device)
    grid = grid.index_put((i[:, 0], i[:, 1]), pair).index_put((i[:, 1], i[:, 0]), pair)
    return torch.cat([grid, none[:, None]], 1)


def batch(rng, data, dev):
    """Strips, facts and patches of a few boards, the colours of each shifted a little, half of them mirrored."""
    gather = lambda name: torch.cat([torch.as_tensor(getattr(d, name)) for d, _ in data]).to(dev).float()
    x, facts, patches = gather("strips"), gather("facts"), gather("patches")
    shift = torch.as_tensor(rng.normal(size=(len(data), 3)) * (0.12, 0.06, 0.06)).float().to(dev)
    gain = torch.as_tensor(np.exp(rng.normal(size=(len(data), 3)) * 0.12)).float().to(dev)
    gain[:, 1:] *= (
        torch.as_tensor(rng.random(len(data)) > 0.1).float().to(dev)[:, None]
    )  # some without colour
    for_each = lambda v, name: v.repeat_interleave(
        torch.as_tensor([len(getattr(d, name)) for d, _ in data]).to(dev), 0
    )
    tint = lambda t, name: (
        t[:, :3] * for_each(gain, name)[..., None, None] + for_each(shift, name)[..., None, None]
    )
    colours = tint(x, "pairs")
    x = torch.cat([colours + torch.randn_like(colours) * 0.02, x[:, 3:]], 1)
    if rng.random() < 0.5:
        x = x.flip(2)
        x = torch.cat([x[:, :6], -x[:, 6:7], x[:, 7:]], 1)
    return x, facts, torch.cat([tint(patches, "patches"), patches[:, 3:]], 1)


def train(args):
    torch.manual_seed(args.seed)
    rng = np.random.default_rng(args.seed)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    data = [x for name in args.set for x in pickle.loads(Path(name).read_bytes()) if len(x[0].pairs)]
    net = Strips().to(dev, memory_format=torch.channels_last)
    if args.start:
        net.load_state_dict(torch.load(args.start, map_location=dev, weights_only=True))
    opt = torch.optim.AdamW(net.parameters(), lr=args.lr, weight_decay=0.02)
    began, step, losses, right = time.time(), 0, [], []
    while (spent := (time.time() - began) / 60 / args.minutes) < 1:
        for group in opt.param_groups:
            group["lr"] = args.lr * min(1, step / 100 + 0.01) * (0.5 + 0.5 * math.cos(math.pi * spent)) + 1e-6
        chosen = [data[k] for k in rng.integers(len(data), size=12)]
        x, facts, patches = batch(rng, chosen, dev)
        with torch.autocast(dev, torch.bfloat16):
            pair, none = net(x.to(memory_format=torch.channels_last), facts, patches)
        pair, none, loss, count, i, j = pair.float(), none.float(), 0.0, 0, 0, 0
        for d, want in chosen:
            m, n = len(d.pairs), len(d.patches)
            rows = table(pair[i : i + m], none[j : j + n], d.pairs, n)
            i, j = i + m, j + n
            answer = torch.as_tensor(np.where(want < 0, n, want), device=dev)
            known = torch.as_tensor(want != -2, device=dev)
            known &= (
                rows.gather(1, answer[:, None])[:, 0] > -9e3
            )  # a partner that no path reaches teaches nothing
            if known.any():
                loss = loss + F.cross_entropy(rows[known], answer[known], reduction="sum")
                count += int(known.sum())
                right += (rows[known].argmax(1) == answer[known]).tolist()
        loss = loss / count
        opt.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        opt.step()
        losses.append(float(loss.detach()))
        step += 1
        if step % 100 == 0:
            minutes = (time.time() - began) / 60
            print(
                step, f"{minutes:.1f} min loss {np.mean(losses):.3f} right {np.mean(right):.3f}", flush=True
            )
            losses, right = [], []
            torch.save(net.state_dict(), args.out)
    torch.save(net.state_dict(), args.out)


def measure(args):
    """Leads with both ends right on whole boards, and how sure the right and the wrong ones are."""
    net = Strips()
    net.load_state_dict(torch.load(args.start, map_location="cpu", weights_only=True))
    net.eval()
    told, leads, right = [], 0, 0
    for board in pickle.loads(Path(args.set[0]).read_bytes()):
        truth = {tuple(sorted(p)) for p in board["plugs"]}
        leads += len(truth)
        seen = described(board)
        if seen is None:
            continue
        found, d = seen
        with torch.no_grad():
            pair, none = net(torch.as_tensor(d.strips), torch.as_tensor(d.facts), torch.as_tensor(d.patches))
        for p in _wires.choose(_wires.weigh(d.pairs, pair.numpy(), none.numpy()))[0]:
            ok = tuple(sorted(found.ends[k] for k in p.ends)) in truth
            right += ok
            told.append((p.confidence, ok))
    print(f"{right} of {leads} leads right, {len(told) - right} false")
    told.sort(reverse=True)
    for n in range(len(told) // 8, len(told) + 1, max(1, len(told) // 8)):
        print(f"the {n} surest, down to {told[n - 1][0]:.3f}: {sum(ok for _, ok in told[:n])} right")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=("make", "draw", "cut", "train", "measure"))
    parser.add_argument("set", nargs="*")
    parser.add_argument("--fonts")
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--out")
    parser.add_argument("--count", type=int, default=700)
    parser.add_argument("--times", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start")
    parser.add_argument("--minutes", type=float, default=25)
    parser.add_argument("--lr", type=float, default=2e-3)
    args = parser.parse_args()
    {"make": make, "draw": draw, "cut": cut, "train": train, "measure": measure}[args.what](args)
