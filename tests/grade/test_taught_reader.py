"""A course whose kit was taught reads its photos with that, and reads them anew when it is taught again."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from snapcheck.errors import InputError
from snapcheck.grade._work import TaughtReader, reader_name, reader_of
from snapcheck.kit import Kit, Taught, bundled_kit, taught_text
from snapcheck.photo import read_photo

OWN = 'name = "k"\ntitle = "K"\nbased_on = "bundled"\n'


def course(tmp_path, *taught: Taught) -> SimpleNamespace:
    file = tmp_path / "own.toml"
    file.write_text(taught_text(OWN, taught), encoding="utf-8")
    kit = Kit("k", "K", bundled_kit().kinds, taught=taught)
    return SimpleNamespace(kit_file=file, kit=kit)


def test_readings_are_kept_by_what_the_kit_was_taught(tmp_path) -> None:
    assert reader_of(course(tmp_path)) is read_photo
    names = [
        reader_name(reader_of(course(tmp_path, Taught("a", "n", data)))) for data in (b"one", b"one", b"two")
    ]
    assert names[0] == names[1] != names[2] and all(n.startswith(reader_name(read_photo)) for n in names)


def test_the_reader_reads_with_the_taught_kit(tmp_path) -> None:
    photo = Path(__file__).parents[2] / "fixtures" / "photos" / "first-light-good.jpg"
    with pytest.raises(InputError, match="another release"):
        TaughtReader(taught_text(OWN, [Taught("a", "n", b"")]))(photo)
    assert TaughtReader(OWN)(photo).board == read_photo(photo).board
