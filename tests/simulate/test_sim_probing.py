"""What a meter shows, and how it moves with parts: against Ohm's law."""

from __future__ import annotations

import pytest
from handmade import handmade

from snapcheck.board import Conditions
from snapcheck.simulate import Simulator, in_turns, is_available, probe, probe_in_time

pytestmark = pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")
USUAL = Conditions()


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


@pytest.fixture(scope="module")
def divider():
    """9 V over two resistors of a megohm, and nets that a capacitor cuts off from direct current."""
    return handmade(
        ("supply", 9.0, {"plus": 1, "minus": 0}), ("resistor", 1e6, {"a": 1, "b": 2}),
        ("resistor", 1e6, {"a": 2, "b": 0}), ("capacitor", 1e-7, {"a": 2, "b": 3}),
        ("resistor", 1e6, {"a": 3, "b": 4}), ("audio-in", None, {"signal": 5, "plate": 0}),
        ("capacitor", 1e-6, {"a": 5, "b": 2}),
    )  # fmt: skip


def test_a_meter_of_ten_megohm_pulls_a_megohm_divider_down(simulator, divider) -> None:
    found = probe(simulator.worker, divider, USUAL, steps={}, loaded=(2, 4))
    assert found.volts[2] == pytest.approx(4.5, rel=1e-3)
    # the source of 500 kilohm and the meter's 10 megohm divide
    assert found.shown[2] == pytest.approx(4.5 * 10 / 10.5, rel=1e-3)
    assert found.shown[4] < 0.01 < found.volts[4]  # behind the capacitor only insulation leads anywhere
    assert found.shown[1] == found.volts[1]


def test_slopes_are_those_of_a_divider_and_leave_nothing_changed(simulator, divider) -> None:
    steps = {"R101": 1.05, "R102": 1.05, "B101": 1.0}
    found = probe(simulator.worker, divider, USUAL, steps=steps, loaded=(2,))
    again = probe(simulator.worker, divider, USUAL, steps={"R102": 1.05, "R101": 1.05})
    assert found.slopes[2, 0] == pytest.approx(9 / 2.05 - 4.5, rel=1e-3)
    assert found.slopes[2, 1] == pytest.approx(9 * 1.05 / 2.05 - 4.5, rel=1e-3)
    assert again.slopes[2, ::-1] == pytest.approx(found.slopes[2, :2], rel=1e-6)
    scaled = probe(simulator.worker, divider, USUAL, steps={}, scales={"R102": 3.0})
    assert scaled.volts[2] == pytest.approx(9 * 3 / 4, rel=1e-3)


def test_a_signal_comes_through_the_capacitor(simulator, divider) -> None:
    source = next(part for part in divider.parts if part.kind.model == "source")
    found = probe(simulator.worker, divider, USUAL, steps={"R101": 1.05}, input=source)
    assert found.signal is not None and found.signal[2] == pytest.approx(1.0, abs=0.01)
    assert found.signal[1] < 0.01


def test_a_capacitor_settles_in_time(simulator) -> None:
    circuit = handmade(
        ("supply", 9.0, {"plus": 1, "minus": 0}), ("resistor", 1e3, {"a": 1, "b": 2}),
        ("capacitor", 1e-6, {"a": 2, "b": 0}),
    )  # fmt: skip
    mean, swing, end = probe_in_time(simulator.worker, circuit, USUAL, duration_s=0.04, step_s=1e-4)
    assert (mean[2], end[2]) == pytest.approx((9.0, 9.0), rel=1e-3) and swing[2] < 0.01


def test_jobs_come_back_in_their_order_whatever_the_processes(simulator, divider) -> None:
    def job(number: int):
        if number == 7:
            return lambda worker: probe(
                worker, handmade(("resistor", 1.0, {"a": 1, "b": 0})), USUAL, steps={}
            )
        return lambda worker: probe(worker, divider, USUAL, steps={}, scales={"R102": number + 1.0})

    jobs = [job(number) for number in range(45)]
    one, two = in_turns(simulator.worker, jobs, 1), in_turns(simulator.worker, jobs, 2)
    assert one[7] is None and two[7] is None
    volts = [None if p is None else float(p.volts[2]) for p in two]
    assert volts == [None if p is None else pytest.approx(float(p.volts[2])) for p in one]
    assert volts[2] == pytest.approx(9 * 3 / 4, rel=1e-3)
