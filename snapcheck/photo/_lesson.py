"""Labelled crops from photos of boards whose layout is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from snapcheck.board import Board, Cell, Cube
from snapcheck.errors import PhotoError
from snapcheck.kit import Kit
from snapcheck.photo._cells import FINE, _answers, crops_of, flatten
from snapcheck.photo._large import pieces_of
from snapcheck.photo._locate import locate
from snapcheck.photo._nets import names, run
from snapcheck.photo._open import Picture
from snapcheck.photo._taught import MOST_OFF, off_grid
from snapcheck.photo._views import EMPTY, Examples
from snapcheck.words import tr

_RIM = 0.1
#: log probabilities below this count no less: one covered cube must not decide which way the plate lies
_LEAST = -5.0
#: how much better one way to lie must explain the picture than any other
CLEAR = 6.0
#: share of cells in which something must lie or not as on the layout
FITS = 0.9


@dataclass(frozen=True)
class Shown:
    """A photo of a board that is known: which of the boards, and how far it is turned clockwise in the
    photo."""

    board: int
    quarter: int
    examples: Examples


def examples_of(picture: Picture, name: str, boards: Mapping[str, Board], kit: Kit, photo: int = 0) -> Shown:
    """Crops of a photo of one of these boards, laid any way round.

    Args:
        boards: what may have been laid, by names that tell them apart.
        photo: number of the photo.

    Raises:
        PhotoError: no board is found, or none of these.
    """
    at = locate(picture, name, MOST_OFF)
    flat = flatten(picture.pixels, at.frame, at.columns, at.rows, FINE, _RIM)
    places = [(x, y) for y in range(at.rows) for x in range(at.columns)]
    crops = crops_of(flat, _RIM, places)
    kind, turn, *_ = _answers(run("symbols", crops), 0)
    fits: list[tuple[float, float, int, int]] = []
    for number, board in enumerate(boards.values()):
        for quarter in range(4):
            size = (board.columns, board.rows) if quarter % 2 == 0 else (board.rows, board.columns)
            if size == (at.columns, at.rows):
                labels = _labels(board, kit, quarter)
                fits.append((*_fit(labels, places, kind, turn), number, quarter))
    if not fits:
        sizes = ", ".join(sorted({f"{b.columns}x{b.rows}" for b in boards.values()}))
        raise PhotoError(
            tr("shows a plate of {columns} by {rows} cells.", columns=at.columns, rows=at.rows),
            place=name,
            way_out=tr(
                "The layout is for a plate of {sizes}; take the whole plate, or give --plate.", sizes=sizes
            ),
        )
    fits.sort(reverse=True)
    score, share, number, quarter = fits[0]
    if share < FITS:
        raise PhotoError(
            tr("cubes and free cells are not where the layout has them ({share:.0%} are).", share=share),
            place=name,
            way_out=tr("Lay it as the layout shows; leave the free cells free."),
        )
    if len(fits) > 1 and score - fits[1][0] < CLEAR:
        raise PhotoError(
            tr("it cannot be told which way round the layout lies."),
            place=name,
            way_out=tr("Take the photo with the layout's upper edge up."),
        )
    board_name, board_of_it = list(boards.items())[number]
    labels = _labels(board_of_it, kit, quarter)
    told = [labels.get((y, x)) or _free(board_of_it, x, y, quarter) for x, y in places]
    examples = Examples(
        crops,
        tuple(piece for piece, _, _ in told),
        np.array([q for _, q, _ in told]),
        tuple(f"{board_name} {anchor}" for _, _, anchor in told),
        np.full(len(told), photo),
        at.frame.residual,
    )
    return Shown(number, quarter, examples)


def cells_of(
    picture: Picture, name: str, size: tuple[int, int], cubes: Mapping[Cell, Cube], kit: Kit
) -> Examples:
    """Crops of some cubes in a photo, as they stand there.

    Args:
        size: columns and rows of the plate, as it was read. cubes: by the cells that cubes are called by.

    Raises:
        PhotoError: no board is found, or another one than was read.
    """
    at = locate(picture, name, off_grid(kit))
    if (at.columns, at.rows) != size:
        raise PhotoError(
            tr("shows a plate of {columns} by {rows} cells.", columns=at.columns, rows=at.rows), place=name
        )
    told = [
        ((anchor.column + column, anchor.row + row), piece, cube.turn // 90, str(anchor))
        for anchor, cube in cubes.items()
        for row, column, piece in pieces_of(kit[cube.kind], cube.turn)
    ]
    flat = flatten(picture.pixels, at.frame, at.columns, at.rows, FINE, _RIM)
    places, pieces, quarters, names = zip(*told, strict=True)
    crops = crops_of(flat, _RIM, list(places))
    return Examples(crops, pieces, np.array(quarters), names, np.zeros(len(told), int))


Labels = dict[tuple[int, int], tuple[str, int, Cell]]


def _labels(board: Board, kit: Kit, quarter: int) -> Labels:
    """Row and column in the photo to piece, its quarter turns there, and the cube's cell on the layout."""
    labels: Labels = {}
    for anchor, cube in board.cubes.items():
        for row, column, piece in pieces_of(kit[cube.kind], cube.turn):
            r, c, high, wide = anchor.row + row, anchor.column + column, board.rows, board.columns
            for _ in range(quarter):
                r, c, high, wide = c, high - 1 - r, wide, high
            labels[r, c] = piece, (cube.turn // 90 + quarter) % 4, anchor
    return labels


def _free(board: Board, x: int, y: int, quarter: int) -> tuple[str, int, Cell]:
    """A free cell, as `_labels` tells of others; column and row in the photo."""
    wide, high = (board.columns, board.rows) if quarter % 2 == 0 else (board.rows, board.columns)
    for _ in range(quarter):  # counterclockwise
        x, y, wide, high = y, wide - 1 - x, high, wide
    return EMPTY, 0, Cell(y, x)


def _fit(
    labels: Labels, places: Sequence[tuple[int, int]], kind: np.ndarray, turn: np.ndarray
) -> tuple[float, float]:
    """How well labels explain what the network sees: log probability, and the share of cells that are free
    or not as they say. The network does not know parts of larger cubes: these say nothing."""
    kinds = names()[0]
    score, right = 0.0, 0
    for i, (x, y) in enumerate(places):
        label = labels.get((y, x))
        empty = float(kind[i, -1])
        if label is not None and " " in label[0]:
            right += 1
            continue
        right += (label is None) == (empty > np.log(0.5))
        if label is None:
            score += max(empty, _LEAST)
            continue
        piece, quarter, _ = label
        there = float(np.log(max(1 - np.exp(empty), 1e-9)))
        score += max(there, _LEAST)
        if piece in kinds:
            said = float(kind[i, kinds.index(piece)]) - there + float(turn[i, quarter])
            score += max(said, _LEAST)
    return score, right / len(places)
