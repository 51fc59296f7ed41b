"""Sample designs do what they promise in most specimens, too; odd boards are solved or explained."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest
from handmade import handmade

from snapcheck.board import load_design
from snapcheck.circuit import build_circuit
from snapcheck.errors import SimulationError
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator
from snapcheck.simulate._crew import WorkerCrew
from snapcheck.simulate._figures import SLOW, Measurer
from snapcheck.simulate._specimens import Specimens, draw, spreads

KIT = bundled_kit()
DESIGNS = sorted((Path(__file__).parents[2] / "fixtures" / "designs").glob("*.board"))


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_most_specimens_meet_them(simulator, path):
    design = load_design(path, KIT)
    quick = tuple(e for e in design.expectations if e.quantity not in SLOW)
    if not quick:
        pytest.skip("all its figures need runs in time")
    design = type(design)(**{**design.__dict__, "expectations": quick})
    tolerance = simulator.tolerance(design, build_circuit(design.board, KIT), samples=200)
    assert tolerance.passed > 0.6, [(f.expectation.text, f.passed) for f in tolerance.figures]


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.stem)
def test_samples_in_a_loaded_circuit_are_what_fresh_circuits_give(simulator, path):
    design = load_design(path, KIT)
    circuit = build_circuit(design.board, KIT)
    varied = spreads(circuit)
    factors = draw(varied, 3, seed=7)
    nominal = Measurer(simulator.worker, circuit, design)
    specimens = Specimens(WorkerCrew(simulator.worker), design, circuit, varied, factors, nominal)
    sampled = dict(specimens.quick())
    assert set(sampled) == {i for i, e in enumerate(design.expectations) if e.quantity not in SLOW}
    for row, factor in enumerate(factors):
        scales = {s.part.name: float(f) for s, f in zip(varied, factor, strict=True)}
        fresh = Measurer(simulator.worker, circuit, design, scales)
        for position, column in sampled.items():
            expectation = design.expectations[position]
            want = fresh.value(expectation)
            least = {"V": 1e-3, "A": 1e-6, "W": 1e-6, "dB": 0.1}.get(expectation.unit, 0.0)
            assert column[row] == pytest.approx(want, rel=0.02, abs=least), fresh.figure(expectation).text


_VALUES = {
    "ohms": [8.0, 100.0, 1e3, 1e4, 1e6],
    "farads": [1e-10, 1e-7, 1e-5, 1e-3],
    "henries": [1e-5, 1e-2],
    "volts": [3.3, 5.1, 9.0],
    "amperes": [0.1, 1.0],
    "colour": ["red", "blue"],
    "volts/current": ["6V/0.1A"],
    "range": [1.0, 10.0],
}


def random_circuit(source: random.Random):
    """A supply and up to twelve parts of any kind, their terminals on random nets."""
    kinds = [kind for kind in KIT.kinds.values() if kind.model not in ("wire", "ground", "socket")]
    highest = source.randint(1, 7)
    entries = [(source.choice(["battery", "supply"]), 9.0, {"plus": 1, "minus": 0})]
    for _ in range(source.randint(1, 12)):
        kind = source.choice(kinds)
        form = kind.value_form.value
        values = [None, *kind.parameters_by_value] if form == "type" else _VALUES.get(form, [None])
        nets = {t: 0 if t == "plate" else source.randint(0, highest) for t in kind.terminals}
        entries.append((kind.name, source.choice(values), nets))
    return handmade(*entries, kit=KIT)


@pytest.mark.parametrize("seed", range(8))
def test_any_circuit_is_solved_or_explained(simulator, seed):
    source = random.Random(seed)
    solved = 0
    for _ in range(40):
        circuit = random_circuit(source)
        try:
            point = simulator.operating_point(circuit)
        except SimulationError as error:
            assert "shorted" in str(error) or "nothing drives" in str(error) or "no battery" in str(error)
            continue
        solved += 1
        for net in range(1, len(circuit.nets)):
            if point.voltage(net) is None or point.voltage(net) == 0:
                continue
            flows = [point.current(part, name) for part, name in circuit.parts_on(net)]
            assert all(map(math.isfinite, flows))
            assert sum(flows) == pytest.approx(0, abs=2e-6 + 1e-3 * max(map(abs, flows)))
    assert solved > 20
