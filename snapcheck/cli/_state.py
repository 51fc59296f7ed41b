"""The simulated state that rules may ask for, where ngspice is at hand and the circuit can be solved."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit, check_rules
from snapcheck.cli._output import say
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


@dataclass
class State:
    """The operating point of a circuit, and those in other positions of its switches, in words."""

    point: OperatingPointLike | None = None
    positions: Mapping[str, OperatingPointLike] = field(default_factory=dict)


def states(args: argparse.Namespace, wanted: Sequence[tuple[Circuit, Conditions]]) -> list[State]:
    """Operating points, None (said on standard error) where there is none to be had.

    A circuit with a shorted supply is not calculated: its current says nothing that needs numbers.
    """
    found = [State() for _ in wanted]
    if args.structure_only:
        return found
    from snapcheck.simulate import Simulator

    try:
        with Simulator() as simulator:
            for state, (circuit, conditions) in zip(found, wanted, strict=True):
                if not check_rules(circuit, only=("supply-shorted", "supplies-fighting")):
                    state.point = simulator.operating_point(circuit, conditions)
                    state.positions = simulator.other_positions(circuit, conditions)
    except (MissingLibraryError, SimulationError) as error:
        say(tr("judged by structure alone: {why}", why=error), file=sys.stderr)
    return found
