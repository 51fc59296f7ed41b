"""Cubes of several cells: which cells they cover, and which circuit they make, however the board lies."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from largekit import LARGE_KIT, joined, large_boards, large_cube

from snapcheck.board import (
    Board,
    Cell,
    Seam,
    Side,
    board_from_json,
    board_to_json,
    leg_at,
    legs_at_seam,
    parse_layout,
    write_layout,
)
from snapcheck.circuit import build_circuit, check_rules, equivalence, metal_path
from snapcheck.errors import InputError
from snapcheck.findings import Severity

#: the chip at B2 between two sources of signal; the loudspeaker hangs by two legs on one of its sides
AMPLIFIER = """
plate 8 x 5
A1 corner ends=right+down
B1 corner ends=left+down
A2 battery-box 9V plus=up
B2 chip RN8 notch=up
D2 tee stem=right
E2 big-speaker 8 ends=left
D3 straight turn=0
A4 corner ends=up+right
B4 corner ends=up+left
C4 ground stem=up
"""


def terminals(board: Board) -> set[frozenset[tuple[Cell, str]]]:
    """Which terminals the circuit joins."""
    circuit = build_circuit(board, LARGE_KIT)
    nets: dict[int, set[tuple[Cell, str]]] = {}
    for anchor, cube in board.cubes.items():
        for terminal in LARGE_KIT[cube.kind].terminals:
            net = circuit.net_of(anchor, terminal)
            assert net is not None
            nets.setdefault(net, set()).add((anchor, terminal))
    return {frozenset(group) for group in nets.values()}


def moved(
    groups: set[frozenset[tuple[Cell, str]]], board: Board, move: Callable[[Cell], Cell]
) -> set[frozenset[tuple[Cell, str]]]:
    return {frozenset((board.cubes[c].anchor_after(c, move), t) for c, t in group) for group in groups}


def amplifier() -> Board:
    return parse_layout(AMPLIFIER, "amplifier", LARGE_KIT).board


def test_a_turned_cube_covers_other_cells() -> None:
    upright, lying = large_cube("battery-box", 0), large_cube("battery-box", 270)
    assert list(map(str, upright.cells(Cell.parse("B2")))) == ["B2", "B3"]
    assert list(map(str, lying.cells(Cell.parse("B2")))) == ["B2", "C2"]
    board = Board(4, 4, {Cell.parse("B2"): lying})
    assert board.anchor_at(Cell.parse("C2")) == Cell.parse("B2")
    assert board.cube_at(Cell.parse("B3")) is None
    left = leg_at(board, LARGE_KIT, Cell.parse("B2"), Side.W)
    assert left is not None and left.terminal == "plus"
    assert leg_at(board, LARGE_KIT, Cell.parse("B2"), Side.E) is None


def test_every_leg_of_a_chip_has_a_seam_of_its_own() -> None:
    board = amplifier()
    found = {
        seam: [leg.terminal for leg in legs_at_seam(board, LARGE_KIT, Seam.parse(seam))]
        for seam in ("B1|B2", "A2|B2", "A3|B3", "B3|B4", "C3|C4", "C3|D3", "C2|D2", "B2|C2")
    }
    assert found == {
        "B1|B2": ["wire", "p8"], "A2|B2": ["p1"], "A3|B3": ["p2"], "B3|B4": ["p3", "wire"],
        "C3|C4": ["p4", "plate"], "C3|D3": ["p5", "wire"], "C2|D2": ["p6"], "B2|C2": [],
    }  # fmt: skip


def test_the_nets_of_a_board_with_three_large_cubes() -> None:
    circuit = build_circuit(amplifier(), LARGE_KIT)
    chip, box, speaker = (circuit.part_named[name] for name in ("U101", "BT101", "LS101"))
    assert chip.nets["p8"] == box.nets["plus"] and chip.nets["p3"] == box.nets["minus"]
    assert chip.nets["p4"] == 0 and chip.nets["p5"] == speaker.nets["b"] != speaker.nets["a"]
    assert len(chip.nets) == 8 and chip.cell == Cell.parse("B2")
    assert circuit.net_at(Cell.parse("C3"), Side.S) == 0
    path = metal_path(circuit, (box.cell, "plus"), (chip.cell, "p8"))
    assert list(map(str, path.cells)) == ["A2", "A1", "B1", "B2"]


@settings(max_examples=150, deadline=None)
@given(large_boards())
def test_nets_are_what_touches_in_the_plane(board: Board) -> None:
    assert terminals(board) == joined(board)


@settings(max_examples=100, deadline=None)
@given(large_boards())
def test_turning_the_whole_board_changes_nothing(board: Board) -> None:
    assert board.turned(90).turned(90).turned(90).turned(90) == board
    turned = board.turned(90)
    assert terminals(turned) == moved(
        terminals(board), board, lambda c: Cell(c.column, board.rows - 1 - c.row)
    )
    first, second = (build_circuit(b, LARGE_KIT) for b in (board, turned))
    assert sorted(p.kind.name for p in first.parts) == sorted(p.kind.name for p in second.parts)
    assert equivalence(first, second).sameness in ("same", "gave-up")
    dangers = [{f.rule for f in check_rules(c) if f.severity is Severity.DANGER} for c in (first, second)]
    assert dangers[0] == dangers[1]


@settings(max_examples=100, deadline=None)
@given(large_boards(), st.integers(0, 3), st.integers(0, 3))
def test_shifting_the_whole_board_changes_nothing(board: Board, right: int, down: int) -> None:
    wide = replace(board, columns=board.columns + 3, rows=board.rows + 3)
    shifted = wide.shifted(right, down)
    assert terminals(shifted) == moved(terminals(wide), wide, lambda c: Cell(c.row + down, c.column + right))


@settings(max_examples=100, deadline=None)
@given(large_boards())
def test_what_is_written_reads_back_the_same(board: Board) -> None:
    assert parse_layout(write_layout(board, LARGE_KIT), "again", LARGE_KIT).board == board
    data = json.loads(json.dumps(board_to_json(board)))
    assert board_from_json(data, LARGE_KIT) == board_from_json(data) == board
    for entry in data["cubes"]:
        entry.pop("size", None)  # the kit knows it
    assert board_from_json(data, LARGE_KIT) == board


@pytest.mark.parametrize(
    ("line", "told", "way_out"),
    [
        ("C3 resistor 470", "line 12, column 1: C3 is covered by the chip in B2, line 5", "Move one of them"),
        ("A3 resistor 470", "line 12, column 1: A3 is covered by the battery box in A2, line 4", "Move one"),
        ("C1 chip RN8 notch=up", "line 12, column 1: C2 is covered by the chip in B2, line 5", "Move one"),
        ("H3 chip RN8 notch=up", "the cube at H3 covers 2 x 2 cells and reaches beyond the plate", "larger"),
        ("G5 battery-box 9V plus=up", "the cube at G5 covers 1 x 2 cells and reaches beyond", "larger"),
        ("tap B2|C2", "line 12, column 5: the tap on B2|C2 would lie inside the cube at B2", "between two"),
    ],
)
def test_cubes_that_do_not_fit_are_told_with_their_line(line: str, told: str, way_out: str) -> None:
    with pytest.raises(InputError) as error:
        parse_layout(AMPLIFIER.strip() + f"\n{line}\n", "amplifier", LARGE_KIT)
    assert told in f"{error.value.place}: {error.value.message}"
    assert "amplifier, line 12" in str(error.value.place) and way_out in str(error.value.way_out)


def test_json_that_does_not_fit_is_told_with_its_key() -> None:
    data = board_to_json(amplifier())
    with pytest.raises(InputError) as overlap:
        board_from_json({**data, "cubes": [*data["cubes"], {"at": "C3", "kind": "ground"}]}, LARGE_KIT)
    assert overlap.value.place == "cubes[10].at" and "B2 and C3 both cover C3" in overlap.value.message
    with pytest.raises(InputError) as beyond:
        board_from_json({**data, "cubes": [{"at": "H5", "kind": "chip", "value": "RN8"}]}, LARGE_KIT)
    assert beyond.value.place == "cubes[0].at" and "covers 2 x 2 cells" in beyond.value.message
    with pytest.raises(InputError) as size:
        board_from_json({**data, "cubes": [{"at": "A1", "kind": "ground", "size": [2, 1]}]}, LARGE_KIT)
    assert size.value.place == "cubes[0].size" and "covers 1 x 1 cells" in size.value.message
    with pytest.raises(InputError) as tap:
        board_from_json({**data, "taps": [{"between": ["B2", "C2"]}]}, LARGE_KIT)
    assert tap.value.place == "taps[0]" and "inside the cube at B2" in tap.value.message


def test_a_board_of_another_kit_is_refused() -> None:
    board = Board(4, 4, {Cell(0, 0): replace(large_cube("chip", 0), size=(2, 1))})
    with pytest.raises(InputError, match="covers 2 x 2 cells"):
        build_circuit(board, LARGE_KIT)


def test_places_of_a_large_cube_are_named_by_any_of_its_cells() -> None:
    text = AMPLIFIER + "input C3 down\noutput E3 left\nset A3 6 V\nexpect voltage at B3 left 1 to 2 V\n"
    design = parse_layout(text, "amplifier", LARGE_KIT)
    assert (str(design.input), str(design.output)) == ("B2 p4", "E2 b")
    assert {str(c) for c in design.conditions.supply_V} == {"A2"}
    assert str(design.expectations[0].place) == "B2 p2"
    with pytest.raises(InputError, match="no contact there"):
        parse_layout(AMPLIFIER + "input E2 right\n", "amplifier", LARGE_KIT)
    with pytest.raises(InputError, match="several contacts there"):
        parse_layout(AMPLIFIER + "input F2 left\n", "amplifier", LARGE_KIT)


def test_a_lead_ends_on_a_large_cube_whichever_of_its_cells_is_named() -> None:
    text = "plate 5 x 4\nA1 socket-box turn=0\nA3 socket signal=right\nB3 resistor 1k turn=0\n"
    boards = [
        parse_layout(f"{text}lead {end} to A3\n", "leads", LARGE_KIT).board for end in ("A1", "B1", "B1 E")
    ]
    assert boards[0] == boards[1] == boards[2] and str(boards[0].leads[0].start) == "socket A1 E"
    circuit = build_circuit(boards[0].turned(180), LARGE_KIT)
    box, socket = (
        next(c for c, q in circuit.board.cubes.items() if q.kind == k) for k in ("socket-box", "socket")
    )
    assert circuit.net_of(box, "signal") == circuit.net_of(socket, "signal") == circuit.parts[0].nets["a"]


def test_rules_name_the_anchor_and_what_covers() -> None:
    text = (
        "plate 6 x 4\nB2 battery-box 9V plus=left\nD2 corner ends=left+down\n"
        "B1 resistor 470 turn=90\nC1 resistor 470 turn=90\n"
    )
    board = parse_layout(text, "gap", LARGE_KIT).board
    found = check_rules(build_circuit(board, LARGE_KIT))
    gap = next(f for f in found if f.rule == "terminal-open" and f.cells[0] == Cell.parse("B2"))
    assert gap.title == "The cube at B2 does not touch C1 down and B1 down."
    assert gap.found_cube is not None and gap.found_cube.kind == "battery-box"
