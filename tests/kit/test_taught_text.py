"""What was learnt, in a kit's file: kept whole, refused where damaged, left away again."""

from __future__ import annotations

import pytest

from snapcheck.errors import DataError
from snapcheck.kit import Taught, bundled_kit, parse_kit, taught_text, untaught_text

OWN = 'name = "our-box"\ntitle = "Our box"\nbased_on = "bundled"\n'
SOME = (Taught("red tops", "0123", bytes(range(256)) * 3), Taught("worn", "4567", b"x"))


def test_what_was_learnt_comes_back_and_leaves_the_rest_as_it_was() -> None:
    text = taught_text(OWN, SOME)
    kit = parse_kit(text, "k")
    assert kit.taught == SOME and kit.kinds == bundled_kit().kinds
    assert untaught_text(text) == OWN and max(map(len, text.splitlines())) <= 120
    assert parse_kit(taught_text(text, SOME[1:]), "k").taught == SOME[1:]
    assert taught_text(text, ()) == OWN and not parse_kit(OWN, "k").taught


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("AAEC", "AAED", "damaged"),
        ("AAEC", "AA*C", "damaged"),
        ("form = 1", "form = 9", "not known to this version"),
        ("digest", "digets", "digets"),
        ('network = "0123"', "network = 1", "not text"),
    ],
)
def test_a_damaged_one_is_told_in_one_sentence(old: str, new: str, told: str) -> None:
    text = taught_text(OWN, SOME[:1])
    assert old in text
    with pytest.raises(DataError, match=told) as error:
        parse_kit(text.replace(old, new), "k.toml")
    assert "k.toml" in str(error.value)


def test_a_name_cannot_break_out_of_its_text() -> None:
    kit = parse_kit(taught_text(OWN, [Taught('a"\nb\\', "0", b"")]), "k")
    assert kit.taught[0].name == "ab"
