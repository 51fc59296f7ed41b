"""A plan laid on a build that is turned, shifted or mirrored: cells, cubes, taps, leads and all settings."""

from __future__ import annotations

from dataclasses import replace

import pytest
from boardmaker import boards
from hypothesis import given, settings
from hypothesis import strategies as st

from snapcheck.board import (
    Board,
    Cell,
    Conditions,
    Cube,
    Design,
    Expectation,
    Lead,
    Probe,
    Seam,
    SocketEnd,
    TapEnd,
    design_after,
    parse_layout,
)
from snapcheck.check import Electrical, Verdict, align, compare
from snapcheck.check._align import Alignment, lay_together, unmoved
from snapcheck.check._comparison import Match
from snapcheck.check._follow import follow
from snapcheck.check._laid import lay
from snapcheck.circuit import build_circuit, equivalence
from snapcheck.kit import Side, bundled_kit

KIT = bundled_kit()
TURNS = st.sampled_from((0, 90, 180, 270))
PLAN = parse_layout(
    """plate 6 x 4
A1 corner ends=right+down
B1 switch
C1 tee stem=down
D1 corner ends=left+down
A2 battery 9V plus=up
C2 potentiometer 1k wiper=right
D2 led red anode=up
A3 ground stem=up
C3 ground stem=up
D3 resistor 470 turn=90
D4 ground stem=up
F1 socket signal=right
E4 socket signal=left
tap A1|B1
tap D2|D3
lead F1 E to A1|B1
lead E4 W to D2|D3
""",
    "plan",
    KIT,
).board


@settings(max_examples=60, deadline=None)
@given(TURNS, st.integers(-3, 3), st.integers(-3, 3), st.booleans(), st.integers(0, 5), st.integers(0, 3))
def test_there_and_back_is_the_same_cell(
    turn: int, columns: int, rows: int, mirrored: bool, column: int, row: int
) -> None:
    way = Alignment(turn, columns, rows, 1.0, 6, 4, mirrored)
    cell = Cell(row, column)
    assert way.to_plan(way.to_built(cell)) == cell
    # the plate's own corner goes where turning a plate of 6 by 4 brings it
    plain = Alignment(turn, 0, 0, 1.0, 6, 4)
    corner = {0: (0, 0), 90: (0, 3), 180: (3, 5), 270: (5, 0)}[turn]
    assert plain.to_built(Cell(0, 0)) == Cell(*corner)
    assert way.to_built(cell) == Cell(
        *(a + b for a, b in zip(_place(plain, cell, mirrored), (rows, columns), strict=True))
    )


def _place(plain: Alignment, cell: Cell, mirrored: bool) -> tuple[int, int]:
    there = plain.to_built(Cell(cell.row, 5 - cell.column) if mirrored else cell)
    return there.row, there.column


@settings(max_examples=30, deadline=None)
@given(boards(least=4), TURNS)
def test_cells_and_cubes_turn_as_the_board_itself_does(board: Board, turn: int) -> None:
    way, turned = Alignment(turn, 0, 0, 1.0, board.columns, board.rows), board.turned(turn)
    assert {way.to_built(c): way.cube_on_built(q, KIT) for c, q in board.cubes.items()} == dict(turned.cubes)


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize(("right", "down"), [(0, 0), (2, 1), (1, 3)])
def test_how_a_build_lies_is_found_and_undone(turn: int, right: int, down: int) -> None:
    turned = PLAN.turned(turn)
    built = Board(turned.columns + 3, turned.rows + 3, turned.cubes, turned.taps, turned.leads)
    built = built.shifted(right, down)
    way = align(PLAN, built, KIT)
    assert (way.turn, way.columns, way.rows, way.mirrored) == (turn, right, down, False)
    both = lay_together(PLAN, built, way, KIT)
    assert both.plan == both.built and (both.columns, both.rows) == (0, 0)
    assert all(both.plan_cell(way.to_built(c)) == c for c in PLAN.cubes)


def test_what_reaches_over_the_edge_makes_the_common_plate_larger() -> None:
    """To the left and upwards, too; a lead's or a tap's end alone is enough."""
    way = Alignment(0, -2, -1, 1.0, 6, 4)
    both = lay_together(PLAN, Board(6, 4), way, KIT)
    assert (both.columns, both.rows, both.plan.columns, both.plan.rows) == (2, 1, 8, 5)
    assert both.plan.cubes[Cell(0, 0)] == PLAN.cubes[Cell(0, 0)]
    assert both.built_cell(Cell(0, 0)) == Cell(-1, -2) and both.of_built(Cell(-1, -2)) == Cell(0, 0)
    tap = Board(6, 4, taps=frozenset({Seam.between(Cell(0, 0), Cell(0, 1))}))
    assert lay_together(tap, Board(6, 4), way, KIT).columns == 2
    lead = Board(6, 4, leads=(Lead(SocketEnd(Cell(0, 0), Side.W), SocketEnd(Cell(3, 5), Side.E)),))
    assert lay_together(lead, Board(6, 4), way, KIT).rows == 1


def test_a_lead_s_ends_and_a_tap_s_cells_move_with_the_build() -> None:
    moved = lay_together(PLAN, Board(9, 9), Alignment(90, 1, 2, 1.0, 6, 4), KIT).plan
    turned = PLAN.turned(90)
    larger = Board(9, 9, turned.cubes, turned.taps, turned.leads).shifted(1, 2)
    assert moved == larger and moved.taps == larger.taps and set(moved.leads) == set(larger.leads)


def test_boards_are_equal_by_everything_that_is_on_them() -> None:
    """The order of leads and of a lead's two ends is nothing; where they end is something."""
    one, two = PLAN.leads
    assert replace(PLAN, leads=(two, one)) == PLAN
    around = replace(PLAN, leads=(Lead(one.end, one.start), two))
    assert around == PLAN and hash(around) == hash(PLAN)
    other = Lead(one.start, TapEnd(Seam.parse("D2|D3")))
    assert replace(PLAN, leads=(other, two)) != PLAN
    third = Lead(SocketEnd(Cell.parse("E4"), Side.W), one.end)
    assert replace(PLAN, leads=(third, two)) != PLAN
    assert replace(PLAN, leads=(one,)) != PLAN and replace(PLAN, leads=(one, two, two)) != PLAN
    assert replace(PLAN, taps=frozenset()) != PLAN and replace(PLAN, columns=7) != PLAN
    cell = Cell.parse("D2")
    turned = replace(PLAN.cubes[cell], turn=(PLAN.cubes[cell].turn + 180) % 360)
    assert replace(PLAN, cubes={**PLAN.cubes, cell: turned}) != PLAN


CONDITIONS = Conditions(
    {Cell.parse("A2"): 6.0}, {Cell.parse("B1"): True}, {Cell.parse("C2"): 0.2}, light_lux=10.0
)
OWN = Conditions({Cell.parse("A2"): 4.5}, {Cell.parse("B1"): False}, {Cell.parse("C2"): 0.9})
PLACE = Probe(Cell.parse("D2"), "anode")
DESIGN = Design(
    PLAN,
    input=Probe(Cell.parse("B1"), "b"),
    output=Probe(Cell.parse("C2"), "wiper"),
    conditions=CONDITIONS,
    expectations=(
        Expectation("voltage", PLACE, None, low=1.0, high=2.0, conditions=OWN),
        Expectation("voltage", None, None, low=1.0, high=2.0),
    ),
)


def moved(cell: Cell) -> Cell:
    return Cell(cell.row + 2, cell.column + 1)


def test_every_setting_and_place_moves_with_a_shifted_build() -> None:
    design = design_after(DESIGN, PLAN, moved)
    for before, after in ((CONDITIONS, design.conditions), (OWN, design.expectations[0].conditions)):
        assert after is not None
        for name in ("supply_V", "switches", "pots"):
            here = getattr(before, name)
            assert here and dict(getattr(after, name)) == {moved(c): v for c, v in here.items()}
        assert after.light_lux == before.light_lux
    assert design.input == Probe(moved(Cell.parse("B1")), "b")
    assert design.output == Probe(moved(Cell.parse("C2")), "wiper")
    assert design.expectations[0].place == Probe(moved(PLACE.cell), "anode")
    assert design.expectations[1].place is None and design.expectations[1].conditions is None


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_the_design_placed_on_a_moved_build(turn: int) -> None:
    turned = PLAN.turned(turn)
    built = Board(turned.columns + 2, turned.rows + 2, turned.cubes, turned.taps, turned.leads).shifted(1, 2)
    result = compare(DESIGN, built, KIT)
    assert result.electrical is Electrical.IDENTICAL and result.verdict is not Verdict.DOES_NOT_WORK
    placed, to = result.placed, result.alignment.to_built
    assert placed is not None and placed.board == built
    assert dict(placed.conditions.supply_V) == {to(Cell.parse("A2")): 6.0}
    assert dict(placed.conditions.switches) == {to(Cell.parse("B1")): True}
    assert dict(placed.conditions.pots) == {to(Cell.parse("C2")): 0.2}
    own = placed.expectations[0].conditions
    assert own is not None and dict(own.supply_V) == {to(Cell.parse("A2")): 4.5}
    assert placed.output == Probe(to(Cell.parse("C2")), "wiper")


def test_settings_of_parts_that_are_missing_are_left_out() -> None:
    gone = {Cell.parse("A2"), Cell.parse("B1")}
    built = replace(
        PLAN, cubes={c: q for c, q in PLAN.cubes.items() if c not in gone}, taps=frozenset(), leads=()
    )

    laid = lay(DESIGN, built, KIT)
    conditions = laid.conditions(laid.by_cells)
    assert not conditions.supply_V and not conditions.switches
    assert dict(conditions.pots) == {Cell.parse("C2"): 0.2} and conditions.light_lux == 10.0
    laid = lay(DESIGN, PLAN, KIT)
    assert laid.conditions(laid.by_cells) == CONDITIONS


def test_settings_and_places_follow_the_parts() -> None:
    """The build turned by half a turn, only parts known to correspond; then without its battery."""
    plan, built = (build_circuit(board, KIT) for board in (PLAN, PLAN.turned(180)))
    same = equivalence(plan, built)
    lies = unmoved(PLAN)
    match = Match(lies, Electrical.EQUIVALENT, True, same.cells, same.nets, plan, built)
    design = follow(DESIGN, match).design
    to = Alignment(180, 0, 0, 1.0, 6, 4).to_built
    assert dict(design.conditions.supply_V) == {to(Cell.parse("A2")): 6.0}
    assert dict(design.conditions.switches) == {to(Cell.parse("B1")): True}
    assert dict(design.conditions.pots) == {to(Cell.parse("C2")): 0.2}
    assert design.expectations[0].place == Probe(to(PLACE.cell), "anode")
    parts = {a: b for a, b in same.cells.items() if a != Cell.parse("A2")}
    without = follow(DESIGN, replace(match, parts=parts)).design.conditions
    assert not without.supply_V and len(without.switches) == len(without.pots) == 1


@pytest.mark.parametrize("known", [{0, 1, 2}, {1, 2}, {0, 2}, {0, 1}])
@pytest.mark.parametrize("turned", [False, True])
def test_a_current_is_taken_at_the_same_end_whichever_way_the_part_stands(
    known: set[int], turned: bool
) -> None:
    """Whichever of its nets are known to correspond."""
    text = "plate 3 x 3\nA1 corner turn=0\nA2 battery 9V plus=up\nA3 ground stem=up\nB1 lamp 6V/0.1A\n" \
           "C1 corner turn=90\nC2 resistor 470 turn={}\nC3 ground stem=up\n"  # fmt: skip
    plan, built = (
        build_circuit(parse_layout(text.format(t), "t", KIT).board, KIT) for t in (90, 270 if turned else 90)
    )
    # without the lamp nothing but `known` says which net of the build is its own
    cells = {p.cell: p.cell for p in plan.parts if p.kind.name != "lamp"}
    match = Match(unmoved(plan.board), Electrical.EQUIVALENT, True, cells, {n: n for n in known}, plan, built)
    for end in ("a", "b"):
        current = Expectation("current", Probe(Cell.parse("C2"), end), None, low=0.0, high=1.0)
        (place,) = follow(Design(plan.board, expectations=(current,)), match).places
        at = plan.part_at[Cell.parse("C2")].nets[end]
        there = built.part_at[Cell.parse("C2")].nets
        assert place is not None and place.place is not None and there[place.place.terminal] == at


@pytest.mark.parametrize("size", [2, 3, 4])
def test_few_cubes_are_no_layout_of_its_own(size: int) -> None:
    """With up to three cubes nothing is told of layouts."""
    kinds = [Cube("lamp", 0, "6V/0.1A"), Cube("buzzer", 0), Cube("switch", 0), Cube("speaker", 0, 8.0)][:size]
    places = [(0, 0), (1, 2), (3, 1), (2, 4)]
    one = Board(6, 6, {Cell(*places[n]): q for n, q in enumerate(kinds)})
    two = Board(6, 6, {Cell(*places[-1 - n]): replace(q, turn=90) for n, q in enumerate(kinds)})
    assert lay(one, two, KIT).has_own_layout is (size > 3)


def test_which_changes_are_harmless() -> None:
    """A diode bridged by the plate does nothing, and yet one the other way round is told; so is a value."""
    text = "plate 6 x 4\nA1 corner turn=0\nA2 battery 9V plus=up\nA3 ground stem=up\nB1 lamp 6V/0.1A\n" \
           "C1 corner turn=90\nC2 ground stem=up\nD4 ground stem=right\nE4 led red anode={}\n" \
           "F4 ground stem=left\nE1 {}\n"  # fmt: skip
    wire = "straight turn=0"
    plan = parse_layout(text.format("left", wire), "plan", KIT).board
    for anode, other, harmless in (
        ("right", "straight turn=90", {"reversed": False, "turned": True}),
        ("right", wire, {"reversed": False}),
        ("left", "straight turn=90", {"turned": False}),  # alone: the circuits as a whole are compared
    ):
        laid = lay(plan, parse_layout(text.format(anode, other), "built", KIT).board, KIT)
        told = {c.change.value: laid.is_harmless(c, len(laid.changes)) for c in laid.changes}
        assert told == harmless


def test_a_plan_that_has_not_moved() -> None:
    assert not unmoved(PLAN).moved
    for way in (Alignment(90, 0, 0, 1, 6, 4), Alignment(0, 1, 0, 1, 6, 4), Alignment(0, 0, 1, 1, 6, 4),
                Alignment(0, 0, 0, 1, 6, 4, mirrored=True)):  # fmt: skip
        assert way.moved
