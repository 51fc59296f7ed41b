"""Limits of the comparison; TOML data, checked on load."""

from __future__ import annotations

import difflib
import functools
import importlib.resources
from dataclasses import dataclass, fields, replace
from pathlib import Path

from snapcheck.datafiles import finite, read_data_text, toml_table
from snapcheck.errors import DataError
from snapcheck.words import brief, tr


@dataclass(frozen=True)
class ComparisonSettings:
    """Limits of the comparison; see ``data/comparison.toml`` for what each means."""

    near_ratio: float
    far_ratio: float
    own_layout_below: float
    many_missing: float
    step_limit: float


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
    data = toml_table(text, source)
    numbers: dict[str, float] = {}
    for key, value in data.items():
        place = tr("{file}, key {key}", file=source, key=key)
        if key not in _NAMES:
            close = difflib.get_close_matches(key, _NAMES, 1)
            hint = tr(" Did you mean '{name}'?", name=close[0]) if close else ""
            raise DataError(
                tr("is not known.{hint}", hint=hint),
                place=place,
                way_out=tr("Accepted: {names}.", names=", ".join(_NAMES)),
            )
        number = finite(value)
        if number is None:
            raise DataError(
                tr("{value} is no number.", value=brief(value)),
                place=place,
                way_out=tr("Write a plain number."),
            )
        if number < (1 if key.endswith("ratio") else 0):
            raise DataError(
                tr("{value:g} is too small.", value=number), place=place, way_out=tr("Ratios are 1 or more.")
            )
        numbers[key] = number
    return numbers
