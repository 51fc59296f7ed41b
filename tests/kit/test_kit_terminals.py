"""A kit of one's own must name the terminals that rules and simulation ask for."""

import pytest

from snapcheck.errors import DataError
from snapcheck.kit import bundled_kit
from snapcheck.kit._load import parse_kit


@pytest.mark.parametrize(
    ("model", "contacts", "needed"),
    [
        ("npn", '{ W = "b", N = "c", S = "e" }', "base, collector, emitter"),
        ("battery", '{ W = "pos", E = "neg" }', "plus, minus"),
        ("led", '{ W = "anode", E = "anode" }', "anode, cathode"),
        ("resistor", '{ W = "a", E = "a" }', "two of different names"),
    ],
)
def test_wrong_terminal_names_are_told_with_the_right_ones(model: str, contacts: str, needed: str) -> None:
    kind = f'[kind.thing]\ntitle = "thing"\ncontacts = {contacts}\nmodel = "{model}"\n'
    text = f'name = "mine"\ntitle = "Mine"\n{kind}'
    with pytest.raises(DataError) as error:
        parse_kit(text, "mine.toml")
    assert "mine.toml, key kind.thing.contacts" in str(error.value) and needed in str(error.value)


def test_the_bundled_kit_names_them_all() -> None:
    assert len(bundled_kit().kinds) == 31
