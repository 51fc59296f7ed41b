"""The same circuit built differently passes; a different one does not; and the reason is small."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import networkx as nx
import pytest
from handmade import Entry, handmade
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from snapcheck.circuit import (
    Circuit,
    Sameness,
    What,
    differences,
    equivalence,
    normal_form,
    same_circuit_in_place,
    single_difference,
)


def r(a: int, b: int, ohms: float = 1000.0) -> Entry:
    return "resistor", ohms, {"a": a, "b": b}


def c(a: int, b: int, farads: float = 1e-7) -> Entry:
    return "capacitor", farads, {"a": a, "b": b}


def battery(plus: int, minus: int, volts: float = 9.0) -> Entry:
    return "battery", volts, {"plus": plus, "minus": minus}


def led(anode: int, cathode: int, colour: str = "red") -> Entry:
    return "led", colour, {"anode": anode, "cathode": cathode}


def npn(base: int, collector: int, emitter: int, kind: str = "BC547") -> Entry:
    return "npn", kind, {"base": base, "collector": collector, "emitter": emitter}


#: a common-emitter stage: 1 supply, 2 base, 3 collector, 4 emitter, 5 input
STAGE: list[Entry] = [
    battery(1, 0), r(1, 2, 47e3), r(2, 0, 10e3), r(1, 3, 4700.0), r(4, 0, 1000.0), npn(2, 3, 4),
    c(5, 2, 1e-6), ("audio-in", None, {"signal": 5, "plate": 0}), c(3, 6, 1e-5), r(6, 0, 1e5),
]  # fmt: skip


def same(one: list[Entry], two: list[Entry]) -> bool:
    return bool(equivalence(handmade(*one), handmade(*two)))


def test_order_and_numbers_do_not_count() -> None:
    renumbered = [(k, v, {t: (n * 7) % 8 for t, n in nets.items()}) for k, v, nets in reversed(STAGE)]
    assert same(STAGE, renumbered)


@pytest.mark.parametrize(
    ("one", "two"),
    [
        pytest.param([battery(1, 0), r(1, 2), led(2, 0)], [battery(1, 0), led(1, 2), r(2, 0)],
                     id="series-order"),
        pytest.param([battery(1, 0), r(1, 2, 940.0), led(2, 0)],
                     [battery(1, 0), r(1, 2, 470.0), led(2, 3), r(3, 0, 470.0)], id="series-sum"),
        pytest.param([battery(1, 0), r(1, 0, 500.0)], [battery(1, 0), r(1, 0), r(0, 1)], id="parallel"),
        pytest.param([battery(1, 0), r(1, 2), c(2, 0, 2e-7)], [battery(1, 0), r(1, 2), c(2, 0), c(0, 2)],
                     id="parallel-capacitors"),
        pytest.param([battery(1, 0), r(1, 2), c(2, 3, 5e-8), led(3, 0)],
                     [battery(1, 0), r(1, 2), c(2, 4), c(4, 3), led(3, 0)], id="series-capacitors"),
        pytest.param([battery(1, 0), r(1, 0)], [battery(3, 2), r(3, 2)], id="no-plate"),
        pytest.param([battery(1, 0), r(1, 0)], [battery(1, 0), r(1, 0), r(1, 2)], id="hanging-part"),
        pytest.param([battery(1, 0), r(1, 0)], [battery(1, 0), r(1, 0), r(1, 1)], id="bridged-part"),
        pytest.param([battery(1, 0), r(1, 0, 1000.0)], [battery(1, 0), r(1, 0, 1020.0)], id="tolerance"),
    ],
)  # fmt: skip
def test_same_circuit_built_differently(one: list[Entry], two: list[Entry]) -> None:
    assert same(one, two) and same(two, one)


@pytest.mark.parametrize(
    ("one", "two"),
    [
        pytest.param([battery(1, 0), r(1, 2), led(2, 0)], [battery(1, 0), r(1, 2), led(0, 2)],
                     id="led-reversed"),
        pytest.param([battery(1, 0), r(1, 0, 1000.0)], [battery(1, 0), r(1, 0, 1200.0)], id="value"),
        pytest.param([battery(1, 0), r(1, 2), led(2, 0), led(2, 0)],
                     [battery(1, 0), r(1, 2), led(2, 3), led(3, 0)], id="series-for-parallel"),
        pytest.param(STAGE, [*STAGE[:5], npn(2, 4, 3), *STAGE[6:]], id="transistor-turned"),
        pytest.param(STAGE, [*STAGE[:5], npn(2, 3, 4, "BC549"), *STAGE[6:]], id="transistor-type"),
    ],
)  # fmt: skip
def test_different_circuits(one: list[Entry], two: list[Entry]) -> None:
    assert not same(one, two) and not same(two, one)


def test_a_measured_net_inside_a_chain_must_find_its_counterpart() -> None:
    """A divider's upper and lower resistor may not be exchanged once its middle is the output."""
    one, two = (
        handmade(battery(1, 0), r(1, 2, 1e3), r(2, 0, 1e4)),
        handmade(battery(1, 0), r(1, 2, 1e4), r(2, 0, 1e3)),
    )
    assert equivalence(one, two)
    answer = equivalence(one, two, keep=[2])
    assert answer.sameness is Sameness.DIFFERENT or answer.nets[0] != 0
    one_resistor = handmade(battery(1, 0), r(1, 0, 1.1e4))
    assert equivalence(one, one_resistor)
    assert equivalence(one, one_resistor, keep=[2]).sameness is Sameness.DIFFERENT
    turned = handmade(r(3, 0, 1e4), r(4, 3, 1e3), battery(4, 0))
    answer = equivalence(one, turned, keep=[2])
    assert answer and answer.nets[2] == 3


def test_corresponding_parts_and_nets_are_told() -> None:
    one = handmade(*STAGE)
    two = handmade(*reversed(STAGE))
    answer = equivalence(one, two)
    for part in one.parts:
        other = two.part_at[answer.parts[part.at]]
        assert other.kind.name == part.kind.name and other.cube.value == part.cube.value
    assert answer.nets == {n: n for n in answer.nets}


# ---------------------------------------------------------------- random circuits


def shuffled(entries: list[Entry], rng: random.Random) -> list[Entry]:
    """The same circuit with parts in another order and nets renumbered."""
    numbers = sorted({n for _, _, nets in entries for n in nets.values()})
    new = dict(zip(numbers, rng.sample(range(len(numbers)), len(numbers)), strict=True))
    mixed = [(k, v, {t: new[n] for t, n in nets.items()}) for k, v, nets in entries]
    rng.shuffle(mixed)
    return mixed


def random_circuit(rng: random.Random, parts: int) -> list[Entry]:
    nets = max(3, parts * 2 // 3)
    pick = lambda: rng.randrange(nets)  # noqa: E731
    makers = (
        lambda: r(pick(), pick(), rng.choice((470.0, 1e3, 4.7e3, 1e4))),
        lambda: c(pick(), pick(), rng.choice((1e-8, 1e-7))),
        lambda: led(pick(), pick()),
        lambda: npn(pick(), pick(), pick()),
        lambda: ("switch", None, {"a": pick(), "b": pick()}),
    )
    return [battery(1, 0), *(rng.choice(makers)() for _ in range(parts - 1))]


@given(st.integers(0, 2**32), st.integers(4, 40))
@settings(max_examples=150, deadline=None)
def test_a_shuffled_circuit_is_the_same(seed: int, parts: int) -> None:
    rng = random.Random(seed)
    entries = random_circuit(rng, parts)
    assert same(entries, shuffled(entries, rng))


def changed_once(entries: list[Entry], rng: random.Random) -> list[Entry]:
    """One live part with another value, turned round, or with one terminal elsewhere."""
    numbers = {cell: i for i, cell in enumerate(p.at for p in handmade(*entries).parts)}
    live = {numbers[p.at] for e in normal_form(handmade(*entries)).elements for p in e.members}
    assume(live)
    index = rng.choice(sorted(live))
    kind, value, nets = entries[index]
    changed = list(entries)
    if kind == "resistor":
        changed[index] = (kind, value * 3, nets)  # type: ignore[operator]
    elif kind in ("led", "battery"):
        names = list(nets)
        changed[index] = (kind, value, {names[0]: nets[names[1]], names[1]: nets[names[0]]})
    else:
        changed[index] = ("thermistor", 1000.0, dict(zip("ab", list(nets.values())[:2], strict=True)))
    return changed


def raw_graph(circuit: Circuit) -> nx.MultiGraph:
    """Parts, terminals and nets as nodes of a plain graph, without any reduction of ours."""
    graph = nx.Graph()
    for part in circuit.parts:
        graph.add_node(part.name, what=(part.kind.name, str(part.cube.value)))
        for name, net in part.nets.items():
            free = any(name in group for group in part.kind.interchangeable)
            graph.add_node((part.name, name), what="end" if free else name)
            graph.add_node(net, what="net")
            graph.add_edge(part.name, (part.name, name))
            graph.add_edge((part.name, name), net)
    return graph


@given(st.integers(0, 2**32), st.integers(4, 14), st.booleans())
@settings(max_examples=150, deadline=None)
def test_never_at_odds_with_plain_isomorphism(seed: int, parts: int, change: bool) -> None:
    """networkx's own isomorphism of the unreduced graphs as the second opinion.

    Isomorphic graphs must be the same circuit. (The reverse does not hold: parts in series may be
    exchanged, and idle parts do not count.)
    """
    rng = random.Random(seed)
    entries = random_circuit(rng, parts)
    other = shuffled(changed_once(entries, rng) if change else entries, rng)
    one, two = handmade(*entries), handmade(*other)
    plain = nx.is_isomorphic(raw_graph(one), raw_graph(two), node_match=lambda a, b: a["what"] == b["what"])
    if plain:
        assert equivalence(one, two)
    if equivalence(one, two).sameness is Sameness.DIFFERENT:
        assert not plain


# ---------------------------------------------------------------- bounded


def srg_pair() -> tuple[list[Entry], list[Entry]]:
    """Two networks of 48 equal resistors that colours cannot tell apart: 4x4 rook's graph and Shrikhande's.

    Both are strongly regular with parameters (16, 6, 2, 2) and not isomorphic (Shrikhande 1959).
    """
    rook = [(a, b) for a in range(16) for b in range(a) if (a // 4 == b // 4) != (a % 4 == b % 4)]
    steps = {(0, 1), (0, 3), (1, 0), (3, 0), (1, 1), (3, 3)}
    shrikhande = [
        (a, b) for a in range(16) for b in range(a)
        if (((a // 4) - (b // 4)) % 4, ((a % 4) - (b % 4)) % 4) in steps
    ]  # fmt: skip
    assert len(rook) == len(shrikhande) == 48
    return [r(a, b) for a, b in rook], [r(a, b) for a, b in shrikhande]


def test_graphs_that_colours_cannot_tell_apart_are_decided_or_given_up_in_bounds() -> None:
    rook, shrikhande = (handmade(*entries) for entries in srg_pair())
    answer = equivalence(rook, shrikhande)
    assert answer.sameness in (Sameness.DIFFERENT, Sameness.GAVE_UP)
    assert answer.steps <= 20_001
    short = equivalence(rook, shrikhande, step_limit=50)
    assert short.sameness is Sameness.GAVE_UP and "50" in str(short.steps - 1) and short.reason


def test_sixty_equal_parts_stay_in_bounds() -> None:
    """Regular networks of 60 equal resistors, the worst that colours can meet."""
    for steps in ((1, 2), (1, 5), (2, 5)):
        ring = [r(a, (a + s) % 30) for a in range(30) for s in steps]
        rng = random.Random(1)
        answer = equivalence(handmade(*ring), handmade(*shuffled(ring, rng)))
        assert answer.sameness is not Sameness.DIFFERENT
        assert answer.steps <= 20_001


# ---------------------------------------------------------------- the smallest reason


def test_one_net_torn_apart() -> None:
    torn = [*STAGE[:2], r(7, 0, 10e3), *STAGE[3:]]
    found = differences(handmade(*STAGE), handmade(*torn)).differences
    assert [d.what for d in found] == [What.APART]
    assert [str(t) for t in found[0].pieces[1]] == ["R102 a"]


def test_two_nets_joined() -> None:
    joined = [(k, v, {t: 2 if n == 4 else n for t, n in nets.items()}) for k, v, nets in STAGE]
    found = differences(handmade(*STAGE), handmade(*joined)).differences
    assert [d.what for d in found] == [What.JOINED] and set(found[0].nets) == {2, 4}


def test_one_terminal_on_the_wrong_net() -> None:
    moved = [*STAGE[:8], c(4, 6, 1e-5), *STAGE[9:]]
    found = differences(handmade(*STAGE), handmade(*moved)).differences
    assert [(d.what, d.nets) for d in found] == [(What.HANGS, (3, 4))]
    assert found[0].part is not None and found[0].part.kind.name == "capacitor"


def test_a_part_of_another_value_or_kind_or_missing() -> None:
    value = [*STAGE[:3], r(1, 3, 470.0), *STAGE[4:]]
    assert [d.what for d in differences(handmade(*STAGE), handmade(*value)).differences] == [What.VALUE]
    kind = [*STAGE[:3], led(1, 3), *STAGE[4:]]
    assert [d.what for d in differences(handmade(*STAGE), handmade(*kind)).differences] == [What.KIND]
    missing = [*STAGE[:9]]
    assert [d.what for d in differences(handmade(*STAGE), handmade(*missing)).differences] == [What.MISSING]


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (lambda e: [*e[:5], npn(2, 4, 3), *e[6:]], What.LEGS),
        (lambda e: [*e[:3], r(1, 3, 470.0), *e[4:]], What.VALUE),
        (lambda e: [*e, r(1, 4, 330.0)], What.EXTRA),
        (lambda e: e[:4] + e[5:], What.MISSING),
        (
            lambda e: [(k, v, {t: 2 if n == 4 else n for t, n in nets.items()}) for k, v, nets in e],
            What.JOINED,
        ),
        (lambda e: [*e[:2], r(7, 0, 10e3), *e[3:]], What.APART),
    ],
)
def test_one_edit_that_explains_all_wherever_parts_stand(change: object, what: What) -> None:
    rng = random.Random(3)
    built = handmade(*shuffled(change(STAGE), rng))  # type: ignore[operator]
    found = single_difference(handmade(*STAGE), built)
    assert found is not None and found.what is what


def test_in_place_agrees_with_itself_and_sees_one_change() -> None:
    circuit = handmade(*STAGE)
    assert same_circuit_in_place(circuit, circuit) == {n: n for n in range(7)}
    other = handmade(*STAGE[:3], r(3, 1, 4700.0), *STAGE[4:])  # an exchangeable part the other way round
    assert same_circuit_in_place(circuit, other) is not None
    assert same_circuit_in_place(circuit, handmade(*STAGE[:5], npn(3, 2, 4), *STAGE[6:])) is None
    part = replace(circuit.parts[0], name="Z")
    assert (part.at, circuit.parts[0].at) == ("Z", "B101")  # a part that stands nowhere goes by its name


def test_tolerance_is_not_chained() -> None:
    """110 nF and 120 nF beside them do not make 100 nF and 130 nF one value."""
    between = [c(1, 4, 110e-9), r(4, 0, 2e3), c(1, 5, 120e-9), r(5, 0, 3e3)]
    plan = handmade(battery(1, 0), c(1, 2, 100e-9), r(2, 0, 1e3), c(1, 3, 130e-9), r(3, 0, 4e3), *between)
    near = handmade(battery(1, 0), c(1, 2, 105e-9), r(2, 0, 1e3), c(1, 3, 125e-9), r(3, 0, 4e3), *between)
    swapped = handmade(battery(1, 0), c(1, 2, 130e-9), r(2, 0, 1e3), c(1, 3, 100e-9), r(3, 0, 4e3), *between)
    assert equivalence(plan, near)
    assert equivalence(plan, swapped).sameness is Sameness.DIFFERENT


def test_tolerance_is_not_chained_where_much_looks_alike() -> None:
    """Equal branches are told apart by the values in them, or the right ones are paired."""
    branches = [e for n in (2, 3, 4, 5) for e in (r(n, 0), r(1, n, 3e3))]
    values = (100e-9, 110e-9, 120e-9, 130e-9)
    plan = handmade(
        battery(1, 0), *branches, *(c(n, 0, v) for n, v in zip((2, 3, 4, 5), values, strict=True))
    )
    other = handmade(
        battery(1, 0), *branches, *(c(n, 0, v) for n, v in zip((5, 3, 2, 4), values, strict=True))
    )
    wrong = handmade(battery(1, 0), *branches, *(c(n, 0, 100e-9) for n in (2, 3, 4)), c(5, 0, 130e-9))
    assert equivalence(plan, other)
    assert equivalence(plan, wrong).sameness is Sameness.DIFFERENT


@pytest.mark.parametrize("spelt", ["GREEN", "Grn", "green"])
def test_a_colour_is_one_colour_however_it_is_spelt(spelt: str) -> None:
    plan = handmade(battery(1, 0), r(1, 2), led(2, 0, "green"))
    built = handmade(battery(1, 0), r(1, 2), led(2, 0, spelt))
    assert equivalence(plan, built) and same_circuit_in_place(plan, built) is not None
    assert built.parts[2].parameters == plan.parts[2].parameters
    assert not equivalence(plan, handmade(battery(1, 0), r(1, 2), led(2, 0, "RED")))


def test_lamps_are_the_same_however_their_current_is_written() -> None:
    plan = handmade(battery(1, 0), ("lamp", "6V/0.1A", {"a": 1, "b": 0}))
    assert equivalence(plan, handmade(battery(1, 0), ("lamp", "6V/100mA", {"a": 1, "b": 0})))
    assert not equivalence(plan, handmade(battery(1, 0), ("lamp", "6V/0.3A", {"a": 1, "b": 0})))


def test_like_parts_are_paired_alike_in_every_run() -> None:
    """Twelve like resistors on the edges of a cube can be paired in 48 ways; one is always taken."""
    code = (
        "from handmade import handmade\n"
        "from snapcheck.circuit import equivalence\n"
        "edges = [(a + 1, b + 1) for a in range(8) for b in range(a) if bin(a ^ b).count('1') == 1]\n"
        "cube, turned = (handmade(*[('resistor', 1e3, {'a': a, 'b': b}) for a, b in order])\n"
        "                for order in (edges, edges[::-1]))\n"
        "print(*equivalence(cube, turned).parts.items())\n"
    )
    tests = Path(__file__).parents[1]
    paths = os.pathsep.join([str(tests), str(tests.parent)])
    runs = [
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True,
            env={**os.environ, "PYTHONPATH": paths, "PYTHONHASHSEED": seed},
        )
        for seed in ("1", "2")
    ]  # fmt: skip
    assert runs[0].stdout.count("R1") == 24 and runs[0].stdout == runs[1].stdout
