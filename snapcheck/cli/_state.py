"""The simulated state that rules may ask for, where ngspice is at hand and the circuit can be solved."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit, check_rules
from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.circuit import OperatingPointLike


def add_structure_only(parser: argparse.ArgumentParser) -> None:
    """``--structure-only``."""
    parser.add_argument(
        "--structure-only",
        action="store_true",
        help="judge by how parts are joined alone, without calculating voltages and currents",
    )


def operating_points(
    args: argparse.Namespace, wanted: Sequence[tuple[Circuit, Conditions]]
) -> list[OperatingPointLike | None]:
    """Operating points, None (said on standard error) where there is none to be had.

    A circuit with a shorted supply is not calculated: its current says nothing that needs numbers.
    """
    points: list[OperatingPointLike | None] = [None] * len(wanted)
    if args.structure_only:
        return points
    from snapcheck.simulate import Simulator

    try:
        with Simulator() as simulator:
            for index, (circuit, conditions) in enumerate(wanted):
                if not check_rules(circuit, only=("supply-shorted", "supplies-fighting")):
                    points[index] = simulator.operating_point(circuit, conditions)
    except (MissingLibraryError, SimulationError) as error:
        print(tr("judged by structure alone: {why}", why=error), file=sys.stderr)
    return points
