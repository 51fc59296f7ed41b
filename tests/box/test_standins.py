"""What may stand in for a cube that is short, and how it is proved."""

from __future__ import annotations

import pytest

from snapcheck import fits_box
from snapcheck.board import Cell, Design, parse_layout
from snapcheck.box import Box, Piece, Proof, find_swaps, needs, standins
from snapcheck.circuit import build_circuit
from snapcheck.kit import bundled_kit
from snapcheck.simulate import Simulator, is_available

KIT = bundled_kit()


def ohms(*values: float) -> dict[Piece, int]:
    return {Piece("resistor", value): 20 for value in values}


def told(need: Piece, left: dict[Piece, int], each: int = 1) -> list[str]:
    return [s.words(KIT) for s in standins(need, left, each, KIT)]


def test_the_nearest_value_of_a_series_comes_first() -> None:
    # IEC 60063: 5.1 is of E24 only, 3.9 of E12
    assert told(Piece("resistor", 4700.0), ohms(3900.0, 5100.0, 10e6)) == [
        "resistor 5k1 (E24, +8.5 %)",
        "resistor 3k9 (E12, -17.0 %)",
    ]


def test_two_are_joined_by_the_rules_of_series_and_parallel_connection() -> None:
    # the sums and the product over the sum: any textbook, such as Horowitz and Hill, The Art of Electronics,
    # 1.2.2 and 1.4.1 (from memory)
    assert told(Piece("resistor", 4400.0), ohms(2200.0))[0] == "two 2k2 in series (the same value)"
    assert told(Piece("resistor", 5000.0), ohms(10e3))[0] == "two 10k in parallel (the same value)"
    assert "10k and 15k in parallel (the same value)" in told(Piece("resistor", 6000.0), ohms(10e3, 15e3))
    farads = {Piece("capacitor", 10e-9): 9, Piece("capacitor", 22e-9): 9}
    assert "two 10n in series (the same value)" in told(Piece("capacitor", 5e-9), farads)
    assert "10n and 22n in parallel (the same value)" in told(Piece("capacitor", 32e-9), farads)
    assert (
        told(Piece("inductor", 2e-3), {Piece("inductor", 1e-3): 2})[0] == "two 1mH in series (the same value)"
    )


def test_what_the_box_does_not_hold_often_enough_is_not_offered() -> None:
    left = {Piece("resistor", 2200.0): 3}
    assert told(Piece("resistor", 4400.0), left, each=2) == ["resistor 2k2 (E3, -50.0 %)"]
    assert told(Piece("resistor", 4400.0), left, each=4) == []


def test_a_capacitor_for_fewer_volts_never_stands_in() -> None:
    need = Piece("electrolytic", 100e-6, "", 63.0)
    assert told(need, {Piece("electrolytic", 220e-6, "", 16.0): 9, Piece("electrolytic", 220e-6): 9}) == []
    assert told(need, {Piece("electrolytic", 150e-6, "", 63.0): 9}) != []


def test_types_that_bear_as_much_come_before_weaker_ones() -> None:
    left = {Piece("npn", t): 4 for t in ("BC549", "2N2222", "BC337")}
    order = told(Piece("npn", "BC337"), left)
    assert order[-1] == "NPN transistor BC549" and "NPN transistor BC337" not in order


def test_lamps_of_about_the_same_voltage_and_no_others() -> None:
    left = {Piece("lamp", t): 4 for t in ("6V/0.1A", "12V/0.1A", "6V/0.3A")}
    assert told(Piece("lamp", "6V/0.05A"), left) == ["lamp 6V/0.1A", "lamp 6V/0.3A"]


DIVIDER = parse_layout(
    """plate 4 x 4
output B2 a
expect voltage at B3 a 4.3 to 4.7 V
A1 corner ends=right+down
B1 corner ends=left+down
A2 battery 9V plus=up
A3 ground stem=up
B2 resistor 4k7 ends=up+down
B3 resistor 4k7 ends=up+down
B4 ground stem=up
""",
    "divider",
    KIT,
)
REST = {Piece("corner"): 9, Piece("battery", 9.0): 9, Piece("ground"): 9}


def test_stand_ins_are_tried_until_one_is_proved_and_each_builds_on_the_one_before() -> None:
    tried: list[Design] = []

    def prove(design: Design) -> Proof:
        tried.append(design)
        values = {design.board.cubes[Cell.parse(c)].value for c in ("B2", "B3")}
        return Proof(values == {3900.0})

    box = Box("", {**REST, **ohms(5100.0, 3900.0)})
    found = find_swaps(DIVIDER, needs(DIVIDER, box, KIT), box, KIT, prove)
    (swap,) = found.swaps
    assert [str(c) for c in swap.cells] == ["B2", "B3"] and swap.tried == 2 == len(tried)
    assert swap.standin is not None and swap.standin.value == 3900.0 and found.mend


def test_what_is_there_is_used_and_only_the_rest_replaced() -> None:
    box = Box("", {**REST, Piece("resistor", 4700.0): 1, Piece("resistor", 5100.0): 1})
    found = find_swaps(DIVIDER, needs(DIVIDER, box, KIT), box, KIT, lambda _: Proof(True))
    assert [str(c) for c in found.swaps[0].cells] == ["B3"]


def test_a_straight_wire_beside_makes_room_for_the_second_of_a_pair() -> None:
    text = """plate 5 x 3
A1 corner ends=right+down
B1 resistor 4k4 printed=none
C1 straight
D1 corner ends=left+down
A2 battery 9V plus=up
A3 ground stem=up
D2 ground stem=up
"""
    design = parse_layout(text, "room", KIT)
    box = Box("", {**REST, Piece("straight"): 5, Piece("resistor", 2200.0): 5})
    shown: list[Design] = []

    def prove(changed: Design) -> Proof:
        shown.append(changed)
        joined = {p.cube.value for p in build_circuit(changed.board, KIT).parts if p.kind.name == "resistor"}
        return Proof(len(joined) == 1 and shown[-1].board.cubes[Cell.parse("C1")].kind == "resistor")

    (swap,) = find_swaps(design, needs(design, box, KIT), box, KIT, prove).swaps
    assert swap.standin is not None and swap.standin.join == "series"
    assert [str(c) for c in swap.room] == ["C1"] and swap.proof.holds
    circuit = build_circuit(shown[-1].board, KIT)
    first, second = (p for p in circuit.parts if p.kind.name == "resistor")
    assert len(set(first.nets.values()) & set(second.nets.values())) == 1


@pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")
def test_the_calculation_tells_a_stand_in_that_does_from_one_that_does_not() -> None:
    with Simulator() as simulator:

        def check(*values: float):
            box = Box("", {**REST, Piece("resistor", 4700.0): 1, **ohms(*values)}, plates={(8, 6): 1})
            (told,) = fits_box(box, [DIVIDER], simulator=simulator)
            return told

        # 9 V, less the battery's own resistance, times 5.1/9.8 is 4.68 V; times 3.9/8.6 it is 4.08 V
        assert check(5100.0).possible and check(5100.0).swaps.proof.met is True
        bad = check(3900.0)
        assert not bad.possible and bad.swaps.proof.met is False and "4.08" in bad.swaps.proof.unmet[0]
        assert not check().possible and check().swaps.swaps[0].standin is None


@pytest.mark.skipif(not is_available(), reason="the ngspice library is not installed")
def test_a_stand_in_that_meets_the_figures_but_overloads_a_part_is_refused() -> None:
    text = """plate 4 x 4
expect voltage at B3 anode over 1.5 V
A1 corner ends=right+down
B1 corner ends=left+down
A2 battery 9V plus=up
A3 ground stem=up
B2 resistor 470 ends=up+down
B3 led red anode=up
B4 ground stem=up
"""
    design = parse_layout(text, "led", KIT)
    box = Box("", {**REST, Piece("led", "red"): 1, Piece("resistor", 220.0): 1}, plates={(8, 6): 1})
    (told,) = fits_box(box, [design])
    assert told.swaps is not None and told.swaps.proof.met is True
    assert told.swaps.proof.against and not told.possible
