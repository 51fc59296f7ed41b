"""Our answers against the ngspice program run on the exported netlist: a second opinion."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from handmade import handmade

from snapcheck.board import Conditions, load_design
from snapcheck.circuit import Circuit, build_circuit
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator, export_netlist

PROGRAM = shutil.which("ngspice")
pytestmark = pytest.mark.skipif(PROGRAM is None, reason="the ngspice program is not installed")
DESIGNS = sorted((Path(__file__).parents[2] / "fixtures" / "designs").glob("*.board"))


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def by_program(netlist: str, folder: Path) -> dict[str, float]:
    """Node voltages that ``ngspice -b`` prints."""
    path = folder / "exported.cir"
    path.write_text(netlist, encoding="utf-8")
    done = subprocess.run([PROGRAM, "-b", str(path)], capture_output=True, text=True, timeout=60, check=False)
    table = re.findall(r"^\s*(n\d+|i\d+[a-z]+)\s+([-+0-9.e]+)\s*$", done.stdout, re.M | re.I)
    assert table, done.stdout + done.stderr
    return {name.lower(): float(value) for name, value in table}


def compare(simulator: Simulator, circuit: Circuit, conditions: Conditions, folder: Path) -> None:
    point = simulator.operating_point(circuit, conditions)
    program = by_program(export_netlist(circuit, conditions), folder)
    told = {net: volts for net, volts in point.net_voltages_V.items() if f"n{net}" in program}
    assert len(told) >= len(point.net_voltages_V) - 2  # node 0 and a net that stands in for it
    for net, volts in told.items():
        assert program[f"n{net}"] == pytest.approx(volts, abs=2e-4, rel=1e-4), f"net {net}"


def test_every_model_in_one_circuit(simulator, tmp_path):
    circuit = handmade(
        ("battery", 9.0, {"plus": 1, "minus": 0}), ("resistor", 47e3, {"a": 1, "b": 2}),
        ("resistor", 10e3, {"a": 2, "b": 0}), ("resistor", 2200.0, {"a": 1, "b": 3}),
        ("npn", "BC547", {"base": 2, "collector": 3, "emitter": 4}), ("resistor", 470.0, {"a": 4, "b": 0}),
        ("pnp", "BC557", {"base": 3, "emitter": 1, "collector": 5}),
        ("led", "green", {"anode": 5, "cathode": 6}),
        ("lamp", "6V/50mA", {"a": 6, "b": 0}), ("zener", 5.1, {"anode": 0, "cathode": 7}),
        ("thermistor", 1e3, {"a": 1, "b": 7}), ("nmos", "BS170", {"gate": 7, "drain": 8, "source": 0}),
        ("speaker", 8.0, {"a": 8, "b": 9}), ("photoresistor", 10e3, {"a": 9, "b": 1}),
        ("microphone", None, {"plus": 10, "minus": 0}),
        ("potentiometer", 10e3, {"a": 1, "b": 10, "wiper": 11}),
        ("inductor", 1e-2, {"a": 11, "b": 12}), ("fuse", 0.5, {"a": 12, "b": 13}),
        ("diode", "1N4148", {"anode": 13, "cathode": 14}), ("buzzer", None, {"plus": 14, "minus": 0}),
        ("meter", 10.0, {"plus": 13, "minus": 0}), ("electrolytic", 1e-5, {"plus": 2, "minus": 4}),
        ("capacitor", 1e-7, {"a": 3, "b": 0}), ("switch", None, {"a": 1, "b": 15}),
        ("audio-in", None, {"signal": 15, "plate": 0}), ("supply", 5.0, {"plus": 16, "minus": 0}),
        ("resistor", 1e3, {"a": 16, "b": 14}), ("pushbutton", None, {"a": 16, "b": 0}),
    )  # fmt: skip
    compare(simulator, circuit, Conditions(temperature_C=35.0), tmp_path)


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_sample_design(simulator, tmp_path, path):
    kit = bundled_kit()
    design = load_design(path, kit)
    compare(simulator, build_circuit(design.board, kit), design.conditions, tmp_path)
