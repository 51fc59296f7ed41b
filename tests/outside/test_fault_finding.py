"""Fault finding against tables and programs of others.

- A worked table for a common-emitter stage at 9 V: "Transistor fault finding" (tutorial, studylib.net
document
  18622570): what base, collector and emitter show with each resistor open and the emitter's capacitor
  shorted.
- Rules of the trade, marked "common practice, no source".
- The index of J. A. Starzyk et al., "Entropy-based optimum test points selection for analog fault dictionary
  techniques", IEEE Trans. Instrum. Meas. 53 (2004), 754-761: among test points of an integer-coded
  dictionary the one whose ambiguity sets have the least entropy index is taken first (formula from memory;
  their tables
  are not at hand).
- Information per cost after R. A. Johnson, IRE Trans. RQC-9 (1960), 35 (from memory).
- The ngspice program, run on circuits with a fault.
"""

from __future__ import annotations

import math
import re
import shutil
import subprocess

import numpy as np
import pytest

from snapcheck.board import Conditions, parse_layout
from snapcheck.circuit import Circuit
from snapcheck.diagnose import Dictionary, bundled_priors, dictionary, faults_of, split
from snapcheck.diagnose._next import _bits
from snapcheck.diagnose._variants import variant
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator, export_netlist, is_available, probe

KIT = bundled_kit()
#: R1 47k and R2 10k (R101, R102 here) divide 9 V for the base, R3 2k2 at the collector, R4 470 at the
#: emitter, 100 µ beside it
STAGE = """
plate 6 x 7
title Stage
output E4 collector
A1 corner ends=right+down
B1 straight ends=left+right
C1 straight ends=left+right
D1 tee stem=down
E1 corner ends=left+down
A2 battery 9V plus=up
D2 resistor 47k ends=up+down
E2 resistor 2k2 ends=up+down
A3 ground stem=up
D3 straight ends=up+down
E3 straight ends=up+down
D4 tee stem=right
E4 npn BC547 base=left
D5 resistor 10k ends=up+down
E5 tee stem=right
F5 corner ends=left+down
D6 ground stem=up
E6 resistor 470 ends=up+down
F6 electrolytic 100u plus=up
E7 ground stem=up
F7 ground stem=up
"""
pytestmark = pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")


@pytest.fixture(scope="module")
def stage():
    with Simulator() as simulator:
        yield dictionary(parse_layout(STAGE, "stage", KIT), KIT, simulator, bundled_priors(), processes=1)


def volts(d: Dictionary, key: str) -> tuple[float, float, float]:
    """Base, collector, emitter against the plate, as a meter of 10 megohm shows them."""
    entry = int(np.flatnonzero(d.fault_of == d.fault_named[key])[0])
    at = {spot.terminal: i for i, spot in enumerate(d.spots) if str(getattr(spot, "anchor", "")) == "E4"}
    base, collector, emitter = (float(d.mean[0, entry, at[t]]) for t in ("base", "collector", "emitter"))
    return base, collector, emitter


def test_the_published_table_of_open_resistors(stage: Dictionary) -> None:
    base, collector, emitter = normal = volts(stage, "as-designed")
    assert 0.6 < base - emitter < 0.7 and emitter < 1.2 and 4 < collector < 6
    part = {str(p.cell): p.name for p in stage.wiring.circuit.parts}
    r1, r2, r3, r4 = (part[cell] for cell in ("D2", "D5", "E2", "E6"))
    # "With R1 o/c there is no voltage on the base ... collector the same as the supply ... emitter zero"
    assert volts(stage, f"open {r1}") == pytest.approx((0.0, 9.0, 0.0), abs=0.02)
    # R2 open: "a high base current ... low collector volts ... causing the emitter volts to rise"
    base, collector, emitter = volts(stage, f"open {r2}")
    assert collector < normal[1] - 2 and emitter > normal[2] + 0.4 and base > normal[0]
    # R3 open: "the base voltage will be lower", the collector reads a little below it through the junction,
    # the emitter "about 0.6 volts lower than the base"
    base, collector, emitter = volts(stage, f"open {r3}")
    assert base < normal[0] - 0.3 and 0.5 < base - emitter < 0.75 and -0.1 < collector < base
    # R4 open: "the base voltage will be higher than normal ... the collector will be at the supply voltage",
    # the emitter shows what the meter lets through
    base, collector, emitter = volts(stage, f"open {r4}")
    assert base > normal[0] and collector == pytest.approx(9.0, abs=0.05) and 0.3 < base - emitter < 0.65
    # emitter's capacitor shorted: "the emitter is connected to zero volts ... base and collector currents
    # increase", so the collector falls and the base with it
    base, collector, emitter = volts(stage, f"short {part['F6']}")
    assert emitter < 0.02 and base == pytest.approx(0.7, abs=0.1) and collector < normal[1] - 3


def test_rules_of_the_trade(stage: Dictionary) -> None:
    """Common practice, no source."""
    normal = volts(stage, "as-designed")
    # collector at the supply: the transistor is off
    for key in ("open-base Q101", "open-emitter Q101", "short-base-emitter Q101", "seam-open D4|E4"):
        assert volts(stage, key)[1] == pytest.approx(9.0, abs=0.1), key
    # base and emitter at one voltage: their junction is shorted
    base, _, emitter = volts(stage, "short-base-emitter Q101")
    assert abs(base - emitter) < 0.02
    # collector and emitter at one voltage: shorted
    _, collector, emitter = volts(stage, "short-collector-emitter Q101")
    assert abs(collector - emitter) < 0.05 and emitter > normal[2]
    # base-collector short: the collector sits at the base's voltage
    base, collector, _ = volts(stage, "short-base-collector Q101")
    assert abs(base - collector) < 0.05
    # nothing anywhere: the supply
    assert max(volts(stage, "body-open A3")) < 0.2


@pytest.mark.parametrize("seed", range(20))
def test_information_ranks_test_points_as_the_published_index_does(seed: int) -> None:
    """Faults that are equally likely, in ambiguity sets of F_i: bits = log2 N − Σ F_i·log2 F_i / N.

    So the greatest information has the least index Σ F_i·log2 F_i (Starzyk et al., from memory).
    """
    random = np.random.default_rng(seed)
    faults, points = 18, 11
    table = random.integers(0, 6, size=(faults, points))  # integer-coded dictionary: row a fault
    index, bits = [], []
    for column in table.T:
        sizes = np.bincount(column)
        sizes = sizes[sizes > 0]
        index.append(float((sizes * np.log2(sizes)).sum()))
        joint = np.zeros((faults, 6))
        joint[range(faults), column] = 1 / faults
        bits.append(float(_bits(joint, np.full(faults, 1 / faults))))
        assert bits[-1] == pytest.approx(math.log2(faults) - index[-1] / faults)
    assert index[int(np.argmax(bits))] == pytest.approx(min(index))


def test_information_per_cost_takes_the_cheaper_of_two_that_tell_the_same(stage: Dictionary) -> None:
    """Johnson 1960: the figure of merit of a test is its information over its cost."""
    from snapcheck.diagnose import Search

    steps = Search(stage).steps
    assert all(step.worth == pytest.approx(step.bits / step.effort) for step in steps)
    assert steps[0].worth >= steps[-1].worth - 2e-3
    assert steps[0].effort == 1.0  # nothing else is worth so much at the start


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="the ngspice program is not installed")
@pytest.mark.parametrize(
    "key",
    ["seam-open D4|E4", "seam-poor E5|E6", "open R101", "short R103", "short-base-emitter Q101",
     "reversed C101", "low-gain Q101", "weak B101", "decade-up R102", "bridge D4|E4"],
)  # fmt: skip
def test_faulty_circuits_against_the_ngspice_program(key: str, tmp_path) -> None:
    wiring = split(parse_layout(STAGE, "stage", KIT).board, KIT)
    fault = {f.key: f for f in faults_of(wiring, bundled_priors())}[key]
    built = variant(wiring, fault.degrees[-1])
    usual = Conditions()
    with Simulator() as simulator:
        ours = probe(simulator.worker, built.circuit, usual, steps={}, scales=built.scales).volts
    file = tmp_path / "fault.cir"
    text = _scaled(built.circuit, usual, built.scales)
    file.write_text(text, encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", str(file)], capture_output=True, text=True, timeout=60, check=False
    )
    program = dict(re.findall(r"^\s*(n\d+)\s+([-+0-9.e]+)\s*$", done.stdout, re.M | re.I))
    assert len(program) >= built.circuit.net_count - 3, done.stdout + done.stderr
    for name, value in program.items():
        assert float(value) == pytest.approx(ours[int(name[1:])], abs=5e-4, rel=2e-4), name


def _scaled(circuit: Circuit, conditions: Conditions, scales) -> str:
    """The exported netlist with other values: an exported one has the printed ones."""
    text = export_netlist(circuit, conditions)
    for name, factor in scales.items():
        part = circuit.part_named[name]
        pattern = {
            "resistor": rf"(?m)(?<=^r_{name.lower()} )(\S+ \S+ )(\S+)$",
            "npn": r"(\bbf=)([0-9.e+]+)",
        }.get(part.kind.model, rf"(?m)(?<=^v_{name.lower()} )(\S+ \S+ dc )(\S+)")
        found = re.search(pattern, text)
        assert found is not None, name
        text = f"{text[: found.start(2)]}{float(found[2]) * factor:.9g}{text[found.end(2) :]}"
    return text
