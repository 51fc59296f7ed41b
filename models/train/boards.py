"""Write labelled pictures of random boards: NAME.jpg with its truth NAME.json, as `snapcheck accuracy` takes them.

    python boards.py --fonts DIR --out FOLDER --count 200 --seed 31 [--held-out] [--width 2016]

With --held-out, label styles come from fonts that training never sees; `calibrate.py` wants such pictures.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import camera
import cv2
import numpy as np
import scenes
import torch
import world
from PIL import Image

from snapcheck.errors import InputError
from snapcheck.kit import ValueForm, bundled_kit, parse_value


def address(x: int, y: int) -> str:
    return f"{chr(65 + x)}{y + 1}"


def end(e) -> str:
    if e[3] in "EW":
        return f"socket {address(e[4], e[5])} {e[3]}"
    x, y, axis = e[4:7]
    other = address(x + 1, y) if axis == 0 else address(x, y + 1)
    return f"tap {address(x, y)}|{other}"


def truth(S, T, W: int, H: int) -> dict:
    """The truth format, see README of the labelled pictures in fixtures/."""
    kit = bundled_kit()
    cubes, tops = [], {}
    for y, x in zip(*np.where(T.kind >= 0), strict=True):
        kind = scenes.NAMES[T.kind[y, x]]
        text = T.text.get((x, y)) or None
        entry = {
            "at": address(x, y),
            "kind": kind,
            "turn": int(T.turn[y, x]) * 90,
            "value": None,
            "printed": text,
        }
        form = kit[kind].value_form
        if text and form is not ValueForm.NONE:
            try:
                v = parse_value(text, form)
                entry["value"] = v.value
                if v.unit:
                    entry["unit"] = v.unit
            except InputError:
                entry["value"] = text
        elif form is ValueForm.NONE:
            entry["printed"] = None
        cubes.append(entry)
        at = scenes.project(S, [[x + 0.5, y + 0.5, float(S["h"])]])[0] - 0.5
        tops[address(x, y)] = [round(float(v), 2) for v in at]
    m = float(S["margin"])
    corners = scenes.project(
        S, [[-m, -m, 0], [T.cols + m, -m, 0], [T.cols + m, T.rows + m, 0], [-m, T.rows + m, 0]]
    )
    taps = []
    for x, y, axis in sorted(T.taps):
        taps.append({"between": [address(x, y), address(x + 1, y) if axis == 0 else address(x, y + 1)]})
    return {
        "columns": T.cols,
        "rows": T.rows,
        "cubes": cubes,
        "taps": taps,
        "leads": [{"from": end(T.ends[a]), "to": end(T.ends[b])} for a, b in T.plugs],
        "plate_corners_px": [[round(float(v), 2) for v in p - 0.5] for p in corners],
        "cube_tops_px": tops,
        "size": [W, H],
        "markers": bool(np.any(S["marker"] >= 0)),
        "difficulty": "ordinary",
    }


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--fonts", required=True)
    parser.add_argument("--out", required=True, type=Path)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=31)
    parser.add_argument("--width", type=int, default=1600)
    parser.add_argument("--samples", type=int, default=16)
    parser.add_argument("--presses", type=int, default=24)
    parser.add_argument("--held-out", action="store_true")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    W, H = args.width, args.width * 3 // 4
    W, H = W // 16 * 16, H // 16 * 16
    book = world.make_books(args.presses, 60, args.fonts, args.held_out, args.seed, 2)
    tracer, mk = world.Tracer(), scenes.Maker(*book[1:], args.seed)
    tex = book[0].to(tracer.dev)
    g = torch.Generator(tracer.dev).manual_seed(args.seed)
    began, n = time.time(), 0
    while n < args.count:
        S, C, Pr, T = mk.make(W, H, strangers=False)
        cell = float(S["f"]) / float(T.cam["D"])
        if cell < 60 or (T.kind >= 0).sum() < 4:  # too small to be read, or hardly a board
            continue
        name = args.out / f"board-{args.seed}-{n:04d}"
        x = camera.develop(tracer.render([S], [C], [Pr], tex, W, H, args.samples, n), g, 0.1, cell)
        picture = (x[0].permute(1, 2, 0).cpu().numpy() * 255).astype(np.uint8)
        image = Image.fromarray(picture)
        exif = image.getexif()
        exif.get_ifd(0x8769)[0xA405] = round(36 * float(S["f"]) / W)  # focal length for 36 mm film
        image.save(name.with_suffix(".jpg"), quality=92, exif=exif)
        name.with_suffix(".json").write_text(json.dumps(truth(S, T, W, H)))
        n += 1
        if n % 20 == 0:
            print(n, f"{time.time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    cv2.setNumThreads(2)
    main()
