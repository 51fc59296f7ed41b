"""Values, preferred numbers, filters and graphs against independent open-source libraries.

Sources: `eseries` 1.2 (PyPI, MIT: the tables of IEC 60063 written out, E192 included), `UliEngineering` 1.1
(PyPI, Apache 2.0: numbers with a prefix in place of the decimal point), `scipy.signal` (transfer functions),
`networkx` (graph isomorphism).
"""

from __future__ import annotations

import random

import eseries
import networkx as nx
import numpy as np
import pytest
import scipy.signal
from handmade import Entry, handmade
from UliEngineering.EngineerIO import normalize_numeric

from snapcheck.board import Probe
from snapcheck.circuit import equivalence
from snapcheck.kit import SERIES, ValueForm, format_value, neighbours, parse_value
from snapcheck.simulate import Simulator

# ---------------------------------------------------------------- IEC 60063 by eseries


@pytest.mark.parametrize("name", sorted(SERIES))
def test_preferred_numbers_in_full(name: str) -> None:
    key = eseries.ESeries[name]
    digits = 10 if key <= eseries.E24 else 100
    assert [round(v * digits) for v in SERIES[name]] == list(eseries.series(key))


@pytest.mark.parametrize("name", sorted(SERIES))
def test_neighbours_in_a_series(name: str) -> None:
    rng, key = random.Random(3), eseries.ESeries[name]
    for _ in range(200):
        value = 10 ** rng.uniform(-9, 7)
        low, high = neighbours(value, name)
        assert low == pytest.approx(eseries.find_less_than_or_equal(key, value), rel=1e-9)
        assert high == pytest.approx(eseries.find_greater_than_or_equal(key, value), rel=1e-9)


# ---------------------------------------------------------------- IEC 60062 by UliEngineering


def spellings() -> list[tuple[str, ValueForm]]:
    """Every E24 number in every decade, the prefix in place of the point (4k7) and behind it (4.7k)."""
    found = []
    for form, prefixes in ((ValueForm.OHMS, "kM"), (ValueForm.FARADS, "pnµ"), (ValueForm.HENRIES, "mµ")):
        for mantissa in SERIES["E24"]:
            whole, tenth = divmod(round(mantissa * 10), 10)
            for prefix in prefixes:
                found += [(f"{whole}{prefix}{tenth}", form), (f"{whole}.{tenth}{prefix}", form)]
                found += [(f"{whole}{tenth}{prefix}{z}", form) for z in ("", "0")]
                found += [(f"{whole}{tenth}0{prefix}", form)]
    return found


@pytest.mark.parametrize("form", [ValueForm.OHMS, ValueForm.FARADS, ValueForm.HENRIES])
def test_values_as_another_library_reads_them(form: ValueForm) -> None:
    texts = [text for text, one in spellings() if one is form]
    assert len(texts) > 200
    for text in texts:
        assert parse_value(text, form).value == pytest.approx(normalize_numeric(text), rel=1e-9), text


def test_values_that_we_write_are_read_by_the_other_library() -> None:
    for mantissa in SERIES["E96"]:
        for exponent in range(3, 8):
            value = float(f"{mantissa}e{exponent}")
            for style in ("code", "plain"):
                text = format_value(value, ValueForm.OHMS, style=style).removesuffix("Ω")
                assert normalize_numeric(text) == pytest.approx(value, rel=1e-9), text


# ---------------------------------------------------------------- filters by scipy.signal

INPUT: Entry = ("audio-in", None, {"signal": 1, "plate": 0})


def r(ohm: float, a: int, b: int) -> Entry:
    return ("resistor", ohm, {"a": a, "b": b})


def c(farad: float, a: int, b: int) -> Entry:
    return ("capacitor", farad, {"a": a, "b": b})


R1, R2, C1, C2 = 4.7e3, 22e3, 47e-9, 10e-9
#: name: parts between input net 1 and output net, place of the output, numerator and denominator in s
FILTERS = {
    "low-pass": ((r(R1, 1, 2), c(C1, 2, 0)), Probe("R101", "b"), [1], [R1 * C1, 1]),
    "high-pass": ((c(C1, 1, 2), r(R1, 2, 0)), Probe("C101", "b"), [R1 * C1, 0], [R1 * C1, 1]),
    "low-pass, two sections": (
        (r(R1, 1, 2), c(C1, 2, 0), r(R2, 2, 3), c(C2, 3, 0)), Probe("R102", "b"),
        [1], [R1 * C1 * R2 * C2, R1 * C1 + R1 * C2 + R2 * C2, 1],
    ),
    "band-pass": (
        (c(C1, 1, 2), r(R1, 2, 0), r(R2, 2, 3), c(C2, 3, 0)), Probe("R102", "b"),
        [R1 * C1, 0], [R1 * C1 * R2 * C2, R1 * C1 + R1 * C2 + R2 * C2, 1],
    ),
    "lead-lag": (
        (r(R1, 1, 2), c(C1, 1, 2), r(R2, 2, 0)), Probe("R101", "b"),
        [R1 * R2 * C1, R2], [R1 * R2 * C1, R1 + R2],
    ),
}  # fmt: skip


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


@pytest.mark.parametrize("name", FILTERS)
def test_frequency_response(simulator: Simulator, name: str) -> None:
    parts, output, numerator, denominator = FILTERS[name]
    found = simulator.frequency_response(handmade(INPUT, *parts), output=output)
    inside = (found.frequency_Hz > 5) & (found.frequency_Hz < 1e5)
    w = 2 * np.pi * found.frequency_Hz[inside]
    _, wanted = scipy.signal.freqs(numerator, denominator, worN=w)
    assert np.allclose(found.gain[inside], wanted, rtol=2e-3, atol=1e-5)


def test_step_response_of_two_sections(simulator: Simulator) -> None:
    """After power-on, against scipy.signal.lsim; the battery's own resistance counts in the first section."""
    battery: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})
    circuit = handmade(battery, r(R1, 1, 2), c(C1, 2, 0), r(R2, 2, 3), c(C2, 3, 0))
    inner = circuit.parts[0].parameters.get("internal_ohm", 0.9)
    r1 = R1 + inner
    system = scipy.signal.lti([1], [r1 * C1 * R2 * C2, r1 * C1 + r1 * C2 + R2 * C2, 1])
    waves = simulator.transient(circuit, duration_s=3e-3, step_s=1e-6, power_on=True)
    times = np.linspace(0, 3e-3, 3001)
    supply = 9 * np.clip(times / 1e-5, 0, 1)  # it rises within 10 µs
    _, wanted, _ = scipy.signal.lsim(system, supply, times)
    found = np.interp(times, waves.time_s, waves.voltage(3))
    assert np.allclose(found, wanted, atol=0.02)


# ---------------------------------------------------------------- equivalence by networkx alone


def network(rng: random.Random, count: int, nets: int) -> list[Entry]:
    """Capacitors of two values and a battery on few nets: no two of a kind in series or in parallel."""
    entries: list[Entry] = [("battery", 9.0, {"plus": 1, "minus": 0})]
    used: set[tuple[int, int]] = {(0, 1)}
    while len(entries) < count:
        a, b = sorted(rng.sample(range(nets), 2))
        if (a, b) not in used:
            used.add((a, b))
            entries.append(("capacitor", rng.choice((1e-7, 1e-8)), {"a": a, "b": b}))
    return entries


def graph_of(entries: list[Entry]) -> nx.Graph:
    graph = nx.Graph()
    for index, (kind, value, nets) in enumerate(entries):
        graph.add_node(("part", index), what=f"{kind} {value}")
        for name, net in nets.items():
            graph.add_node(("net", net), what="net")
            graph.add_edge(("part", index), ("net", net), end=name if kind == "battery" else "end")
    return graph


def same_by_networkx(one: list[Entry], two: list[Entry]) -> bool:
    return nx.is_isomorphic(
        graph_of(one), graph_of(two),
        node_match=lambda a, b: a["what"] == b["what"], edge_match=lambda a, b: a["end"] == b["end"],
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(25))
def test_equivalence_of_dense_circuits(seed: int) -> None:
    """Nets with three or more ends each leave nothing to reduce: plain isomorphism says the same."""
    rng = random.Random(seed)
    one = network(rng, 13, 6)
    while min(sum(n in nets.values() for _, _, nets in one) for n in range(6)) < 3:
        one = network(rng, 13, 6)
    renamed = dict(zip(range(6), rng.sample(range(6), 6), strict=True))
    two = [(k, v, {t: renamed[n] for t, n in nets.items()}) for k, v, nets in one]
    rng.shuffle(two)
    if seed % 2:  # one part moved to other nets
        kind, value, nets = next(e for e in two if e[0] == "capacitor")
        two[two.index((kind, value, nets))] = (kind, 1e-8 if value == 1e-7 else 1e-7, nets)
    assert bool(equivalence(handmade(*one), handmade(*two))) is same_by_networkx(one, two)
