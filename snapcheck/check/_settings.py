"""Limits of the comparison; TOML data, checked on load."""

from __future__ import annotations

import functools
import importlib.resources
from dataclasses import dataclass, fields, replace
from pathlib import Path

from snapcheck.datafiles import read_data_text, toml_table
from snapcheck.tables import TableReader
from snapcheck.words import tr


@dataclass(frozen=True)
class ComparisonSettings:
    """Limits of the comparison; see ``data/comparison.toml`` for what each means."""

    near_ratio: float
    far_ratio: float
    own_layout_below: float
    many_missing: float
    step_limit: float
    mistake_missing: float
    mistake_extra: float
    mistake_turned: float
    mistake_value: float
    mistake_kind: float
    mistake_tap: float
    mistake_lead: float
    settled_from: float
    settled_from_rival: float
    settled_from_decade: float
    settled_from_danger: float


_NAMES = tuple(f.name for f in fields(ComparisonSettings))


@functools.cache
def bundled_settings() -> ComparisonSettings:
    """The limits that come with snapcheck."""
    resource = importlib.resources.files("snapcheck.check") / "data" / "comparison.toml"
    data = _numbers(resource.read_text(encoding="utf-8"), "comparison.toml (bundled)")
    return ComparisonSettings(**data)


def parse_settings(text: str, source: str) -> ComparisonSettings:
    """The bundled limits with the changes in `text` (TOML). Raises DataError."""
    return replace(bundled_settings(), **_numbers(text, source))


def load_settings(path: str | Path) -> ComparisonSettings:
    """The bundled limits with the changes in a TOML file. Raises InputError and DataError."""
    text = read_data_text(Path(path), tr("a file of limits"), 1, tr("Give a file of limits (TOML)."))
    return parse_settings(text, str(path))


def _numbers(text: str, source: str) -> dict[str, float]:
    data, reader = toml_table(text, source), TableReader(source)
    reader.known(data, "", _NAMES)
    numbers = {}
    for key, value in data.items():
        least = 1.0 if key.endswith("ratio") else 0.0
        numbers[key] = reader.number(value, key, least, way_out=tr("Write a plain number."))
    return numbers
