"""A circuit's behaviour, calculated by ngspice in a child process.

`Simulator` is the way in. Nothing here is needed for rule checks or comparison: where ngspice is not
installed, only simulation fails, with the one command that installs it.
"""

from snapcheck.simulate._export import export_netlist
from snapcheck.simulate._figures import Figure, judge, name_of, range_text
from snapcheck.simulate._operating import OperatingPoint, Region
from snapcheck.simulate._plots import Plot, plots_of
from snapcheck.simulate._response import FrequencyResponse
from snapcheck.simulate._simulator import Simulator, is_available, what_if
from snapcheck.simulate._specimens import Spread
from snapcheck.simulate._survey import Survey
from snapcheck.simulate._sweep import Knob, Sweep
from snapcheck.simulate._text import figure_text
from snapcheck.simulate._tolerance import FigureSpread, Tolerance
from snapcheck.simulate._topology import Remark
from snapcheck.simulate._transient import Delay, SineResponse, Waveforms
from snapcheck.simulate._waveform import Rhythm
from snapcheck.simulate._what_if import Change, WhatIf, figure_changes

__all__ = [
    "Change",
    "Delay",
    "Figure",
    "FigureSpread",
    "FrequencyResponse",
    "Knob",
    "OperatingPoint",
    "Plot",
    "Region",
    "Remark",
    "Rhythm",
    "Simulator",
    "SineResponse",
    "Spread",
    "Survey",
    "Sweep",
    "Tolerance",
    "Waveforms",
    "WhatIf",
    "export_netlist",
    "figure_changes",
    "figure_text",
    "is_available",
    "judge",
    "name_of",
    "plots_of",
    "range_text",
    "what_if",
]
