"""Whatever the board: itself is no difference, turning changes no net, one fault is found and named."""

from __future__ import annotations

import random

import pytest
from boardmaker import FAULTS, KIT, boards, inject, random_board
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from snapcheck.board import Board, Cell
from snapcheck.check import Electrical, Verdict, align, compare
from snapcheck.circuit import Circuit, build_circuit, check_rules, equivalence
from snapcheck.findings import Severity


@given(boards())
@settings(max_examples=60, deadline=None)
def test_a_board_compared_with_itself_has_no_difference(board: Board) -> None:
    result = compare(board, board, KIT)
    dangers = [f for f in check_rules(build_circuit(board, KIT)) if f.severity is Severity.DANGER]
    assert list(result.findings) == dangers  # danger is told whether or not the plan has it too
    assert result.electrical is Electrical.IDENTICAL and not result.changed_cells
    assert result.verdict is (Verdict.DO_NOT_POWER if dangers else Verdict.READY)


def _by_cells(circuit: Circuit, back: dict[Cell, Cell]) -> set[frozenset[tuple[Cell, str]]]:
    """Nets as sets of part terminals, in the cells before turning; the plate is marked."""
    nets = set()
    for net in circuit.nets:
        members = {(back[t.cell], t.name) for t in net.terminals}
        if net.number == 0:
            members.add((Cell(-1, -1), "plate"))
        if members:
            nets.add(frozenset(members))
    return nets


@given(boards(), st.sampled_from((90, 180, 270)))
@settings(max_examples=60, deadline=None)
def test_turning_the_whole_board_leaves_the_netlist_unchanged(board: Board, turn: int) -> None:
    turned = board.turned(turn)
    back = {cell: cell for cell in board.cubes}
    step = board
    for _ in range(turn // 90):
        rows = step.rows
        back = {Cell(c.column, rows - 1 - c.row): origin for c, origin in back.items()}
        step = step.turned(90)
    same = {c: c for c in board.cubes}
    assert _by_cells(build_circuit(turned, KIT), back) == _by_cells(build_circuit(board, KIT), same)


@given(boards(least=5), st.sampled_from((0, 90, 180, 270)), st.integers(0, 3), st.integers(0, 3))
@settings(max_examples=40, deadline=None)
def test_a_shift_and_turn_of_the_whole_is_undone(board: Board, turn: int, right: int, down: int) -> None:
    turned = board.turned(turn)
    larger = Board(turned.columns + 3, turned.rows + 3, turned.cubes, turned.taps, turned.leads)
    result = compare(board, larger.shifted(right, down), KIT)
    moved = [f for f in result.findings if f.rule == "build-shifted"]
    others = [f for f in result.findings if f.rule != "build-shifted" and f.severity is not Severity.DANGER]
    assert not others
    # a board that looks the same after the turn needs no undoing
    assert bool(moved) is result.alignment.moved
    assert result.electrical is Electrical.IDENTICAL


@pytest.mark.parametrize("fault", FAULTS)
@given(seed=st.integers(0, 2**32), columns=st.integers(5, 12), rows=st.integers(4, 8))
# not every board has room for every fault
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
def test_a_single_fault_is_found_and_named_once(fault: str, seed: int, columns: int, rows: int) -> None:
    rng = random.Random(seed)
    board = random_board(rng, columns, rows, rng.uniform(0.4, 0.8))
    faulty = inject(board, fault, rng)
    assume(faulty is not None)
    assert faulty is not None
    result = compare(board, faulty.board, KIT)
    planned = check_rules(build_circuit(board, KIT))
    standing = {(f.rule, f.cells) for f in planned if f.severity is Severity.DANGER}
    told = [f for f in result.findings if (f.rule, f.cells) not in standing]
    assert [f.rule for f in told] == [fault], [f.title for f in told]
    assert faulty.cells <= set(told[0].cells)
    assert result.verdict is not Verdict.READY
    assert told[0].title and told[0].mend and told[0].why


@given(seed=st.integers(0, 2**32))
@settings(max_examples=40, deadline=None)
def test_a_harmless_turn_is_no_difference(seed: int) -> None:
    rng = random.Random(seed)
    board = random_board(rng, 8, 6, 0.6)
    turned = {
        c: type(q)(q.kind, (q.turn + rng.choice((0, KIT[q.kind].symmetry))) % 360, q.value, q.printed, q.unit)
        for c, q in board.cubes.items()
    }
    result = compare(board, Board(8, 6, turned, board.taps, board.leads), KIT)
    assert result.electrical is Electrical.IDENTICAL
    assert all(f.severity is Severity.DANGER for f in result.findings)


@given(boards(least=5, most=9))
@settings(max_examples=40, deadline=None)
def test_a_circuit_is_equivalent_to_itself_seen_from_another_side(board: Board) -> None:
    answer = equivalence(build_circuit(board, KIT), build_circuit(board.turned(90), KIT))
    assert answer


@given(st.integers(0, 2**32), st.sampled_from((0, 90, 180, 270)), st.integers(0, 3), st.integers(0, 3))
@settings(max_examples=60, deadline=None)
def test_shift_and_turn_are_found_with_several_cubes_wrong(
    seed: int, turn: int, right: int, down: int
) -> None:
    rng = random.Random(seed)
    plan = random_board(rng, rng.randint(6, 10), rng.randint(5, 8), rng.uniform(0.5, 0.8))
    built = plan
    for fault in rng.sample(FAULTS[:8], 5):
        faulty = inject(built, fault, rng)
        built = faulty.board if faulty else built
    turned = built.turned(turn)
    larger = Board(turned.columns + 3, turned.rows + 3, turned.cubes, turned.taps, turned.leads)
    found = align(plan, larger.shifted(right, down), KIT)
    assert (found.turn, found.columns, found.rows) == (turn, right, down)
    for cell in plan.cubes:
        assert found.to_plan(found.to_built(cell)) == cell
