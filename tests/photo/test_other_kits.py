"""Photos read with a kit that lacks kinds the network knows, or has them larger: other cubes, no guesses."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from snapcheck.board import Cell
from snapcheck.cli import main
from snapcheck.errors import InputError
from snapcheck.kit import Kit, bundled_kit, load_kit
from snapcheck.photo import State, read_photo
from snapcheck.photo._cells import Symbols
from snapcheck.photo._nets import names
from snapcheck.photo._read import _of_kit, _readable

PHOTO = Path(__file__).parents[2] / "fixtures" / "photos" / "first-light-good.jpg"


def kit_without(*kinds: str) -> Kit:
    full = bundled_kit()
    return Kit("some", "Some", {name: kind for name, kind in full.kinds.items() if name not in kinds})


def test_a_kind_that_the_kit_lacks_is_read_as_some_other_cube() -> None:
    whole, part = read_photo(PHOTO), read_photo(PHOTO, kit=kit_without("led", "nmos"))
    led = next(c for c, r in whole.cubes.items() if r.cube.kind == "led")
    assert whole.cubes[led].state is State.READ
    assert part.cubes[led].state is not State.READ
    assert "not in the kit" in part.cubes[led].reason
    named = {q.kind for r in part.cubes.values() for q in (r.cube, *(cube for cube, _ in r.alternatives))}
    assert not named & {"led", "nmos"}
    others = {c: r.cube for c, r in part.cubes.items() if c != led}
    assert others == {c: r.cube for c, r in whole.cubes.items() if c != led}


def test_a_larger_kind_is_not_read() -> None:
    full = bundled_kit()
    kinds = dict(full.kinds)
    kinds["battery"] = replace(full["battery"], size=(2, 1))
    reading = read_photo(PHOTO, kit=Kit("large", "Large", kinds))
    battery = Cell.parse("A2")
    assert read_photo(PHOTO).cubes[battery].cube.kind == "battery"
    assert reading.cubes[battery].state is not State.READ and reading.cubes[battery].cube.kind != "battery"


def test_a_kit_of_nothing_that_can_be_read_is_told_so() -> None:
    kinds = {"thing": replace(bundled_kit()["led"], name="thing")}
    with pytest.raises(InputError, match="no kind that can be read"):
        read_photo(PHOTO, kit=Kit("odd", "Odd", kinds))


def test_probability_goes_to_other_cubes_and_none_is_lost() -> None:
    kinds = names()[0]
    rng = np.random.default_rng(1)
    raw = rng.normal(0, 3, (6, len(kinds))).astype(np.float32)
    kind = raw - np.log(np.exp(raw).sum(1, keepdims=True))
    four = np.zeros((6, 4))
    symbols = Symbols(kind, four, four, four[:, 0], four, four[:, 0], four[:, 0])
    kit = kit_without("npn", "lamp")
    after = np.exp(_of_kit(symbols, _readable(kit)).kind)
    gone = [kinds.index("npn"), kinds.index("lamp")]
    assert np.allclose(after.sum(1), 1) and not after[:, gone].any()
    assert np.allclose(after[:, -2], np.exp(kind)[:, [*gone, -2]].sum(1))
    kept = [i for i in range(len(kinds)) if i not in gone and i != len(kinds) - 2]
    assert np.allclose(after[:, kept], np.exp(kind)[:, kept])
    assert _of_kit(symbols, _readable(bundled_kit())) is symbols


def test_the_command_line_reads_with_a_kit_that_lacks_a_kind(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (files("snapcheck.kit") / "data" / "workshop.toml").read_text(encoding="utf-8")
    tables = re.split(r"(?m)^(?=\[)", text)
    kit = tmp_path / "no-led.toml"
    kit.write_text("".join(t for t in tables if not re.match(r"\[(kind|device)\.led\b", t)), encoding="utf-8")
    assert "led" not in load_kit(kit)
    assert main(["read", str(PHOTO), "--kit", str(kit), "--json"]) == 0
    cubes = {c["at"]: c for c in json.loads(capsys.readouterr().out)["cubes"]}
    assert cubes["D2"]["state"] != "read" and "not in the kit" in cubes["D2"]["reason"]
    assert cubes["A2"]["kind"] == "battery" and cubes["A2"]["state"] == "read"
