"""A course with a kit of its own reads its photos with it, and anew when it is taught or changed."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path
from types import SimpleNamespace

import pytest
from damaged import toml_text

from snapcheck.errors import InputError
from snapcheck.grade._work import KitReader, reader_name, reader_of
from snapcheck.kit import Kit, Taught, bundled_kit, taught_text
from snapcheck.photo import read_photo

OWN = 'name = "k"\ntitle = "K"\nbased_on = "bundled"\n'


def course(tmp_path, *taught: Taught) -> SimpleNamespace:
    file = tmp_path / "own.toml"
    file.write_text(taught_text(OWN, taught), encoding="utf-8")
    kit = Kit("k", "K", bundled_kit().kinds, taught=taught)
    return SimpleNamespace(kit_file=file, kit=kit)


def test_readings_are_kept_by_what_the_kit_was_taught(tmp_path) -> None:
    assert reader_of(SimpleNamespace(kit_file=None)) is read_photo
    plain = reader_name(reader_of(course(tmp_path)))
    names = [
        reader_name(reader_of(course(tmp_path, Taught("a", "n", data)))) for data in (b"one", b"one", b"two")
    ]
    assert names[0] == names[1] != names[2] and plain not in (*names, reader_name(read_photo))
    assert all(n.startswith(reader_name(read_photo)) for n in names)


def test_the_reader_reads_with_the_taught_kit(tmp_path) -> None:
    photo = Path(__file__).parents[2] / "fixtures" / "photos" / "first-light-good.jpg"
    with pytest.raises(InputError, match="another release"):
        KitReader(taught_text(OWN, [Taught("a", "n", b"")]))(photo)
    assert KitReader(OWN)(photo).board == read_photo(photo).board


def test_kinds_that_the_kit_lacks_are_not_read(tmp_path) -> None:
    """Where the bundled kit would read a light-emitting diode, one without them asks."""
    photo = Path(__file__).parents[2] / "fixtures" / "photos" / "first-light-good.jpg"
    whole = (resources.files("snapcheck.kit") / "data" / "workshop.toml").read_text(encoding="utf-8")
    data = tomllib.loads(whole)
    del data["kind"]["led"], data["device"]["led"]
    lacking = toml_text(data)
    seen = KitReader(lacking)(photo)
    assert any(q.kind == "led" for q in read_photo(photo).board.cubes.values())
    assert all(r.cube.kind != "led" for r in seen.cubes.values()) and seen.unsure
