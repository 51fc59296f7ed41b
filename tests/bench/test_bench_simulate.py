"""What the process, the checks and the objects around ngspice cost, as ratios within one run."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from handmade import handmade
from stopwatch import share

from snapcheck.board import Conditions, load_design
from snapcheck.circuit import Circuit, build_circuit
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator
from snapcheck.simulate._crew import WorkerCrew
from snapcheck.simulate._library import find_library
from snapcheck.simulate._operating import vectors_of
from snapcheck.simulate._specimens import changes, draw, rest_of, spreads
from snapcheck.simulate._worker import Worker
from snapcheck.simulate._write import write_netlist

pytestmark = pytest.mark.bench
THREE_STAGES = Path(__file__).parents[2] / "fixtures" / "designs" / "loudspeaker-amplifier.board"


@pytest.fixture(scope="module")
def amplifier() -> Circuit:
    """The three-stage loudspeaker amplifier of the sample designs."""
    kit = bundled_kit()
    return build_circuit(load_design(THREE_STAGES, kit).board, kit)


@pytest.fixture(scope="module")
def bare():
    """PySpice over the same library in this very process, without any of our guards."""
    Shared = pytest.importorskip("PySpice.Spice.NgSpice.Shared")
    Shared.NgSpiceShared.LIBRARY_PATH = find_library()
    return Shared.NgSpiceShared.new_instance()


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def processor_s(worker: Worker) -> float:
    """Processor time that a worker's process has used, s."""
    threads = Path(f"/proc/{worker.pid}/task")
    if not threads.exists():
        pytest.skip("needs /proc")
    return sum(int(file.read_text().split()[0]) for file in threads.glob("*/schedstat")) / 1e9


def ratio_of(ours, theirs, goal: float, inner: int) -> float:
    """Our time in theirs, several calls at a time; wall time, because another process does the work."""

    def often(work):
        return lambda: [work() for _ in range(inner)]

    return share(often(ours), goal, often(theirs), time.perf_counter, rounds=5, most=25)


def test_operating_point_costs_at_most_four_bare_calls(amplifier, bare, simulator, record_property):
    netlist = write_netlist(amplifier, Conditions())
    text = "\n".join(["bare", *netlist.lines])
    expected = simulator.operating_point(amplifier)

    def call() -> dict[str, float]:
        bare.load_circuit(text)
        bare._ngspice_shared.ngSpice_Command(b"op")
        plot = bare.plot(None, bare.last_plot)
        values = {vector.simplified_name: float(vector._data[0]) for vector in plot.values()}
        bare._ngspice_shared.ngSpice_Command(b"destroy all")
        bare._ngspice_shared.ngSpice_Command(b"remcirc")
        return values

    values = call()
    for net, volts in expected.net_voltages_V.items():
        if net:
            assert values[f"n{net}"] == pytest.approx(volts, abs=1e-6)

    def ours() -> None:
        point = simulator.operating_point(amplifier)
        assert point.part_powers_W

    ratio = ratio_of(ours, call, 4, inner=20)
    record_property("ratio", ratio)
    print(f"operating point through the API: {ratio:.2f} bare calls")
    assert ratio <= 4


def test_a_thousand_samples_cost_less_than_a_bare_loop_on_one_processor(
    amplifier, bare, simulator, record_property
):
    varied = spreads(amplifier)
    factors = draw(varied, 1000, seed=1)
    netlist = write_netlist(amplifier, Conditions(), own_models=True)
    commands, numbers = changes(netlist, varied, factors)
    wanted = [name.encode() for name in vectors_of(netlist)]
    api = bare._ngspice_shared
    rows: list[list[float]] = []

    def loop() -> None:
        rows.clear()
        bare.load_circuit("\n".join(["bare", *netlist.lines]))
        for row in numbers:
            for command, value in zip(commands, row, strict=True):
                api.ngSpice_Command(f"{command} {value:.9g}".encode())
            api.ngSpice_Command(b"op")
            rows.append([api.ngGet_Vec_Info(name).v_realdata[0] for name in wanted])
            api.ngSpice_Command(b"destroy all")
        api.ngSpice_Command(b"remcirc")

    with WorkerCrew(simulator.worker) as crew:

        def ours() -> np.ndarray:
            answers = rest_of(crew, amplifier, Conditions(), varied, factors)[2]
            return np.array([answer[0] for answer in answers])

        table = ours()
        loop()
        assert np.allclose(table, np.array(rows), rtol=1e-6, atol=1e-9)
        goal = 0.6 if crew.size > 1 else 1.2

        def clock() -> float:  # wall time on a machine that nobody else uses
            return time.process_time() + sum(map(processor_s, crew.workers)) / crew.size

        ratio = share(ours, goal, loop, clock, rounds=5, most=25)
    record_property("ratio", ratio)
    print(f"1,000 samples: {ratio:.2f} bare loops on {crew.size} processors")
    assert ratio <= goal


def test_ten_thousand_loads_leave_memory_flat(simulator, record_property):
    def resident_kB() -> int:
        path = Path(f"/proc/{simulator.worker.pid}/statm")
        if not path.exists():
            pytest.skip("needs /proc")
        return int(path.read_text().split()[1]) * 4

    def load(count: int) -> None:
        for i in range(count):
            circuit = handmade(
                ("battery", 9.0, {"plus": 1, "minus": 0}),
                ("resistor", 1000.0 + i, {"a": 1, "b": 2}),
                ("npn", "BC547", {"base": 2, "collector": 1, "emitter": 0}),
            )
            simulator.operating_point(circuit)

    load(2000)  # ngspice fills its tables
    starts, before = simulator.worker.starts, resident_kB()
    load(10_000)
    growth = resident_kB() - before
    record_property("growth_kB", growth)
    print(f"10,000 loads: {growth} kB more")
    assert simulator.worker.starts == starts
    assert growth < 2000  # a circuit that stays costs 28 kB, 280,000 kB in all
