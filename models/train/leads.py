"""Boards with leads, to measure on them how often both ends of a lead are found.

    python leads.py make --fonts DIR --out SET.pkl --count 300 --seed 21 --held-out   # traced boards
    python leads.py measure SET.pkl                                                   # with the networks in models/

Sockets are handed to snapcheck/photo/_wires.py where the reading would take them to be.
"""

from __future__ import annotations

import argparse
import math
import pickle
import time
from pathlib import Path

import cv2
import numpy as np

from snapcheck.photo import _wires

P, RIM = 2 * _wires.PER_CELL, _wires.RIM


def make(args):
    import camera
    import wires
    import world

    tracer, mk, g, tex = world.stage(24, 44, args.fonts, args.held_out, args.seed)
    boards, began = [], time.time()
    for n in range(args.count):
        cols, rows = int(mk.rng.integers(4, 13)), int(mk.rng.integers(4, 9))
        W, H = (math.ceil((k + 2 * RIM) * P / 32) * 32 for k in (cols, rows))
        leads = int(mk.rng.choice([1, 2, 3, 4, 5, 6, 7], p=[0.1, 0.15, 0.2, 0.2, 0.15, 0.12, 0.08]))
        S, C, Pr, T = mk.make(W, H, cols=cols, rows=rows, rect=P, n_leads=leads)
        S["A"] = (1 / P, 0, -RIM, 0, 1 / P, -RIM)
        x = camera.develop(tracer.render([S], [C], [Pr], tex, W, H, 7, n), g, 0.2, float(P))
        picture = (x[0].permute(1, 2, 0).cpu().numpy()[..., ::-1] * 255).astype(np.uint8).copy()
        boards.append(
            {
                "jpg": cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 93])[1].tobytes(),
                "plugs": list(T.plugs),
                "at": wires.nominal(T),
            }
        )
        if n % 50 == 49:
            print(n + 1, f"{time.time() - began:.0f} s", flush=True)
    Path(args.out).write_bytes(pickle.dumps(boards))


def found(path: Path) -> tuple[list[tuple[float, bool]], int]:
    """Every lead that is found on the boards of a file, its probability and whether it is right; how many there are."""
    told, leads = [], 0
    for board in pickle.loads(path.read_bytes()):
        truth = {tuple(sorted(p)) for p in board["plugs"]}
        leads += len(truth)
        if len(board["at"]) < 2:
            continue
        said = _wires.seen(cv2.imdecode(np.frombuffer(board["jpg"], np.uint8), 1), board["at"])
        if said is not None:
            pairs = _wires.choose(said[1])[0]
            told += [(p.confidence, tuple(sorted(said[0].ends[k] for k in p.ends)) in truth) for p in pairs]
    return told, leads


def measure(args):
    """Leads with both ends right on whole boards, and how sure the right and the wrong ones are."""
    told, leads = found(Path(args.set))
    right = sum(ok for _, ok in told)
    print(f"{right} of {leads} leads right, {len(told) - right} false")
    told.sort(reverse=True)
    for n in range(len(told) // 8, len(told) + 1, max(1, len(told) // 8)):
        print(f"the {n} surest, down to {told[n - 1][0]:.3f}: {sum(ok for _, ok in told[:n])} right")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=("make", "measure"))
    parser.add_argument("set", nargs="?")
    parser.add_argument("--fonts")
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--out")
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    {"make": make, "measure": measure}[args.what](args)
