"""ngspice gives up in the middle of a waveform, or no signal comes in: said so, whatever is asked."""

from __future__ import annotations

import numpy as np
import pytest
from handmade import handmade

from snapcheck.board import Probe
from snapcheck.errors import SimulationError
from snapcheck.simulate import Simulator
from snapcheck.simulate._transient import collect


def test_a_waveform_that_stops_before_its_end() -> None:
    time = np.linspace(0, 0.4, 50)
    assert collect({1: "n1"}, {"time": time, "n1": time}, 0.4).time_s[-1] == 0.4
    with pytest.raises(SimulationError, match="before its end"):
        collect({1: "n1"}, {"time": time, "n1": time}, 1.0)


def test_a_microphone_that_reaches_nothing_brings_no_signal() -> None:
    divider = ("battery", 9.0, {"plus": 1, "minus": 0}), ("resistor", 1e3, {"a": 1, "b": 2})
    rest = ("resistor", 1e3, {"a": 2, "b": 0}), ("microphone", None, {"plus": 3, "minus": 4})
    with Simulator() as simulator, pytest.raises(SimulationError, match="the input is not connected"):
        simulator.sine_response(handmade(*divider, *rest), output=Probe("R101", "b"))
