"""A simulator for the time of a calculation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from snapcheck.board import Conditions
from snapcheck.circuit import Circuit, check_rules
from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.circuit import OperatingPointLike
    from snapcheck.simulate import Simulator


@contextmanager
def solver(given: Simulator | None, wanted: bool = True) -> Iterator[Simulator | None]:
    """The caller's simulator, or one of its own that is closed at the end; None where nothing is to be, or
    can be, calculated."""
    if not wanted or given is not None:
        yield given if wanted else None
        return
    from snapcheck.simulate import Simulator, is_available

    if not is_available():
        yield None
        return
    with Simulator() as own:
        yield own


@dataclass
class State:
    """The operating point of a circuit, and those in other positions of its switches, in words."""

    point: OperatingPointLike | None = None
    positions: Mapping[str, OperatingPointLike] = field(default_factory=dict)


def states(
    wanted: Sequence[tuple[Circuit, Conditions]], given: Simulator | None, notes: list[str]
) -> list[State]:
    """Operating points, None (said in `notes`) where there is none to be had.

    A circuit with a shorted supply is not calculated: its current says nothing that needs numbers.
    """
    from snapcheck.simulate import Simulator

    found = [State() for _ in wanted]
    try:
        with Simulator() if given is None else nullcontext(given) as simulator:
            for state, (circuit, conditions) in zip(found, wanted, strict=True):
                if not check_rules(circuit, only=("supply-shorted", "supplies-fighting")):
                    state.point = simulator.operating_point(circuit, conditions)
                    state.positions = simulator.other_positions(circuit, conditions)
    except (MissingLibraryError, SimulationError) as error:
        notes.append(tr("judged by structure alone: {why}", why=error))
    return found
