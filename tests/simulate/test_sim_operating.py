"""Operating points: numbers, regions in words, and what cannot be solved explained by cause."""

from __future__ import annotations

import numpy as np
import pytest
from handmade import handmade
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from snapcheck.board import Cell, Conditions, parse_layout
from snapcheck.circuit import build_circuit
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.errors import SimulationError
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Region, Simulator, _operating
from snapcheck.simulate._write import write_netlist

BATTERY = ("battery", 9.0, {"plus": 1, "minus": 0})


def resistor(ohm: float, a: int, b: int):
    return ("resistor", float(ohm), {"a": a, "b": b})


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def test_it_is_what_rule_checks_ask_for(simulator):
    circuit = handmade(BATTERY, resistor(1000, 1, 2), resistor(2000, 2, 0))
    point = simulator.operating_point(circuit)
    assert isinstance(point, OperatingPointLike)
    supply, upper, _ = circuit.parts
    assert point.net_voltages_V[2] == pytest.approx(2 / 3 * point.net_voltages_V[1])
    assert point.part_currents_A[upper.at] == pytest.approx(3e-3, rel=2e-3)
    assert point.part_currents_A[supply.at] == pytest.approx(-3e-3, rel=2e-3)
    assert point.part_powers_W[upper.at] == pytest.approx(9e-3, rel=4e-3)
    assert point.part_powers_W[supply.at] < 0


def test_battery_has_internal_resistance(simulator):
    loaded = simulator.operating_point(handmade(BATTERY, resistor(10, 1, 0)))
    assert loaded.voltage(1) == pytest.approx(9 * 10 / (10 + 9 * 0.17), rel=1e-4)


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.data())
def test_random_resistor_networks_agree_with_nodal_analysis(simulator, data):
    nets = data.draw(st.integers(2, 6))
    ohms = st.floats(10, 1e6)
    edges = [(k, data.draw(st.integers(0, k - 1)), data.draw(ohms)) for k in range(1, nets + 1)]
    more = st.tuples(st.integers(0, nets), st.integers(0, nets), ohms)
    edges += [edge for edge in data.draw(st.lists(more, max_size=6)) if edge[0] != edge[1]]
    circuit = handmade(BATTERY, *(resistor(ohm, a, b) for a, b, ohm in edges))
    matrix, right = np.zeros((nets + 1, nets + 1)), np.zeros(nets + 1)
    internal = 9 * 0.17
    for a, b, ohm in [*edges, (1, 0, internal)]:
        matrix[a, a] += 1 / ohm
        matrix[b, b] += 1 / ohm
        matrix[a, b] -= 1 / ohm
        matrix[b, a] -= 1 / ohm
    matrix += np.eye(nets + 1) / 1e10  # insulation of each node to the plate
    right[1] = 9 / internal
    expected = np.linalg.solve(matrix[1:, 1:], right[1:])
    point = simulator.operating_point(circuit)
    assert [point.voltage(n) for n in range(1, nets + 1)] == pytest.approx(list(expected), abs=1e-4, rel=1e-4)


def stage(base_ohm: float):
    return handmade(
        BATTERY, resistor(base_ohm, 1, 2), resistor(1000, 1, 3),
        ("npn", "BC547", {"base": 2, "collector": 3, "emitter": 0}),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("base_ohm", "region"), [(1e9, Region.OFF), (680e3, Region.AMPLIFYING), (10e3, Region.FULLY_ON)]
)
def test_bipolar_region_in_words(simulator, base_ohm, region):
    assert simulator.operating_point(stage(base_ohm)).region("Q101") is region


def test_swapped_collector_and_emitter_is_reversed(simulator):
    circuit = handmade(
        BATTERY, resistor(10e3, 1, 2), resistor(1000, 1, 3),
        ("npn", "BC547", {"base": 2, "collector": 0, "emitter": 3}),
    )  # fmt: skip
    assert simulator.operating_point(circuit).region("Q101") is Region.REVERSED


def test_pnp_region_and_signs(simulator):
    circuit = handmade(
        BATTERY, resistor(10e3, 2, 0), resistor(1000, 3, 0),
        ("pnp", "BC557", {"base": 2, "emitter": 1, "collector": 3}),
    )  # fmt: skip
    point = simulator.operating_point(circuit)
    assert point.region("Q101") is Region.FULLY_ON
    assert point.current("Q101", "emitter") > 0 > point.current("Q101", "collector")
    assert point.power("Q101") > 0


@pytest.mark.parametrize(("gate", "region"), [(1, Region.FULLY_ON), (0, Region.OFF)])
def test_mosfet_region(simulator, gate, region):
    circuit = handmade(
        BATTERY, resistor(1000, 1, 2), ("nmos", "2N7000", {"gate": gate, "drain": 2, "source": 0})
    )
    assert simulator.operating_point(circuit).region("Q101") is region


def test_currents_of_every_net_add_up_to_nothing(simulator):
    circuit = handmade(
        BATTERY, resistor(47e3, 1, 2), resistor(10e3, 2, 0), resistor(2200, 1, 3), resistor(470, 4, 0),
        ("npn", "BC547", {"base": 2, "collector": 3, "emitter": 4}),
        ("pnp", "BC557", {"base": 3, "emitter": 1, "collector": 5}),
        ("led", "red", {"anode": 5, "cathode": 6}), ("lamp", "6V/50mA", {"a": 6, "b": 0}),
        ("zener", 5.1, {"anode": 0, "cathode": 7}), resistor(1000, 1, 7),
        ("nmos", "BS170", {"gate": 7, "drain": 8, "source": 0}), ("speaker", 8.0, {"a": 8, "b": 9}),
        resistor(220, 9, 1), ("microphone", None, {"plus": 10, "minus": 0}), resistor(10e3, 1, 10),
        ("electrolytic", 1e-5, {"plus": 10, "minus": 2}),
    )  # fmt: skip
    point = simulator.operating_point(circuit)
    for net in range(1, len(circuit.nets)):
        flows = [point.current(part, name) for part, name in circuit.parts_on(net)]
        assert sum(flows) == pytest.approx(0, abs=1e-6 + 1e-4 * max(map(abs, flows))), f"net {net}"


def test_power_taken_and_delivered_balance(simulator):
    point = simulator.operating_point(stage(100e3))
    assert sum(point.part_powers_W.values()) == pytest.approx(0, abs=1e-6)


# ---------------------------------------------------------------- what cannot be solved, or only in part


def test_shorted_supply_is_refused_with_its_cell(simulator):
    circuit = handmade(("battery", 9.0, {"plus": 0, "minus": 0}), resistor(1000, 1, 0))
    with pytest.raises(SimulationError, match=r"B101: the supply is shorted.*Do not power"):
        simulator.operating_point(circuit)


def test_circuit_that_nothing_drives(simulator):
    with pytest.raises(SimulationError, match="nothing drives"):
        simulator.operating_point(handmade(resistor(1000, 1, 0)))


def test_island_without_supply_is_left_out_and_said_so(simulator):
    circuit = handmade(BATTERY, resistor(1000, 1, 0), resistor(470, 2, 3))
    point = simulator.operating_point(circuit)
    assert point.voltage(2) is None and point.voltage(3) is None
    assert 2 not in point.net_voltages_V
    assert [remark.kind for remark in point.remarks] == ["floating"]
    assert "R102" in point.remarks[0].text


def test_loop_without_ground_is_solved_from_its_minus_and_said_so(simulator):
    circuit = handmade(
        ("battery", 9.0, {"plus": 1, "minus": 2}),
        resistor(330, 1, 3),
        ("led", "red", {"anode": 3, "cathode": 2}),
    )
    point = simulator.operating_point(circuit)
    assert [remark.kind for remark in point.remarks] == ["no-ground"]
    assert point.voltage(2) == 0 and point.current("D101", "anode") == pytest.approx(0.0214, rel=0.05)


def test_two_supplies_that_touch_only_by_their_islands_are_both_tied(simulator):
    circuit = handmade(
        BATTERY, resistor(1000, 1, 0), ("battery", 3.0, {"plus": 2, "minus": 3}), resistor(100, 2, 3)
    )
    point = simulator.operating_point(circuit)
    assert point.voltage(2) == pytest.approx(2.985, abs=0.01)


def test_bypassed_part_is_left_out_and_said_so(simulator):
    point = simulator.operating_point(handmade(BATTERY, resistor(1000, 1, 0), resistor(470, 1, 1)))
    assert [remark.kind for remark in point.remarks] == ["bypassed"]
    assert point.current("R102", "a") == 0


def test_near_short_is_limited_by_the_battery_and_told(simulator):
    circuit = handmade(BATTERY, ("switch", None, {"a": 1, "b": 0}))
    point = simulator.operating_point(circuit)
    assert 5 < -point.current("B101", "plus") < 6
    assert [remark.kind for remark in point.remarks] == ["overload"]


def test_part_without_value_is_told_with_its_cell(simulator):
    with pytest.raises(SimulationError, match=r"R101: the value of R101 is not known"):
        simulator.operating_point(handmade(BATTERY, ("resistor", None, {"a": 1, "b": 0})))


def test_voltage_outside_the_rails_is_rejected():
    circuit = handmade(BATTERY, resistor(1000, 1, 2), resistor(1000, 2, 0))
    netlist = write_netlist(circuit, Conditions())
    false = dict.fromkeys(_operating.vectors_of(netlist), 0.0) | {"n1": 9.0, "n2": 40.0, "i1e": 9.0}
    with pytest.raises(SimulationError, match="answers 40 V where only 0 to 9 V are possible"):
        _operating.read(netlist, circuit, Conditions(), false)


def test_floating_base_and_gate_have_an_answer(simulator):
    circuit = handmade(
        BATTERY, resistor(1000, 1, 3), ("npn", "BC547", {"base": 2, "collector": 3, "emitter": 0}),
        resistor(1000, 1, 5), ("nmos", "2N7000", {"gate": 4, "drain": 5, "source": 0}),
    )  # fmt: skip
    point = simulator.operating_point(circuit)
    assert point.region("Q101") is Region.OFF and point.region("Q102") is Region.OFF


# ---------------------------------------------------------------- conditions


def test_switch_potentiometer_light_heat_and_supply_obey_conditions(simulator):
    circuit = handmade(
        BATTERY, ("potentiometer", 10e3, {"a": 1, "b": 0, "wiper": 2}),
        ("photoresistor", 10e3, {"a": 1, "b": 3}), resistor(10e3, 3, 0),
        ("thermistor", 10e3, {"a": 1, "b": 4}), resistor(10e3, 4, 0),
        ("switch", None, {"a": 1, "b": 5}), resistor(10e3, 5, 0),
    )  # fmt: skip
    cells = {part.name: part.at for part in circuit.parts}
    at = Conditions(
        supply_V={cells["B101"]: 6.0}, pots={cells["RV101"]: 0.25}, switches={cells["S101"]: False},
        light_lux=10.0, temperature_C=25.0,
    )  # fmt: skip
    point = simulator.operating_point(circuit, at)
    rail = point.voltage(1)
    assert rail == pytest.approx(6.0, abs=0.01)
    assert point.voltage(2) == pytest.approx(0.75 * rail, rel=1e-3)
    assert point.voltage(3) == pytest.approx(0.5 * rail, rel=1e-3)
    assert point.voltage(4) == pytest.approx(0.5 * rail, rel=1e-3)
    assert point.voltage(5) < 1e-3


def test_text_of_a_cube_never_reaches_the_netlist():
    evil = "BC547) .control shell rm"
    circuit = handmade(
        BATTERY, resistor(1000, 1, 3), ("npn", evil, {"base": 3, "collector": 1, "emitter": 0})
    )
    assert not any("control" in line or "547" in line for line in write_netlist(circuit, Conditions()).lines)


def test_cell_of_a_part_also_finds_it(simulator):
    circuit = handmade(BATTERY, resistor(1000, 1, 0))
    point = simulator.operating_point(circuit)
    assert point.power("R101") == point.power(circuit.parts[1])
    assert point.power("R109") is None and point.current("R101", "wiper") is None


@pytest.mark.parametrize(("printed", "amperes"), [("100mA", 0.1), ("0.1A", 0.1), ("100µA", 1e-4)])
def test_an_ammeter_drops_its_burden_at_full_scale_whatever_its_prefix(simulator, printed, amperes):
    """Ohm's law: at full scale an ammeter drops its burden voltage, 0.1 V in the kit, and no more."""
    ohm = 8.9 / amperes
    board = parse_layout(
        f"plate 4 x 3\nA1 ground stem=right\nB1 supply 9V plus=right\nC1 meter {printed} plus=left\n"
        f"D1 corner ends=left+down\nD2 resistor {ohm:.0f} ends=up+down\nD3 ground stem=up\n",
        "meter", bundled_kit(),
    ).board  # fmt: skip
    point = simulator.operating_point(build_circuit(board, bundled_kit()))
    meter = point.circuit.part_at[Cell.parse("C1")]
    assert point.across(meter, "plus", "minus") == pytest.approx(0.1, rel=0.03)
