"""``snapcheck simulate FILE``: what the board does, in figures and plots."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck import api
from snapcheck.cli._common import add_kit, make_folder, print_json, write_file
from snapcheck.cli._output import document, say
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.simulate import Survey, Sweep, Tolerance, WhatIf


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a layout file, or JSON as 'read' writes it")
    parser.add_argument(
        "--design",
        metavar="DESIGN",
        help="a layout file that says input, output, conditions and figures; FILE is held beside it",
    )
    parser.add_argument("--set", metavar="SETTINGS", help="such as 'A2 closed, B1 8 V, light 5 lux'")
    parser.add_argument("--input", metavar="PLACE", help="where the signal goes in, such as 'A3'")
    parser.add_argument("--output", metavar="PLACE", help="where it comes out, such as 'C4 collector'")
    parser.add_argument("--plots", metavar="FOLDER", help="write every plot there, as PNG and SVG")
    parser.add_argument("--dark", action="store_true", help="plots on a dark ground")
    parser.add_argument(
        "--tolerance", type=int, metavar="SAMPLES", help="try so many boards of parts within tolerance"
    )
    parser.add_argument("--seed", type=int, default=1, help="of the tolerance analysis (default 1)")
    parser.add_argument(
        "--sweep", metavar="KNOB", help="light, temperature, pot, supply, or with a cell: 'pot C4'"
    )
    parser.add_argument("--from", dest="start", type=float, metavar="VALUE", help="where the sweep begins")
    parser.add_argument("--to", dest="stop", type=float, metavar="VALUE", help="where the sweep ends")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.simulate import plots_of

    show = args.tolerance is not None and sys.stderr.isatty() and not args.json

    def progress(words: str) -> None:
        sys.stderr.write("\r" + words)
        sys.stderr.flush()

    found = api.simulate(
        Path(args.file), design=Path(args.design) if args.design else None, kit=args.kit,
        settings=args.set or "", input=args.input or "", output=args.output or "",
        sweep=args.sweep or "", start=args.start, stop=args.stop, tolerance=args.tolerance, seed=args.seed,
        progress=progress if show else None,
    )  # fmt: skip
    if show:
        sys.stderr.write("\r" + " " * 40 + "\r")
    survey, sweep, tolerance, beside = found.survey, found.sweep, found.tolerance, found.beside
    plots: list[str] = []
    if args.plots:
        folder = Path(args.plots)
        make_folder(folder, tr("Choose another place for the plots."))
        for plot in plots_of(survey, tolerance, sweep):
            for form in ("png", "svg"):
                write_file(
                    folder / f"{plot.name}.{form}", plot.render(form, "dark" if args.dark else "light")
                )
                plots.append(str(folder / f"{plot.name}.{form}"))
    _tell(args, survey, sweep, tolerance, beside, plots)
    return 0 if found.met else 1


def _tell(
    args: argparse.Namespace,
    survey: Survey,
    sweep: Sweep | None,
    tolerance: Tolerance | None,
    beside: WhatIf | None,
    plots: list[str],
) -> None:
    from snapcheck.cli import _simulate_text as text

    if args.json:
        print_json(document("simulation", text.as_json(args.file, survey, sweep, tolerance, beside, plots)))
        return
    say(text.as_text(args.file, survey, sweep, tolerance, beside))
    for plot in plots:
        say(tr("plot: {file}", file=plot))
