"""Writing a board or design and reading it back gives the same."""

import itertools
import json
import math
import random
from dataclasses import replace
from pathlib import Path

import pytest
from boardmaker import KIT, boards
from hypothesis import given, settings
from hypothesis import strategies as st

from snapcheck.board import (
    QUANTITIES,
    Board,
    Cell,
    Conditions,
    Cube,
    Design,
    Expectation,
    Probe,
    Seam,
    board_from_json,
    board_to_json,
    design_from_json,
    design_to_json,
    load_design,
    parse_layout,
    write_layout,
)
from snapcheck.errors import InputError
from snapcheck.kit import ValueForm, format_value

DESIGNS = sorted((Path(__file__).parents[2] / "fixtures" / "designs").glob("*.board"))

prints = st.one_of(
    st.none(),
    st.text(max_size=12),
    st.sampled_from(['4k7 "J"', "100 µ  16V", "#1", "a=b", "\\", "9V\x7f", "\ufffd"]),
)


@st.composite
def printed_boards(draw: st.DrawFn) -> Board:
    """Random boards whose cubes carry any print: the usual one, none, or a smudge."""
    board = draw(boards(least=2))
    rng = random.Random(draw(st.integers(0, 2**32)))
    odd = draw(prints)
    cubes = {}
    for cell, cube in board.cubes.items():
        form = KIT[cube.kind].value_form
        usual = format_value(cube.value, form, style=rng.choice(("code", "plain", "spaced")), unit=cube.unit)
        cubes[cell] = replace(cube, printed=rng.choice((None, usual or None, odd)))
    return replace(board, cubes=cubes)


def test_taps_are_written_in_order() -> None:
    seams = [f"{a}{row}|{b}{row}" for row in range(1, 7) for a, b in itertools.pairwise("ABCDEFGH")]
    board = Board(8, 6, {}, frozenset(map(Seam.parse, random.Random(1).sample(seams, 20))))
    written = [Seam.parse("|".join(tap["between"])) for tap in board_to_json(board)["taps"]]
    assert written == sorted(board.taps)


def test_what_a_figure_says_itself_stays_when_the_plan_is_set_otherwise() -> None:
    a1, a2 = Cell(0, 0), Cell(0, 1)
    plan = Conditions(supply_V={a1: 9.0}, switches={a2: True}, light_lux=50.0)
    figure = replace(plan, switches={a2: False}, temperature_C=40.0)
    new = Conditions(supply_V={a1: 6.0}, switches={a2: True}, pots={a2: 0.2}, light_lux=5.0)
    assert figure.onto(plan, new) == replace(new, switches={a2: False}, temperature_C=40.0)
    assert plan.onto(plan, new) == new
    assert figure.onto(plan, plan) == figure


def test_conditions_follow_the_cubes_that_are_there() -> None:
    a1, a2, a3 = (Cell.parse(name) for name in ("A1", "A2", "A3"))
    usual = Conditions(supply_V={a1: 9.0, a2: 5.0}, switches={a1: True, a2: False}, pots={a1: 0.2, a2: 0.7})
    moved = usual.moved({a1: a3, a2: a1}, [a3])
    assert (moved.supply_V, moved.switches, moved.pots) == ({a3: 9.0}, {a3: True}, {a3: 0.2})
    kept = usual.among([a2])
    assert (kept.supply_V, kept.switches, kept.pots) == ({a2: 5.0}, {a2: False}, {a2: 0.7})


@given(board=printed_boards())
@settings(max_examples=150, deadline=None)
def test_a_board_written_and_read_is_the_same(board: Board) -> None:
    text = write_layout(board, KIT)
    again = parse_layout(text, "x.board", KIT).board
    assert again == board, text
    assert write_layout(again, KIT) == text


@given(board=printed_boards())
@settings(max_examples=100, deadline=None)
def test_a_board_through_json_is_the_same(board: Board) -> None:
    assert board_from_json(json.loads(json.dumps(board_to_json(board))), KIT) == board


@st.composite
def designs(draw: st.DrawFn) -> Design:
    """Random designs: words, places, settings and figures of every sort."""
    board = draw(boards(least=3, most=6))
    probes = [
        Probe(cell, terminal) for cell, cube in board.cubes.items() for terminal in KIT[cube.kind].terminals
    ]
    words = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), max_size=20)

    cells = {model: [c for c, cube in board.cubes.items() if KIT[cube.kind].model in model.split()]
             for model in ("battery supply", "switch", "potentiometer")}  # fmt: skip
    share = st.integers(0, 1000).map(lambda n: n / 1000)

    def conditions(base: Conditions) -> Conditions:
        """Some settings beside those of `base`."""
        return Conditions(
            {
                **base.supply_V,
                **{c: draw(share) * 60 for c in cells["battery supply"] if draw(st.booleans())},
            },
            {**base.switches, **{c: draw(st.booleans()) for c in cells["switch"]}},
            {**base.pots, **{c: draw(share) for c in cells["potentiometer"] if draw(st.booleans())}},
            draw(st.sampled_from((300.0, 0.5, 12345.678, 0.0))),
            draw(st.sampled_from((25.0, -12.5, 85.0))),
        )

    own = conditions(Conditions())

    def figure() -> Expectation:
        quantity = draw(st.sampled_from(sorted(QUANTITIES)))
        low, high = sorted(draw(st.tuples(*[st.floats(1e-9, 1e6)] * 2)))
        low = draw(st.sampled_from((low, -math.inf)))
        high = high if low == -math.inf else draw(st.sampled_from((high, math.inf)))
        at_frequency = quantity in ("gain", "input-impedance", "output-impedance", "swing", "distortion")
        return Expectation(
            quantity,
            draw(st.sampled_from(probes)),
            draw(st.floats(1.0, 1e6)) if at_frequency else None,
            low,
            high,
            draw(words),
            conditions(own) if draw(st.booleans()) else None,
        )

    return Design(
        board,
        " ".join(draw(words).split()),
        " ".join(draw(words).split()),
        draw(st.sampled_from([None, *probes])),
        draw(st.sampled_from([None, *probes])),
        own,
        tuple(figure() for _ in range(draw(st.integers(0, 4)))),
    )


@given(design=designs())
@settings(max_examples=100, deadline=None)
def test_a_design_written_and_read_is_the_same(design: Design) -> None:
    assert parse_layout(write_layout(design, KIT), "x.board", KIT) == design
    assert design_from_json(json.loads(json.dumps(design_to_json(design))), KIT) == design


def test_a_setting_that_a_figure_leaves_at_rest_is_written_out() -> None:
    """Layout files add settings to the design's own; what a figure lacks is written as its rest position."""
    text = "plate 3 x 3\nset A1 open\nset B1 10 %\nset C1 8 V\nA1 switch\nB1 potentiometer 1k wiper=down\n"
    design = parse_layout(text + "C1 battery 9V plus=up\n", "x", KIT)
    figure = Expectation("voltage", Probe(Cell(0, 0), "a"), None, 0.0, 1.0, "", Conditions())
    again = parse_layout(write_layout(replace(design, expectations=(figure,)), KIT), "x", KIT)
    conditions = again.expectations[0].conditions
    assert conditions is not None
    assert (dict(conditions.switches), dict(conditions.pots), dict(conditions.supply_V)) == (
        {Cell(0, 0): True}, {Cell(0, 1): 0.5}, {Cell(0, 2): 9.0},
    )  # fmt: skip


@pytest.mark.parametrize("file", DESIGNS, ids=lambda f: f.stem)
def test_sample_designs_survive_writing(file: Path) -> None:
    design = load_design(file, KIT)
    again = parse_layout(write_layout(design, KIT), "again", KIT)
    assert again == design
    # the words of the figures stay as the teacher wrote them
    assert [e.text for e in again.expectations] == [e.text for e in design.expectations]


@given(board=boards(), turn=st.sampled_from((90, 180, 270)))
@settings(max_examples=60, deadline=None)
def test_turning_the_plate(board: Board, turn: int) -> None:
    turned = board.turned(turn)
    assert turned.turned(360 - turn) == board
    assert board.turned(turn - 90).turned(90) == turned
    assert len(turned.cubes) == len(board.cubes) and len(turned.taps) == len(board.taps)
    # a contact that looked east looks south after a quarter turn
    quarter = board.turned(90)
    for cell, cube in board.cubes.items():
        moved = quarter.cubes[Cell(cell.column, board.rows - 1 - cell.row)]
        for contact in KIT[cube.kind].contacts:
            side = contact.side.turned(cube.turn).turned(90)
            assert KIT[cube.kind].terminal_at(side, moved.turn) == contact.terminal


def test_shifting_off_the_plate_is_refused() -> None:
    board = Board(3, 2, {Cell(0, 0): Cube("resistor", 0, 1e3)})
    assert board.shifted(2, 1).cubes == {Cell(1, 2): Cube("resistor", 0, 1e3)}
    with pytest.raises(InputError, match="outside the plate"):
        board.shifted(3, 0)


def test_boards_do_not_change() -> None:
    board = Board(3, 2, {Cell(0, 0): Cube("resistor", 0, 1e3)})
    with pytest.raises(TypeError):
        board.cubes[Cell(0, 1)] = Cube("ground")  # type: ignore[index]
    with pytest.raises(AttributeError):
        board.columns = 5  # type: ignore[misc]
    assert hash(board) == hash(Board(3, 2, {Cell(0, 0): Cube("resistor", 0, 1e3)}))


ORIENTATION = [
    ("electrolytic 10u plus=left", 0),
    ("electrolytic 10u plus=up", 90),
    ("electrolytic 10u minus=left", 180),
    ("electrolytic 10u plus=south", 270),
    ("npn BC547 base=left", 0),
    ("npn BC547 base=left collector=up emitter=down", 0),
    ("npn BC547 collector=right", 90),
    ("npn BC547 EMITTER=Down", 0),
    ("pnp BC557 emitter=up", 0),
    ("nmos BS170 gate=right", 180),
    ("tee stem=down", 0),
    ("tee stem=up", 180),
    ("tee ends=left+right+up", 180),
    ("corner ends=right+down", 0),
    ("corner ends=up+left", 180),
    ("corner turn=90", 90),
    ("ground stem=up", 0),
    ("ground stem=left", 270),
    ("diode 1N4148 anode=left", 0),
    ("diode 1N4148 cathode=left", 180),
    ("potentiometer 10k wiper=right", 270),
    ("resistor 4k7", 0),
    ("resistor 4k7 ends=up+down", 90),
    ("resistor 4k7 turn=270°", 270),
    ("cross", 0),
]


@pytest.mark.parametrize(("words", "turn"), ORIENTATION)
def test_orientation_as_people_say_it(words: str, turn: int) -> None:
    design = parse_layout(f"plate 3 x 3\nB2 {words}\n", "x", KIT)
    assert design.board.cubes[Cell(1, 1)].turn == turn


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("voltage at B2 a 4.5 V ± 20 %", 3.6, 5.4),
        ("voltage at B2 a 4.5V±0.5V", 4.0, 5.0),
        ("voltage at B2 left -3 to 2 V", -3, 2),
        ("current at B2 100 to 200 µA", 1e-4, 2e-4),
        ("gain at B2 a at 1 kHz 40–46 dB", 40, 46),
        ("duty at B2 a 40 to 60 %", 0.4, 0.6),
        ("frequency at B2 a 1–2 Hz", 1, 2),
        ("band-high at B2 a over 10 kHz", 1e4, math.inf),
        ("distortion at B2 a under 5 %", -math.inf, 0.05),
        ("output-impedance at B2 a under 2.2 kΩ", -math.inf, 2200),
        ("delay at B2 a 1.5 s ± 20 %", 1.2, 1.8),
    ],
)
def test_figures_as_people_say_them(text: str, low: float, high: float) -> None:
    design = parse_layout(f"plate 3 x 3\nexpect {text}\nB2 resistor 4k7\n", "x", KIT)
    (figure,) = design.expectations
    assert (figure.low, figure.high) == (pytest.approx(low), pytest.approx(high))
    assert figure.place == Probe(Cell(1, 1), "a")


def test_values_of_every_kind_are_written_in_the_forms_of_the_kit() -> None:
    for name, kind in KIT.kinds.items():
        for value in kind.values:
            unit = "V" if kind.value_form is ValueForm.RANGE else ""
            board = Board(1, 1, {Cell(0, 0): Cube(name, 0, value, None, unit)})
            assert parse_layout(write_layout(board, KIT), "x", KIT).board == board
