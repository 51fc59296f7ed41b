"""Write labelled pictures of random boards: NAME.jpg with its truth NAME.json, as `snapcheck accuracy` takes them.

    python boards.py --fonts DIR --out FOLDER --count 200 --seed 31 [--held-out] [--width 2016]

With --held-out, label styles come from fonts that training never sees; `calibrate.py` wants such pictures.
"""

from __future__ import annotations

import argparse
import json
import re
import time
from pathlib import Path

import camera
import cv2
import numpy as np
import scenes
import world
from PIL import Image

from snapcheck.board import Board, Cell, Cube, Lead, LeadEnd, Seam, SocketEnd, TapEnd, board_to_json
from snapcheck.errors import InputError
from snapcheck.kit import Side, ValueForm, bundled_kit, parse_value
from snapcheck.photo._cells import FINE
from snapcheck.photo._read import RIM


def end_of(e) -> LeadEnd:
    cell = Cell(e[5], e[4])
    return SocketEnd(cell, Side[e[3]]) if e[3] in "EW" else TapEnd(seam_of(*e[4:7]))


def seam_of(x: int, y: int, axis: int) -> Seam:
    return Seam.between(Cell(y, x), Cell(y + axis, x + 1 - axis))


def board_of(T) -> Board:
    """What stands on the plate; print that makes no sense is its own value."""
    kit, cubes = bundled_kit(), {}
    for y, x in zip(*(v.tolist() for v in np.where(T.kind >= 0)), strict=True):
        kind, turn = scenes.NAMES[T.kind[y, x]], int(T.turn[y, x]) * 90
        form, text = kit[kind].value_form, T.text.get((x, y)) or None
        cube = Cube(kind, turn)
        if text and form is not ValueForm.NONE:
            try:
                v = parse_value(_with_unit(text, form), form)
                cube = Cube(kind, turn, v.value, text, v.unit)
            except InputError:
                cube = (
                    Cube(kind, turn, text, text) if form is ValueForm.TYPE else Cube(kind, turn, None, text)
                )
        cubes[Cell(y, x)] = cube
    leads = tuple(Lead(end_of(T.ends[a]), end_of(T.ends[b])) for a, b in T.plugs)
    return Board(T.cols, T.rows, cubes, frozenset(seam_of(*tap) for tap in T.taps), leads)


def _with_unit(text: str, form: ValueForm) -> str:
    """What a capacitor's bare three-digit code stands for (IEC 60062): alone it may be read in two ways."""
    coded = re.fullmatch(r"(\d\d)(\d)", text) if form is ValueForm.FARADS else None
    return f"{int(coded[1]) * 10 ** int(coded[2])} pF" if coded else text


def truth(S, T, W: int, H: int) -> dict:
    """The truth format: the board, and where it lies in the picture."""
    board = board_of(T)
    h, m = float(S["h"]), float(S["margin"])
    seen = lambda points: np.round(scenes.project(S, points) - 0.5, 2).tolist()
    tops = seen([(c.column + 0.5, c.row + 0.5, h) for c in board.cubes])
    across, down = board.columns + m, board.rows + m
    return {
        **board_to_json(board),
        "plate_corners_px": seen([(-m, -m, 0.0), (across, -m, 0.0), (across, down, 0.0), (-m, down, 0.0)]),
        "cube_tops_px": {str(c): p for c, p in zip(board.cubes, tops, strict=True)},
        "size": [W, H],
        "markers": bool(np.any(S["marker"] >= 0)),
        "difficulty": "ordinary",
    }


def straight(mk, tracer, tex, g, n: int):
    """A small, mostly full board seen straight, as the reading flattens boards: picture with FINE pixels a cell and RIM
    cells of surroundings, and its truth. Far cheaper than a whole photo; the grid has the error that fits have."""
    rng = mk.rng
    P, cols, rows = int(rng.integers(48, 132)), 5, 4
    W, H = ((6 * P + 15) // 16) * 16, ((5 * P + 15) // 16) * 16
    S, C, Pr, T = mk.make(
        W, H, cols=cols, rows=rows, rect=P, tilt=min(42, abs(rng.normal()) * 16), strangers=False,
        n_leads=int(rng.choice(5, p=[0.3, 0.3, 0.2, 0.1, 0.1])), full=rng.random() < 0.7,
    )  # fmt: skip
    S["A"], S["margin"] = (1 / P, 0, -0.5, 0, 1 / P, -0.5), rng.uniform(0.05, 0.5)
    x = camera.develop(tracer.render([S], [C], [Pr], tex, W, H, 6, n), g, 0.15, float(P))
    picture = (x[0].permute(1, 2, 0).cpu().numpy()[..., ::-1] * 255).astype(np.uint8)
    k, (dx, dy) = FINE / P, rng.normal(size=2) * 0.016 * FINE
    off = (RIM - 0.5) * FINE + (k - 1) / 2
    size = (round((cols + 2 * RIM) * FINE), round((rows + 2 * RIM) * FINE))
    m = np.array([[k, 0, off + dx], [0, k, off + dy]])
    return cv2.warpAffine(picture, m, size, borderMode=cv2.BORDER_REPLICATE), board_of(T)


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
    tracer, mk, g, tex = world.stage(args.presses, 60, args.fonts, args.held_out, args.seed)
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
