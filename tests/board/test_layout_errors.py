"""Mistakes in layout files and JSON: file, line and column, what is wrong and what is accepted."""

import json

import pytest
from boardmaker import KIT
from hypothesis import given, settings
from hypothesis import strategies as st

from snapcheck.board import load_board, load_design, oddities, parse_layout
from snapcheck.errors import InputError

HEAD = "plate 4 x 3\n"
MISTAKES = [
    # text, line, column, words of the message or of the way out
    ("A1 ground stem=up\n", None, None, "plate's size is missing"),
    ("plate 0 x 3\n", 1, 7, "not possible"),
    ("plate big\n", 1, 7, "columns x rows"),
    ("plate\n", 1, 6, "columns x rows"),
    (HEAD + "plate 5 x 3\n", 2, 1, "before, in line 1"),
    (HEAD + "title a\ntitle b\n", 3, 1, "title was given before"),
    (HEAD + "palte 4\n", 2, 1, "Did you mean 'plate'"),
    (HEAD + "A1 resitor 4k7\n", 2, 4, "Did you mean 'resistor'"),
    (HEAD + "A1\n", 2, 3, "kind of the cube in A1 is missing"),
    (HEAD + "E1 cross\n", 2, 1, "Cells go from A1 to D3"),
    (HEAD + "A4 cross\n", 2, 1, "outside the plate"),
    (HEAD + "A0 cross\n", 2, 1, "no cell address"),
    (HEAD + "A1 cross\nA1 tee stem=up\n", 3, 1, "already holds the cube of line 2"),
    (HEAD + "A1 resistor 4x7\n", 2, 13, "resistor"),
    (HEAD + "A1 resistor 99999G\n", 2, 13, "absurd"),
    (HEAD + "A1 capacitor 100\n", 2, 14, "ambiguous"),
    (HEAD + "A1 cross 47k\n", 2, 10, "nothing is printed"),
    (HEAD + "A1 tee\n", 2, 7, "stem=left"),
    (HEAD + "A1 corner\n", 2, 10, "ends=right+down"),
    (HEAD + "A1 npn BC547 base=inside\n", 2, 14, "left, right, up, down"),
    (HEAD + "A1 npn BC547 bsae=left\n", 2, 14, "Did you mean 'base'"),
    (HEAD + "A1 npn BC547 base=left emitter=up\n", 2, 24, "contradicts 'base=left'"),
    (HEAD + "A1 npn BC547 base=left base=up\n", 2, 24, "given twice"),
    (HEAD + "A1 npn BC547 turn=45\n", 2, 14, "0, 90, 180, 270"),
    (HEAD + "A1 corner ends=left+right\n", 2, 11, "cannot have its contacts"),
    (HEAD + "A1 electrolytic 10u ends=left+right\n", 2, 21, "more than one turn"),
    (HEAD + 'A1 resistor 4k7 printed="4k7\n', 2, 17, "not closed"),
    (HEAD + "tap A1|C1\n", 2, 5, "do not share a side"),
    (HEAD + "tap A1\n", 2, 5, "no seam"),
    (HEAD + "tap D1|E1\n", 2, 5, "outside the plate"),
    (HEAD + "tap A1|B1\ntap B1|A1\n", 3, 5, "before, in line 2"),
    (HEAD + "lead A1 B1\n", 2, 9, "from one end to another"),
    (HEAD + "lead A1 to B1\n", 2, 6, "the cell is empty"),
    (HEAD + "A1 cross\nlead A1 to B1\n", 3, 6, "has none"),
    (HEAD + "A1 socket signal=left\nlead A1 to B1|B2\n", 3, 12, "no tap sits on B1|B2"),
    (HEAD + "A1 socket signal=left\nlead A1 to A1\n", 3, 6, "in the same socket"),
    (HEAD + "A1 socket signal=left\nlead A1 to Z9\n", 3, 12, "outside the plate"),
    (HEAD + "A1 socket signal=left\ntap B1|B2\nlead A1 to B1|B2\nlead B1|B2 to A1\n", 5, 6, "in line 4"),
    (HEAD + "A1 socket signal=left\nlead A1 east to A1 plate\n", 3, 9, "no socket of A1"),
    (HEAD + "input B2\n", 2, 7, "no cube stands in B2"),
    (HEAD + "A1 resistor 1k\ninput A1\n", 3, 7, "which terminal"),
    (HEAD + "A1 resistor 1k\ninput A1 up\n", 3, 10, "no contact there"),
    (HEAD + "A1 resistor 1k\nset A1 closed\n", 3, 5, "cannot be set"),
    (HEAD + "A1 switch\nset A1 maybe\n", 3, 8, "closed, open"),
    (HEAD + "A1 battery 9V plus=up\nset A1 230 V\n", 3, 8, "extra-low voltage"),
    (HEAD + "set light 5 candles\n", 2, 11, "no light"),
    (HEAD + "set temperature 900 C\n", 2, 17, "no temperature"),
    (HEAD + "expect weight 5\n", 2, 8, "no quantity"),
    (HEAD + "A1 resistor 1k\nexpect voltage at A1 left 5\n", 3, 27, "no range"),
    (HEAD + "A1 resistor 1k\nexpect voltage at A1 left 5 to 4 V\n", 3, 27, "downwards"),
    (HEAD + "A1 resistor 1k\nexpect voltage at A1 left 4 to 5 A\n", 3, 32, "Accepted units: V"),
    (HEAD + "A1 resistor 1k\nexpect voltage 4 to 5 V\n", 3, 8, "not said where"),
]


@pytest.mark.parametrize(("text", "line", "column", "words"), MISTAKES)
def test_mistakes_say_where_and_what_is_accepted(text: str, line: int, column: int, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_layout(text, "mine.board", KIT)
    assert caught.value.place.startswith("mine.board")
    if line is not None:
        assert caught.value.place == f"mine.board, line {line}, column {column}"
    assert words in str(caught.value)


def test_order_of_lines_does_not_matter() -> None:
    lines = ["plate 4 x 3", "output A1", "lead A1 to B1|B2", "tap B1|B2", "A1 socket signal=left",
             "expect voltage 0 to 1 V"]  # fmt: skip
    one, other = (parse_layout("\n".join(order), "x", KIT) for order in (lines, lines[::-1]))
    assert one == other and len(one.board.leads) == 1


def test_a_lead_that_truly_hangs_in_the_air_can_be_written() -> None:
    design = parse_layout(HEAD + "A1 socket signal=left\nlead A1 to B1|B2 loose\n", "x", KIT)
    assert len(design.board.leads) == 1


FILES = {
    "empty": (b"", "empty"),
    "blank": (b" \n\n\t\n", "empty"),
    "jpeg": (b"\xff\xd8\xff\xe0\x00\x10JFIF" * 20, "picture or a PDF"),
    "zeros": (b"plate 4 x 3\n\x00\x00", "zero byte"),
    "control": (b"plate 4 x 3\nA1 cro\x07ss\n", "line 2, column 7"),
    "utf16": ("plate 4 x 3\n".encode("utf-16"), "not UTF-8"),
    "huge": (b"# " + b"x" * 4_100_000, "over 4 MB"),
    "cut-json": (b'{"columns": 4, "rows": 3, "cubes": [{"at": "A1", "ki', "not valid JSON"),
    "deep-json": (b"[" * 200_000, "nested too deeply"),
    "list-json": (b"[1, 2]", "no JSON object"),
    "no-cubes": (b'{"columns": 4, "rows": 3}', "'cubes' is missing"),
    "bad-kind": (b'{"columns":4,"rows":3,"cubes":[{"at":"A1","kind":"valve","turn":0}]}', "cubes[0].kind"),
    "bad-turn": (b'{"columns":4,"rows":3,"cubes":[{"at":"A1","kind":"tee","turn":45}]}', "cubes[0].turn"),
    "twice": (
        b'{"columns":4,"rows":3,"cubes":[{"at":"A1","kind":"cross"},{"at":"A1","kind":"cross"}]}',
        "A1",
    ),
    "off-plate": (b'{"columns":4,"rows":3,"cubes":[{"at":"E1","kind":"cross"}]}', "E1"),
    "negative": (
        b'{"columns":4,"rows":3,"cubes":[{"at":"A1","kind":"resistor","value":-5}]}',
        "cubes[0].value",
    ),
    "nan": (b'{"columns":4,"rows":3,"cubes":[{"at":"A1","kind":"resistor","value":NaN}]}', "cubes[0].value"),
    "half": (
        b'{"columns":4,"rows":3,"cubes":[{"at":"A1","kind":"lamp","printed":"\\ud800"}]}',
        "half a character",
    ),
    "word": (
        b'{"columns":4,"rows":3,"cubes":[{"at":"A1","kind":"resistor","value":"4k7"}]}',
        "number in SI units",
    ),
    "far-tap": (b'{"columns":4,"rows":3,"cubes":[],"taps":[{"between":["A1","C1"]}]}', "taps[0]"),
    "bad-lead": (b'{"columns":4,"rows":3,"cubes":[],"leads":[{"from":"moon","to":"socket A1 E"}]}', "moon"),
}


@pytest.mark.parametrize("name", FILES)
def test_files_that_are_no_board(name: str, tmp_path) -> None:
    content, words = FILES[name]
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(InputError) as caught:
        load_board(file, KIT)
    assert str(file) in caught.value.place and words in str(caught.value)


def test_missing_files_and_folders(tmp_path) -> None:
    for path, words in ((tmp_path / "none.board", "cannot be opened"), (tmp_path, "is a folder")):
        with pytest.raises(InputError, match=words):
            load_design(path, KIT)


def test_every_cut_of_a_design_is_read_or_refused(tmp_path) -> None:
    text = (
        HEAD + "title T\nset light 5 lux\nA1 battery 9V plus=up\nA2 ground stem=up\nB1 resistor 4k7\n"
        "C1 socket signal=left\ntap A1|B1\nlead C1 to A1|B1\nexpect voltage at B1 left 4.5 V ± 20 %\n"
    )
    read = 0
    for end in range(len(text)):
        try:
            parse_layout(text[:end], "cut", KIT)
            read += 1
        except InputError as error:
            assert error.message and "cut" in error.place
    assert 0 < read < len(text)


@given(text=st.text(max_size=200))
@settings(max_examples=200)
def test_any_text_is_a_board_or_an_input_error(text: str) -> None:
    try:
        parse_layout("plate 4 x 3\n" + text, "any", KIT)
    except InputError as error:
        assert error.message and "any" in error.place


WORDS = ["plate", "tap", "lead", "set", "expect", "input", "A1", "B2", "Z9", "resistor", "npn", "4k7", "to",
         "at", "with", "A1|B1", "plus=up", "base=left", "turn=90", "=", ",", "5", "V", "±", "20", "%", "\n",
         "gain", "voltage", "light", "lux", "loose", 'printed="', "#"]  # fmt: skip


@given(words=st.lists(st.sampled_from(WORDS), max_size=40))
@settings(max_examples=400)
def test_words_of_layout_files_in_any_order(words: list[str]) -> None:
    try:
        parse_layout("plate 4 x 3\n" + " ".join(words), "any", KIT)
    except InputError as error:
        assert error.message and "any" in error.place


KEYS = st.sampled_from(["at", "kind", "turn", "value", "between", "from", "to", "cubes", "unit"])
json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.sampled_from(["A1", "npn", "tap A1|B1", ""]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=12,
)  # fmt: skip


@given(data=st.fixed_dictionaries(
    {"columns": st.just(4), "rows": st.just(3), "cubes": json_values},
    optional=dict.fromkeys(("taps", "leads", "expectations", "conditions", "input", "title"), json_values),
))  # fmt: skip
@settings(max_examples=300)
def test_any_json_is_a_board_or_an_input_error(data) -> None:
    from snapcheck.board import design_from_json

    try:
        design_from_json(json.loads(json.dumps(data)), KIT)
    except InputError as error:
        assert error.message


def test_a_contact_that_faces_nothing_and_a_capacitance_out_of_scale_are_told() -> None:
    text = "plate 4 x 2\nA1 capacitor 100m\nB1 resistor 1k\nC1 tee stem=down\nD1 ground stem=left\n"
    found = oddities(parse_layout(text, "test", KIT).board, KIT)
    assert [(str(o.place), o.text) for o in found] == [
        ("A1", "100m is a great deal for a capacitor; m is milli, µ is micro."),
        ("A1", "its contact on the left touches nothing."),
    ]


def test_settings_take_a_decimal_comma() -> None:
    text = (
        "plate 3 x 3\nA1 battery 4,5V plus=right\nB1 potentiometer 4,7k wiper=down\nset A1 4,5 V\n"
        "set B1 30,5 %\nset light 5,5 lux\nset temperature 22,5 C\n"
    )
    given = parse_layout(text, "test", KIT).conditions
    assert list(given.supply_V.values()) == [4.5] and list(given.pots.values()) == [0.305]
    assert (given.light_lux, given.temperature_C) == (5.5, 22.5)
    with pytest.raises(InputError, match=r"1,500"):
        parse_layout(text.replace("5,5 lux", "1,500 lux"), "test", KIT)
