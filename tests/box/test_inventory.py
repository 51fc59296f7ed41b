"""The box file: what is read, and what is refused with key and way out."""

from __future__ import annotations

from importlib.resources import files

import pytest

from snapcheck.box import Piece, cube_of, parse_box, piece_of, print_of
from snapcheck.errors import DataError
from snapcheck.kit import bundled_kit

KIT = bundled_kit()
EXAMPLE = files("snapcheck.box").joinpath("data/example.toml").read_text(encoding="utf-8")


def test_the_example_is_a_box() -> None:
    box = parse_box(EXAMPLE, "example.toml", KIT)
    assert box.cubes[Piece("straight")] == 90
    assert box.cubes[Piece("resistor", 2200.0)] == 12
    assert box.cubes[Piece("electrolytic", 100e-6)] == 12
    assert box.cubes[Piece("electrolytic", 100e-6, "", 16.0)] == 4
    assert box.cubes[Piece("lamp", "6V/0.05A")] == 8
    assert box.cubes[Piece("meter", 15.0, "V")] == 3
    assert (box.taps, box.leads, box.plates) == (12, 12, {(8, 6): 8, (12, 9): 2})


def test_a_piece_goes_there_and_back_as_a_cube() -> None:
    for piece in parse_box(EXAMPLE, "example.toml", KIT).cubes:
        assert piece_of(cube_of(piece, KIT), KIT) == piece
    assert print_of(Piece("electrolytic", 100e-6, "", 16.0), KIT) == "100µ/16V"


@pytest.mark.parametrize(
    ("text", "key", "says"),
    [
        ("title = 3\n[cubes]\n", "title", "no text"),
        ("taps = 3\n", "cubes", "missing"),
        ("[cubes]\nresitor = 3\n", "cubes.resitor", "Did you mean 'resistor'"),
        ("[cubes]\nresistor = 3\n", "cubes.resistor", "several values"),
        ("[cubes]\n[cubes.resistor]\n4q7 = 3\n", "cubes.resistor.4q7", "4k7"),
        ("[cubes]\n[cubes.resistor]\n4k7 = 3\n4700 = 2\n", "cubes.resistor.4700", "twice"),
        ("[cubes]\n[cubes.resistor]\n4k7 = -1\n", "cubes.resistor.4k7", "whole number"),
        ("[cubes]\n[cubes.resistor]\n4k7 = 1.5\n", "cubes.resistor.4k7", "whole number"),
        ("[cubes]\n[cubes.resistor]\n4k7 = true\n", "cubes.resistor.4k7", "whole number"),
        ("[cubes]\n[cubes.ground]\n1 = 2\n", "cubes.ground", "nothing is printed"),
        ("cubes = 3\n", "cubes", "no table"),
        ('[plates]\n"8by6" = 2\n[cubes]\n', "plates.8by6", "8x6"),
        ("box = 3\n[cubes]\n", "box", "Accepted"),
    ],
)
def test_what_is_wrong_is_said_with_its_key(text: str, key: str, says: str) -> None:
    with pytest.raises(DataError) as caught:
        parse_box(text, "ours.toml", KIT)
    assert caught.value.place == f"ours.toml, {key}"
    assert says in str(caught.value)
