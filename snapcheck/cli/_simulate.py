"""``snapcheck simulate FILE``: what the board does, in figures and plots."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck.board import Cell, Design, load_design, parse_probe, parse_settings
from snapcheck.check import compare, follow
from snapcheck.circuit import build_circuit
from snapcheck.cli import _simulate_text as text
from snapcheck.cli._common import add_kit, kit_of, make_folder, print_json, write_file
from snapcheck.cli._output import say
from snapcheck.errors import InputError
from snapcheck.pipeline import own_figures, parts_moved, place_design
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.check import Comparison
    from snapcheck.circuit import Circuit
    from snapcheck.kit import Kit
    from snapcheck.simulate import Simulator, Survey, Sweep, Tolerance, WhatIf

#: usual span of a sweep and whether it is spaced evenly or by ratio
_SPANS = {"pot": (0.0, 1.0, False), "light": (1.0, 10_000.0, True), "temperature": (-10.0, 60.0, False)}
_SWEEP_POINTS = 41


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
    from snapcheck.simulate import Simulator, plots_of

    if args.tolerance is not None and not 10 <= args.tolerance <= 100_000:
        raise InputError(
            tr("{n} samples are not possible.", n=args.tolerance), way_out=tr("Use 10 to 100000.")
        )
    kit = kit_of(args)
    board = load_design(args.file, kit)
    intended = load_design(args.design, kit) if args.design else None
    compared = None if intended is None else compare(intended, board.board, kit)
    design = _asked(board if compared is None else _there(intended or board, compared, kit), args, kit)
    circuit = build_circuit(board.board, kit)
    with Simulator() as simulator:
        survey = simulator.survey(design, circuit)
        beside = None
        if intended is not None and compared is not None:
            beside = _beside(simulator, intended, compared, design, kit)
        sweep = _sweep(simulator, circuit, design, args)
        tolerance = _tolerance(simulator, circuit, design, args)
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
    return 0 if all(figure.met for figure in survey.figures) else 1


def _there(intended: Design, compared: Comparison, kit: Kit) -> Design:
    """The design in the cells of the build, wherever its parts stand."""
    placed = None if parts_moved(compared) else place_design(intended, compared, kit)
    if placed is None:
        return follow(intended, compared).design
    return replace(placed, board=compared.built_circuit.board)


def _beside(simulator: Simulator, intended: Design, compared: Comparison, design: Design, kit: Kit) -> WhatIf:
    """The design's behaviour beside the build's."""
    placed = None if parts_moved(compared) else place_design(intended, compared, kit)
    if placed is None:
        return own_figures(simulator, intended, compared)
    return simulator.what_if(replace(design, board=placed.board), compared.built_circuit)


def _tell(
    args: argparse.Namespace,
    survey: Survey,
    sweep: Sweep | None,
    tolerance: Tolerance | None,
    beside: WhatIf | None,
    plots: list[str],
) -> None:
    if args.json:
        print_json(text.as_json(args.file, survey, sweep, tolerance, beside, plots))
        return
    say(text.as_text(args.file, survey, sweep, tolerance, beside))
    for plot in plots:
        say(tr("plot: {file}", file=plot))


def _asked(design: Design, args: argparse.Namespace, kit: text.Kit) -> Design:
    """The design with what the command line says instead."""
    board = design.board
    if args.input:
        design = replace(design, input=parse_probe(args.input, board, kit))
    if args.output:
        design = replace(design, output=parse_probe(args.output, board, kit))
    if args.set:
        design = replace(design, conditions=parse_settings(args.set, board, kit, design.conditions))
    return design


def _sweep(simulator: Simulator, circuit: Circuit, design: Design, args: argparse.Namespace) -> Sweep | None:
    if not args.sweep:
        return None
    import numpy as np

    from snapcheck.simulate import Knob

    what, *rest = args.sweep.split()
    cell = Cell.parse(rest[0]) if rest else None
    Knob(what, cell)  # says what is accepted before anything is made of it
    start, stop, by_ratio = _SPANS.get(what, (0.0, 0.0, False))
    if what == "supply":
        printed = [p.cube.value for p in circuit.parts if p.kind.model in ("battery", "supply")]
        volts = float(printed[0]) if printed and isinstance(printed[0], (int, float)) else 9.0
        start, stop = 0.5 * volts, 1.3 * volts
    start = start if args.start is None else args.start
    stop = stop if args.stop is None else args.stop
    if start == stop or (by_ratio and min(start, stop) <= 0):
        raise InputError(tr("a sweep from {start:g} to {stop:g} is not possible.", start=start, stop=stop))
    space = np.geomspace if by_ratio else np.linspace
    values = [float(value) for value in space(start, stop, _SWEEP_POINTS)]
    return simulator.sweep(circuit, design.conditions, what=what, values=values, cell=cell)


def _tolerance(
    simulator: Simulator, circuit: Circuit, design: Design, args: argparse.Namespace
) -> Tolerance | None:
    if args.tolerance is None:
        return None
    if not design.expectations:
        raise InputError(
            tr("no expected figures are given, so there is nothing to hold the samples against."),
            place=args.file,
            way_out=tr("Add lines such as: expect gain at 1 kHz 40 to 46 dB."),
        )
    show = sys.stderr.isatty() and not args.json

    def progress(share: float) -> None:
        if show:
            sys.stderr.write("\r" + tr("tolerance analysis: {percent:.0f} %", percent=share * 100))
            sys.stderr.flush()

    found = simulator.tolerance(
        design,
        circuit,
        samples=args.tolerance,
        slow_samples=min(40, args.tolerance),
        seed=args.seed,
        progress=progress,
    )
    if show:
        sys.stderr.write("\r" + " " * 40 + "\r")
    return found
