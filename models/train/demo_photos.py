"""Photos for the README and the tests: chosen builds, on one invented workshop's cubes, with their truth.

    python models/train/demo_photos.py FONTS fixtures/photos [NAME...]

What stands on each plate, how the light falls and where the camera is held is said in
fixtures/photos/photos.toml. Rendered with the same tracer as the training pictures, not taken with a
camera: whatever is measured on them must say so.
"""

from __future__ import annotations

import json
import math
import random
import sys
import tomllib
from pathlib import Path

import cv2
import labels
import numpy as np
import scenes
import torch
from symbols import CONTACTS, Hand
from world import Tracer

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from snapcheck.board import (  # noqa: E402
    LOOKS,
    Board,
    Cell,
    Side,
    SocketEnd,
    TapEnd,
    board_to_json,
    family,
    label_of,
    load_design,
    parse_layout,
)
from snapcheck.kit import bundled_kit  # noqa: E402

KIT = bundled_kit()
LOOK = LOOKS["light"]
SIZE = (1600, 1200)


def linear(css: str, deeper: float = 1.0) -> np.ndarray:
    """A CSS colour as linear light; `deeper` above 1 gives it more colour."""
    c = (np.array([int(css[i : i + 2], 16) for i in (1, 3, 5)]) / 255) ** 2.2
    grey = c.mean()
    return np.clip(grey + (c - grey) * deeper, 0.004, 0.95)


class WorkshopPress(labels.Press):
    """The workshop's own printing: one hand, one font, a thin frame in the family's colour."""

    def __init__(self, fonts: labels.Fonts, font: str, seed: int = 11) -> None:
        rng = random.Random(seed)
        super().__init__(rng, fonts)
        self.hand = Hand(rng, 0.06, 1.0, {"pads": "none", "res_form": "box", "short_reach": 0, "di_fill": 1})
        (path,) = [p for p in fonts.files if p.stem == font]
        self.font = self.font2 = self.letter_font = path
        self.height, self.q_height, self.pos, self.q_pos = 0.33, 0.27, "bottom", "lower_right"
        self.designator, self.frame, self.frame_in, self.frame_w = False, "accent", 0.05, 0.045
        self.stretch, self.spacing, self.value_accent, self.wire_frame = 1.0, 0.0, False, False

    def of(self, kind: str, text: str, worn: bool) -> np.ndarray:
        """One top with this very text; `worn` rubs the last part of it away."""
        real, labels.value_text = labels.value_text, lambda *_: text
        try:
            self.rng.seed(f"{kind} {text}")
            while True:  # the press leaves a print out now and then
                art, printed, box = self.print(kind)
                if printed == " ".join(text.split()):
                    break
        finally:
            labels.value_text = real
        if worn and text:
            x0, y0, x1, y1 = (int((v + 1) / 2 * art.shape[0]) for v in box)
            cut = x0 + int(0.45 * (x1 - x0))
            noise = cv2.GaussianBlur(np.random.default_rng(3).random(art.shape[:2]), (0, 0), 2.5)
            rubbed = np.where(noise > np.quantile(noise, 0.35), 0.08, 0.55)
            art[y0 - 2 : y1 + 2, cut : x1 + 3, 0] = (
                art[y0 - 2 : y1 + 2, cut : x1 + 3, 0] * rubbed[y0 - 2 : y1 + 2, cut : x1 + 3]
            ).astype(np.uint8)
        return art


def build_of(spec: dict, folder: Path) -> Board:
    """The build that a photo shows: a layout of its own, or the plan with some lines changed."""
    if "layout" in spec:
        return parse_layout(spec["layout"], "photos.toml", KIT).board
    path = (folder / spec["design"]).resolve()
    if path.suffix == ".json":
        return load_design(path, KIT).board
    lines = path.read_text(encoding="utf-8").splitlines()
    for old, new in spec.get("changes", []):
        hits = [i for i, line in enumerate(lines) if line.split()[: len(old.split())] == old.split()]
        if len(hits) != 1:
            raise SystemExit(f"'{old}' begins {len(hits)} lines of {path.name}")
        lines[hits[0]] = new
    return parse_layout("\n".join(lines), path.name, KIT).board


def scene(spec: dict, board: Board, press: WorkshopPress):
    """Everything the tracer needs, and the textures of this board."""
    rng = np.random.default_rng(spec.get("seed", 1))
    W, H = SIZE
    S = np.zeros((), scenes.SCENE)
    cells = np.zeros((scenes.GRID, scenes.GRID), scenes.CELL)
    cells["label"] = -1
    prims = np.zeros(scenes.MAXPRIM, scenes.PRIM)
    n = 0
    cols, rows, h = board.columns, board.rows, 0.62
    S["cols"], S["rows"], S["h"], S["gap"], S["bevel"] = cols, rows, h, 0.03, 0.02
    S["margin"], S["plate_r"], S["plate_t"], S["seed"] = 0.3, 0.18, 0.08, spec.get("seed", 1)
    worn = set(spec.get("worn", []))
    art: list[np.ndarray] = []
    for cell, cube in board.cubes.items():
        kind = KIT[cube.kind]
        text = "" if kind.wire else label_of(cube, kind)
        c = cells[cell.row, cell.column]
        c["label"], c["turn"] = len(art), cube.turn // 90
        art.append(press.of(cube.kind, text, str(cell) in worn))
        tone = family(kind)
        c["top"] = c["pan"] = linear(LOOK.tiles[tone], 1.5)
        c["side"], c["acc"] = linear(LOOK.edges[tone], 1.2), linear(LOOK.edges[tone], 1.2)
        c["ink"] = linear(LOOK.ink)
        c["rough"], c["spec"], c["lift"] = spec.get("gloss", 0.5), 0.045, rng.normal() * 0.002
        for s in CONTACTS.get(cube.kind, "WE"):
            c["pads"] |= 1 << (("NESW".index(s) + cube.turn // 90) % 4)
    T = scenes.Truth(cols, rows, None, None)
    where: dict[str, int] = {}
    brass = linear(LOOK.brass)
    for cell, cube in board.cubes.items():
        if cube.kind != "socket":
            continue
        for side, s in (("E", 1), ("W", -1)):
            u, v = s * 0.18, 0.0
            for _ in range(cube.turn // 90):
                u, v = -v, u
            x, y = cell.column + 0.5 + u, cell.row + 0.5 + v
            n = scenes.prim(prims, n, 3, (x, y, h), (0, 0, h + 0.04), 0.11, 0.06, brass, 0.3, 1.0)
            where[str(SocketEnd(cell, Side[side]))] = len(T.ends)
            T.ends.append((x, y, h + 0.04))
    dark = np.array([0.02, 0.03, 0.05])
    for seam in sorted(board.taps):
        a, b = seam.first, seam.second
        across = a.row == b.row
        x, y = (a.column + 1, a.row + 0.5) if across else (a.column + 0.5, a.row + 1)
        half = (0.02, 0.2, 0.0) if across else (0.2, 0.02, 0.0)
        n = scenes.prim(prims, n, 5, (x, y, h + 0.05), half, 0.0, 0, dark, 0.4)
        n = scenes.prim(prims, n, 3, (x, y, h), (0, 0, h + 0.1), 0.1, 0.05, dark, 0.35)
        where[str(TapEnd(seam))] = len(T.ends)
        T.ends.append((x, y, h + 0.1))
    S["nlead_from"] = n
    maker = scenes.Maker.__new__(scenes.Maker)
    maker.rng = np.random.default_rng(spec.get("lead_seed", 5))
    colours = iter(LOOK.leads[1:] * 9)
    for lead in board.leads:
        before = n
        n = maker._lead(prims, n, T, where[str(lead.start)], where[str(lead.end)], h)
        prims["col"][before:n] = linear(next(colours), 1.3)
    S["nprim"] = n
    S["plate"], S["plate2"] = linear("#3d5560"), linear("#34494f")
    S["plate_spec"], S["plate_rough"], S["plate_pat"] = 0.04, 0.45, 3
    S["pat_col"], S["pat_a"], S["pat_w"] = linear("#9fb4b4"), 0.8, 0.014
    S["marker"] = -1
    S["table"], S["tab_scale"], S["tab_ang"], S["tab_rough"] = 1, 0.7, spec.get("grain", 0.4), 0.5
    S["tab1"], S["tab2"] = linear("#a9794c"), linear("#7d5533")
    S["sky"], S["horizon"] = np.array([0.62, 0.6, 0.56]), np.array([0.5, 0.42, 0.34])
    S["sidecol"] = np.array([0.3, 0.25, 0.2])
    camera = spec.get("camera", {})
    pos, ex, ey, ez, f, D = scenes.look_at(
        rng, cols, rows, h, W, H, camera.get("tilt", 14), camera.get("from", 5), camera.get("roll", -4),
        58, camera.get("fill", 0.86),
    )  # fmt: skip
    S["cam"], S["ex"], S["ey"], S["ez"], S["f"], S["cx"], S["cy"] = pos, ex, ey, ez, f, W / 2, H / 2
    S["k1"], S["aperture"], S["focus"] = 0.012, 0.015, D
    lamp = spec.get("lamp", [-0.45, -0.5, 0.74])
    S["nlight"] = 1
    S["ldir"][0] = np.array(lamp) / np.linalg.norm(lamp)
    S["lcol"][0], S["lsize"][0] = np.array([1.0, 0.86, 0.68]) * 2.6, 0.12
    if "glare" in spec:  # a window that the camera sees mirrored in this cube
        x, y = Cell.parse(spec["glare"]).column + 0.5, Cell.parse(spec["glare"]).row + 0.5
        d = np.array([x, y, h]) - pos
        d = d / np.linalg.norm(d) * np.array([1, 1, -1])
        S["nlight"] = 2
        S["ldir"][1], S["lsize"][1] = d, 0.05
        S["lcol"][1] = np.array([0.95, 0.98, 1.0]) * spec.get("glare_light", 6.0)
        for row in cells:
            for c in row:
                c["rough"] = 0.24
    return S, cells, prims, art


def developed(radiance: np.ndarray, seed: int) -> np.ndarray:
    """(h, w, 3) light to an sRGB picture, uint8 blue first, as a steady hand in a lit room gets it."""
    g = np.random.default_rng(seed)
    x = cv2.GaussianBlur(radiance, (0, 0), 0.6)
    level = x.mean(2)
    x = x * (0.5 / (np.quantile(level, 0.5) + 0.4 * np.quantile(level, 0.9)))
    x = x + g.normal(size=x.shape) * np.sqrt(0.0006 * np.clip(x, 0, None) + 2e-6)
    x = 1 - np.exp(-1.35 * np.clip(x, 0, None))
    x = np.where(x < 0.0031308, x * 12.92, 1.055 * np.maximum(x, 1e-6) ** (1 / 2.4) - 0.055)
    x = np.clip((x - 0.5) * 1.08 + 0.5, 0, 1)
    return (x[..., ::-1] * 255 + 0.5).astype(np.uint8)


def pixels(S: np.ndarray, points: list[tuple[float, float, float]]) -> list[list[float]]:
    """Where the camera sees points of the board, in cells."""
    return np.round(scenes.project(S, points), 1).tolist()


def places(S: np.ndarray, board: Board) -> tuple[dict[str, list[float]], list[list[float]]]:
    """Pixels of the middle of every cube's top, by address, and of the plate's corners, clockwise."""
    h, m = float(S["h"]), float(S["margin"])
    tops = pixels(S, [(c.column + 0.5, c.row + 0.5, h) for c in board.cubes])
    across, down = board.columns + m, board.rows + m
    corners = pixels(S, [(-m, -m, 0.0), (across, -m, 0.0), (across, down, 0.0), (-m, down, 0.0)])
    return {str(c): p for c, p in zip(board.cubes, tops, strict=True)}, corners


def main() -> None:
    fonts, folder = Path(sys.argv[1]), Path(sys.argv[2])
    table = tomllib.loads((folder / "photos.toml").read_text(encoding="utf-8"))
    names = sys.argv[3:] or list(table["photo"])
    press = WorkshopPress(labels.Fonts(fonts), table["font"])
    tracer = Tracer()
    for name in names:
        spec = table["photo"][name]
        board = build_of(spec, folder)
        S, cells, prims, art = scene(spec, board, press)
        tex = torch.from_numpy(np.stack(art)).to(tracer.dev)
        out = tracer.render([S], [cells], [prims], tex, *SIZE, table["rays"], spec.get("seed", 1))
        picture = developed(out[0].cpu().numpy(), spec.get("seed", 1))
        for quality in (88, 84, 80, 76, 72):
            cv2.imwrite(str(folder / f"{name}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
            if (folder / f"{name}.jpg").stat().st_size < 290_000:
                break
        truth = board_to_json(board)
        for entry in truth["cubes"]:
            cube = board.cubes[Cell.parse(entry["at"])]
            kind = KIT[cube.kind]
            entry["printed"] = None if kind.wire else label_of(cube, kind) or None
        tops, corners = places(S, board)
        truth["plate_corners_px"] = corners
        truth["cube_tops_px"] = tops
        truth["size"] = list(SIZE)
        text = json.dumps(truth, ensure_ascii=False, indent=1)
        (folder / f"{name}.json").write_text(text + "\n", encoding="utf-8")
        print(
            name,
            f"{(folder / f'{name}.jpg').stat().st_size // 1000} kB",
            math.prod(SIZE) // 1000,
            "kpx",
            flush=True,
        )


if __name__ == "__main__":
    main()
