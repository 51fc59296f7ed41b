"""How much two photos teach of artwork that no network was trained on (`strangekits.py`).

    python tests/taughtkits.py [STYLE...] [--boards 20] [--photos 2]     # default: the styles for reporting
    python tests/taughtkits.py [STYLE...] --corrections 20    # what so many cells put right in a class add

For each style the primer's board is laid with cubes of any value, photographed from two sides, and taught;
then other boards, of other pictures, are read with the plain and with the taught kit. Cells: kind and turn
right, of all cubes. Boards: every cell's kind and turn right, and nothing seen where nothing is (leads and
prints are counted apart).
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter, defaultdict
from dataclasses import replace
from functools import reduce

import numpy as np
import strangekits as strange
from boardmaker import random_cube

from snapcheck import api
from snapcheck.api._teach import learnt_by
from snapcheck.board import Board, Cell, Cube
from snapcheck.errors import PhotoError
from snapcheck.grade._decided_cells import SURE_OF_ANOTHER
from snapcheck.kit import Kit, ValueForm, bundled_kit, parse_kit
from snapcheck.photo import (
    Examples,
    Lesson,
    Picture,
    Reading,
    State,
    cells_of,
    notebook_of,
    picture_of_array,
    read_picture,
    score,
)

PLATE = (10, 7)
#: of a class, looked at for cells to put right
MOST_BOARDS = 60


def printed(board: Board, kit: Kit) -> Board:
    """The board with what is printed on its cubes."""
    cubes = {}
    for cell, cube in board.cubes.items():
        form = kit[cube.kind].value_form
        text = None if form is ValueForm.NONE else strange.print_of(cube, kit)
        cubes[cell] = replace(cube, printed=text)
    return Board(board.columns, board.rows, cubes)


def with_values(board: Board, kit: Kit, seed: int) -> Board:
    """The primer's board with cubes of any value."""
    rng = random.Random(seed)
    cubes = {c: replace(random_cube(rng, kit, q.kind), turn=q.turn) for c, q in board.cubes.items()}
    return Board(board.columns, board.rows, cubes)


def picture(board: Board, kit: Kit, style: str, seed: int, quarter: int = 0) -> Picture:
    pixels = strange.photo(board, kit, strange.STYLES[style], seed, 14.0, quarter)
    return picture_of_array(pixels, f"{style} {seed}", colours="bgr")


def taught(style: str, kit: Kit, photos: int = 2) -> tuple[api.Teaching, float]:
    """What photos of the primer teach, and how many seconds it takes."""
    (board,) = api.primer(kit, plate=PLATE)
    shown = with_values(board, kit, 7)
    pictures = [picture(shown, kit, style, 70 + n, 2 * n % 4) for n in range(photos)]
    start = time.monotonic()
    learnt = api.teach(None, pictures, plate=PLATE)
    return learnt, time.monotonic() - start


def count(total: Counter[str], truth: Board, reading: Reading | None, kit: Kit) -> None:
    """Count one board in."""
    total["boards"] += 1
    total["cells"] += len(truth.cubes)
    if reading is None or (reading.columns, reading.rows) != (truth.columns, truth.rows):
        total["failed"] += 1
        return
    wrong = len(set(reading.cubes) - set(truth.cubes))
    total["silent"] += sum(r.state is State.READ for c, r in reading.cubes.items() if c not in truth.cubes)
    for cell, cube in truth.cubes.items():
        seen = reading.cubes.get(cell)
        blank = reading.blanks.get(cell)
        same = seen is not None and seen.cube.kind == cube.kind
        right = seen is not None and same and kit[cube.kind].same_turn(cube.turn, seen.cube.turn)
        total["right"] += right
        wrong += not right
        value = seen is not None and right and score.same_value(cube, seen.cube, kit)
        if cube.printed is not None:
            total["values"] += 1
            total["values right"] += value
        if seen is not None and seen.state is State.READ:
            total["read"] += 1
            total["silent"] += not right
            total["silent values"] += right and not value
        total["silent"] += blank is not None and blank.state is State.READ
    total["perfect"] += not wrong


def compared(style: str, boards: int, kits: dict[str, Kit], first: int) -> dict[str, Counter[str]]:
    """Boards of one style, drawn from seed `first` on, read with these kits."""
    kit = bundled_kit()
    totals: dict[str, Counter[str]] = {name: Counter() for name in kits}
    for number in range(boards):
        board = printed(strange.random_board(kit, np.random.default_rng(first + number)), kit)
        shown = picture(board, kit, style, first + 1000 + number)
        for name, cubes in kits.items():
            start = time.process_time()
            try:
                reading = read_picture(shown, style, cubes)
            except PhotoError:
                reading = None
            totals[name]["ms"] += round(1000 * (time.process_time() - start))
            count(totals[name], board, reading, kit)
    for name, t in totals.items():
        n = t["cells"]
        print(
            f"  {name:6} cells {t['right']}/{n} ({t['right'] / n:.2%}), boards "
            f"{t['perfect']}/{t['boards']}, failed "
            f"{t['failed']}, read {t['read']}, silent {t['silent']}, values "
            f"{t['values right']}/{t['values']}, "
            f"silent values {t['silent values']}, {t['ms'] / t['boards']:.0f} ms",
            flush=True,
        )
    return totals


def measure(style: str, boards: int, photos: int) -> dict[str, Counter[str]]:
    """Boards of one style, read plain and taught."""
    kit = bundled_kit()
    learnt, seconds = taught(style, kit, photos)
    kits = {"plain": kit, "taught": parse_kit(learnt.text, "taught")}
    w = learnt.worth
    assert w is not None
    print(
        f"{style}: taught in {seconds:.0f} s, {len(learnt.text) / 1e6:.1f} MB; cross-validation "
        f"{w.right}/{w.tested}, "
        f"sure {w.sure}, silent {w.silent}; good enough {learnt.good_enough}; slips {len(learnt.slips)}"
    )
    return compared(style, boards, kits, 5000)


def corrected(style: str, kit: Kit, cells: int) -> tuple[Examples, int]:
    """Cells of boards of a class whose symbol was not sure, as they were laid; how many were read wrong.
    Without those that were hardly seen, or sure of something else: they are learnt where a person asks for
    it alone."""
    found: list[Examples] = []
    wrong = number = 0
    while sum(len(e.pieces) for e in found) < cells and number < MOST_BOARDS:
        board = printed(strange.random_board(kit, np.random.default_rng(20000 + number)), kit)
        shown = picture(board, kit, style, 21000 + number)
        number += 1
        try:
            reading = read_picture(shown, style, kit)
        except PhotoError:
            continue
        room = cells - sum(len(e.pieces) for e in found)
        pick: dict[Cell, Cube] = {}
        for cell, cube in board.cubes.items():
            seen = reading.cubes.get(cell)
            if seen is None or seen.state is not State.UNSURE or len(pick) == room:
                continue
            same = seen.cube.kind == cube.kind and kit[cube.kind].same_turn(cube.turn, seen.cube.turn)
            if seen.parts[0] < SURE_OF_ANOTHER or (same and "symbol" in seen.reason):
                pick[cell] = cube
                wrong += not same
        if pick and (reading.columns, reading.rows) == (board.columns, board.rows):
            some = cells_of(shown, style, (board.columns, board.rows), pick, kit)
            found.append(replace(some, places=tuple(f"{number} {place}" for place in some.places)))
    return reduce(Examples.and_those, found), wrong


def corrections(style: str, boards: int, photos: int, cells: int) -> dict[str, Counter[str]]:
    """Other boards of one style, read by the taught kit before and after it learnt cells of a class."""
    text = taught(style, bundled_kit(), photos)[0].text
    kit = parse_kit(text, "taught")
    book = notebook_of(kit.taught[0])
    assert book.scale is not None
    examples, wrong = corrected(style, kit, cells)
    marks = tuple(str(n) for n in range(len(examples.pieces)))
    lesson = Lesson.of_course(examples, marks, book.scale)
    learnt = learnt_by(text, kit, book.and_lesson(lesson), frozenset(), (), of_course=True)
    print(
        f"{style}: {len(marks)} cells learnt ({wrong} read wrong); {learnt.gain}, worse {learnt.gain.worse}"
    )
    return compared(style, boards, {"before": kit, "after": parse_kit(learnt.text, "learnt")}, 40000)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("styles", nargs="*")
    parser.add_argument("--boards", type=int, default=20)
    parser.add_argument("--photos", type=int, default=2)
    parser.add_argument("--corrections", type=int, default=0, metavar="CELLS")
    args = parser.parse_args()
    styles = args.styles or [s for s in strange.STYLES if s not in strange.TO_TUNE]
    every: dict[str, Counter[str]] = defaultdict(Counter)
    for style in styles:
        done = (
            corrections(style, args.boards, args.photos, args.corrections)
            if args.corrections
            else measure(style, args.boards, args.photos)
        )
        for name, total in done.items():
            every[name] += total
    for name, t in every.items():
        print(
            f"all {name}: cells {t['right']}/{t['cells']} ({t['right'] / t['cells']:.3%}), boards "
            f"{t['perfect']}/"
            f"{t['boards']}, silent {t['silent']} of {t['read']} (at most "
            f"{score.at_most(t['silent'], t['read']):.2%})"
        )


if __name__ == "__main__":
    main()
