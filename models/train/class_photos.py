"""Photos of the sample class, rendered like those of demo_photos.py, with their readings.

    python models/train/class_photos.py FONTS [PICTURE...]

What stands on each plate is said in fixtures/class/grades.toml; light and camera are different for everybody.
Nothing in them depends on chance: running it again gives the same pictures.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2
import demo_photos
import labels
import numpy as np
import torch
from world import Tracer

FOLDER = demo_photos.ROOT / "fixtures" / "class"
sys.path.insert(0, str(FOLDER))

from make import NOTE, builds, reading  # noqa: E402

SIZE, RAYS = (1280, 960), 28
CUT = (10, 12, 9, 14)  # pixels that the second of two equal pictures lacks: top, left, bottom, right


def taken(number: int, entry: dict) -> dict:
    """Light and camera of one picture."""
    rng = np.random.default_rng(100 + number)
    spec = {
        "seed": number + 1,
        "lead_seed": number + 1,
        "grain": float(rng.uniform(0, 1.5)),
        "gloss": float(rng.uniform(0.4, 0.6)),
        "lamp": [float(rng.uniform(-0.6, 0.6)), float(rng.uniform(-0.6, 0.6)), 0.75],
        "camera": {
            "tilt": float(rng.uniform(4, 22)),
            "from": float(rng.uniform(-40, 40)),
            "roll": float(rng.uniform(-7, 7)),
            "fill": float(rng.uniform(0.8, 0.92)),
        },
    }
    if "unsure" in entry:
        spec |= {"glare": entry["unsure"][0], "glare_light": 9.0}
    return spec


def cut_again(picture: np.ndarray) -> np.ndarray:
    """The same picture, cut a little, brighter."""
    top, left, bottom, right = CUT
    part = picture[top:-bottom, left:-right]
    return cv2.convertScaleAbs(cv2.resize(part, SIZE, interpolation=cv2.INTER_AREA), alpha=1.05, beta=3)


def moved(points: list[list[float]]) -> list[list[float]]:
    top, left, bottom, right = CUT
    k = np.array([SIZE[0] / (SIZE[0] - left - right), SIZE[1] / (SIZE[1] - top - bottom)])
    return np.round((np.array(points) - (left, top)) * k, 1).tolist()


def main() -> None:
    fonts, wanted = Path(sys.argv[1]), set(sys.argv[2:])
    demo_photos.SIZE = SIZE
    press = demo_photos.WorkshopPress(labels.Fonts(fonts), "Lato-Bold")
    tracer = Tracer()
    made: dict[str, tuple] = {}
    for number, (entry, board) in enumerate(builds()):
        name = entry["picture"]
        copies = {e["same_as"] for e, _ in builds() if "same_as" in e and e["picture"] in wanted}
        if wanted and name not in wanted | copies:
            continue
        if "same_as" in entry:
            picture, tops, plate = made[entry["same_as"]]
            picture, tops, plate = (
                cut_again(picture),
                dict(zip(tops, moved(list(tops.values())), strict=True)),
                moved(plate),
            )
        else:
            spec = taken(number, entry)
            S, cells, prims, art = demo_photos.scene(spec, board, press)
            tex = torch.from_numpy(np.stack(art)).to(tracer.dev)
            out = tracer.render([S], [cells], [prims], tex, *SIZE, RAYS, spec["seed"])
            picture = demo_photos.developed(out[0].cpu().numpy(), spec["seed"])
            tops, plate = demo_photos.places(S, board)
        made[name] = picture, tops, plate
        if entry.get("photo") == "blurred":
            picture = cv2.GaussianBlur(picture, (0, 0), 28)
        if entry.get("photo") == "dark":
            picture = (picture * 0.02).astype(np.uint8)
        file = FOLDER / "submissions" / f"{name}.jpg"
        cv2.imwrite(str(file), picture, [cv2.IMWRITE_JPEG_QUALITY, 78])
        if entry.get("note"):
            file.with_suffix(".txt").write_text(NOTE, encoding="utf-8")
        if "photo" not in entry:
            told = json.dumps(
                reading(board, list(SIZE), tops, plate, entry.get("unsure", [])), ensure_ascii=False
            )
            (FOLDER / "readings" / f"{file.stem}.json").write_text(told + "\n", encoding="utf-8")
        print(name, f"{file.stat().st_size // 1000} kB", flush=True)


if __name__ == "__main__":
    main()
