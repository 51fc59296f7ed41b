"""What rules, comparison and equivalence cost, as ratios within one run.

The yardstick is a piece of pure Python of fixed size that takes about 5.2 ms where a comparison has
20 ms to spend, so that the bound moves with the machine (see `stopwatch`).
"""

from __future__ import annotations

import itertools
import random
import statistics
from functools import partial
from pathlib import Path

import networkx as nx
import pytest
from boardmaker import inject, random_board
from handmade import Entry, handmade
from largekit import LARGE_KIT
from stopwatch import YARDSTICK_S, Race, share

from snapcheck.board import Board, load_design
from snapcheck.check import compare
from snapcheck.circuit import (
    Circuit,
    Equivalence,
    Sameness,
    build_circuit,
    check_rules,
    differences,
    equivalence,
    same_circuit_in_place,
)
from snapcheck.kit import bundled_kit

pytestmark = pytest.mark.bench
KIT = bundled_kit()
#: yardsticks to spend: 20 ms on the machine where one takes 5.2 ms
BOUND = 0.020 / YARDSTICK_S
#: the single worst of several boards may take this much of it
WORST = 1.25
AMPLIFIER = Path(__file__).parents[2] / "fixtures" / "designs" / "loudspeaker-amplifier.board"


def with_faults(board: Board, seed: int) -> Board:
    """Three faults of different sorts."""
    rng = random.Random(seed)
    for sort in rng.sample(("cube-missing", "cube-extra", "wrong-value", "turned", "swapped", "reversed"), 3):
        fault = inject(board, sort, rng)
        board = fault.board if fault else board
    return board


@pytest.mark.parametrize("shifted", [False, True])
def test_rules_and_comparison_of_a_large_amplifier_with_three_faults(shifted: bool) -> None:
    plan = load_design(AMPLIFIER, KIT).board
    built = with_faults(plan, 5)
    if shifted:
        built = built.turned(180)
    used = share(partial(rules_and_comparison, plan, built), BOUND) / BOUND
    print(f"\n{len(plan.cubes)} cubes: {used:.2f} of the bound")
    assert used < 1


def rules_and_comparison(plan: Board, built: Board) -> None:
    check_rules(build_circuit(built, KIT))
    compare(plan, built, KIT)


def test_rules_and_comparison_of_crowded_random_boards() -> None:
    """All 96 cells of a 12 x 8 plate filled at random: far more to object to than on any real board.

    Measured: median 0.53 and worst 0.65 of the bound.
    """
    plans = [random_board(random.Random(seed), 12, 8, 1.0) for seed in range(20)]
    race = Race([partial(rules_and_comparison, plan, with_faults(plan, n)) for n, plan in enumerate(plans)])
    used = [s / BOUND for s in race.run(BOUND)]
    middle, worst = statistics.median(used), max(used)
    print(f"\ncrowded: median {middle:.2f}, worst {worst:.2f} of the bound")
    assert middle < 1 and worst < WORST


def test_rules_and_comparison_of_boards_that_have_nothing_in_common() -> None:
    """Two full random boards: every shift, turn and mirror image is tried, then the circuits alone."""
    boards = [random_board(random.Random(seed), 12, 8, 1.0) for seed in range(8)]
    race = Race([partial(compare, plan, built, KIT) for plan, built in itertools.pairwise(boards)])
    used = [s / BOUND for s in race.run(BOUND)]
    print(f"\nnothing in common: median {statistics.median(used):.2f}, worst {max(used):.2f} of the bound")
    assert statistics.median(used) < 1 and max(used) < 2


def sixty_parts(seed: int) -> list[Entry]:
    """A random circuit of 60 parts on 36 nets, with few kinds and values so that much looks alike."""
    rng = random.Random(seed)
    entries: list[Entry] = [("battery", 9.0, {"plus": 1, "minus": 0})]
    while len(entries) < 60:
        a, b = rng.sample(range(36), 2)
        kind, value = rng.choice((("resistor", 1000.0), ("resistor", 1e4), ("capacitor", 1e-7)))
        entries.append((kind, value, {"a": a, "b": b}))
    return entries


def plain_graph(entries: list[Entry]) -> nx.Graph:
    graph = nx.Graph()
    for index, (kind, value, nets) in enumerate(entries):
        graph.add_node(("part", index), what=f"{kind} {value}")
        for name, net in nets.items():
            graph.add_node(net, what="net")
            graph.add_node((index, name), what="end" if kind != "battery" else name)
            graph.add_edge(("part", index), (index, name))
            graph.add_edge((index, name), net)
    return graph


def same(a: dict[str, str], b: dict[str, str]) -> bool:
    return a["what"] == b["what"]


def test_equivalence_of_sixty_parts_against_plain_isomorphism() -> None:
    """Reducing and colouring first must cost less than networkx alone on the unreduced graph."""
    works, units = [], []
    for seed in range(6):
        one = sixty_parts(seed)
        two = list(reversed(one))
        a, b = handmade(*one), handmade(*two)
        assert equivalence(a, b)
        works.append(partial(fresh_equivalence, a, b))
        units.append(partial(nx.is_isomorphic, plain_graph(one), plain_graph(two), node_match=same))
    used = [share(work, 1, unit) for work, unit in zip(works, units, strict=True)]
    print(f"\nours against plain: median {statistics.median(used):.2f}")
    assert statistics.median(used) < 1


def fresh_equivalence(one: Circuit, two: Circuit) -> Equivalence:
    """With nothing left over from the last time."""
    one.notes.clear()
    two.notes.clear()
    return equivalence(one, two)


@pytest.mark.parametrize("steps", [(1, 2), (1, 5), (2, 5), (3, 7)])
def test_the_worst_sixty_parts_never_explode(steps: tuple[int, int]) -> None:
    """Regular rings of 60 equal resistors against a ring with other steps: bounded, and says so."""

    def ring(jumps: tuple[int, int]) -> list[Entry]:
        return [("resistor", 1000.0, {"a": n, "b": (n + j) % 30}) for n in range(30) for j in jumps]

    one = handmade(*ring(steps))
    for other in ((1, 2), (1, 5), (2, 5), (3, 7), (1, 11), (4, 7)):
        two = handmade(*ring(other))
        answer = equivalence(one, two)
        used = share(partial(fresh_equivalence, one, two), 100, rounds=1, most=4)
        assert used < 100, (steps, other)
        if answer.sameness is Sameness.GAVE_UP:
            assert answer.reason


@pytest.mark.parametrize("kind", ["ten-legs", "ten-alike"])
def test_two_circuits_with_three_parts_of_ten_legs(kind: str) -> None:
    """At most 10 ms; one with all legs of one part exchanged, so that every leg is in question."""
    names = [f"p{n}" for n in range(1, 11)]
    rng = random.Random(4)
    nets = [[rng.randrange(20) for _ in names] for _ in range(3)]
    other = [nets[0], nets[1][::-1], nets[2]]
    plan, built = (
        handmade(
            ("battery", 9.0, {"plus": 1, "minus": 0}),
            *((kind, None, dict(zip(names, some, strict=True))) for some in every),
            kit=LARGE_KIT,
        )
        for every in (nets, other)
    )

    def compared() -> None:
        assert bool(differences(plan, built).differences) is (kind == "ten-legs")
        for circuit in (plan, built):
            circuit.notes.clear()
        assert bool(equivalence(plan, built)) is (kind == "ten-alike")
        same_circuit_in_place(plan, built)

    used = share(compared, 0.010 / YARDSTICK_S) * YARDSTICK_S / 0.010
    print(f"\n{kind}: {used:.2f} of 10 ms")
    assert used < 1
