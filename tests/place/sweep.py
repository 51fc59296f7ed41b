"""Every sample circuit laid anew on its own plate, beside the layout that a person made of it.

``python tests/place/sweep.py [--pictures FOLDER] [--seed N] [--effort X] [NAME...]``; not a test, because it
takes minutes. Each line: cells of both, their ratio, leads of both, crossings without joint of both, seconds
of processor time and by the clock, and whether the two circuits are the same.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from snapcheck.board import Board, draw_svg, load_design, svg_to_png, write_layout
from snapcheck.circuit import build_circuit, equivalence
from snapcheck.kit import bundled_kit
from snapcheck.place import lay, list_of

DESIGNS = Path(__file__).parents[2] / "fixtures" / "designs"
HEAD = ("circuit", "plate", "hand", "laid", "ratio", "leads", "crossovers", "cpu s", "clock s", "circuit is")


def crossings(board: Board) -> int:
    return sum(cube.kind == "crossover" for cube in board.cubes.values())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME")
    parser.add_argument("--pictures", type=Path, metavar="FOLDER")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--effort", type=float, default=1.0)
    args = parser.parse_args()
    kit = bundled_kit()
    print(("{:24}" + "{:>12}" * 9).format(*HEAD))
    for file in sorted(DESIGNS.glob("*.board")):
        if args.names and file.stem not in args.names:
            continue
        design = load_design(file, kit)
        hand = design.board
        clock, cpu = time.monotonic(), time.process_time()
        laid = lay(list_of(design, kit), kit, hand.columns, hand.rows, seed=args.seed, effort=args.effort)
        clock, cpu = time.monotonic() - clock, time.process_time() - cpu
        cells = len(list(hand.occupied))
        same = equivalence(build_circuit(hand, kit), build_circuit(laid.board, kit)).sameness
        row = (
            f"{hand.columns}x{hand.rows}", cells, laid.occupied, f"{laid.occupied / cells:.2f}",
            f"{len(hand.leads)} / {laid.leads}", f"{crossings(hand)} / {crossings(laid.board)}",
            f"{cpu:.1f}", f"{clock:.1f}", same.value,
        )  # fmt: skip
        print(("{:24}" + "{:>12}" * 9).format(file.stem, *row), flush=True)
        if args.pictures:
            args.pictures.mkdir(parents=True, exist_ok=True)
            svg = draw_svg(laid.board, kit, title=design.title)
            (args.pictures / f"{file.stem}.png").write_bytes(svg_to_png(svg, width=700))
            (args.pictures / f"{file.stem}.board").write_text(
                write_layout(laid.design, kit), encoding="utf-8"
            )


if __name__ == "__main__":
    main()
