"""The releases that the README installs: all of them, each with its digests, within the bounds we declare."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from dependencies import plain, running_dependencies
from packaging.requirements import Requirement
from packaging.version import Version

ROOT = Path(__file__).parents[2]
PINNED = (ROOT / ".ci" / "pinned.txt").read_text(encoding="utf-8")
DECLARED = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def pins() -> dict[str, tuple[Version, list[str]]]:
    """Name to release and digests."""
    found = {}
    for entry in re.sub(r" \\\n +", " ", PINNED).splitlines():
        if entry and not entry.startswith("#"):
            requirement, *digests = entry.split(" --hash=")
            name, version = requirement.split(";")[0].split("==")
            assert plain(name) not in found, f"{name} is pinned twice"
            found[plain(name)] = (Version(version.strip()), digests)
    return found


def test_every_pin_has_digests_and_no_address() -> None:
    for name, (_, digests) in pins().items():
        assert digests and all(re.fullmatch(r"sha256:[0-9a-f]{64}", d.strip()) for d in digests), name
    assert "://" not in PINNED and "index" not in PINNED


@pytest.mark.parametrize(
    "asked", [*DECLARED["project"]["dependencies"], *DECLARED["build-system"]["requires"]]
)
def test_what_we_declare_is_pinned_within_its_bounds(asked: str) -> None:
    requirement = Requirement(asked)
    version, _ = pins()[plain(requirement.name)]
    assert version in requirement.specifier


def test_all_that_is_drawn_in_is_pinned() -> None:
    assert set(running_dependencies()) <= set(pins())


@pytest.mark.parametrize("name", ["onnxruntime", "weasyprint"])
def test_libraries_that_could_reach_the_network_have_an_upper_bound(name: str) -> None:
    """A newer release is looked at in the closed network before it is allowed (tests/cli)."""
    (asked,) = [r for r in map(Requirement, DECLARED["project"]["dependencies"]) if r.name == name]
    assert any(s.operator in ("<", "<=", "==") for s in asked.specifier)
