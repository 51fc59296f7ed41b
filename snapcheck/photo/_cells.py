"""What stands in each cell: symbol, turn, taps around it, and the line of print."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from snapcheck.photo._beam import Ranked, best_readings
from snapcheck.photo._likely import by_view, pooled
from snapcheck.photo._nets import calibration, names, run
from snapcheck.photo._points import with_points
from snapcheck.photo._reading import Frame

if TYPE_CHECKING:
    from snapcheck.photo._habits import Habits

CROP, SPAN = 72, 1.2  # the symbol network sees 72 pixels that span 1.2 cells
FINE = 120  # pixels per cell of the flattened board that crops are taken from
LINE_H, LINE_W = 32, 160
SURE = 0.998  # two views as sure as this need no third
#: one view as sure as this, and of its taps (logits), needs no second
ALONE, NO_DOUBT = 0.998, 4.0


def flatten(
    pixels: np.ndarray,
    frame: Frame,
    columns: int,
    rows: int,
    per_cell: float,
    rim: float,
    *,
    first: tuple[int, int] = (0, 0),
    scale: float = 1.0,
) -> np.ndarray:
    """Cells seen straight from above: (h, w, 3), `per_cell` pixels a cell, with `rim` cells of surroundings.

    Args:
        pixels: (h, w, 3) the photo, upright.
        frame: where the board lies.
        columns, rows: how many cells to show, from `first` (column, row) on.
        scale: from the frame's pixels to those given (0.5 for a picture decoded at half size).
    """
    width, height = round((columns + 2 * rim) * per_cell), round((rows + 2 * rim) * per_cell)
    step = 12
    gx, gy = np.arange(0, width + step, step), np.arange(0, height + step, step)
    x, y = (gx + 0.5) / per_cell - rim + first[0], (gy + 0.5) / per_cell - rim + first[1]
    at = frame.to_photo(np.stack(np.meshgrid(x, y), -1).reshape(-1, 2))
    if scale != 1:
        at = (at + 0.5) * scale - 0.5
    at = at.reshape(len(gy), len(gx), 2).astype(np.float32)
    # the map is smooth: a coarse one, spread out, is as good and much faster
    spread = np.array([[1.0 / step, 0, 0], [0, 1.0 / step, 0]])
    mx, my = (
        cv2.warpAffine(
            np.ascontiguousarray(at[..., i]),
            spread,
            (width, height),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        for i in (0, 1)
    )
    return np.asarray(cv2.remap(pixels, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def sigmoid(x: np.ndarray) -> np.ndarray:
    return np.asarray(1 / (1 + np.exp(-np.clip(x, -30, 30))))


def softmax(x: np.ndarray) -> np.ndarray:
    e = np.exp(x - x.max(-1, keepdims=True))
    return np.asarray(e / e.sum(-1, keepdims=True))


@dataclass(frozen=True)
class Symbols:
    """Answers of the symbol network for n cells.

    Attributes:
        kind: (n, 33) log probabilities; turn: (n, 4) log probabilities, quarter turns clockwise.
        taps: (n, 4) logits of a tap on N, E, S, W.
        text: (n,) logit that something is printed.
        box: (n, 4) the print's centre and size in cells from the cube's centre, in the picture's directions.
        two: (n,) logit that the print has two lines.
        loose: (n,) logit that a cube lies there without being snapped in.
        kinds: what `kind` is of: the network's names, or those and others that were taught.
        surer: (n,) how sure a symbol must be at least, None: as sure as any.
    """

    kind: np.ndarray
    turn: np.ndarray
    taps: np.ndarray
    text: np.ndarray
    box: np.ndarray
    two: np.ndarray
    loose: np.ndarray
    kinds: tuple[str, ...] = field(default_factory=lambda: names()[0])
    surer: np.ndarray | None = None


def _answers(out: np.ndarray, quarter: int) -> tuple[np.ndarray, ...]:
    """Split the outputs and undo a view turned counterclockwise by `quarter` quarter turns."""
    n_kind = len(names()[0])
    kind = out[:, :n_kind]
    turn = np.roll(out[:, n_kind : n_kind + 4], quarter, 1)
    taps = np.roll(out[:, n_kind + 4 : n_kind + 8], quarter, 1)
    box = out[:, n_kind + 9 : n_kind + 13] * SPAN
    for _ in range(quarter):  # clockwise again: (u, v) -> (-v, u)
        box = np.stack([-box[:, 1], box[:, 0], box[:, 3], box[:, 2]], -1)
    t = calibration()
    return (
        np.log(softmax(kind / t["kind_temperature"]) + 1e-12),
        np.log(softmax(turn / t["turn_temperature"]) + 1e-12),
        taps,
        out[:, n_kind + 8],
        box,
        out[:, n_kind + 13],
        out[:, n_kind + 14],
    )


#: runs the symbol network on views of crops: which of the crops, and the views' quarter turns
Asked = Callable[[np.ndarray, np.ndarray, tuple[int, ...]], np.ndarray]


def crops_of(board: np.ndarray, rim: float, places: list[tuple[int, int]]) -> np.ndarray:
    """What the symbol network sees of cells (column, row): (n, CROP, CROP, 3) of a flattened board with FINE
    pixels per cell."""
    size = CROP * 2
    half = SPAN * FINE / 2
    crops = np.empty((len(places), CROP, CROP, 3), np.uint8)
    for i, (x, y) in enumerate(places):
        cx, cy = (x + 0.5 + rim) * FINE, (y + 0.5 + rim) * FINE
        x0, y0 = round(cx - half), round(cy - half)
        piece = board[max(0, y0) : y0 + size, max(0, x0) : x0 + size]
        if piece.shape[:2] != (size, size):
            piece = cv2.copyMakeBorder(
                piece,
                max(0, -y0),
                size - piece.shape[0] - max(0, -y0),
                max(0, -x0),
                size - piece.shape[1] - max(0, -x0),
                cv2.BORDER_REPLICATE,
            )
        crops[i] = cv2.resize(piece, (CROP, CROP), interpolation=cv2.INTER_AREA)
    return crops


def _asked(views: np.ndarray, which: np.ndarray, quarters: tuple[int, ...]) -> np.ndarray:
    return run("symbols", views)


def read_symbols(
    board: np.ndarray,
    rim: float,
    places: list[tuple[int, int]],
    asked: Asked = _asked,
    settled: Callable[[], np.ndarray] | None = None,
) -> Symbols:
    """Classify cells (column, row) of a flattened board with FINE pixels per cell.

    Every cell is looked at once; occupied ones that are not beyond doubt again upside down, and where these
    two are not sure and of one mind, in the two turns between. The views are averaged.

    Args:
        asked: what runs the network.
        settled: says after the first view of all which cells' symbols are beyond doubt for other reasons.
    """
    crops = crops_of(board, rim, places)
    first = _answers(asked(crops, np.arange(len(places)), (0,)), 0)
    empty = len(names()[0]) - 1
    sums = [a.copy() for a in first]
    views = np.ones(len(places))

    def look(which: np.ndarray, quarters: tuple[int, ...]) -> None:
        if len(which):
            views_of = np.concatenate([np.rot90(crops[which], q, (1, 2)) for q in quarters])
            out = asked(views_of, which, quarters)
            for n, q in enumerate(quarters):
                part = _answers(out[n * len(which) : (n + 1) * len(which)], q)
                for total, p in zip(sums, part, strict=True):
                    total[which] += p
            views[which] += len(quarters)

    # what one view leaves no doubt about, taps around it included, is not looked at again
    plain = np.minimum(first[0].max(1), first[1].max(1)) > np.log(ALONE)
    if settled is not None:
        plain |= settled()
    plain &= np.abs(first[2]).min(1) > NO_DOUBT
    seen = (first[0][:, empty] <= np.log(0.999)) & ~plain
    look(np.nonzero(seen)[0], (2,))
    # the sum of two log probabilities is near nought only where both views are sure of the same answer
    doubt = (sums[0].max(1) < 2 * np.log(SURE)) | (sums[1].max(1) < 2 * np.log(SURE))
    look(np.nonzero(seen & doubt)[0], (1, 3))
    sums = [total / views.reshape(-1, *[1] * (total.ndim - 1)) for total in sums]
    kind, turn = sums[0], sums[1]
    kind = kind - np.log(np.exp(kind).sum(1, keepdims=True))
    turn = turn - np.log(np.exp(turn).sum(1, keepdims=True))
    taps, text, box, two, loose = sums[2:]
    return Symbols(kind, turn, taps, text, box, two, loose)


@dataclass(frozen=True)
class Print:
    """A print of one line, or of two parted by a line feed.

    Attributes:
        text, confidence: what it says, with its probability summed over alignments.
        rivals: other readings, with theirs.
        views: what the network said of each place of the line, (frames, letters) probabilities a view; of the
            upper of two lines.
        below: the same of the lower one, empty where there is none.
        habits: what the other prints of the board say of how they are written; None where nobody asked.
    """

    text: str
    confidence: float
    rivals: tuple[tuple[str, float], ...]
    views: tuple[np.ndarray, ...] = field(default=(), compare=False, repr=False)
    below: tuple[np.ndarray, ...] = field(default=(), compare=False, repr=False)
    habits: Habits | None = field(default=None, compare=False, repr=False)


#: a line's height in the crop, in heights of its print: the first view, and those taken where it is not clear
VIEWS = (1.5, 1.3, 1.75)
CLEAR = 0.99


#: two lines share the box of their print: each one's height, and how far its middle is from the box's (as in
#: models/train/fit.py)
LINE_SHARE, LINE_OFF = 0.45, 0.275
#: from here on, and up to here, the number of lines is not doubted
ONE, TWO = 0.03, 0.97
RIVALS = 24  # readings of one print that are kept


def read_prints(
    board: np.ndarray,
    rim: float,
    places: list[tuple[int, int]],
    turns: np.ndarray,
    boxes: np.ndarray,
    two: np.ndarray,
) -> list[Print]:
    """Read prints of one or two lines; see `read_lines`. `two`: (n,) how likely there are two."""
    single, double = np.flatnonzero(two < TWO), np.flatnonzero(two > ONE)
    ones = read_lines(board, rim, [places[i] for i in single], turns[single], boxes[single])
    one = {int(i): line for i, line in zip(single, ones, strict=True)}
    n = len(double)
    if not n:
        return [one[i] for i in range(len(places))]
    tall = np.where(turns[double] % 2 == 1, boxes[double, 2], boxes[double, 3])
    down = np.array([(0, 1), (-1, 0), (0, -1), (1, 0)])[turns[double]] * (LINE_OFF * tall)[:, None]
    halves = np.concatenate([boxes[double], boxes[double]])
    halves[:, :2] += np.concatenate([-down, down])
    across = np.where(np.concatenate([turns[double]] * 2) % 2 == 1, 2, 3)
    halves[np.arange(2 * n), across] *= LINE_SHARE
    both = read_lines(
        board, rim, [places[i] for i in double] * 2, np.concatenate([turns[double]] * 2), halves
    )
    result = dict(one)
    for k, i in enumerate(double.tolist()):
        pair = _stacked(both[k], both[n + k])
        result[i] = pair if i not in one else _either_way(one[i], pair, float(two[i]))
    return [result[i] for i in range(len(places))]


def _stacked(upper: Print, lower: Print) -> Print:
    """Two lines as one print."""
    options = [
        (f"{a}\n{b}", p * q)
        for a, p in ((upper.text, upper.confidence), *upper.rivals)
        for b, q in ((lower.text, lower.confidence), *lower.rivals)
    ]
    (text, p), *rest = sorted(options, key=lambda o: -o[1])[: RIVALS + 1]
    return Print(text, p, tuple(rest), upper.views, lower.views)


def _either_way(one: Print, pair: Print, two: float) -> Print:
    """A print that may have one line or two, these as likely as `two` says."""
    options = [(t, p * (1 - two)) for t, p in ((one.text, one.confidence), *one.rivals)]
    options += [(t, p * two) for t, p in ((pair.text, pair.confidence), *pair.rivals)]
    (text, p), *rest = sorted(options, key=lambda o: -o[1])[: RIVALS + 1]
    likely = pair if two > 0.5 else one
    return Print(text, p, tuple(rest), likely.views, likely.below)


def read_lines(
    board: np.ndarray, rim: float, places: list[tuple[int, int]], turns: np.ndarray, boxes: np.ndarray
) -> list[Print]:
    """Read the print of cubes whose turn (quarter turns) and text box (cells, picture directions) are known.

    What one view leaves unclear is looked at again, wider and narrower; the views have equal votes.
    """
    first = _view(board, rim, places, turns, boxes, [VIEWS[0]] * len(places))
    doubt = [i for i, line in enumerate(first) if line.confidence < CLEAR]
    twice = np.repeat(np.array(doubt, int), len(VIEWS) - 1)
    more = _view(
        board, rim, [places[i] for i in twice], turns[twice], boxes[twice], list(VIEWS[1:]) * len(doubt)
    )
    lines = [replace(line, views=()) for line in first]
    for k, i in enumerate(doubt):
        lines[i] = _pooled([first[i], *more[k * (len(VIEWS) - 1) : (k + 1) * (len(VIEWS) - 1)]])
    return lines


def _pooled(seen: list[Print]) -> Print:
    """Several views of one line as one reading: what any of them lists, weighed in all of them (`pooled`)."""
    some = tuple(dict.fromkeys(t for line in seen for t in (line.text, *(r for r, _ in line.rivals)) if t))
    views = tuple(v for line in seen for v in line.views)
    if not some:
        return replace(seen[0], views=views)
    each = by_view(some, views)
    listed = float(np.minimum(1.0, each.sum(1)).mean())  # of all that a line may say
    shares = pooled(each)
    shares *= listed / max(float(shares.sum()), 1e-9)
    (text, p), *rivals = sorted(zip(some, shares.tolist(), strict=True), key=lambda v: -v[1])
    return Print(text, p, tuple(rivals[:RIVALS]), views)


def _view(
    board: np.ndarray,
    rim: float,
    places: list[tuple[int, int]],
    turns: np.ndarray,
    boxes: np.ndarray,
    heights: list[float],
) -> list[Print]:
    """Read each line once, from a crop `heights` times as tall as its print."""
    if not places:
        return []
    lines = np.full((len(places), LINE_H, LINE_W, 3), 128, np.uint8)
    ends = []
    for i, ((x, y), q, (bx, by, bw, bh), height) in enumerate(
        zip(places, turns, boxes, heights, strict=True)
    ):
        w, h = (bh, bw) if q % 2 else (bw, bh)
        w, h = max(float(w), 0.03), max(float(h), 0.04)
        tall = h * height
        wide = max(w, 0.4 * h) + (height - 0.7) * h
        length = min(LINE_W, wide / tall * LINE_H)
        cx, cy = (x + 0.5 + rim + bx) * FINE, (y + 0.5 + rim + by) * FINE
        a = np.radians(90.0 * int(q))
        c, s = np.cos(a), np.sin(a)
        # line pixel (u, v) at twice the size -> board pixel
        ku, kv = wide * FINE / (2 * length), tall * FINE / (2 * LINE_H)
        m = np.array([[c * ku, -s * kv, 0.0], [s * ku, c * kv, 0.0]])
        m[:, 2] = (
            np.array([cx, cy]) - m[:, :2] @ np.array([length, LINE_H]) - 0.5 + m[:, :2] @ np.array([0.5, 0.5])
        )
        n = max(1, int(length))
        big = cv2.warpAffine(
            board,
            m,
            (2 * n, 2 * LINE_H),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )
        lines[i, :, :n] = cv2.resize(big, (n, LINE_H), interpolation=cv2.INTER_AREA)
        ends.append(-(-n // 4))
    out = run("text", lines)
    prob = with_points(softmax(out / calibration()["text_temperature"]), lines, ends)
    # nothing is printed beyond the end of a line
    return decode([p[:end] for p, end in zip(prob, ends, strict=True)])


def decode(lines: list[np.ndarray]) -> list[Print]:
    """What lines say, each (frames, letters) probabilities with the blank first; their best readings with
    their total probabilities where not nearly everything lies on one path."""
    letters = names()[1]
    told: list[Print | None] = []
    for prob in lines:
        path, sure = prob.argmax(1), float(prob.max(1).prod())
        kept = path[np.r_[True, path[1:] != path[:-1]]]  # repeats folded, blanks dropped
        text = "".join(letters[c - 1] for c in kept if c).strip()
        told.append(Print(text, sure, (), (prob,)) if sure > CLEAR else None)
    unclear = [prob for prob, line in zip(lines, told, strict=True) if line is None]
    ranked = iter(best_readings(unclear))
    return [line or _ranked(prob, next(ranked)) for prob, line in zip(lines, told, strict=True)]


def _ranked(prob: np.ndarray, readings: Ranked) -> Print:
    letters = names()[1]
    merged: dict[str, float] = {}
    for said, p in readings:  # a gap at either end of a line says nothing
        text = "".join(letters[c - 1] for c in said).strip()
        merged[text] = merged.get(text, 0.0) + p
    (text, best), *rest = sorted(merged.items(), key=lambda v: -v[1])
    return Print(text, best, tuple((t, p) for t, p in rest[:RIVALS] if p > 1e-4), (prob,))
