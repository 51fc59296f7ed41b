"""Kinds of several cells: footprint and legs as a kit says them."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import pytest

from snapcheck.errors import DataError
from snapcheck.kit import Kind, Side, bundled_kit, parse_kit
from snapcheck.kit._model import inner_ends

HEAD = 'name = "x"\ntitle = "X"\n[kind.block]\ntitle = "block"\nmodel = "network"\n'
LEGS = """
footprint = [2, 1]
legs = [
    { name = "in", cell = "A1", side = "W" }, { name = "out", cell = "B1", side = "E" },
    { name = "low", cell = "A1", side = "S" }, { name = "low", cell = "B1", side = "S" },
]
"""


def block(rest: str) -> Kind:
    return parse_kit(HEAD + rest, "x.toml")["block"]


def at(kind: Kind, turn: int) -> set[tuple[str, str, str]]:
    return {(c.terminal, c.cell, c.side.name) for c in kind.contacts_at[turn]}


def test_legs_turn_with_the_cube() -> None:
    kind = block(LEGS)
    assert kind.terminals == ("in", "out", "low")
    assert [kind.lies(turn) for turn in (0, 90, 180, 270)] == [(2, 1), (1, 2), (2, 1), (1, 2)]
    assert at(kind, 0) == {("in", "A1", "W"), ("out", "B1", "E"), ("low", "A1", "S"), ("low", "B1", "S")}
    assert at(kind, 90) == {("in", "A1", "N"), ("out", "A2", "S"), ("low", "A1", "W"), ("low", "A2", "W")}
    assert at(kind, 180) == {("in", "B1", "E"), ("out", "A1", "W"), ("low", "A1", "N"), ("low", "B1", "N")}
    assert at(kind, 270) == {("in", "A2", "S"), ("out", "A1", "N"), ("low", "A1", "E"), ("low", "A2", "E")}
    assert kind.terminal_at(Side.W, 90, 1, 0) == "low" and kind.terminal_at(Side.E, 90) is None
    assert kind.sides("low", 270) == (Side.E,)


def test_the_bundled_kit_said_leg_by_leg_is_the_same_kit() -> None:
    text = (files("snapcheck.kit") / "data" / "workshop.toml").read_text(encoding="utf-8")
    for name, table in tomllib.loads(text)["kind"].items():
        legs = [f'{{ name = "{t}", cell = "A1", side = "{s}" }}' for s, t in table["contacts"].items()]
        head, mark, rest = text.partition(f"[kind.{name}]\n")
        lines = rest.split("\n")
        number = next(n for n, line in enumerate(lines) if line.startswith("contacts = {"))
        lines[number] = f"footprint = [1, 1]\nlegs = [{', '.join(legs)}]"
        text = head + mark + "\n".join(lines)
    assert "\ncontacts = {" not in text
    assert parse_kit(text, "long").kinds == bundled_kit().kinds


@pytest.mark.parametrize(
    ("rest", "told"),
    [
        ('footprint = [2, 1]\ncontacts = { W = "a" }\n', "contacts: does not say on which of several"),
        ("footprint = [0, 1]\nlegs = []\n", "kind.block.footprint: [0, 1] is no footprint"),
        ("footprint = [2, 9]\nlegs = []\n", "each 1 to 8"),
        ('footprint = "2 x 1"\nlegs = []\n', "kind.block.footprint: '2 x 1' is no footprint"),
        ("footprint = [2, 1]\nlegs = []\n", "kind.block.legs: has no contact"),
        ('footprint = [2, 1]\nlegs = { W = "a" }\n', "kind.block.legs: is a table, not a list"),
        (LEGS + 'contacts = { W = "in" }\n', "kind.block.contacts: is given beside legs"),
        (
            LEGS.replace('"B1", side = "E"', '"C1", side = "E"'),
            "legs[1].cell: 'C1' is not accepted. Accepted: A1, B1",
        ),
        (
            LEGS.replace('"B1", side = "E"', '"A1", side = "E"'),
            "legs[1].side: E of that cell lies inside the cube",
        ),
        (LEGS.replace('"B1", side = "E"', '"A1", side = "W"'), "legs[1]: lies where the leg 'in' lies"),
        (LEGS.replace('"out", cell', '"out", place'), "legs[1].place: is not known"),
        (LEGS.replace('name = "out", ', ""), "legs[1].name: is missing"),
        (LEGS + "symmetry = 90\n", "kind.block.symmetry: 90 moves a contact"),
        (LEGS + "symmetry = 180\n", "kind.block.symmetry: 180 moves a contact"),
        (LEGS + "symbol_at = [3, 0.5]\n", "kind.block.symbol_at: [3, 0.5] is no place"),
        (LEGS + "print_at = 1\n", "kind.block.print_at: 1 is no place"),
        (LEGS + "print_at = [1]\n", "kind.block.print_at: [1] is no place"),
        (LEGS + "print_at = [-0.1, 0]\n", "kind.block.print_at: [-0.1, 0] is no place"),
        (LEGS + "print_at = [0, -0.1]\n", "kind.block.print_at: [0, -0.1] is no place"),
        (LEGS + "print_at = [2.1, 0]\n", "kind.block.print_at: [2.1, 0] is no place"),
        (LEGS + "print_at = [0, 1.1]\n", "kind.block.print_at: [0, 1.1] is no place"),
        (LEGS + 'print_at = ["a", 0]\n', "kind.block.print_at: is text, not a number"),
        (LEGS.replace('"W"', '"X"'), "kind.block.legs[0].side: 'X' is not accepted"),
        (LEGS.replace('"in"', "5"), "kind.block.legs[0].name: is a number, not text"),
        (
            LEGS.replace('"B1", side = "E"', '"C1", side = "E"'),
            "kind.block.legs[1].cell: 'C1' is not accepted",
        ),
        (
            LEGS + 'parameters = { "in-up_ohm" = 10 }\n',
            "is no resistance between two legs. Write LEG-LEG_ohm",
        ),
        (LEGS + 'parameters = { "in-in_ohm" = 10 }\n', "in-in_ohm: is no resistance between two legs"),
        (LEGS + 'parameters = { "in-out_ohm" = 0 }\n', "in-out_ohm: is no resistance between two legs"),
        (LEGS + 'parameters = { "in-out" = 10 }\n', "in-out: is no resistance between two legs"),
    ],
)
def test_mistakes_are_told_with_key_and_way_out(rest: str, told: str) -> None:
    with pytest.raises(DataError) as error:
        block(rest)
    assert told in str(error.value)


def test_symbol_and_print_may_stand_anywhere_on_the_block() -> None:
    for x, y in ((0, 0), (2, 1), (0, 1), (2, 0), (1.5, 0.25)):
        kind = block(LEGS + f"symbol_at = [{x}, {y}]\nprint_at = [{x}, {y}]\n")
        assert kind.symbol_at == kind.print_at == (x, y)


def test_resistances_lie_between_two_legs() -> None:
    legs = LEGS + 'parameters = { "in-out_ohm" = 0.5, "low-in_ohm" = 47 }\n'
    assert [inner_ends(name) for name in block(legs).parameters] == [("in", "out"), ("low", "in")]


def test_a_leg_without_a_cell_is_on_the_first() -> None:
    kind = parse_kit(HEAD + 'legs = [{ name = "a", side = "W" }, { name = "b", side = "E" }]\n', "x")["block"]
    assert {c.cell for c in kind.contacts} == {"A1"}


def test_a_square_block_may_be_the_same_after_a_quarter_turn() -> None:
    legs = ", ".join(
        f'{{ name = "wire", cell = "{cell}", side = "{side}" }}'
        for cell, side in (("A1", "N"), ("B1", "E"), ("B2", "S"), ("A2", "W"))
    )
    assert block(f"footprint = [2, 2]\nlegs = [{legs}]\nsymmetry = 90\n").same_turn(0, 270)
