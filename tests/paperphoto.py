"""Paper tiles cut out of the printed sheets, laid on the printed plate, and "photographed" by a pinhole
camera over a wooden table: uneven light, blur, noise, JPEG. Nothing of it is the generator that networks were
trained with; everything on the plate is cut out of the pages that a user prints.

    python tests/paperphoto.py [TILT...]     # measure over all sample designs, degrees (default: 0 to 10)
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from snapcheck.board import Design, TapEnd, load_design, svg_to_png
from snapcheck.box import PAPERS, place_tiles, plate_size, plate_svg, tile_pages, top_of
from snapcheck.box._plate import RIM, TAP, tap_svg
from snapcheck.kit import Kit, bundled_kit

SIDE_mm = 20.0
#: pixels of the flat picture a millimetre
PX = 6.0
THREADS = ((160, 60, 20), (20, 60, 190), (60, 120, 20))  # blue, red, green


def pixels_of(svg: str, width_mm: float) -> np.ndarray:
    """A page of SVG in millimetres as pixels."""
    png = svg_to_png(svg.replace('mm"', '"'), width=round(width_mm * PX))
    picture = cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    return picture


def laid(design: Design, kit: Kit, rng: np.random.Generator) -> np.ndarray:
    """The printed plate with the design's tiles on it, each a little off its place, seen flat."""
    board, side = design.board, SIDE_mm
    width, height = plate_size(board.columns, board.rows, side)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="DejaVu Sans">'
    )
    page = pixels_of(f"{head}{plate_svg(board.columns, board.rows, side)}</svg>", width)
    tiles = place_tiles([top_of(cube, kit) for cube in board.cubes.values()], side, PAPERS["a4"])
    sheets = [pixels_of(p.svg, p.paper.width) for p in tile_pages(tiles, kit, PAPERS["a4"], "tiles")]
    left: dict[Any, list[Any]] = {}
    for tile in tiles:
        left.setdefault(tile.cube, []).append(tile)
    for cell, cube in board.cubes.items():
        tile = left[top_of(cube, kit)].pop()
        x0, y0, x1, y1 = (round(v * PX) for v in (tile.x, tile.y, tile.x + tile.width, tile.y + tile.height))
        cut = np.rot90(sheets[tile.page][y0:y1, x0:x1], -(cube.turn // 90))
        columns, rows = cube.lies
        at = np.array([RIM + cell.column + columns / 2, RIM + cell.row + rows / 2]) * side * PX
        page = _pasted(page, cut, at + rng.normal(0, 0.25 * PX, 2), float(rng.normal(0, 1.0)))
    return _threads(page, design, kit)


def _pasted(page: np.ndarray, cut: np.ndarray, at: np.ndarray, degrees: float) -> np.ndarray:
    """A piece of paper on the page, its middle at `at`, with a thin shadow."""
    h, w = cut.shape[:2]
    x0, y0 = (max(0, int(v)) for v in at - 0.75 * max(w, h))
    x1, y1 = (int(v) for v in at + 0.75 * max(w, h))
    part = page[y0:y1, x0:x1]
    m = cv2.getRotationMatrix2D((w / 2, h / 2), degrees, 0.985)
    m[:, 2] += at - (w / 2, h / 2) - (x0, y0)
    size = part.shape[1::-1]
    lower = m + np.array([[0, 0, 0.12], [0, 0, 0.16]]) * PX
    whole = np.ones((h, w), np.float32)
    shadow = cv2.GaussianBlur(cv2.warpAffine(whole, lower, size), (0, 0), 0.15 * PX)[..., None]
    there = cv2.warpAffine(whole, m, size)[..., None]
    part[:] = part * (1 - 0.35 * shadow) * (1 - there) + cv2.warpAffine(cut, m, size) * there
    return page


def _threads(page: np.ndarray, design: Design, kit: Kit) -> np.ndarray:
    """Taps and leads: the printed discs, and threads with a knot at each end."""
    c = SIDE_mm * PX

    def seam(s: Any) -> np.ndarray:
        row, column = (s.first.row + s.second.row) / 2, (s.first.column + s.second.column) / 2
        return np.array([RIM + column + 0.5, RIM + row + 0.5]) * c

    radius = TAP * SIDE_mm / 2
    box = 2 * radius + 1
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {box} {box}">'
    disc = pixels_of(f"{head}{tap_svg(box / 2, box / 2, radius)}</svg>", box)
    mask = np.hypot(*(np.indices(disc.shape[:2]) - (disc.shape[0] - 1) / 2)) < radius * PX
    for tap in design.board.taps:
        x, y = np.round(seam(tap) - disc.shape[0] / 2).astype(int)
        into = page[y : y + disc.shape[0], x : x + disc.shape[1]]
        into[mask] = disc[mask]
    for number, lead in enumerate(design.board.leads):
        ends = []
        for end in (lead.start, lead.end):
            if isinstance(end, TapEnd):
                ends.append(seam(end.seam))
                continue
            u, v = (0.17 if end.side.name == "E" else -0.19), 0.0
            for _ in range(design.board.cubes[end.cell].turn // 90):
                u, v = -v, u
            ends.append(np.array([RIM + end.cell.column + 0.5 + u, RIM + end.cell.row + 0.5 + v]) * c)
        p, q = ends
        across = np.array([-(q - p)[1], (q - p)[0]])
        middle = (p + q) / 2 + across * 0.3 * (-1 if number % 2 else 1)
        t = np.linspace(0, 1, 60)[:, None]
        way = (1 - t) ** 2 * p + 2 * t * (1 - t) * middle + t * t * q
        colour = THREADS[number % 3]
        for shift, ink in (((4, 6), (70, 70, 70)), ((0, 0), colour)):
            cv2.polylines(page, [np.int32(way + shift)], False, ink, round(1.8 * PX), cv2.LINE_AA)
        for end in (p, q):
            cv2.circle(page, (int(end[0]), int(end[1])), int(2 * PX), colour, -1, cv2.LINE_AA)
    return page


def photographed(
    flat: np.ndarray, rng: np.random.Generator, tilt: float, size: tuple[int, int] = (1600, 1200)
) -> np.ndarray:
    """A phone's picture of something flat on a table, `tilt` degrees off straight above, any way round."""
    width, height = size
    h, w = flat.shape[:2]
    rough = rng.standard_normal((height // 8, width // 64), np.float32)
    grain = cv2.resize(rough, size, interpolation=cv2.INTER_CUBIC)
    table = np.float32([70, 110, 150]) * (1 + 0.06 * grain[..., None])
    focal = 0.75 * max(size)  # 27 mm on 36 mm film
    way = rng.uniform(0, 2 * math.pi)
    lean = cv2.Rodrigues(np.array([math.cos(way), math.sin(way), 0]) * math.radians(tilt))[0]
    turn = cv2.Rodrigues(np.array([0, 0, rng.normal(0, 0.06)]))[0] @ lean
    far = max(w / width, h / height) * focal * 1.28
    lens = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1.0]])
    middle = turn @ np.array([-w / 2, -h / 2, 0]) + np.array([0, 0, far])
    on_film = lens @ np.column_stack([turn[:, 0], turn[:, 1], middle])
    scale = focal / far
    if scale < 1:  # as a lens does: what is finer than a pixel blurs
        flat = cv2.GaussianBlur(flat, (0, 0), 0.45 / scale)
    seen = cv2.warpPerspective(flat, on_film, size, flags=cv2.INTER_LINEAR)
    whole = np.ones((h, w), np.float32)
    there = cv2.warpPerspective(whole, on_film, size)[..., None]
    below = cv2.warpPerspective(whole, np.array([[1, 0, 8], [0, 1, 10], [0, 0, 1.0]]) @ on_film, size)
    shadow = cv2.GaussianBlur(below, (0, 0), 8)[..., None]
    picture = table * (1 - 0.3 * shadow) * (1 - there) + seen * there
    lamp = rng.uniform(0, 2 * math.pi)
    across = np.linspace(-0.5, 0.5, width, dtype=np.float32) * math.cos(lamp)
    down = np.linspace(-0.5, 0.5, height, dtype=np.float32)[:, None] * math.sin(lamp)
    picture *= (0.85 + 0.32 * (across + down))[..., None] * np.float32([0.93, 0.98, 1.0])
    picture = cv2.GaussianBlur(picture, (0, 0), float(rng.uniform(0.6, 1.1)))
    picture += rng.standard_normal(picture.shape, np.float32) * (1.5 + 0.02 * picture)
    coded = cv2.imencode(".jpg", np.clip(picture, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 88])[1]
    decoded = cv2.imdecode(coded, cv2.IMREAD_COLOR)
    assert decoded is not None
    return decoded


TOLD = (
    "pictures",
    "boards",
    "perfect",
    "cubes",
    "kind_turn",
    "values",
    "values_right",
    "taps_wrong",
    "leads",
    "leads_right",
    "silent",
    "extra",
)


def main(tilts: list[float]) -> None:
    """Read every sample design laid out of paper, and say what came out."""
    from snapcheck.check import Verdict
    from snapcheck.photo import State, picture_of_array, read_picture, score
    from snapcheck.pipeline import check_build

    kit = bundled_kit()
    for tilt in tilts:
        result, doubtful, unsure, blanks, ready = score.Score(), 0, 0, 0, 0
        for number, path in enumerate(sorted(Path("fixtures/designs").glob("*.board"))):
            design = load_design(path, kit)
            rng = np.random.default_rng(1000 * round(tilt) + number)
            picture = photographed(laid(design, kit, rng), rng, tilt)
            try:
                seen = read_picture(picture_of_array(picture, path.stem, colours="bgr"), path.stem, kit)
            except Exception as error:
                print(f"  {path.stem}: {error}")
                continue
            score.add(result, design.board, seen, kit)
            doubtful += bool(seen.edge)
            ready += check_build(seen, design, kit).verdict is Verdict.READY
            unsure += sum(c.state is not State.READ for c in seen.cubes.values())
            blanks += sum(b.state is not State.READ for b in seen.blanks.values())
        n = result.count
        told = {name: n[name] for name in TOLD}
        open_ = f"unsure cubes {unsure} unsure blanks {blanks} doubtful edges {doubtful}"
        print(f"tilt {tilt:g}: {told} {open_} ready by its plan {ready}")
        for line in result.mistakes[:8]:
            print(f"    {line}")


if __name__ == "__main__":
    import sys

    main([float(word) for word in sys.argv[1:]] or [0.0, 5.0, 10.0])
