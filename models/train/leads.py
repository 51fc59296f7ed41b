"""Make boards with leads, and train the network that follows one lead from its plug to its other end.

    python leads.py make --fonts DIR --out SET.pkl --count 700 --seed 21 [--held-out]   # traced boards
    python leads.py draw SET.pkl --out MORE.pkl --times 4 --seed 1                     # more leads drawn on them
    python leads.py train SET.pkl MORE.pkl --wires wires.onnx --out DIR --minutes 40   # on a CPU

The network sees the board at half the size of the lead network's, that network's maps, and a mark on one socket.
It says at which other socket the lead that is plugged in there ends, or that none is plugged in there.
"""

from __future__ import annotations

import argparse
import math
import pickle
import time
from pathlib import Path

import cv2
import numpy as np
import torch
import torch.nn.functional as F
from nets import Leads

P, RIM = 28, 2.6  # pixels a cell and cells of surroundings, as in snapcheck/photo/_wires.py
SOCKET_AT = 0.18


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


# --- training -------------------------------------------------------------------------------------


def see(boards, wires: str):
    """Half-size picture and the lead network's maps as bytes (h, w, 7) for every board."""
    import onnxruntime

    session = onnxruntime.InferenceSession(wires, providers=["CPUExecutionProvider"])
    for board in boards:
        picture = cv2.imdecode(np.frombuffer(board.pop("png"), np.uint8), 1)
        board["maps"] = as_bytes(picture, session.run(None, {"picture": picture[None]})[0][0])
    return boards


def as_bytes(picture, out):
    """What the reading hands over, see `_wires.py`: colours, lead, its direction, plug."""
    h, w = out.shape[1:]
    small = cv2.resize(picture, (w, h), interpolation=cv2.INTER_AREA)
    sigmoid = lambda x: 1 / (1 + np.exp(-np.clip(x, -30, 30)))
    rest = np.stack(
        [
            sigmoid(out[0]),
            np.clip(out[1], -1, 1) / 2 + 0.5,
            np.clip(out[2], -1, 1) / 2 + 0.5,
            sigmoid(out[3]),
        ],
        -1,
    )
    return np.concatenate([small, np.round(rest * 255).astype(np.uint8)], -1)


def turned(maps, points, paths, k, flip):
    """A board turned by k quarters (np.rot90) and mirrored; points in pixels of the maps."""
    h, w = maps.shape[:2]
    maps = np.rot90(maps, k)
    for _ in range(k):
        points = np.stack([points[:, 1], w - 1 - points[:, 0]], -1)
        paths = [np.stack([p[:, 1], w - 1 - p[:, 0]], -1) for p in paths]
        h, w = w, h
    if k % 2:
        maps = maps.copy()
        maps[..., 4:6] = 255 - maps[..., 4:6]
    if flip:
        maps = maps[:, ::-1].copy()
        maps[..., 5] = 255 - maps[..., 5]
        points = np.stack([w - 1 - points[:, 0], points[:, 1]], -1)
        paths = [np.stack([w - 1 - p[:, 0], p[:, 1]], -1) for p in paths]
    return maps, points, paths


def sample(rng, boards, prompts):
    """A batch: inputs (n, 8, h, w) bytes, for every prompt its ends in map pixels, the right answer, the lead's mask."""
    items = []
    for board in boards:
        n = len(board["at"])
        ends = np.where(rng.random((n, 1)) < 0.3, board["true"], board["at"]) + rng.normal(size=(n, 2)) * 0.03
        pixel = lambda p: (p + RIM) * P / 2 - 0.5
        maps, at, paths = turned(
            board["maps"],
            pixel(ends),
            [pixel(p) for p in board["paths"]],
            int(rng.integers(4)),
            rng.random() < 0.5,
        )
        maps = maps.copy()
        colour = maps[..., :3].astype(np.float32)
        if rng.random() < 0.1:
            colour = np.repeat(colour.mean(-1, keepdims=True), 3, -1)
        colour = colour * np.exp(rng.normal(size=3) * 0.1) * math.exp(rng.normal() * 0.15) + rng.normal() * 8
        maps[..., :3] = np.clip(colour, 0, 255).astype(np.uint8)
        partner = {}
        for k, (a, b) in enumerate(board["plugs"]):
            partner[a], partner[b] = (b, k), (a, k)
        plugged, bare = list(partner), [k for k in range(n) if k not in partner]
        rng.shuffle(plugged)
        rng.shuffle(bare)
        take = plugged[: max(prompts - 1, prompts - len(bare))] + bare[:1]
        items += [(maps, at, paths, k, partner.get(k)) for k in take[:prompts]]
    h = max(math.ceil(i[0].shape[0] / 16) * 16 for i in items)
    w = max(math.ceil(i[0].shape[1] / 16) * 16 for i in items)
    x = np.zeros((len(items), h, w, 8), np.uint8)
    mask = np.zeros((len(items), h // 2, w // 2), np.float32)
    answers = []
    for i, (maps, at, paths, k, partner) in enumerate(items):
        x[i, : maps.shape[0], : maps.shape[1], :7] = maps
        x[i, ..., 7] = mark(h, w, at[k])
        if partner:
            cv2.polylines(
                mask[i],
                [np.round((paths[partner[1]] + 0.5) / 2 * 16 - 8).astype(np.int32).reshape(-1, 1, 2)],
                False,
                1.0,
                1,
                cv2.LINE_8,
                4,
            )
        answers.append((at, k, partner[0] if partner else -1))
    return torch.from_numpy(x).permute(0, 3, 1, 2), answers, torch.from_numpy(mask)


def mark(h, w, at):
    """A soft spot of a tenth of a cell's width on one socket."""
    yy, xx = np.mgrid[:h, :w]
    return np.round(255 * np.exp(-((xx - at[0]) ** 2 + (yy - at[1]) ** 2) / (2 * 1.5**2))).astype(np.uint8)


def scores(out, answers):
    """Per prompt the logits of all ends (its own left out as -inf) and, last, of none."""
    best = F.max_pool2d(out[:, :1], 3, 1, 1)[:, 0]
    mean = F.avg_pool2d(out[:, 2:3], 3, 1, 1)[:, 0]
    h, w = best.shape[1:]
    rows = []
    for i, (at, k, _) in enumerate(answers):
        q = np.round((at + 0.5) / 2 - 0.5).astype(int)
        x, y = np.clip(q[:, 0], 0, w - 1), np.clip(q[:, 1], 0, h - 1)
        s = best[i, y, x]
        s = torch.where(torch.arange(len(s)) == k, torch.tensor(-1e4), s)
        rows.append(torch.cat([s, mean[i, y[k], x[k]][None]]))
    return rows


def train(args):
    torch.manual_seed(args.seed)
    rng = np.random.default_rng(args.seed)
    boards = []
    for name in args.set:
        boards += see(pickle.loads(Path(name).read_bytes()), args.wires)
    boards = [b for b in boards if len(b["plugs"])]
    boards.sort(key=lambda b: b["maps"].shape[0] * b["maps"].shape[1])
    check = boards[::40]
    boards = [b for k, b in enumerate(boards) if k % 40]
    net = Leads().to(memory_format=torch.channels_last)
    if args.start:
        net.load_state_dict(torch.load(args.start, map_location="cpu", weights_only=True))
    opt = torch.optim.AdamW(net.parameters(), lr=args.lr, weight_decay=0.02)
    began, step, shown = time.time(), 0, {"loss": [], "right": []}
    while (spent := (time.time() - began) / 60 / args.minutes) < 1:
        for group in opt.param_groups:
            group["lr"] = args.lr * min(1, step / 200 + 0.01) * (0.5 + 0.5 * math.cos(math.pi * spent)) + 1e-6
        i = int(rng.integers(len(boards)))
        near = np.clip(i + rng.integers(-40, 41, 4), 0, len(boards) - 1)
        x, answers, mask = sample(rng, [boards[k] for k in near], 5)
        with torch.autocast("cpu", torch.bfloat16):
            out = net(x.float().to(memory_format=torch.channels_last) / 255)
        out = out.float()
        rows = scores(out, answers)
        want = [len(r) - 1 if a[2] < 0 else a[2] for r, a in zip(rows, answers)]
        ends = torch.stack([F.cross_entropy(r[None], torch.tensor([t])) for r, t in zip(rows, want)]).mean()
        way = F.binary_cross_entropy_with_logits(out[:, 1], mask, pos_weight=torch.tensor(4.0))
        loss = ends + 2 * way
        opt.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        opt.step()
        shown["loss"].append(float(ends))
        shown["right"] += [int(r.argmax()) == t for r, t in zip(rows, want)]
        step += 1
        if step % 100 == 0:
            print(
                step,
                f"{(time.time() - began) / 60:.1f} min loss {np.mean(shown['loss']):.3f} right {np.mean(shown['right']):.3f}",
                flush=True,
            )
            shown = {"loss": [], "right": []}
        if step % 1000 == 0:
            torch.save(net.state_dict(), Path(args.out) / "leads.pt")
    net.eval()
    right = []
    with torch.no_grad():
        for b in check:
            x, answers, _ = sample(rng, [b], 99)
            for r, a in zip(scores(net(x.float() / 255), answers), answers):
                right.append(int(r.argmax()) == (len(r) - 1 if a[2] < 0 else a[2]))
    print(f"kept back: {np.mean(right):.3f} of {len(right)} right")
    torch.save(net.state_dict(), Path(args.out) / "leads.pt")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=("make", "draw", "train"))
    parser.add_argument("set", nargs="*")
    parser.add_argument("--fonts")
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--out", required=True)
    parser.add_argument("--count", type=int, default=700)
    parser.add_argument("--times", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--wires")
    parser.add_argument("--start")
    parser.add_argument("--minutes", type=float, default=40)
    parser.add_argument("--lr", type=float, default=2e-3)
    args = parser.parse_args()
    {"make": make, "draw": draw, "train": train}[args.what](args)
