"""Work stops soon after its caller no longer wants it, and leaves nothing running."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path

import pytest

import snapcheck
from snapcheck.simulate import Simulator, is_available
from snapcheck.watch import step, stop_if_asked, watched

FIXTURES = Path(__file__).parents[2] / "fixtures"
PHOTO, PLAN = FIXTURES / "photos" / "first-light-good.jpg", FIXTURES / "designs" / "first-light.board"
needs_ngspice = pytest.mark.skipif(not is_available(), reason="ngspice is not installed")


def test_outside_of_a_watch_nothing_is_stopped_or_told() -> None:
    step("anything")
    told: list[str] = []
    stop = threading.Event()
    with watched(told.append, stop):
        step("one")
        with watched(cancel=lambda: False):  # the inner one says when to stop, the outer one is told
            stop.set()
            step("two")
        with pytest.raises(snapcheck.StoppedError):
            step("three")
    stop_if_asked()
    assert told == ["one", "two"]


@pytest.mark.parametrize(
    "call",
    [
        lambda stop: snapcheck.read(PHOTO, cancel=stop),
        lambda stop: snapcheck.check(PHOTO, PLAN, cancel=stop),
        lambda stop: snapcheck.check(PLAN, PLAN, cancel=stop, calculate=False),
        pytest.param(lambda stop: snapcheck.compare(PLAN, PLAN, cancel=stop), marks=needs_ngspice),
        pytest.param(lambda stop: snapcheck.rules(PLAN, cancel=stop), marks=needs_ngspice),
        lambda stop: snapcheck.simulate(PLAN, cancel=stop),
    ],
)
def test_what_is_not_wanted_from_the_start_is_not_done(call) -> None:
    stop = threading.Event()
    stop.set()
    with pytest.raises(snapcheck.StoppedError) as caught:
        call(stop)
    assert caught.value.exit_code == 130


def test_a_check_stops_between_reading_and_checking() -> None:
    stop = threading.Event()

    def progress(words: str) -> None:
        if words == "checking":
            stop.set()

    with pytest.raises(snapcheck.StoppedError):
        snapcheck.check(PHOTO, PLAN, calculate=False, progress=progress, cancel=stop)


def test_an_error_of_the_callers_own_function_is_told() -> None:
    with pytest.raises(ZeroDivisionError):
        snapcheck.check(PLAN, PLAN, calculate=False, cancel=lambda: 1 / 0)  # type: ignore[arg-type,return-value]


@needs_ngspice
def test_a_long_calculation_is_broken_off_and_the_next_one_is_made() -> None:
    circuit = snapcheck.rules(PLAN, calculate=False).circuit
    stop = threading.Event()
    with Simulator() as simulator:
        before = simulator.operating_point(circuit)
        threading.Timer(0.5, stop.set).start()
        with pytest.raises(snapcheck.StoppedError), watched(cancel=stop):
            simulator.transient(
                circuit, duration_s=1000.0, step_s=1e-6
            )  # one question, up to its limit of 30 s
        assert simulator.worker.pid is None
        assert simulator.operating_point(circuit).net_voltages_V == before.net_voltages_V


@needs_ngspice
def test_many_short_calculations_are_broken_off() -> None:
    design = FIXTURES / "designs" / "loudspeaker-amplifier.board"
    stop, told = threading.Event(), list[str]()

    def progress(words: str) -> None:
        told.append(words)
        stop.set()

    with pytest.raises(snapcheck.StoppedError):
        snapcheck.simulate(design, tolerance=10_000, progress=progress, cancel=stop)
    assert len(told) == 1 and told[0].startswith("tolerance analysis: ")


def test_a_class_stops_and_goes_on(tmp_path: Path) -> None:
    course = tmp_path / "class"
    shutil.copytree(FIXTURES / "class", course)
    asked = []

    def stop() -> bool:
        asked.append(1)
        return len(asked) > 4

    with pytest.raises(snapcheck.StoppedError):
        snapcheck.grade_class(course, workers=1, cancel=stop)
    assert (course / "gradebook.db").exists()
