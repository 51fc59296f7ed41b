"""Labelled crops, and how they may look in other photos: the views that a head is learnt from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from snapcheck.photo._cells import CROP, SPAN, _answers
from snapcheck.photo._nets import names, run_symbols
from snapcheck.photo._taught import Scale, pooled, prior_of
from snapcheck.watch import stop_if_asked

#: the piece that a free cell shows
EMPTY = names()[0][-1]
#: changed views of each crop and turn, beside the crop itself, that are learnt from
CHANGED = 3
#: and those that are tested only: changed the same in all turns, as one other photo would show a cube
TESTED = 1
#: how many there are of each turn, the crop itself among them
VIEWS = 1 + CHANGED + TESTED
PARTS = 192
#: crops that main parts are worked out from: more cost time alone
_SOME = 1200


@dataclass(frozen=True)
class Examples:
    """Labelled crops.

    Attributes:
        crops: (n, CROP, CROP, 3) as the network sees cells; of what a course showed there are none (n, 0).
        pieces: what each shows (see `Head.pieces`); quarters: (n,) its turn, quarter turns clockwise.
        places: which cube, the same name in every photo of one board; photos: (n,) number of the photo.
        residual: the greatest of the photos' lattices, in cells.
    """

    crops: np.ndarray
    pieces: tuple[str, ...]
    quarters: np.ndarray
    places: tuple[str, ...]
    photos: np.ndarray
    residual: float = 0.0

    def some(self, keep: np.ndarray) -> Examples:
        """Those with `keep` true."""
        where = np.flatnonzero(keep)
        return Examples(
            self.crops[where],
            tuple(self.pieces[i] for i in where),
            self.quarters[where],
            tuple(self.places[i] for i in where),
            self.photos[where],
            self.residual,
        )

    def without_crops(self) -> Examples:
        """What is said of them alone."""
        return replace(self, crops=np.zeros((len(self.pieces), 0), np.uint8))

    def and_those(self, more: Examples) -> Examples:
        return Examples(
            np.concatenate([self.crops, more.crops]),
            self.pieces + more.pieces,
            np.concatenate([self.quarters, more.quarters]),
            self.places + more.places,
            np.concatenate([self.photos, more.photos + (self.photos.max(initial=-1) + 1)]),
            max(self.residual, more.residual),
        )


@dataclass(frozen=True)
class Views:
    """Features of all views of examples: (n, 4, VIEWS, …), quarter turns counterclockwise."""

    features: np.ndarray
    prior: np.ndarray

    def and_those(self, more: Views) -> Views:
        features = np.concatenate([self.features, more.features])
        return Views(features, np.concatenate([self.prior, more.prior]))


@dataclass(frozen=True)
class Numbers:
    """What is kept of crops that are not: of each of their views (as in `Views`, 16-bit floats) the features,
    and the raw answer of the network."""

    features: np.ndarray
    out: np.ndarray

    def some(self, keep: np.ndarray) -> Numbers:
        """Those with `keep` true."""
        return Numbers(self.features[keep], self.out[keep])

    def views(self, pieces: tuple[str, ...]) -> Views:
        out = self.out.astype(np.float32)
        prior = prior_of(out.reshape(-1, out.shape[-1]), pieces).reshape(*out.shape[:3], -1)
        return Views(self.features.astype(np.float32), prior)


def numbers_of(crops: np.ndarray, scale: Scale) -> Numbers:
    """What is kept of crops (n, CROP, CROP, 3) where they themselves are not to be."""
    out, last, pool = _answers_to_all(crops, np.random.default_rng(0))
    n = len(crops)
    features, raw = _by_example(scale(last, pool), n), _by_example(out, n)
    return Numbers(features.astype(np.float16), raw.astype(np.float16))


def look(examples: Examples, pieces: tuple[str, ...], scale: Scale | None = None) -> tuple[Scale, Views]:
    """Views of examples; features by their own scale where none is given."""
    n, rng = len(examples.pieces), np.random.default_rng(0)
    out, last, pool = _answers_to_all(examples.crops, rng)
    scale = scale or _scale_of(last, pool, rng)
    return scale, Views(_by_example(scale(last, pool), n), _by_example(prior_of(out, pieces), n))


def _by_example(values: np.ndarray, n: int) -> np.ndarray:
    return values.reshape(4, VIEWS, n, -1).transpose(2, 0, 1, 3)


def _answers_to_all(crops: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Raw outputs, last features and pooled placed ones of all views; crops one after the other in each."""
    shown = []
    boxes = _print_boxes(crops)
    others = np.random.default_rng(1)
    tested = [_changed(crops, boxes, others, anywhere=False) for _ in range(TESTED)]
    for quarter in range(4):
        learnt = [crops, *(_changed(crops, boxes, rng) for _ in range(CHANGED))]
        shown += [np.rot90(views, quarter, (1, 2)) for views in (*learnt, *tested)]
    outs, lasts, pools = [], [], []
    for views in shown:
        stop_if_asked()
        out, last, placed = run_symbols(views)
        outs.append(out)
        lasts.append(last)
        pools.append(pooled(placed))
    return np.concatenate(outs), np.concatenate(lasts), np.concatenate(pools)


def _scale_of(last: np.ndarray, pool: np.ndarray, rng: np.random.Generator) -> Scale:
    middle = pool.mean(0)
    some = (pool - middle)[rng.permutation(len(pool))[:_SOME]]
    _, parts = np.linalg.eigh(some @ some.T)
    along = some.T @ parts[:, -PARTS:]
    along /= np.linalg.norm(along, axis=0) + 1e-9
    main = (pool - middle) @ along
    spread = last.std(0) + 1e-3 * last.std()
    rough = last.mean(0), spread, middle, along, main.std(0) + 0.1 * main.std()
    return Scale(*(a.astype(np.float16).astype(np.float32) for a in rough))  # as the file keeps it


def _print_boxes(crops: np.ndarray) -> list[tuple[int, int, int, int] | None]:
    """Where in each crop something is printed, pixels from the left and top; None where nothing is."""
    out, _, _ = run_symbols(crops)
    _, _, _, text, box, *_ = _answers(out, 0)
    found: list[tuple[int, int, int, int] | None] = []
    for logit, (u, v, w, h) in zip(text, box * CROP / SPAN, strict=True):
        x0, y0 = max(0, int(CROP / 2 + u - w / 2)), max(0, int(CROP / 2 + v - h / 2))
        x1, y1 = min(CROP, int(CROP / 2 + u + w / 2) + 1), min(CROP, int(CROP / 2 + v + h / 2) + 1)
        found.append((x0, y0, x1, y1) if logit > 0 and x1 - x0 > 5 and y1 - y0 > 3 else None)
    return found


def _changed(
    crops: np.ndarray,
    boxes: list[tuple[int, int, int, int] | None],
    rng: np.random.Generator,
    *,
    anywhere: bool = True,
) -> np.ndarray:
    """Each crop as another photo may show it: a little moved, turned, blurred, lit otherwise, with noise;
    and its print in another order, so that a value is no mark of a kind; `anywhere`: also where it may be
    hidden, at the cost of spoilt symbols."""
    out = np.empty_like(crops)
    down, across = np.mgrid[-0.5 : 0.5 : CROP * 1j, -0.5 : 0.5 : CROP * 1j]
    for i, whole in enumerate(crops):
        other, box = rng.random() < 0.6, boxes[i] or (_anywhere(rng) if anywhere else None)
        crop = _other_print(whole, box, rng) if other and box else whole
        middle = (CROP / 2, CROP / 2)
        m = cv2.getRotationMatrix2D(middle, float(rng.normal(0, 2.0)), float(np.exp(rng.normal(0, 0.03))))
        m[:, 2] = m[:, 2] + rng.normal(0, 1.3, 2)
        m[0, 1] += rng.normal(0, 0.02)
        moved = cv2.warpAffine(crop, m, (CROP, CROP), borderMode=cv2.BORDER_REPLICATE)
        view: np.ndarray = np.asarray(moved, np.float32)
        blur = float(rng.uniform(0, 1.0))
        if blur > 0.25:
            view = np.asarray(cv2.GaussianBlur(view, (0, 0), blur))
        way = rng.uniform(0, 2 * np.pi)
        light = 1 + 0.25 * rng.normal() * (across * np.cos(way) + down * np.sin(way))
        view = view * light[..., None] * np.exp(rng.normal(0, 0.05, 3) + rng.normal(0, 0.18))
        view += rng.normal(0, rng.uniform(0, 5), view.shape)
        out[i] = np.clip(view, 0, 255)
    return out


def _anywhere(rng: np.random.Generator) -> tuple[int, int, int, int]:
    """A box as a print may fill, somewhere along one side: prints that are not seen as such change, too."""
    wide, tall = int(rng.uniform(0.3, 0.8) * CROP), int(rng.uniform(0.12, 0.22) * CROP)
    near, along = int(rng.uniform(0.08, 0.2) * CROP), int(rng.uniform(0, CROP - wide))
    first, last = rng.choice([near, CROP - near - tall]), along
    box = (last, int(first), last + wide, int(first) + tall)
    return box if rng.random() < 0.5 else (box[1], box[0], box[3], box[2])


def _other_print(crop: np.ndarray, box: tuple[int, int, int, int], rng: np.random.Generator) -> np.ndarray:
    """The crop with the letters of its print cut into slices and these in another order."""
    x0, y0, x1, y1 = box
    crop, axis = crop.copy(), 1 if x1 - x0 >= y1 - y0 else 0
    slices = np.array_split(crop[y0:y1, x0:x1].copy(), int(rng.integers(2, 6)), axis)
    crop[y0:y1, x0:x1] = np.concatenate([slices[k] for k in rng.permutation(len(slices))], axis)
    return crop
