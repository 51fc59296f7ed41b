"""The table of devices: every entry fits itself, and nobody asks for a device by its name."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import snapcheck
from snapcheck.devices import DEVICES, Device, Drive, Setting
from snapcheck.kit import bundled_kit
from snapcheck.simulate import _models

ROOT = Path(snapcheck.__file__).parent
#: lines that show or look up the name itself
ALLOWED = {
    "kit/_load.py": 2,  # what a kit may say, in its messages
    "kit/_model.py": 1,  # the one look-up
    "cli/_kit.py": 2,  # shown
    "board/_symbols.py": 1,  # a drawing of that name
}


def _legs(device: Device) -> Iterator[str]:
    """Every leg that an entry speaks of."""
    for pair in (device.pair, device.polarity, device.stage):
        yield from pair or ()
    for start, end, _ in device.junctions:
        yield from (start, end)
    for pairs in (device.direct, device.slides):
        for pair in pairs or ():
            yield from pair
    for way in device.ways or ():
        yield from way[:2]
    for load in device.loads or ():
        yield from load.legs
    yield from device.swing or ()
    yield from filter(None, [device.signal_leg])


@pytest.mark.parametrize("device", DEVICES.values(), ids=list(DEVICES))
def test_an_entry_speaks_of_its_own_legs(device: Device) -> None:
    assert set(_legs(device)) <= set(device.legs)
    assert not (device.legs and device.count)
    assert len(set(device.legs)) == len(device.legs)


@pytest.mark.parametrize("device", DEVICES.values(), ids=list(DEVICES))
def test_every_part_is_written_into_the_netlist(device: Device) -> None:
    assert device.is_part == bool(device.writes or device.template)
    assert not device.writes or device.writes in _models._WRITERS


def test_writers_are_used() -> None:
    assert set(_models._WRITERS) == {device.writes for device in DEVICES.values()} - {""}


def test_supplies_are_set_and_feed() -> None:
    assert {d.name for d in DEVICES.values() if d.supplies} == {"battery", "supply"}
    assert {d.name for d in DEVICES.values() if d.setting is Setting.SUPPLY} == {"battery", "supply"}
    assert {d.name for d in DEVICES.values() if d.drive is not Drive.NONE and d.signal_leg} == {
        "source",
        "microphone",
    }


def test_what_feeds_and_what_brings_a_signal() -> None:
    """A battery feeds, an input feeds and brings a signal, a microphone makes one of its own."""
    told = {d.drive: (d.supplies, d.signals, d.feeds) for d in DEVICES.values()}
    assert told[Drive.POWER] == (True, False, True) and told[Drive.SIGNAL] == (False, True, True)
    assert told[Drive.SENSOR] == (False, True, False)
    assert told[Drive.NONE] == (False, False, False)


def test_every_kind_has_an_entry() -> None:
    for kind in bundled_kit().kinds.values():
        assert kind.device.name == kind.model
        assert kind.wire == (kind.model == "wire")


def test_nobody_asks_for_a_model_by_name() -> None:
    found: dict[str, int] = {}
    for file in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and node.attr == "model":
                owner = ast.unparse(node.value)
                if owner.endswith("kind") or owner in ("k", "self") or "kit[" in owner:
                    name = file.relative_to(ROOT).as_posix()
                    found[name] = found.get(name, 0) + 1
    assert found == ALLOWED
