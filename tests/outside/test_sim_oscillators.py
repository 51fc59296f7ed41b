"""Oscillators of the textbooks run at the textbook's frequency; circuits that cannot do so are not said to.

Books are cited by chapter, from memory. The formulas neglect the base-emitter voltage, the transistor's own
capacitances and how it loads the network; the tolerance beside each check says how much that may be.
"""

from __future__ import annotations

import math

import pytest
from handmade import Entry, handmade

from snapcheck.board import Probe
from snapcheck.circuit import Circuit
from snapcheck.simulate import Rhythm, Simulator


def supply(volts: float = 9.0) -> Entry:
    return ("supply", volts, {"plus": 1, "minus": 0})


def resistor(ohm: float, a: int, b: int) -> Entry:
    return ("resistor", float(ohm), {"a": a, "b": b})


def capacitor(farad: float, a: int, b: int) -> Entry:
    return ("capacitor", farad, {"a": a, "b": b})


def electrolytic(farad: float, plus: int, minus: int) -> Entry:
    return ("electrolytic", farad, {"plus": plus, "minus": minus})


def coil(henry: float, a: int, b: int) -> Entry:
    return ("inductor", henry, {"a": a, "b": b})


def transistor(base: int, collector: int, emitter: int, name: str = "BC547") -> Entry:
    kind = "pnp" if name == "BC557" else "npn"
    return (kind, name, {"base": base, "collector": collector, "emitter": emitter})


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def beat(simulator: Simulator, circuit: Circuit, net: int) -> Rhythm | None:
    """The oscillation of a net, None where none is seen."""
    place = next(Probe(p.at, t) for p in circuit.parts for t, n in p.nets.items() if n == net)
    found = simulator.oscillation(circuit, place=place)
    return None if found is None else found[0]


def astable(ohm: float, farad: float) -> Circuit:
    return handmade(
        ("battery", 9.0, {"plus": 1, "minus": 0}), transistor(4, 2, 0), transistor(5, 3, 0),
        resistor(1000, 1, 2), resistor(1000, 1, 3), resistor(ohm, 1, 4), resistor(ohm, 1, 5),
        capacitor(farad, 2, 5), capacitor(farad, 3, 4),
    )  # fmt: skip


@pytest.mark.parametrize("ohm", [10e3, 22e3, 47e3, 100e3])
@pytest.mark.parametrize("farad", [1e-9, 10e-9, 100e-9, 1e-6, 10e-6, 100e-6])
def test_astable_of_equal_halves(simulator, ohm, farad):
    """f = 1/(2·ln 2·R·C). Tietze, Schenk: Electronic Circuits, multivibrators; Horowitz, Hill: The Art of
    Electronics, oscillators. From 72 kHz to a 14 s flasher; 9 V stand beside 0.7 V, hence 5 %."""
    found = beat(simulator, astable(ohm, farad), 2)
    assert found is not None
    assert found.frequency_Hz == pytest.approx(1 / (2 * math.log(2) * ohm * farad), rel=0.05)
    assert found.duty == pytest.approx(0.5, abs=0.06)  # the collector rises through its own resistor


def test_the_astable_that_the_ngspice_program_runs_at_1492_Hz(simulator):
    """ngspice 39 run by hand on the same parts, one capacitor charged beforehand."""
    assert beat(simulator, astable(47e3, 10e-9), 2).frequency_Hz == pytest.approx(1492, rel=0.005)


def common_base(henry: float, *capacitors: Entry, tap: int = 2) -> Circuit:
    return handmade(
        supply(12.0), transistor(4, 2, 3), coil(henry, tap, 1) if tap == 2 else coil(henry, 2, tap),
        *capacitors, resistor(1000, 3, 0), resistor(22e3, 1, 4), resistor(10e3, 4, 0), capacitor(1e-6, 4, 0),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("henry", "upper", "lower", "share"),
    [(10e-3, 22e-9, 220e-9, 0.03), (10e-3, 39e-9, 220e-9, 0.03), (10e-3, 47e-9, 22e-9, 0.05)],
)
def test_colpitts(simulator, henry, upper, lower, share):
    """f = 1/(2π·√(L·C1·C2/(C1 + C2))). Sedra, Smith: Microelectronic Circuits, LC oscillators.
    Where much is fed back (the last), the transistor saturates and takes part of the coil's current."""
    found = beat(simulator, common_base(henry, capacitor(upper, 2, 3), capacitor(lower, 3, 0)), 2)
    assert found is not None
    thomson = 1 / (2 * math.pi * math.sqrt(henry * upper * lower / (upper + lower)))
    assert found.frequency_Hz == pytest.approx(thomson, rel=share)


@pytest.mark.parametrize("choke", [1.0, 10.0])
def test_colpitts_that_builds_up_slowly(simulator, choke):
    """The same formula at 11.1 kHz, behind a choke that lets the swing pass the supply."""
    henry, farad = 10e-3, 41e-9
    circuit = handmade(
        supply(12.0), transistor(4, 2, 3), coil(choke, 1, 2), coil(henry, 2, 5), capacitor(farad, 2, 0),
        capacitor(farad, 5, 0), capacitor(1e-6, 5, 4), resistor(47e3, 1, 4), resistor(10e3, 4, 0),
        resistor(470, 3, 0), electrolytic(100e-6, 3, 0),
    )  # fmt: skip
    found = beat(simulator, circuit, 2)
    assert found is not None
    assert found.frequency_Hz == pytest.approx(1 / (2 * math.pi * math.sqrt(henry * farad / 2)), rel=0.03)
    assert found.swing_V > 8


def test_hartley(simulator):
    """f = 1/(2π·√((L1 + L2)·C)), coils not coupled. Sedra, Smith, LC oscillators."""
    large, small, farad = 10e-3, 1e-3, 47e-9
    circuit = common_base(
        large, coil(small, 5, 1), capacitor(farad, 2, 1), capacitor(1e-6, 5, 3), tap=5
    )  # fmt: skip
    found = beat(simulator, circuit, 2)
    assert found is not None
    expected = 1 / (2 * math.pi * math.sqrt((large + small) * farad))
    assert found.frequency_Hz == pytest.approx(expected, rel=0.06)


def phase_shift(emitter_ohm: float, collector_ohm: float = 3300.0) -> Circuit:
    ohm, farad = 10e3, 10e-9
    return handmade(
        supply(), resistor(collector_ohm, 1, 2), capacitor(farad, 2, 3), resistor(ohm, 3, 0),
        capacitor(farad, 3, 4), resistor(ohm, 4, 0), capacitor(farad, 4, 5), resistor(ohm - 2500, 5, 6),
        transistor(6, 2, 7, "BC549"), resistor(680e3, 2, 6), resistor(emitter_ohm, 7, 0),
    )  # fmt: skip


@pytest.mark.parametrize("emitter_ohm", [1.0, 20.0])
def test_phase_shift(simulator, emitter_ohm):
    """f = 1/(2πRC·√(6 + 4·Rc/R)), loaded; 1/(2πRC·√6) where Rc is nothing beside R. Millman, Halkias:
    Integrated Electronics, phase-shift oscillator. The last R is partly the stage's own input."""
    found = beat(simulator, phase_shift(emitter_ohm), 2)
    assert found is not None
    expected = 1 / (2 * math.pi * 10e3 * 10e-9 * math.sqrt(6 + 4 * 0.33))
    assert found.frequency_Hz == pytest.approx(expected, rel=0.08)


def wien(feedback_ohm: float) -> Circuit:
    """Two stages and a follower, gain 1 + Rf/1 kΩ; the divider that feeds the base is the bridge's own R."""
    ohm, farad = 10e3, 10e-9
    return handmade(
        supply(12.0), transistor(3, 2, 6), resistor(4700, 1, 2), resistor(1000, 6, 0), transistor(2, 7, 8),
        resistor(1000, 1, 7), resistor(1500, 8, 0), electrolytic(100e-6, 8, 0), transistor(7, 1, 9),
        resistor(2200, 9, 0), electrolytic(100e-6, 9, 10), resistor(feedback_ohm, 10, 6),
        resistor(ohm, 10, 11), capacitor(farad, 11, 3), resistor(6 * ohm, 1, 3), resistor(1.2 * ohm, 3, 0),
        capacitor(farad, 3, 0),
    )  # fmt: skip


def test_wien_bridge(simulator):
    """f = 1/(2πRC) where the gain is a little above 3. Horowitz, Hill, oscillators; W. R. Hewlett, US patent
    2,268,872."""
    found = beat(simulator, wien(2200), 9)
    assert found is not None
    assert found.frequency_Hz == pytest.approx(1 / (2 * math.pi * 10e3 * 10e-9), rel=0.05)


@pytest.mark.parametrize(("ohm", "farad"), [(100e3, 1e-6), (100e3, 100e-6)])
def test_relaxation_oscillator(simulator, ohm, farad):
    """T = R·C·ln(1/(1 − η)): a complementary pair that fires at η·U and empties the capacitor, as in data
    sheets of programmable unijunction transistors (2N6027). It fires 0.6 V higher and stops at 0.7 V."""
    circuit = handmade(
        supply(), resistor(ohm, 1, 4), capacitor(farad, 4, 0), resistor(470, 1, 5), resistor(470, 5, 0),
        transistor(5, 6, 4, "BC557"), transistor(6, 5, 0), resistor(22e3, 6, 0),
    )  # fmt: skip
    found = beat(simulator, circuit, 4)
    assert found is not None
    assert 1 / found.frequency_Hz == pytest.approx(ohm * farad * math.log(2), rel=0.1)


def bistable() -> Circuit:
    return handmade(
        supply(), resistor(1000, 1, 2), resistor(1000, 1, 3), resistor(22e3, 2, 5), resistor(22e3, 3, 4),
        transistor(4, 2, 0), transistor(5, 3, 0), capacitor(100e-12, 2, 5), capacitor(100e-12, 3, 4),
    )  # fmt: skip


def follower_in_place_of_the_stage() -> Circuit:
    """The phase-shift network behind an emitter: its 180° meet no other 180°, and the gain is below 1."""
    return handmade(
        supply(), resistor(3300, 7, 0), capacitor(1e-8, 7, 3), resistor(10e3, 3, 0), capacitor(1e-8, 3, 4),
        resistor(10e3, 4, 0), capacitor(1e-8, 4, 5), resistor(7500, 5, 6), transistor(6, 1, 7, "BC549"),
        resistor(680e3, 1, 6),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("circuit", "net"),
    [
        pytest.param(phase_shift(45.0), 2, id="phase shift that dies away over a second"),
        pytest.param(phase_shift(100.0), 2, id="phase shift with too little gain"),
        pytest.param(wien(1000.0), 9, id="Wien bridge with a gain of 2"),
        pytest.param(follower_in_place_of_the_stage(), 7, id="feedback in the wrong phase"),
        pytest.param(bistable(), 2, id="bistable"),
    ],
)
def test_what_cannot_oscillate_is_not_said_to(simulator, circuit, net):
    """Barkhausen's condition fails: loop gain below 1 (29 for the phase shift, 3 for the bridge, Millman,
    Halkias, same chapter), or no frequency with 360° around the loop."""
    assert beat(simulator, circuit, net) is None
