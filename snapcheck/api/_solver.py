"""A simulator for the time of a calculation."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

from snapcheck.board import Conditions
from snapcheck.check import State
from snapcheck.circuit import Circuit, is_shorted
from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.simulate import Simulator, is_available
from snapcheck.words import tr


@contextmanager
def solver(given: Simulator | None, wanted: bool = True) -> Iterator[Simulator | None]:
    """The caller's simulator, or one of its own that is closed at the end; None where nothing is to be, or
    can be, calculated."""
    if not wanted or given is not None:
        yield given if wanted else None
        return
    if not is_available():
        yield None
        return
    with Simulator() as own:
        yield own


def state_of(circuit: Circuit, conditions: Conditions, given: Simulator | None, notes: list[str]) -> State:
    """The calculated state; none (said in `notes`) where there is none to be had, or a supply is shorted."""
    if is_shorted(circuit):
        return State()
    try:
        with Simulator() if given is None else nullcontext(given) as simulator:
            point = simulator.operating_point(circuit, conditions)
            return State(point, simulator.other_positions(circuit, conditions))
    except (MissingLibraryError, SimulationError) as error:
        notes.append(tr("judged by structure alone: {why}", why=error))
    return State()
