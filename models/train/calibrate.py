"""Set how far confidences can be trusted and from where on a cube is called `read`; then certify it.

    python calibrate.py look --fonts DIR --count 2000 --seed 601 --out CELLS.json    # many small boards, seen straight
    python calibrate.py read FOLDER --out CELLS.json                                # whole pictures (boards.py)
    python calibrate.py leads SET.pkl --out LEADS.json                              # boards with leads (leads.py)
    python calibrate.py set CELLS.json... [--leads LEADS.json] --out ../calibration.json [--target 1e-4]
    python calibrate.py certify CELLS.json... [--leads LEADS.json] --out ../calibration.json    # as they are set, on all

All are boards of label styles that training never saw (--held-out). Half of them, by their names, set two temperatures
(Guo et al. 2017, on the logit of the probability that an answer is right) and two thresholds: the lowest from which on
the share of errors is, with 95 % confidence, below the target (Clopper and Pearson 1934; Geifman and El-Yaniv 2017), or,
with too few cubes for that, the lowest without an error. The other half certifies them: errors among what is called
`read`, with the same bound, and with boards drawn again (bootstrap), because the cubes of one picture are not
independent. Of leads far fewer can be had; for them the target is one wrong in a hundred.
"""

from __future__ import annotations

import argparse
import json
import time
import zlib
from dataclasses import asdict
from pathlib import Path

import cv2
import leads
import numpy as np
from scipy.optimize import minimize_scalar

from snapcheck.board import board_from_json
from snapcheck.errors import PhotoError
from snapcheck.kit import bundled_kit
from snapcheck.photo import _nets, read_photo
from snapcheck.photo import score as scoring
from snapcheck.photo._cells import read_symbols
from snapcheck.photo._read import RIM, read_cells
from snapcheck.photo._reading import Frame, Reading
from snapcheck.photo._weigh import trusted as trusted_one

KIT = bundled_kit()
trusted = np.vectorize(trusted_one, otypes=[float])


def read(args) -> list[scoring.Seen]:
    """Every cube of all pictures, with uncalibrated confidences."""
    score = scoring.Score()
    for photo in sorted(Path(args.sets[0]).glob("*.jpg")):
        truth = board_from_json(json.loads(photo.with_suffix(".json").read_text(encoding="utf-8")), KIT)
        try:
            reading = read_photo(photo, KIT)
        except PhotoError as error:
            print(f"{photo.name}: {error.message}")
            continue
        if (reading.columns, reading.rows) != (truth.columns, truth.rows):
            # a grid that is wrong is a fault of its own: it says nothing about how cells are read
            print(
                f"{photo.name}: plate {truth.columns}x{truth.rows} read as {reading.columns}x{reading.rows}"
            )
            continue
        scoring.add(score, truth, reading, KIT)
    return score.sure


def look(args) -> list[scoring.Seen]:
    """Every cube of many small boards drawn for this, with uncalibrated confidences."""
    import boards
    import world

    tracer, mk, g, tex = world.stage(args.presses, 44, args.fonts, True, args.seed)
    score, began = scoring.Score(), time.time()
    for n in range(args.count):
        picture, truth = boards.straight(mk, tracer, tex, g, n)
        places = [(x, y) for y in range(truth.rows) for x in range(truth.columns)]
        cubes, blanks = read_cells(picture, places, read_symbols(picture, RIM, places), KIT)
        frame = Frame((1, 1), np.eye(3), (0.0, 0.0), 1.0, 0.0, 0.0, np.eye(3))
        name = f"straight-{args.seed}-{n:05d}"
        before = len(score.sure)
        seen = Reading(name, truth.columns, truth.rows, cubes, (), (), frame, (), blanks)
        scoring.add(score, truth, seen, KIT)
        if args.wrong and any(not s.right and s.confidence > 0.9 for s in score.sure[before:]):
            cv2.imwrite(str(args.wrong / f"{name}.png"), picture)
        if n % 100 == 99:  # what there is, is kept
            args.out.write_text(json.dumps([asdict(s) for s in score.sure]))
            empty = f"{score.count['silent_empty']} of {score.count['empty']} sure empty cells wrong"
            print(n + 1, f"{time.time() - began:.0f} s", len(score.sure), "cubes", empty, flush=True)
            args.out.with_suffix(".txt").write_text("\n".join(score.mistakes))
    args.out.with_suffix(".txt").write_text("\n".join(score.mistakes))
    return score.sure


def temperature(p: np.ndarray, right: np.ndarray) -> float:
    """Of the logit of p, so that what is said is what happens (least cross entropy)."""
    p = np.clip(p, 1e-6, 1 - 1e-6)
    logit = np.log(p / (1 - p))

    def loss(log_t: float) -> float:
        q = np.clip(1 / (1 + np.exp(-logit / np.exp(log_t))), 1e-9, 1 - 1e-9)
        return float(-(right * np.log(q) + (1 - right) * np.log(1 - q)).mean())

    return float(np.exp(minimize_scalar(loss, bounds=(-2, 2), method="bounded").x))


def threshold(p: np.ndarray, right: np.ndarray, target: float) -> float:
    """The lowest p from which on errors are rare enough, see above."""
    order = np.argsort(-p)
    p, wrong = p[order], np.cumsum(~right[order])
    bound = np.array([scoring.at_most(int(w), n + 1) for n, w in enumerate(wrong)])
    good = np.flatnonzero(bound <= target)
    if len(good):
        return float(p[good[-1]])
    clean = np.flatnonzero(wrong == 0)
    first_wrong = p[len(clean)] if len(clean) < len(p) else 0.0
    print(
        f"too few for {target:g}: {len(clean)} without an error show at most {scoring.at_most(0, len(clean)):.2g}"
    )
    return float((1 + first_wrong) / 2)  # half of the way from the surest mistake to certainty


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=("look", "read", "leads", "set", "certify"))
    parser.add_argument("sets", nargs="*")
    parser.add_argument("--fonts")
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--presses", type=int, default=100)
    parser.add_argument("--seed", type=int, default=601)
    parser.add_argument("--wrong", type=Path, help="folder for boards with a cube that is wrong though sure")
    parser.add_argument("--leads", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--target", type=float, default=1e-4)
    args = parser.parse_args()
    if args.what in ("set", "certify"):
        return choose(args)
    _nets.calibration().update(symbol_trust=1.0, text_trust=1.0, lead_temperature=1.0)
    if args.what == "leads":
        args.out.write_text(json.dumps(leads.found(Path(args.sets[0]))[0]))
    else:
        args.out.write_text(json.dumps([asdict(s) for s in {"look": look, "read": read}[args.what](args)]))
    return None


def choose(args) -> None:
    """Set temperatures and thresholds, and certify them."""
    limits = json.loads(args.out.read_text(encoding="utf-8"))
    seen = [scoring.Seen(**s) for name in args.sets for s in json.loads(Path(name).read_text())]
    first = [zlib.crc32(s.picture.encode()) % 2 == 0 for s in seen]
    fit = [s for s, half in zip(seen, first, strict=True) if half]
    rest = [s for s, half in zip(seen, first, strict=True) if not half]
    parts = {
        "symbol": lambda some: [(s.symbol, s.symbol_right) for s in some],
        "text": lambda some: [(s.text, s.text_right) for s in some if s.text is not None and s.symbol_right],
    }
    if args.what == "certify":
        parts, rest = {}, seen
    for name, pick in parts.items():
        p, right = (np.array(v) for v in zip(*pick(fit), strict=True))
        t = temperature(p, right)
        limits[f"{name}_trust"] = round(t, 3)
        limits[f"{name}_threshold"] = round(threshold(trusted(p, t), right, args.target), 6)
        print(
            f"{name}: {len(p)} cubes, {right.mean():.4f} right, {limits[f'{name}_trust']=} {limits[f'{name}_threshold']=}"
        )
    if args.leads:
        p, right = (np.array(v) for v in zip(*json.loads(args.leads.read_text()), strict=True))
        if args.what == "set":
            limits["lead_threshold"] = round(threshold(p, right.astype(bool), 0.01), 4)
        sure = p >= limits["lead_threshold"]
        print(
            f"leads: {len(p)}, {right.mean():.3f} right; {sure.mean():.3f} called read, {(~right[sure]).sum()} wrong"
        )
    as_set = args.what == "certify"  # then with everything that the reading asks for
    called = [s for s in rest if (s.read if as_set else taken(s, limits))]
    wrong = [s for s in called if not s.right]
    names = sorted({s.picture for s in rest})
    by = {n: (sum(s.picture == n for s in called), sum(s.picture == n for s in wrong)) for n in names}
    rng = np.random.default_rng(1)
    draws = [
        np.array([by[names[k]] for k in rng.integers(len(names), size=len(names))]).sum(0)
        for _ in range(2000)
    ]
    share = np.quantile([w / max(n, 1) for n, w in draws], 0.95)
    print(
        f"certified on {len(names)} pictures: {len(wrong)} of {len(called)} called read are wrong, at most "
        f"{scoring.at_most(len(wrong), len(called)):.2g} with 95 % confidence; boards drawn again: {share:.2g}; "
        f"{len(called) / max(len(rest), 1):.3f} of all cubes are called read"
    )
    args.out.write_text(json.dumps(limits, indent=1) + "\n", encoding="utf-8")


def taken(s: scoring.Seen, limits: dict[str, float]) -> bool:
    """Whether a cube would be called read."""
    symbol = trusted_one(s.symbol, limits["symbol_trust"]) >= limits["symbol_threshold"]
    return symbol and (
        s.text is None or trusted_one(s.text, limits["text_trust"]) >= limits["text_threshold"]
    )


if __name__ == "__main__":
    main()
