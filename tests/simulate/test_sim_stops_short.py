"""ngspice gives up in the middle of a waveform: said so, whatever is asked of the waveform."""

from __future__ import annotations

import numpy as np
import pytest

from snapcheck.errors import SimulationError
from snapcheck.simulate._transient import collect


def test_a_waveform_that_stops_before_its_end() -> None:
    time = np.linspace(0, 0.4, 50)
    assert collect({1: "n1"}, {"time": time, "n1": time}, 0.4).time_s[-1] == 0.4
    with pytest.raises(SimulationError, match="before its end"):
        collect({1: "n1"}, {"time": time, "n1": time}, 1.0)
