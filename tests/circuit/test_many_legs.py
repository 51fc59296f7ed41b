"""Parts of many legs: how they are paired leg by leg, without trying every order."""

from __future__ import annotations

import itertools
import random
from collections.abc import Mapping
from dataclasses import replace

import pytest
from handmade import Entry, handmade
from hypothesis import given, settings
from hypothesis import strategies as st
from largekit import LARGE_KIT

from snapcheck.board import Board, Cell, Cube
from snapcheck.circuit import (
    Circuit,
    What,
    build_circuit,
    differences,
    equivalence,
    same_circuit_in_place,
    single_difference,
)
from snapcheck.circuit._difference import _best_way, _fits
from snapcheck.circuit._edits import _other_ways

TEN = [f"p{n}" for n in range(1, 11)]


def three(kind: str, seed: int, change: Mapping[int, list[int]] | None = None) -> Circuit:
    """Three parts of ten legs on fifteen nets and a battery; `change` gives one of them other nets."""
    rng = random.Random(seed)
    entries: list[Entry] = [("battery", 9.0, {"plus": 1, "minus": 0})]
    for part in range(3):
        nets = [rng.randrange(15) for _ in TEN]
        nets = (change or {}).get(part, nets)
        entries.append((kind, None, dict(zip(TEN, nets, strict=True))))
    return handmade(*entries, kit=LARGE_KIT)


def nets_of(circuit: Circuit, part: int) -> list[int]:
    return [circuit.part_named[f"U{part + 101}"].nets[t] for t in TEN]


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_the_best_way_is_the_first_best_of_all_orders(data: st.DataObject) -> None:
    """Held against trying every order, up to five legs."""
    count = data.draw(st.integers(1, 5))
    names = TEN[:count]
    some = st.lists(st.integers(0, 4), min_size=count, max_size=count)
    kind = replace(LARGE_KIT["ten-legs"], contacts=LARGE_KIT["ten-legs"].contacts[:count])
    one, two = (
        replace(handmade(("resistor", 1.0, {"a": 0, "b": 1})).parts[0], kind=kind,
                nets=dict(zip(names, data.draw(some), strict=True)))
        for _ in range(2)
    )  # fmt: skip
    nets = data.draw(st.dictionaries(st.integers(0, 4), st.integers(0, 4)))
    nets = {a: b for n, (a, b) in enumerate(nets.items()) if b not in list(nets.values())[:n]}
    used = set(nets.values())
    every = [dict(zip(names, order, strict=True)) for order in itertools.permutations(names)]
    assert _best_way(one, two, [names], nets, used) == max(
        every, key=lambda way: _fits(one, two, way, nets, used)
    )


def test_up_to_three_legs_every_other_order_is_tried() -> None:
    part = handmade(("npn", "BC547", {"base": 1, "collector": 2, "emitter": 3})).parts[0]
    ways = [tuple(way.values()) for way in _other_ways(part)]
    assert ways == [order for order in itertools.permutations((1, 2, 3)) if order != (1, 2, 3)]


def test_two_exchanged_legs_of_ten_are_one_difference() -> None:
    plan = three("ten-legs", 1)
    nets = nets_of(plan, 1)
    assert nets[0] != nets[4]
    nets[0], nets[4] = nets[4], nets[0]
    built = three("ten-legs", 1, {1: nets})
    (found,) = differences(plan, built).differences
    assert (found.what, found.part and found.part.name) == (What.LEGS, "U102")
    assert not equivalence(plan, built)
    single = single_difference(plan, built)
    assert single is not None and (single.what, single.built_part and single.built_part.name) == (
        What.LEGS, "U102",
    )  # fmt: skip


def test_a_chip_put_in_the_wrong_way_round_is_one_difference() -> None:
    plan = three("ten-legs", 2)
    nets = nets_of(plan, 0)
    built = three("ten-legs", 2, {0: nets[5:] + nets[:5]})
    (found,) = differences(plan, built).differences
    assert (found.what, found.part and found.part.name) == (What.LEGS, "U101")


@pytest.mark.parametrize("seed", range(20))
def test_like_legs_may_be_exchanged_at_will(seed: int) -> None:
    rng = random.Random(seed)
    every = {0: list(range(10)), **{n: [rng.randrange(10) for _ in TEN] for n in (1, 2)}}
    plan = three("ten-alike", seed, every)
    nets = [plan.part_named["RN102"].nets[t] for t in TEN]
    rng.shuffle(nets)
    built = three("ten-alike", seed, every | {1: nets})
    in_place = same_circuit_in_place(plan, built)
    assert in_place is not None and all(a == b for a, b in in_place.items())
    assert equivalence(plan, built) and not differences(plan, built).differences
    nets[0] = next(n for n in range(15) if n != nets[0])
    assert same_circuit_in_place(plan, three("ten-alike", seed, every | {1: nets})) is None


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_like_legs_without_any_paired_net_are_laid_by_their_sides(turn: int) -> None:
    """A star that stands alone: nothing but the sides of its legs says which net is which."""
    kind = LARGE_KIT["ten-alike"]
    one, two = (
        build_circuit(Board(5, 5, {Cell(1, 1): Cube("ten-alike", t, size=kind.size)}), LARGE_KIT)
        for t in (0, turn)
    )
    nets = same_circuit_in_place(one, two)
    assert nets is not None and sorted(nets) == sorted(nets.values()) == list(range(1, 11))
    names = {net: terminal for terminal, net in two.parts[0].nets.items()}
    pairs = [(kind.sides(t), kind.sides(names[nets[n]], turn)) for t, n in one.parts[0].nets.items()]
    # a lying block has two legs to the left and three above, a standing one the other way round
    assert sum(a == b for a, b in pairs) == (10 if turn % 180 == 0 else 8)
