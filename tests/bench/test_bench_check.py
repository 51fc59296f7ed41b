"""What rules, comparison and equivalence cost, as ratios within one run.

The yardstick is a piece of pure Python of fixed size that takes about 5.2 ms where a comparison has
20 ms to spend, so that the bound moves with the machine.
"""

from __future__ import annotations

import itertools
import random
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import networkx as nx
import pytest
from boardmaker import inject, random_board
from handmade import Entry, handmade

from snapcheck.board import Board, load_design
from snapcheck.check import compare
from snapcheck.circuit import Sameness, build_circuit, check_rules, equivalence
from snapcheck.kit import bundled_kit

pytestmark = pytest.mark.bench
KIT = bundled_kit()
#: 20 ms on the machine where the yardstick takes 5.2 ms
BOUND = 20 / 5.2
AMPLIFIER = Path(__file__).parents[2] / "fixtures" / "designs" / "loudspeaker-amplifier.board"


def yardstick() -> None:
    total = 0
    for i in range(200_000):
        total += i % 7
    assert total > 0


def best_s(run: Callable[[], object], times: int = 7) -> float:
    """Least processor seconds of several runs: others at work on the machine hardly count."""
    spent = []
    for _ in range(times):
        start = time.process_time()
        run()
        spent.append(time.process_time() - start)
    return min(spent)


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
    compare(plan, built, KIT)  # imports networkx
    unit = best_s(yardstick)

    def work() -> None:
        check_rules(build_circuit(built, KIT))
        compare(plan, built, KIT)

    spent = best_s(work)
    print(f"\n{len(plan.cubes)} cubes: {spent * 1e3:.1f} ms, yardstick {unit * 1e3:.1f} ms")
    assert spent < BOUND * unit


def test_rules_and_comparison_of_crowded_random_boards() -> None:
    """All 96 cells of a 12 x 8 plate filled at random: far more to object to than on any real board."""

    def work(plan: Board, built: Board) -> None:
        check_rules(build_circuit(built, KIT))
        compare(plan, built, KIT)

    pairs = []
    for seed in range(20):
        plan = random_board(random.Random(seed), 12, 8, 1.0)
        pairs.append((plan, with_faults(plan, seed)))
    work(*pairs[0])
    units = [best_s(yardstick, 3)]
    spent = [float("inf")] * len(pairs)
    for _ in range(4):  # in turns, so that a slow spell of the machine hits yardstick and boards alike
        for i, (plan, built) in enumerate(pairs):
            spent[i] = min(spent[i], best_s(lambda plan=plan, built=built: work(plan, built), 2))  # type: ignore[misc]
        units.append(best_s(yardstick, 3))
    bound = BOUND * min(units)
    middle, worst = statistics.median(spent), max(spent)
    print(
        f"\nmedian {middle * 1e3:.1f} ms, worst {worst * 1e3:.1f} ms: "
        f"{middle / bound:.2f} and {worst / bound:.2f} of the bound"
    )
    assert middle < bound and worst < 1.25 * bound


def test_rules_and_comparison_of_boards_that_have_nothing_in_common() -> None:
    """Two full random boards: every shift, turn and mirror image is tried, then the circuits alone."""
    boards = [random_board(random.Random(seed), 12, 8, 1.0) for seed in range(8)]
    shares = []
    for plan, built in itertools.pairwise(boards):
        unit = best_s(yardstick, 3)
        spent = best_s(lambda plan=plan, built=built: compare(plan, built, KIT), 5)  # type: ignore[misc]
        shares.append(spent / (BOUND * unit))
    print(
        f"\nnothing in common: median {statistics.median(shares):.2f}, worst {max(shares):.2f} of the bound"
    )
    assert statistics.median(shares) < 1 and max(shares) < 2


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
    ours, plain = [], []
    for seed in range(6):
        one = sixty_parts(seed)
        two = list(reversed(one))
        a, b = handmade(*one), handmade(*two)
        assert equivalence(a, b)
        ours.append(best_s(lambda a=a, b=b: equivalence(a, b), 3))  # type: ignore[misc]
        g, h = plain_graph(one), plain_graph(two)
        plain.append(best_s(lambda g=g, h=h: nx.is_isomorphic(g, h, node_match=same), 3))  # type: ignore[misc]
    print(f"\nours {statistics.median(ours) * 1e3:.1f} ms, plain {statistics.median(plain) * 1e3:.1f} ms")
    assert statistics.median(ours) < statistics.median(plain)


@pytest.mark.parametrize("steps", [(1, 2), (1, 5), (2, 5), (3, 7)])
def test_the_worst_sixty_parts_never_explode(steps: tuple[int, int]) -> None:
    """Regular rings of 60 equal resistors against a ring with other steps: bounded, and says so."""
    unit = best_s(yardstick)

    def ring(jumps: tuple[int, int]) -> list[Entry]:
        return [("resistor", 1000.0, {"a": n, "b": (n + j) % 30}) for n in range(30) for j in jumps]

    one = handmade(*ring(steps))
    for other in ((1, 2), (1, 5), (2, 5), (3, 7), (1, 11), (4, 7)):
        two = handmade(*ring(other))
        start = time.perf_counter()
        answer = equivalence(one, two)
        spent = time.perf_counter() - start
        assert spent < 100 * unit, (steps, other, spent)
        if answer.sameness is Sameness.GAVE_UP:
            assert answer.reason
