"""Text from elsewhere is made safe to show, in one place."""

from __future__ import annotations

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from snapcheck.errors import InputError
from snapcheck.words import brief, json_text, shown, tr

#: UAX #9, clause 2: the characters with the property Bidi_Control
BIDI_CONTROL = {0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A)}
FSI, PDI = 0x2068, 0x2069


def obeyed(text: str) -> list[str]:
    """Characters that a terminal or a text renderer obeys; FSI and PDI in pairs do no harm."""
    return [c for c in text if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp")
            or ord(c) in BIDI_CONTROL - {FSI, PDI}]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "safe"),
    [("Bo", "Bo"), ("Åse µ 4k7 Ω", "Åse µ 4k7 Ω"), ("a\nb\t", r"a\nb\t"), ("\x1b[2J", r"\x1b[2J"),
     ("\x9b2J", r"\x9b2J"), ("a\u202egpj", r"a\u202egpj"), ("\udcff", r"\udcff"), ("\u2028", r"\u2028"),
     ("[guest] [/x]", "[guest] [/x]"), ("נעה", "\u2068נעה\u2069"), ("\u2069נ", "\u2068\\u2069נ\u2069")],
)  # fmt: skip
def test_what_would_be_obeyed_is_written_out(text: str, safe: str) -> None:
    assert shown(text) == safe


@given(st.text(st.characters(codec=None, exclude_categories=())))
def test_nothing_is_obeyed_and_safe_text_stays(text: str) -> None:
    safe = shown(text)
    assert not obeyed(safe) and shown(safe) == safe
    depth = 0
    for letter in safe:
        depth += {FSI: 1, PDI: -1}.get(ord(letter), 0)
        assert depth >= 0
    assert depth == 0
    assert not obeyed(shown(text, lines=True).replace("\n", "").replace("\t", ""))


def test_sentences_and_errors_fill_in_safe_text() -> None:
    evil = "x\x1b[31m\nfine\u202e"
    assert not obeyed(tr("{file} is read.", file=evil)) and not obeyed(tr("{why}", why=ValueError(evil)))
    assert not obeyed(str(InputError(f"'{evil}' is none.", place=evil, way_out=evil)))


@given(st.text(st.characters(codec=None, exclude_categories=())), st.booleans())
def test_json_means_the_same_and_holds_nothing_raw(text: str, ascii_only: bool) -> None:
    data = {"a": [text, 1.5], text: None}
    written = json_text(data, indent=1, ascii_only=ascii_only)
    assert json.loads(written) == data and not obeyed(written.replace("\n", ""))


def test_long_and_unwritable_values_are_cut() -> None:
    assert len(brief(list(range(10**5)))) < 80 and brief(10**5000) == "(int)" and brief("a") == "'a'"
