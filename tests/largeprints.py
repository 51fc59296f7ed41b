"""How well the print of cubes of several cells is read, on paper tiles cut out of sheets (`paperphoto`).

    python tests/largeprints.py [--boards 12] [--kit large]     # default: the kit with chips

A kit with its large kinds is taught by two photos of its primer's board; then boards of large cubes of any
value are read. Large cubes: kind and turn right, value right, called `read`, and wrong of these.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
from boardmaker import random_cube
from largekit import LARGE_TEXT
from paperphoto import laid, photographed

from snapcheck import api
from snapcheck.board import Board, Cube
from snapcheck.errors import SnapcheckError
from snapcheck.kit import Kit, ValueForm, bundled_kit, parse_kit
from snapcheck.photo import Picture, State, picture_of_array, read_picture, score

#: open values that large kinds come with here, beside those that their kit lists
OPEN: dict[str, tuple[float, ...]] = {"battery-box": (3.0, 4.5, 6.0, 9.0), "big-speaker": (4.0, 8.0, 16.0)}
#: more types for one kind, so that there is something to tell apart
MORE = """name = "{name}"
title = "Large cubes of several values"
based_on = "chips"
"""
SMALL = ("resistor", "npn", "led", "lamp", "corner", "tee")
CHIPS_TEXT = MORE.format(name="chips-more")
LARGER_TEXT = LARGE_TEXT.replace('values = ["RN8"]', 'values = ["RN8", "RN5", "SK12"]')


def cube_of(kit: Kit, name: str, rng: random.Random) -> Cube:
    kind = kit[name]
    some = OPEN.get(name) or kind.values
    value = rng.choice(some) if kind.value_form is not ValueForm.NONE and some else None
    return Cube(name, rng.choice((0, 90, 180, 270)), value, size=kind.size)


def small_cube(kit: Kit, name: str, rng: random.Random) -> Cube:
    return random_cube(rng, kit, name)


def board_of(kit: Kit, names: list[str], seed: int, columns: int = 9, rows: int = 7) -> Board:
    """Large cubes wherever there is room, and some of one cell."""
    rng, board = random.Random(seed), Board(columns, rows)
    for cell in rng.sample(list(board.cells()), columns * rows):
        small = rng.random() < 0.5
        cube = random_cube(rng, bundled_kit()) if small else cube_of(kit, rng.choice(names), rng)
        across, down = cube.lies
        fits = cell.column + across <= columns and cell.row + down <= rows
        if fits and not any(board.cube_at(c) for c in cube.cells(cell)) and rng.random() < 0.7:
            board = board.put({cell: cube})
    return board


def picture(board: Board, kit: Kit, seed: int, tilt: float = 10.0, quarter: int = 0) -> Picture:
    rng = np.random.default_rng(seed)
    design: Any = SimpleNamespace(board=board)
    flat = np.ascontiguousarray(np.rot90(laid(design, kit, rng), -quarter))
    pixels = photographed(flat, rng, float(rng.uniform(0, tilt)), (2000, 1500))
    return picture_of_array(pixels, f"photo {seed}", colours="bgr")


def taught(text: str, kit: Kit, names: list[str], photos: int) -> api.Teaching:
    """What photos of the primer's board teach of large kinds, and of some others that fill the plate."""
    plates = ((10, 7), (12, 9), (14, 10))
    plate = next(p for p in plates if len(api.primer(kit, plate=p, kinds=names)) == 1)
    (board,) = api.primer(kit, plate=plate, kinds=names)
    rng = random.Random(7)
    cubes = {
        c: replace((cube_of if q.large else small_cube)(kit, q.kind, rng), turn=q.turn)
        for c, q in board.cubes.items()
    }
    shown = Board(*plate, cubes)
    pictures = [picture(shown, kit, 70 + n, quarter=2 * n % 4) for n in range(photos)]
    return api.teach(text, pictures, plate=plate, kinds=names)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--boards", type=int, default=12)
    parser.add_argument("--kit", choices=("chips", "large"), default="chips")
    parser.add_argument("--photos", type=int, default=2)
    parser.add_argument("--all", action="store_true", help="teach every kind of the kit")
    parser.add_argument("--first", type=int, default=2000, help="number of the first board")
    parser.add_argument("--each", action="store_true", help="tell what is not read, or wrong")
    args = parser.parse_args()
    text = CHIPS_TEXT if args.kit == "chips" else LARGER_TEXT
    plain = parse_kit(text, "large")
    names = [k for k in plain.kinds if plain[k].size != (1, 1) and k not in ("ten-alike", "ten-legs")]
    learnt = taught(text, plain, [*plain.kinds] if args.all else [*names, *SMALL], args.photos)
    print(learnt.worth, learnt.good_enough, len(learnt.slips))
    kit, total = parse_kit(learnt.text, "taught"), Counter[str]()
    for number in range(args.first, args.first + args.boards):
        truth = board_of(kit, names, number)
        try:
            reading = read_picture(picture(truth, kit, 100 + number), "p", kit)
        except SnapcheckError as error:
            print(number, error)
            continue
        for cell, cube in truth.cubes.items():
            if not cube.large:
                continue
            seen = reading.cubes.get(cell)
            right = seen is not None and (seen.cube.kind, seen.cube.turn) == (cube.kind, cube.turn)
            several = len(kit[cube.kind].values) != 1 and cube.value is not None
            value = seen is not None and right and score.same_value(cube, seen.cube, kit)
            sure = seen is not None and seen.state is State.READ
            total["large"] += 1
            total["right"] += right
            total["read"] += sure
            total["wrong though read"] += sure and not (right and value)
            if args.each and not (value and sure):
                print(f"  {number} {cell} {cube}: {seen}")
            if several:
                total["of several values"] += 1
                total["value right"] += value
                total["value read"] += sure
    print(dict(total))


if __name__ == "__main__":
    main()
