"""Builds on the way: the step they have reached, and one wrong cube in them."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

import pytest
from samples import KIT, designs, variants

from snapcheck.board import TURNS, Board, Cell, Cube, parse_layout
from snapcheck.findings import Severity
from snapcheck.sheet import Course, course_of, next_words, progress
from snapcheck.simulate import Simulator

COURSES = {file.stem: course_of(design, KIT) for file, design in designs()}
#: wrong cubes tried in each half-built board; all of them (7894 boards) take minutes
_TRIED = 3


def wrong_cubes(cell: Cell, cube: Cube) -> Iterator[Cube]:
    """The same cube turned, with another value, and cubes of two other kinds."""
    kind = KIT[cube.kind]
    yield from (replace(cube, turn=t) for t in TURNS if t != cube.turn and not kind.same_turn(t, cube.turn))
    if isinstance(cube.value, float):
        yield from (replace(cube, value=cube.value * f, printed=None) for f in (10, 0.1))
    elif isinstance(cube.value, str):
        yield from [replace(cube, value=v, printed=None) for v in kind.values if v != cube.value][:1]
    others = [k for k in KIT.kinds.values() if k.name != cube.kind and k.size == kind.size]
    for other in random.Random(f"{cell} {cube.kind}").sample(others, 2):
        value = other.values[0] if other.values else None
        yield Cube(other.name, cube.turn, value, None, "", other.size)


@pytest.mark.parametrize("name", COURSES)
def test_the_step_is_named_and_one_wrong_cube_is_told(name: str) -> None:
    course = COURSES[name]
    for number in range(len(course.steps) + 1):
        board = course.board_after(number)
        found = progress(course, board)
        assert (found.done, found.findings, found.open_cells, found.ahead) == (number, (), (), ())
        assert found.complete == (number == len(course.steps)) and not found.own_layout
        assert len(found.right) == len(board.cubes)
        wrong = [(cell, w) for cell, cube in board.cubes.items() for w in wrong_cubes(cell, cube)]
        rng = random.Random(f"{name} {number}")
        for cell, cube in rng.sample(wrong, min(_TRIED, len(wrong))):
            mixed = progress(course, board.put({cell: cube}))
            assert mixed.done == number, (number, cell, cube)
            assert any(cell in f.cells for f in mixed.findings), (number, cell, cube)
            assert cell not in mixed.right


@pytest.mark.parametrize("name", ["first-light", "speech-stage", "two-lamp-flasher"])
def test_shifted_and_turned_as_a_whole_it_is_the_same(name: str) -> None:
    course = COURSES[name]
    for number in range(1, len(course.steps) + 1):
        board = course.board_after(number)
        wider = replace(board, columns=board.columns + 1, rows=board.rows + 1)
        for other in (board.turned(90), board.turned(180), wider.shifted(1, 1)):
            found = progress(course, other)
            assert found.done == number and not found.mistakes and len(found.right) == len(board.cubes)


def test_next_is_said_where_the_build_lies() -> None:
    course = COURSES["speech-stage"]
    assert next_words(progress(course, course.board_after(1)))[0].startswith("B1: tee wire")
    board = course.board_after(3)
    turned = progress(course, board.turned(180))
    step = course.steps[3]
    first = turned.to_built[step.cells[0]]
    assert next_words(turned)[0].startswith(f"{first} ({step.cells[0]} of the sheet)")
    assert next_words(progress(course, course.design.board)) == []


def without(course: Course, board: Board, *cells: str) -> Board:
    return board.put({Cell.parse(c): None for c in cells})


def test_an_own_order_is_no_mistake() -> None:
    course = COURSES["speech-stage"]
    board = without(course, course.board_after(5), "B2")
    later = course.steps[6].cells[0]
    found = progress(course, board.put({later: course.design.board.cubes[later]}))
    assert found.done == 5 and found.findings == ()
    assert [str(c) for c in found.open_cells] == ["B2"] and found.ahead == (later,)


def test_a_cube_in_the_wrong_place_is_told_once() -> None:
    course = COURSES["speech-stage"]
    board = course.board_after(4)
    cube = course.design.board.cubes[Cell.parse("C4")]
    moved = without(course, board, "C4").put({Cell.parse("C5"): cube})
    found = progress(course, moved)
    assert len(found.mistakes) == 1 and {"C4", "C5"} <= {str(c) for c in found.mistakes[0].cells}


def test_dangers_of_the_board_as_it_stands_come_first(simulator: Simulator) -> None:
    course = COURSES["first-light"]
    text = "plate 5 x 4\nA2 battery 9V plus=up\nA1 corner ends=right+down\nB1 straight\nC1 straight\n"
    text += "D1 corner ends=left+down\nD2 led red anode=up\nD3 ground stem=up\nA3 ground stem=up\n"
    found = progress(course, parse_layout(text, "built", KIT).board, simulator=simulator)
    assert found.danger and found.findings[0].severity is Severity.DANGER
    reversed_ = COURSES["speech-stage"].design.board
    c3 = Cell.parse("F6")
    turned = reversed_.put({c3: replace(reversed_.cubes[c3], turn=(reversed_.cubes[c3].turn + 180) % 360)})
    assert progress(COURSES["speech-stage"], turned, simulator=simulator).danger


def test_finished_in_its_own_way_it_is_finished() -> None:
    course = COURSES["first-light"]
    text = "plate 6 x 3\nA1 battery 9V plus=right\nB1 resistor 470\nC1 switch\nD1 led red anode=left\n"
    text += "E1 ground stem=left\nA2 ground stem=up\n"
    own = text.replace("A2 ground stem=up\n", "").replace("A1 battery", "B2 ground stem=up\nA1 battery")
    board = parse_layout(
        "plate 6 x 2\nA1 ground stem=right\nB1 battery 9V plus=right\nC1 resistor 470\nD1 switch\n"
        "E1 led red anode=left\nF1 ground stem=left\n", "own", KIT,
    ).board  # fmt: skip
    found = progress(course, board)
    assert found.own_layout and found.complete and found.done == len(course.steps) and not found.mistakes
    unknown = progress(course, parse_layout(own.replace("470", "4k7"), "other", KIT).board)
    assert unknown.unlike and unknown.done == 0
    assert [f.severity for f in unknown.findings if f.rule == "step-unknown"] == [Severity.QUESTION]


def test_some_cubes_in_another_order_are_no_step_that_is_missing() -> None:
    course = COURSES["first-light"]
    own = [v for v in variants() if v.sort == "same" and v.design.stem == "first-light"]
    for board in (v.board() for v in own):
        found = progress(course, board)
        assert (found.done, found.complete, found.own_layout) == (len(course.steps), True, False)
        assert found.open_cells == found.ahead == ()
    assert any(len(progress(course, v.board()).right) < len(v.board().cubes) for v in own)
    moved = [
        "D1 straight ends=left+right",
        "E1 corner ends=left+down",
        "E2 led red anode=up",
        "E3 ground stem=up",
    ]
    begun = replace(course.design.board, cubes={
        cell: cube for cell, cube in course.design.board.cubes.items() if cell.column < 3
    })  # fmt: skip
    aside = parse_layout("plate 5 x 4\n" + "\n".join(moved), "aside", KIT).board
    found = progress(course, begun.put(aside.cubes))
    assert (found.done, found.complete, found.open_cells) == (len(course.steps), True, ())


def test_an_empty_plate_is_the_beginning() -> None:
    course = COURSES["first-light"]
    found = progress(course, Board(5, 4))
    assert found.done == 0 and found.findings == () and found.next_step is course.steps[0]
