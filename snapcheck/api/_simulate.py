"""What a board does, by calculation."""

from __future__ import annotations

from dataclasses import replace
from os import PathLike as _PathLike
from typing import TYPE_CHECKING

import numpy as np

from snapcheck.api._given import (
    DesignLike,
    board_of,
    kit_of,
)
from snapcheck.api._results import Simulation
from snapcheck.board import (
    Cell,
    Conditions,
    Design,
    parse_probe,
    parse_settings,
)
from snapcheck.check import (
    Comparison,
    follow,
)
from snapcheck.check import compare as compare_boards
from snapcheck.circuit import Circuit, build_circuit
from snapcheck.errors import InputError
from snapcheck.pipeline import own_figures
from snapcheck.simulate import Knob, Simulator
from snapcheck.watch import Cancel, Progress, step, stop_if_asked, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BoardLike, KitLike
    from snapcheck.simulate import Sweep, Tolerance, WhatIf


#: usual span of a sweep and whether it is spaced evenly or by ratio
_SPANS = {"pot": (0.0, 1.0, False), "light": (1.0, 10_000.0, True), "temperature": (-10.0, 60.0, False)}
_SWEEP_POINTS = 41


def simulate(
    board: BoardLike,
    *,
    design: DesignLike | None = None,
    kit: KitLike = None,
    settings: str = "",
    input: str = "",
    output: str = "",
    sweep: str = "",
    start: float | None = None,
    stop: float | None = None,
    tolerance: int | None = None,
    seed: int = 1,
    simulator: Simulator | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> Simulation:
    """What a board does: voltages, gain, waveforms, promised figures; sweeps and tolerance where asked for.

    Args:
        board: a board: object, layout text, JSON, or the path of either.
        design: says input, output, conditions and figures instead; the board is held beside it.
        settings: such as ``A2 closed, B1 8 V, light 5 lux``.
        input, output: where the signal goes in and comes out, such as ``C4 collector``.
        sweep: ``light``, ``temperature``, ``pot``, ``supply``, or with a cell: ``pot C4``.
        start, stop: of the sweep, in its unit (a share, lux, degrees Celsius, V); None: its usual span.
        tolerance: try so many boards of parts within tolerance, 10 to 100000.
        seed: of their parts.
        kit, simulator, progress, cancel: see `check`.

    Raises:
        InputError, DataError: a file, text or option is missing or wrong; says where.
        SimulationError: the circuit cannot be calculated; says why.
        MissingLibraryError: ngspice is not installed.
    """
    if tolerance is not None and not 10 <= tolerance <= 100_000:
        raise InputError(tr("{n} samples are not possible.", n=tolerance), way_out=tr("Use 10 to 100000."))
    cubes = kit_of(kit)
    own, _ = board_of(board, cubes)
    intended = None if design is None else board_of(design, cubes)[0]
    compared = None if intended is None else compare_boards(intended, own.board, cubes)
    asked = own if intended is None or compared is None else there(intended, compared)
    if input:
        asked = replace(asked, input=parse_probe(input, asked.board, cubes))
    if output:
        asked = replace(asked, output=parse_probe(output, asked.board, cubes))
    if settings:
        asked = _set(asked, parse_settings(settings, asked.board, cubes, asked.conditions))
    circuit = build_circuit(own.board, cubes)
    with watched(progress, cancel):
        stop_if_asked()
        used = Simulator() if simulator is None else simulator
        try:
            survey = used.survey(asked, circuit)
            beside = None
            if intended is not None and compared is not None:
                beside = _beside(used, intended, compared, asked)
            swept = _sweep(used, circuit, asked, sweep, start, stop) if sweep else None
            spread = None
            if tolerance is not None:
                place = str(board) if isinstance(board, str | _PathLike) else ""
                spread = _tolerance(used, circuit, asked, tolerance, seed, place)
        finally:
            if simulator is None:
                used.close()
    return Simulation(survey, swept, spread, beside)


def there(intended: Design, compared: Comparison) -> Design:
    """The design in the cells of the build, wherever its parts stand."""
    if compared.parts_moved or compared.placed is None:
        return follow(intended, compared).design
    return replace(compared.placed, board=compared.built_circuit.board)


def _set(design: Design, conditions: Conditions) -> Design:
    """The design in other conditions; a figure with conditions of its own keeps what it says itself."""
    figures = tuple(
        f if f.conditions is None
        else replace(f, conditions=f.conditions.onto(design.conditions, conditions))
        for f in design.expectations
    )  # fmt: skip
    return replace(design, conditions=conditions, expectations=figures)


def _beside(simulator: Simulator, intended: Design, compared: Comparison, asked: Design) -> WhatIf:
    """The design's behaviour beside the build's."""
    if compared.parts_moved or compared.placed is None:
        return own_figures(simulator, intended, compared)
    return simulator.what_if(replace(asked, board=compared.placed.board), compared.built_circuit)


def _sweep(
    simulator: Simulator, circuit: Circuit, design: Design, knob: str, first: float | None, last: float | None
) -> Sweep:
    what, *rest = knob.split()
    cell = Cell.parse(rest[0]) if rest else None
    Knob(what, cell)  # says what is accepted before anything is made of it
    start, stop, by_ratio = _SPANS.get(what, (0.0, 0.0, False))
    if what == "supply":
        printed = [p.cube.value for p in circuit.parts if p.device.supplies]
        volts = float(printed[0]) if printed and isinstance(printed[0], (int, float)) else 9.0
        start, stop = 0.5 * volts, 1.3 * volts
    start = start if first is None else first
    stop = stop if last is None else last
    if start == stop or (by_ratio and min(start, stop) <= 0):
        raise InputError(tr("a sweep from {start:g} to {stop:g} is not possible.", start=start, stop=stop))
    space = np.geomspace if by_ratio else np.linspace
    values = [float(value) for value in space(start, stop, _SWEEP_POINTS)]
    return simulator.sweep(circuit, design.conditions, what=what, values=values, cell=cell)


def _tolerance(
    simulator: Simulator, circuit: Circuit, design: Design, samples: int, seed: int, place: str
) -> Tolerance:
    if not design.expectations:
        raise InputError(
            tr("no expected figures are given, so there is nothing to hold the samples against."),
            place=place or None,
            way_out=tr("Add lines such as: expect gain at 1 kHz 40 to 46 dB."),
        )

    def progress(share: float) -> None:
        step(tr("tolerance analysis: {percent:.0f} %", percent=share * 100))

    return simulator.tolerance(
        design, circuit, samples=samples, slow_samples=min(40, samples), seed=seed, progress=progress
    )
