"""Reading with what photos taught: each artwork explains the cells that look like it, the network the others.

Of one artwork its file holds a linear head over the symbol network's features. It says how likely a crop is
each piece (a cube of one cell, or one cell's part of a larger cube) in each turn; the network's own answer
stands in it as prior, so that the head holds only what the photos add. How far a crop's features lie from
everything taught says whether the artwork explains it at all; how much of a board each artwork makes up is
weighed over all cells (expectation-maximisation, Dempster, Laird and Rubin 1977), with the untaught network
as one of them.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from snapcheck.errors import DataError, InputError
from snapcheck.kit import Kit, Taught
from snapcheck.photo._cells import ALONE, Asked, Symbols, _answers, read_symbols
from snapcheck.photo._nets import names, run_symbols, symbols_digest
from snapcheck.words import tr

#: how little the network's answer can make a choice count: it is no judge of artwork it has never seen
LEAST_PRIOR = -6.0
#: arrays of one artwork take at most this much memory, bytes
_MOST = 64_000_000
#: evidence of one cell between "like this artwork" and "not like it" counts at most e to this
_MOST_LIKE = 12.0
#: other artwork lies this much farther than what was taught, and is spread so much wider (logarithms; set on
#: development styles and labelled pictures, see models/README.md)
_OTHERS_FARTHER, _OTHERS_WIDER = 2.2, 1.3
#: how much an empty cell's certainty speaks for the network at most: no artwork is taught what is empty
_MOST_EMPTY = 4.0
#: cells that each artwork is taken to have explained before, so that no share becomes nought
_PRIOR_CELLS = 0.1
#: residual of a lattice (cells) that is trusted in photos of a known layout; and so much more than in these a
#: kit's artwork may draw the grid aside in others
MOST_OFF, _MORE_OFF = 0.09, 1.5
_ROUNDS = 4


@dataclass(frozen=True)
class Scale:
    """How raw features become those that heads use: (d,) of the last ones, of the placed ones by main parts.

    Attributes:
        middle, spread: of the last features.
        placed_middle: of the pooled placed features; parts: (p, k) their main parts; part_spread: (k,).
    """

    middle: np.ndarray
    spread: np.ndarray
    placed_middle: np.ndarray
    parts: np.ndarray
    part_spread: np.ndarray

    def __call__(self, last: np.ndarray, pool: np.ndarray) -> np.ndarray:
        """(n, d + k) features of about unit length; `pool` as `pooled` has it."""
        a = (last - self.middle) / self.spread / np.sqrt(last.shape[1])
        b = (pool - self.placed_middle) @ self.parts / self.part_spread
        return np.hstack([a, b / np.sqrt(b.shape[1])]).astype(np.float32)


def pooled(placed: np.ndarray) -> np.ndarray:
    """(n, c, 5, 5) to (n, 9 c): means over nine windows that overlap, so that a small shift changes
    little."""
    windows = slice(0, 2), slice(1, 4), slice(3, 5)
    rows = np.stack([placed[:, :, i].mean(2) for i in windows], 2)
    means = np.stack([rows[..., j].mean(3) for j in windows], 3)
    return means.reshape(len(placed), -1)


@dataclass(frozen=True)
class Head:
    """One artwork's head.

    Attributes:
        pieces: what may be seen: a kind's name, or `kind row,column` for one cell (at turn 0) of a
            larger one.
        scale: of features.
        weights: (features + 1, 4 * pieces); a piece's four turns stand side by side, quarter turns clockwise.
        means: (4 * pieces, features) of what was taught.
        near, spread: of the logarithm of squared distances from these, mean and standard deviation for crops
        of this artwork that were not taught.
        sharpness: factor of the head's logits, so that its probabilities are right as often as they say.
        sure: probability of kind and turn from which on a cube of this artwork can be called read.
        bare: (pieces,) how likely the network by itself takes each for an empty cell.
        residual: of the lattice (cells) in the photos that taught it: artwork off the middle of its cubes
            draws the grid aside.
    """

    pieces: tuple[str, ...]
    scale: Scale
    weights: np.ndarray
    means: np.ndarray
    near: float
    spread: float
    sharpness: float
    sure: float
    bare: tuple[float, ...] = ()
    residual: float = 0.0

    def features(self, last: np.ndarray, placed: np.ndarray) -> np.ndarray:
        return self.scale(last, pooled(placed))

    def logits(self, features: np.ndarray, prior: np.ndarray) -> np.ndarray:
        """(n, 4 * pieces) logits of a view; `prior` as `prior_of` has it."""
        return np.asarray(features @ self.weights[:-1] + self.weights[-1] + prior)

    def distance(self, features: np.ndarray) -> np.ndarray:
        """(n, 4 * pieces) squared distances from what was taught."""
        return squared_distances(features, self.means)

    def evidence(self, distance: np.ndarray) -> np.ndarray:
        """(n,) how much likelier (logarithm) these distances are for this artwork than for any other."""
        log = np.log(np.maximum(distance, 1e-6))
        own = (log - self.near) / self.spread
        wide = self.spread * _OTHERS_WIDER
        other = (log - self.near - _OTHERS_FARTHER * self.spread) / wide
        return np.asarray(np.clip(np.log(_OTHERS_WIDER) + (other**2 - own**2) / 2, -_MOST_LIKE, _MOST_LIKE))

    def looks_empty(self, probability: np.ndarray) -> np.ndarray:
        """(n,) how likely the network takes for empty what these (n, 4 * pieces) are most likely of."""
        piece = probability.argmax(1) // 4
        return np.clip(np.array(self.bare)[piece], 1e-6, 1) if self.bare else np.full(len(piece), 1e-6)


def prior_of(out: np.ndarray, pieces: Sequence[str]) -> np.ndarray:
    """(n, 4 * pieces) log probabilities by the network alone, of its raw outputs; what it has no name for
    shares its "other"."""
    kinds = names()[0]
    kind, turn, *_ = _answers(out, 0)
    strange = sum(p not in kinds for p in pieces)
    columns = [kinds.index(p) if p in kinds else len(kinds) - 2 for p in pieces]
    own = np.array([0.0 if p in kinds else np.log(strange) for p in pieces])
    known = np.array([p in kinds for p in pieces])
    log_kind = kind[:, columns] - own
    log_turn = np.where(known[None, :, None], turn[:, None, :], np.log(0.25))
    both = (log_kind[:, :, None] + log_turn).reshape(len(out), -1)
    return np.asarray(np.maximum(both, LEAST_PRIOR), np.float32)


def squared_distances(features: np.ndarray, means: np.ndarray) -> np.ndarray:
    """(n, m) of (n, d) features from (m, d) means."""
    return np.asarray((features**2).sum(1)[:, None] - 2 * features @ means.T + (means**2).sum(1))


def turned_back(values: np.ndarray, quarter: int) -> np.ndarray:
    """(n, 4 * pieces) values of a view turned counterclockwise by quarters, as of the crop itself."""
    shape = values.shape
    return np.roll(values.reshape(shape[0], -1, 4), quarter, 2).reshape(shape)


def log_softmax(values: np.ndarray) -> np.ndarray:
    values = values - values.max(1, keepdims=True)
    return np.asarray(values - np.log(np.exp(values).sum(1, keepdims=True)))


# --- the file ----------------------------------------------------------------------------------------


def packed(about: dict[str, Any], arrays: dict[str, np.ndarray]) -> bytes:
    """Arrays and what is said of them, as the data of a `Taught`."""
    file = io.BytesIO()
    told = np.frombuffer(json.dumps(about).encode(), np.uint8)
    np.savez_compressed(file, about=told, **arrays)  # type: ignore[arg-type]
    return file.getvalue()


def unpacked(taught: Taught) -> tuple[dict[str, Any], dict[str, np.ndarray]]:
    """The opposite of `packed`. Raises DataError where this cannot be."""
    try:
        with zipfile.ZipFile(io.BytesIO(taught.data)) as archive:
            if sum(part.file_size for part in archive.infolist()) > _MOST:
                raise ValueError("too large")
        with np.load(io.BytesIO(taught.data), allow_pickle=False) as file:
            arrays = {name: file[name] for name in file.files}
        about = json.loads(arrays.pop("about").tobytes())
        if not isinstance(about, dict):
            raise ValueError("no table")
    except (ValueError, KeyError, OSError, zipfile.BadZipFile, EOFError, RecursionError) as error:
        raise damaged(taught.name) from error
    return about, arrays


def damaged(name: str) -> DataError:
    """The error that what was learnt of this artwork makes no sense."""
    return DataError(
        tr("what was learnt of '{name}' cannot be understood.", name=name),
        way_out=tr("Take a copy of the kit that is whole, or teach it again."),
    )


def off_grid(kit: Kit) -> float:
    """The residual of a lattice (cells) that a kit's artwork explains; see `head_of` for errors."""
    return min(MOST_OFF, max((_MORE_OFF * head_of(one).residual for one in kit.taught), default=0.0))


@lru_cache(maxsize=8)
def head_of(taught: Taught) -> Head:
    """The head of one artwork.

    Raises:
        InputError: it was learnt with another network.
        DataError: it is damaged.
    """
    if taught.network != symbols_digest():
        raise InputError(
            tr("what was learnt of '{name}' belongs to another release of the networks.", name=taught.name),
            way_out=tr("Learn it anew from the pictures in the kit's file: snapcheck teach --again KIT"),
        )
    about, arrays = unpacked(taught)
    try:
        some = {name: arrays[name].astype(np.float32) for name in _HEAD}
        pieces = tuple(str(p) for p in about["pieces"])
        near, spread, sharpness, sure = (float(about[n]) for n in ("near", "spread", "sharpness", "sure"))
        scale = Scale(*(some[name] for name in _HEAD[:5]))
        residual = float(about.get("residual", 0.0))
        bare = tuple(min(max(float(p), 0.0), 1.0) for p in about.get("bare", ()))
        head = Head(
            pieces, scale, some["weights"], some["means"], near, spread, sharpness, sure, bare, residual
        )
        size = len(scale.middle) + scale.parts.shape[1]
        if head.weights.shape != (size + 1, 4 * len(pieces)) or head.means.shape != (4 * len(pieces), size):
            raise ValueError("shapes do not fit")
        if not np.isfinite(residual):
            raise ValueError("not finite")
        if len(bare) not in (0, len(pieces)):  # none in files of earlier releases
            raise ValueError("pieces do not fit")
        if not all(np.isfinite(a).all() for a in some.values()):
            raise ValueError("not finite")
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise damaged(taught.name) from error
    return head


_HEAD = ("middle", "spread", "placed_middle", "parts", "part_spread", "weights", "means")


def arrays_of(head: Head) -> dict[str, np.ndarray]:
    """A head's arrays for its file, as 16-bit floats."""
    scale = head.scale
    every = (
        scale.middle, scale.spread, scale.placed_middle, scale.parts, scale.part_spread, head.weights,
        head.means,
    )  # fmt: skip
    return {name: a.astype(np.float16) for name, a in zip(_HEAD, every, strict=True)}


# --- reading -----------------------------------------------------------------------------------------


def read_taught(board: np.ndarray, rim: float, places: list[tuple[int, int]], kit: Kit) -> Symbols:
    """As `read_symbols`, with what the kit was taught.

    Raises:
        InputError, DataError: see `head_of`.
    """
    heads = [head_of(one) for one in kit.taught]
    if not heads:
        return read_symbols(board, rim, places)
    views = [_Views(head, len(places)) for head in heads]

    def asked(crops: np.ndarray, which: np.ndarray, quarters: tuple[int, ...]) -> np.ndarray:
        out, last, placed = run_symbols(crops)
        for view in views:
            for n, quarter in enumerate(quarters):
                part = slice(n * len(which), (n + 1) * len(which))
                view.add(which, quarter, out[part], last[part], placed[part])
        return out

    def settled() -> np.ndarray:
        return np.asarray(np.any([view.beyond_doubt() for view in views], 0))

    plain: Asked = asked
    seen = read_symbols(board, rim, places, plain, settled)
    return explained(seen, [(v.head, *v.means()) for v in views])


class _Views:
    """What one head says of every crop, over the views that were taken of it."""

    def __init__(self, head: Head, n: int) -> None:
        self.head = head
        self.log = np.zeros((n, 4 * len(head.pieces)), np.float32)
        self.far = np.zeros((n, 4 * len(head.pieces)), np.float32)
        self.count = np.zeros(n)

    def add(
        self, which: np.ndarray, quarter: int, out: np.ndarray, last: np.ndarray, placed: np.ndarray
    ) -> None:
        f = self.head.features(last, placed)
        said = log_softmax(self.head.logits(f, prior_of(out, self.head.pieces)))
        self.log[which] += turned_back(said, quarter)
        self.far[which] += turned_back(self.head.distance(f), quarter)
        self.count[which] += 1

    def means(self) -> tuple[np.ndarray, np.ndarray]:
        """(n, 4 * pieces) probabilities, and (n,) squared distances of the likeliest choice."""
        log = self.log / self.count[:, None]
        far = self.far[np.arange(len(log)), log.argmax(1)] / self.count
        return np.asarray(np.exp(log_softmax(log * self.head.sharpness))), far

    def beyond_doubt(self) -> np.ndarray:
        """(n,) crops that this artwork explains, and where one view of them leaves no doubt."""
        probability, far = self.means()
        return np.asarray((self.head.evidence(far) > 0) & (probability.max(1) > max(ALONE, self.head.sure)))


def explained(seen: Symbols, taught: list[tuple[Head, np.ndarray, np.ndarray]]) -> Symbols:
    """What the network saw, with every cell explained by the artwork that it looks like.

    Args:
        taught: heads, each with its probabilities and distances as `_Views.means` has them.
    """
    artworks = np.stack([head.evidence(far) for head, _, far in taught], 1)
    bare = np.stack([head.looks_empty(probability) for head, probability, _ in taught], 1)
    # that a cell looks empty says little against a piece that looks so, too
    least = np.minimum(_MOST_EMPTY, -np.log(bare[np.arange(len(bare)), artworks.argmax(1)]))
    nothing = np.minimum(-np.log(np.maximum(1 - np.exp(seen.kind[:, -1]), 1e-9)), least)
    like = np.column_stack([nothing, artworks])
    shares, counted = np.full(like.shape[1], 1 / like.shape[1]), like[:, 1:].max(1) > like[:, 0]
    counted |= seen.kind[:, -1] < np.log(0.5)  # empty cells speak for nobody
    for _ in range(_ROUNDS):
        weight = np.exp(log_softmax(like + np.log(shares)))
        total = weight[counted].sum(0) + _PRIOR_CELLS
        shares = total / total.sum()
    weight = np.exp(log_softmax(like + np.log(shares)))
    strange = dict.fromkeys(p for h, _, _ in taught for p in h.pieces if p not in seen.kinds)
    kinds = (*seen.kinds[:-2], *strange, *seen.kinds[-2:])
    kind = np.zeros((len(like), len(kinds)))
    own = [kinds.index(k) for k in seen.kinds]
    kind[:, own] = np.exp(seen.kind) * weight[:, :1]
    turn = np.exp(seen.turn) * weight[:, :1]
    surer = np.zeros(len(like))
    for n, (head, probability, _) in enumerate(taught, 1):
        share = probability.reshape(len(like), -1, 4)
        kind[:, [kinds.index(p) for p in head.pieces]] += weight[:, n, None] * share.sum(2)
        best = share[np.arange(len(like)), share.sum(2).argmax(1)]
        turn += weight[:, n, None] * best / best.sum(1, keepdims=True)
        surer = np.where(weight[:, n] > 0.5, head.sure, surer)
    kind /= kind.sum(1, keepdims=True)
    # where the network says the same by itself, and is surer, teaching takes nothing of that away
    plain = np.zeros_like(kind)
    plain[:, own] = np.exp(seen.kind)
    rows, best_kind, best_turn = np.arange(len(kind)), plain.argmax(1), seen.turn.argmax(1)
    alone = plain[rows, best_kind] * np.exp(seen.turn[rows, best_turn])
    same = (kind.argmax(1) == best_kind) & (turn.argmax(1) == best_turn)
    keep = same & (alone > kind[rows, best_kind] * turn[rows, best_turn])
    kind[keep], turn[keep], surer[keep] = plain[keep], np.exp(seen.turn[keep]), 0.0
    return replace(seen, kind=np.log(kind + 1e-12), turn=np.log(turn + 1e-12), kinds=kinds, surer=surer)
