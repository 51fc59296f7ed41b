"""The order of steps: along the signal, each cube beside one that stands, the power last."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from boardmaker import random_board
from largekit import LARGE_KIT, large_board
from samples import CHIP_DESIGNS, KIT, designs, kit_for

from snapcheck.board import Cell, Design, load_design, parse_layout
from snapcheck.kit import Kit
from snapcheck.sheet import Course, course_of
from snapcheck.sheet._order import ordered_stages, touching

DESIGNS = {file.stem: design for file, design in designs()}


def starts_alone(course: Course) -> list[str]:
    """Cubes that are put down before anything that touches them, though they begin no stage."""
    graph, there, wrong = touching(course.circuit), set[Cell](), []
    stage = -1
    for step in course.steps:
        for cell in step.cells:
            if step.stage == stage and not there & set(graph[cell]):
                wrong.append(f"{cell} in step {step.number}")
            stage = step.stage
            there.add(cell)
    return wrong


def complete(course: Course) -> bool:
    """Every cube, tap and lead is in one step."""
    board = course.design.board
    cells = [c for s in course.steps for c in s.cells]
    taps = [t for s in course.steps for t in s.taps]
    leads = [x for s in course.steps for x in s.leads]
    return (
        sorted(cells) == sorted(board.cubes) and sorted(taps) == sorted(board.taps)
        and sorted(map(str, leads)) == sorted(map(str, board.leads))
    )  # fmt: skip


def check_order(design: Design, kit: Kit) -> Course:
    course = course_of(design, kit)
    assert complete(course) and starts_alone(course) == []
    assert max(len(s.cells) for s in course.steps) <= 7
    powered = [s.power for s in course.steps]
    assert powered == sorted(powered)
    for step in course.steps:
        sources = [c for c in step.cells if kit[design.board.cubes[c].kind].device.supplies]
        assert bool(sources) == step.power
    return course


@pytest.mark.parametrize("name", DESIGNS)
def test_samples_are_built_cube_beside_cube_and_get_their_power_last(name: str) -> None:
    check_order(DESIGNS[name], KIT)


@pytest.mark.parametrize("path", CHIP_DESIGNS, ids=lambda path: path.stem)
def test_chips_are_built_with_all_that_joins_their_legs(path: Path) -> None:
    kit = kit_for(path)
    design = load_design(path, kit)
    course = check_order(design, kit)
    devices = {cell: kit[cube.kind].device for cell, cube in design.board.cubes.items()}
    if any(device.amplifies for device in devices.values()):
        for cell in course.stages[-1].cells:  # only the supply is left
            assert devices[cell].supplies or devices[cell].grounds
    told = [p for s in course.steps for p in s.puts if p.facing == "notch upwards"]
    assert all(p.mind for p in told) and len(told) == path.read_text().count("notch=up")


@pytest.mark.parametrize("seed", range(12))
def test_any_board_is_built_whole(seed: int) -> None:
    rng = random.Random(seed)
    kit = LARGE_KIT if seed % 3 == 0 else KIT
    board = (
        large_board(rng, 8, 7, 0.5) if seed % 3 == 0 else random_board(rng, 7, 6, rng.choice((0.2, 0.5, 0.8)))
    )
    course = course_of(Design(board), kit)
    assert complete(course) and starts_alone(course) == []


def test_stages_follow_the_signal() -> None:
    course = course_of(DESIGNS["loudspeaker-amplifier"], KIT)
    amplifiers = [
        [str(c) for c in stage.cells if str(c) in ("D4", "H4", "I3")] for stage in course.stages
    ]  # in the order in which the file's own remark names them
    assert amplifiers == [["D4"], ["H4"], ["I3"], []]
    assert str(course.stages[0].cells[0]) == "A3"  # the input
    where = {str(c): n for n, stage in enumerate(course.stages) for c in stage.cells}
    assert where["D2"] == where["D4"] and where["H2"] == where["H4"]  # loads stand with their transistors
    assert where["J5"] == where["I3"] and where["K1"] == 3
    assert where["I1"] == 0  # the first stage gets its supply through it


def test_direct_coupling_leaves_the_load_with_the_first_transistor() -> None:
    course = course_of(DESIGNS["two-stage-amplifier"], KIT)
    where = {str(c): n for n, stage in enumerate(course.stages) for c in stage.cells}
    assert where["D2"] == where["D5"] == 0 and where["F2"] == where["F4"] == 1


def test_ground_polarity_and_leads_are_called_out_where_they_matter() -> None:
    course = course_of(DESIGNS["speech-stage"], KIT)
    told = {str(p.cell): p for s in course.steps for p in s.puts}
    assert told["F3"].words == "F3: electrolytic capacitor 10u, plus to the left" and told["F3"].mind
    assert told["E4"].words == "E4: NPN transistor BC547, base to the left" and told["E4"].mind
    assert told["B6"].words == "B6: ground, stem to B5" and told["B6"].mind
    assert told["E2"].facing == "standing upright" and not told["E2"].mind
    assert told["E1"].facing == "ends down and left" and told["D4"].facing == ""
    flasher = course_of(DESIGNS["two-lamp-flasher"], KIT)
    words = [p.words for s in flasher.steps for p in s.puts if p.cell is None]
    assert "the lead from the signal socket of E4 to the tap F4|F5" in words
    assert "a tap between F4 and F5" in words


def test_the_teacher_groups_renames_and_annotates() -> None:
    text = (
        "plate 3 x 3\nnote Work in pairs.\nA1 corner ends=right+down\nB1 resistor 470\n"
        "C1 corner ends=left+down\n"
        "A2 battery 9V plus=up\nC2 led red anode=up\nA3 ground stem=up\nC3 ground stem=up\n"
        "stage The light: C1 C2 C3\nnote The anode looks up.\nstage The way there: B1 A1\n"
    )
    course = course_of(parse_layout(text, "plan", KIT), KIT)
    assert [s.name for s in course.stages] == ["The light", "The way there", "Supply"]
    assert course.stages[0].note == "The anode looks up." and course.design.note == "Work in pairs."
    assert sorted(map(str, course.stages[0].cells)) == ["C1", "C2", "C3"]
    assert complete(course) and course.steps[-1].power and not course.steps[-2].power
    # a cube that touches nothing yet is put down all the same where the teacher wants it
    apart = course_of(
        parse_layout(text.replace("C1 C2 C3", "C3 A1 C2").replace("B1 A1", "B1 C1"), "plan", KIT), KIT
    )
    assert sorted(map(str, apart.stages[0].cells)) == ["A1", "C2", "C3"]


@pytest.mark.parametrize("name", DESIGNS)
def test_a_build_begins_at_its_input_or_else_at_a_part(name: str) -> None:
    course = course_of(DESIGNS[name], KIT)
    first = ordered_stages(course.circuit, course.design)[0].cells[0]
    entry = course.design.input
    assert first in course.circuit.part_at and (entry is None or first == entry.cell)
