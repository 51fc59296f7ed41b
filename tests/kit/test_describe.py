"""A kind described in words becomes a table of a kit; what is missing or wrong is told with what is
accepted."""

from __future__ import annotations

from pathlib import Path

import pytest

from snapcheck.cli import main
from snapcheck.errors import InputError
from snapcheck.kit import bundled_kit, kind_table, like, load_kit, needed_legs, parse_kit

HEAD = 'name = "k"\ntitle = "K"\nbased_on = "bundled"\n\n'


def test_a_described_kind_is_what_was_said_with_the_data_of_one_like_it() -> None:
    start = like(bundled_kit(), "battery")
    legs = ["plus:A1-N", "minus:A2-S"]
    table = kind_table(
        "box", title='A "box"', model="battery", legs=legs, size=(1, 2), values=["9"], start=start
    )
    kind = parse_kit(HEAD + table, "k")["box"]
    assert (kind.title, kind.size, kind.values) == ('A "box"', (1, 2), (9.0,))
    assert [(c.terminal, c.cell, c.side.name) for c in kind.contacts] == [
        ("plus", "A1", "N"),
        ("minus", "A2", "S"),
    ]
    assert start is not None and kind.parameters == start.parameters and kind.prefix == start.prefix


def test_what_is_wrong_is_told_with_what_is_accepted() -> None:
    with pytest.raises(InputError, match="base") as error:
        kind_table("q", title="Q", model="npn", legs=["collector:N", "emitter:S"])
    assert "--leg" in str(error.value) and needed_legs("npn") == ("base", "collector", "emitter")
    with pytest.raises(InputError, match="resistor"):
        needed_legs("resister")
    with pytest.raises(InputError, match="plus:W"):
        kind_table("q", title="Q", model="resistor", legs=["a=W", "b:E"])


def test_the_verb_writes_the_kit_and_nothing_where_it_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "own.toml"
    words = ["describe", "big", "--kit", str(file), "--title", "big one", "--footprint", "2x1"]
    assert main([*words, "--model", "resistor", "--leg", "a:A1-W", "--leg", "b:A1-E"]) == 22
    assert "inside" in capsys.readouterr().err and not file.exists()
    assert main([*words, "--leg", "a:A1-W"]) == 21 and "--model" in capsys.readouterr().err
    good = [
        *words,
        "--model",
        "resistor",
        "--leg",
        "a:A1-W",
        "--leg",
        "b:B1-E",
        "--draw",
        str(tmp_path / "b.svg"),
    ]
    assert main(good) == 0 and "2 x 1" in capsys.readouterr().out
    assert load_kit(file)["big"].size == (2, 1) and "<svg" in (tmp_path / "b.svg").read_text(encoding="utf-8")
    assert main(good) == 22 and "big" in capsys.readouterr().err  # twice the same name
