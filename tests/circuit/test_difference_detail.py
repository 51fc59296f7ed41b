"""Differences in detail: which nets and legs are named, tolerance, sockets, exchanged legs."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from handmade import Entry, handmade
from ruleboards import KIT, LOOP

from snapcheck.board import parse_layout
from snapcheck.circuit import (
    Circuit,
    Difference,
    What,
    build_circuit,
    differences,
    equivalence,
    same_circuit_in_place,
)
from snapcheck.circuit._equivalence import compare_forms, same_number
from snapcheck.circuit._normal import NormalForm, normal_form

BATTERY: Entry = ("battery", 9.0, {"plus": 1, "minus": 0})


def r(a: int, b: int, ohms: float) -> Entry:
    return "resistor", ohms, {"a": a, "b": b}


def q(base: int, collector: int, emitter: int) -> Entry:
    return "npn", "BC547", {"base": base, "collector": collector, "emitter": emitter}


#: every part of another value, so that each is told apart
PLAN: list[Entry] = [
    BATTERY, r(1, 2, 47e3), r(2, 0, 10e3), r(1, 3, 4700.0), r(4, 0, 1000.0), q(2, 3, 4),
    r(3, 5, 22e3), r(5, 0, 33e3),
]  # fmt: skip


def found(built: list[Entry], plan: list[Entry] = PLAN) -> list[Difference]:
    """Differences of parts that correspond one to one, in the order in which they are written."""
    one, two = handmade(*plan), handmade(*built)
    pairs = {a.at: b.at for a, b in zip(one.parts, two.parts, strict=False)}
    return list(differences(one, two, pairs).differences)  # type: ignore[arg-type]


@pytest.mark.parametrize("order", [o for o in itertools.permutations((2, 3, 4)) if o != (2, 3, 4)])
def test_exchanged_legs_are_one_difference(order: tuple[int, int, int]) -> None:
    """Two legs exchanged, and all three turned."""
    (one,) = found([*PLAN[:5], q(*order), *PLAN[6:]])
    assert one.what is What.LEGS and one.part is not None and one.part.name == "Q101"


def test_a_reversed_diode_with_another_fault_on_its_net() -> None:
    """Of two legs one that fits the other way round says enough: it is told as turned."""
    light: Entry = ("led", "red", {"anode": 3, "cathode": 5})
    plan = [*PLAN, light]
    turned: Entry = ("led", "red", {"anode": 5, "cathode": 3})
    assert [d.what for d in found([*PLAN, turned], plan)] == [What.LEGS]
    elsewhere: Entry = ("led", "red", {"anode": 5, "cathode": 2})
    assert [d.what for d in found([*PLAN, elsewhere], plan)] == [What.LEGS, What.HANGS]


def test_a_terminal_that_hangs_wrongly_names_where_it_belongs_and_where_it_hangs() -> None:
    (one,) = found([*PLAN[:6], r(2, 5, 22e3), PLAN[7]])
    assert one.what is What.HANGS and one.part is not None and one.part.name == "R105"
    assert (one.terminal, one.nets, one.built_nets) == ("a", (3, 2), (2,))


def test_a_torn_net_names_its_pieces_the_one_that_kept_it_first() -> None:
    (one,) = found([*PLAN[:3], r(1, 6, 4700.0), *PLAN[4:6], r(6, 5, 22e3), PLAN[7]])
    assert one.what is What.APART and one.nets == (3,)
    assert [[str(t) for t in piece] for piece in one.pieces] == [["R103 b", "R105 a"], ["Q101 collector"]]
    assert one.built_nets == (6, 3)


def test_part_of_a_net_on_another_hangs_all_of_it_is_joined() -> None:
    joined = [(k, v, {t: 2 if n == 5 else n for t, n in nets.items()}) for k, v, nets in PLAN]
    (one,) = found(joined)
    assert one.what is What.JOINED and set(one.nets) == {2, 5}
    (one,) = found([*PLAN[:7], r(2, 0, 33e3)])
    assert one.what is What.HANGS and one.nets == (5, 2)


def test_what_is_extra_or_missing_is_told_with_its_part() -> None:
    (extra,) = found([*PLAN, r(1, 5, 68e3)])
    assert extra.what is What.EXTRA and extra.built_part is not None and extra.built_part.name == "R107"
    (missing,) = found(PLAN[:7])
    assert missing.what is What.MISSING and missing.part is not None and missing.part.name == "R106"


@pytest.mark.parametrize(
    ("kind", "value"), [("resistor", 1000.0), ("capacitor", 1e-7), ("electrolytic", 1e-5)]
)
@pytest.mark.parametrize("up", [True, False])
def test_within_the_tolerance_of_its_kind_and_beyond(kind: str, value: float, up: bool) -> None:
    """Rings of the kit's tolerance: a little less is the same value, a little more is another."""
    tolerance = max(KIT[kind].tolerance, 0.02)
    legs = ("plus", "minus") if kind == "electrolytic" else ("a", "b")

    def circuit(x: float) -> Circuit:
        light = "led", "red", {"anode": 1, "cathode": 2}
        return handmade(BATTERY, light, (kind, x, dict(zip(legs, (2, 0), strict=True))))

    for factor, same in ((1 + 0.95 * tolerance, True), (1 + 1.1 * tolerance, False)):
        other = value * factor if up else value / factor
        assert bool(equivalence(circuit(value), circuit(other))) is same
        assert (same_circuit_in_place(circuit(value), circuit(other)) is not None) is same
        whats = [d.what for d in differences(circuit(value), circuit(other)).differences]
        assert whats == ([] if same else [What.VALUE])


def test_numbers_of_either_sign() -> None:
    assert same_number(1.0, 1.02, 0.02) and same_number(1.02, 1.0, 0.02) and same_number(-1.0, -1.02, 0.02)
    assert not same_number(1.0, 1.03, 0.02) and not same_number(1.0, -1.0, 0.02)
    assert same_number(0.0, 0.0, 0.02) and not same_number(0.0, 1e-9, 0.02)


SOCKETED = LOOP.replace("D1 corner turn=90", "D1 tee stem=down") + "E1 socket signal=left\n"


def test_a_socket_of_the_plan_must_be_on_the_same_net_of_the_build() -> None:
    plan = build_circuit(parse_layout(SOCKETED, "plan", KIT).board, KIT)
    bare = build_circuit(parse_layout(LOOP, "built", KIT).board, KIT)
    assert plan.open_sockets and not bare.open_sockets
    assert same_circuit_in_place(plan, plan) is not None
    assert same_circuit_in_place(plan, bare) is None and not equivalence(plan, bare)
    assert same_circuit_in_place(bare, plan) is not None and equivalence(bare, plan)


def test_of_two_like_branches_the_one_with_the_socket_is_found() -> None:
    """Where all looks alike but for the socket, it decides; and where the branches differ, too."""
    board = "plate 6 x 5\nA1 corner turn=0\nA2 battery 9V plus=up\nA3 ground stem=up\nB1 tee stem=down\n" \
            "B2 {0} turn=90\nB3 {socket}\nB4 resistor 1k turn=90\nB5 ground stem=up\n" \
            "D1 corner turn=90\nC1 straight\nD2 {1} turn=90\nD3 straight turn=90\nD4 resistor 1k turn=90\n" \
            "D5 ground stem=up\n"  # fmt: skip

    def circuit(one: str, two: str, opened: bool) -> Circuit:
        text = board.format(one, two, socket="tee stem=right\nC3 socket signal=left" if opened
                            else "straight turn=90")  # fmt: skip
        return build_circuit(parse_layout(text, "test", KIT).board, KIT)

    alike = circuit("resistor 2k2", "resistor 2k2", True)
    assert equivalence(alike, circuit("resistor 2k2", "resistor 2k2", True))
    assert not equivalence(alike, circuit("resistor 2k2", "resistor 2k2", False))
    plan = circuit("resistor 2k2", "resistor 4k7", True)
    assert equivalence(plan, circuit("resistor 2k2", "resistor 4k7", True))
    assert not equivalence(plan, circuit("resistor 4k7", "resistor 2k2", True))


def test_sockets_are_looked_at_where_all_looks_alike() -> None:
    """Two equal branches: a socket on either is met by one on either, and by none it is not."""
    light = [("led", "red", {"anode": n, "cathode": 0}) for n in (2, 3)]
    parts = [BATTERY, *light, *(r(1, n, 1e3) for n in (2, 3)), *(r(n, 0, 2e3) for n in (2, 3))]
    form = normal_form(handmade(*parts))  # type: ignore[arg-type]

    def with_sockets(*nets: int) -> NormalForm:
        return replace(form, ports=frozenset(nets))

    for one, two, same in (
        ((2,), (2,), True), ((2,), (3,), True), ((2,), (), False), ((), (2,), True), ((2, 3), (2,), False),
        ((2,), (2, 3), True), ((1,), (2,), False),
    ):  # fmt: skip
        assert bool(compare_forms(with_sockets(*one), with_sockets(*two), KIT)) is same


def test_what_is_measured_is_measured_against_the_plate() -> None:
    """The plate must have its counterpart, too, though nothing but a chain goes through it."""
    plan = handmade(BATTERY, r(1, 2, 1e3), r(2, 0, 1e4))
    turned = handmade(r(3, 0, 1e4), r(4, 3, 1e3), ("battery", 9.0, {"plus": 4, "minus": 0}))
    assert equivalence(plan, turned, keep=[2]).nets == {0: 0, 2: 3}
    on_plus = handmade(("battery", 9.0, {"plus": 0, "minus": 1}), r(0, 2, 1e3), r(2, 1, 1e4))
    assert equivalence(plan, on_plus) and equivalence(plan, on_plus, keep=[2]).nets == {0: 1, 2: 2}


def test_what_went_to_the_plate_hangs_there_though_nothing_else_is_where_the_plate_should_be() -> None:
    """The plate is the plate, also where nothing that belongs on it is on it."""
    supply: Entry = ("battery", 9.0, {"plus": 1, "minus": 2})
    plan = [supply, r(2, 1, 1e3), r(3, 1, 2e3), r(1, 0, 3e3)]
    hangs, joined = found([supply, r(2, 1, 1e3), r(3, 0, 2e3), r(1, 2, 3e3)], plan)
    assert (hangs.what, hangs.part and hangs.part.name, hangs.nets) == (What.HANGS, "R102", (1, 0))
    assert (joined.what, joined.nets) == (What.JOINED, (2, 0))
