"""A circuit's behaviour, calculated by ngspice in a child process.

`Simulator` is the way in. Nothing here is needed for rule checks or comparison: where ngspice is not
installed, only simulation fails, with the one command that installs it.
"""

from snapcheck.plots import Plot
from snapcheck.simulate._export import export_netlist
from snapcheck.simulate._figures import SLOW
from snapcheck.simulate._judged import Figure, judge, name_of, range_text
from snapcheck.simulate._operating import OperatingPoint, Region
from snapcheck.simulate._plots import hertz_axis, plots_of, sweep_title
from snapcheck.simulate._probing import Probed, SIGNAL_Hz, in_turns, probe, probe_in_time
from snapcheck.simulate._response import FrequencyResponse, resolve_input
from snapcheck.simulate._simulator import Simulator, is_available, what_if
from snapcheck.simulate._solvable import Remark
from snapcheck.simulate._specimens import Spread, spreads
from snapcheck.simulate._survey import Survey
from snapcheck.simulate._sweep import Knob, Sweep
from snapcheck.simulate._text import figure_text
from snapcheck.simulate._tolerance import FigureSpread, Tolerance
from snapcheck.simulate._transient import Delay, SineResponse, Waveforms, source_amplitude
from snapcheck.simulate._waveform import Rhythm
from snapcheck.simulate._what_if import Change, WhatIf, figure_changes
from snapcheck.simulate._worker import Worker

__all__ = [
    "SLOW",
    "Change",
    "Delay",
    "Figure",
    "FigureSpread",
    "FrequencyResponse",
    "Knob",
    "OperatingPoint",
    "Plot",
    "Probed",
    "Region",
    "Remark",
    "Rhythm",
    "SIGNAL_Hz",
    "Simulator",
    "SineResponse",
    "Spread",
    "Survey",
    "Sweep",
    "Tolerance",
    "Waveforms",
    "WhatIf",
    "Worker",
    "export_netlist",
    "figure_changes",
    "figure_text",
    "hertz_axis",
    "in_turns",
    "is_available",
    "judge",
    "name_of",
    "plots_of",
    "probe",
    "probe_in_time",
    "range_text",
    "resolve_input",
    "source_amplitude",
    "spreads",
    "sweep_title",
    "what_if",
]
